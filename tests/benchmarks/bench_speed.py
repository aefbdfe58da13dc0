"""What is asked of the advice, in units of one decision and of one full evaluation, in one run; one core.

A decision is `best_move` from the evidence, on a known machine with one complaint; a full evaluation is that of
`bench_evaluation.py`. Beside it: the same on a machine that nothing is known of, the whole advice, the plan, what would change
it, the load of the van, the questions for the telephone, and simulated jobs. Times are processor seconds, which other programs on
the machine move least.

Run `python tests/benchmarks/bench_speed.py [--jobs N] [--rounds N]`.
"""

from __future__ import annotations

import os
import sys

ONE_CORE = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
if any(os.environ.get(name) != value for name, value in ONE_CORE.items()):
    os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, **ONE_CORE})

import argparse
import time
from collections.abc import Callable

import numpy as np

from faultodds.advice import Situation, advise, best_move, best_questions
from faultodds.advice.plan import make_plan
from faultodds.advice.sensitivity import sensitivity
from faultodds.belief import Evidence, WeighedFinding, infer, open_appliance
from faultodds.belief.posterior import outlook
from faultodds.stock import Limit, Stock, on_site
from faultodds_cli.trial.play import played
from faultodds_sim.call import calls

SEED = 3
ASKING = Situation(asking=True)


def main() -> None:
    """Print the times and the ratios."""
    options = _options()
    appliance = open_appliance("gas_dryer", revision="file")
    complaint = (WeighedFinding("heat", {"none": 1.0}),)
    machine = {name: next(iter(fact.values)) for name, fact in appliance.knowledge.equipment.items()}
    known, unknown = Evidence(machine, complaint), Evidence({}, complaint)

    def from_evidence(evidence: Evidence, ask: Callable[..., object]) -> Callable[[], object]:
        return lambda: ask(appliance, infer(appliance.suspects, evidence), ASKING)

    def load() -> object:
        stock = Stock(appliance, infer(appliance.suspects, unknown), Situation())
        return on_site(stock, [part.name for part in stock.load(Limit(shelf=8)).parts])

    ways: dict[str, Callable[[], object]] = {
        "full evaluation": lambda: outlook(infer(appliance.suspects, known)),
        "decision, machine known": from_evidence(known, best_move),
        "decision, machine not known": from_evidence(unknown, best_move),
        "advice, machine known": from_evidence(known, advise),
        "plan, machine known": from_evidence(known, make_plan),
        "plan, nothing known": from_evidence(Evidence(), make_plan),
        "what would change it": from_evidence(known, sensitivity),
        "load of the van": load,
        "questions by telephone": lambda: best_questions(appliance, infer(appliance.suspects, unknown), ASKING, 3),
    }
    times = {name: _seconds(way, options.rounds) for name, way in ways.items()}
    waiting = list(calls(options.jobs, SEED))
    times["a simulated job"] = (
        _seconds(lambda: [played(appliance, call, "faultodds") for call in waiting], 1) / options.jobs
    )
    decision, evaluation = times["decision, machine known"], times["full evaluation"]
    print(f"{'':28}{'seconds':>9}{'decisions':>11}{'evaluations':>13}")
    for name, taken in times.items():
        print(f"{name:28}{taken:9.3f}{taken / decision:11.1f}{taken / evaluation:13.1f}")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--jobs", type=int, default=10, help="simulated jobs (10)")
    parser.add_argument(
        "--rounds", type=int, default=3, help="rounds of the short ones, of which the median counts (3)"
    )
    return parser.parse_args()


def _seconds(way: Callable[[], object], rounds: int) -> float:
    """Median processor seconds; what takes long is done once."""
    taken: list[float] = []
    while len(taken) < rounds:
        start = time.process_time()
        way()
        taken.append(time.process_time() - start)
        if taken[-1] > 1.0:
            break
    return float(np.median(taken))


if __name__ == "__main__":
    main()
