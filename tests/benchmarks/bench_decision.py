"""One decision on the shipped dryer, in units of one full evaluation; one core.

A full evaluation is that of `bench_evaluation.py`: every mode's odds, every outcome's chance for every symptom and check, and
every mode's odds after that outcome. A decision is `best_move` (the next move alone) or `advise` (with its prices and reasons),
each from the evidence, the odds included. For each of 200 random job states (`tests/job_states.py`, seed fixed) the three
are run in turns in one process, and the ratio is taken for that state; the target is at most 30 evaluations at the median for
`best_move`. Times are processor seconds, which other programs on the machine move least.

Run `python tests/benchmarks/bench_decision.py [--states N] [--rounds N]`.
"""

from __future__ import annotations

import os
import sys

ONE_CORE = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
if any(os.environ.get(name) != value for name, value in ONE_CORE.items()):
    os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, **ONE_CORE})

import argparse
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faultodds.advice.advisor import advise, best_move
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.posterior import infer, outlook
from job_states import JobState, random_job_states

TARGET = 30.0
SEED = 20


def main() -> None:
    """Print the times, the ratios, and what was advised."""
    options = _options()
    appliance = open_appliance("gas_dryer")
    states = list(random_job_states(appliance, options.states, SEED))
    ways = {"full evaluation": _evaluate, "best_move": _move, "advise": _advise}
    for way in ways.values():  # the first call of each imports what it needs
        way(appliance, states[0])
    taken = np.array([_in_turns(appliance, state, list(ways.values()), options.rounds) for state in states])
    _print_times(list(ways), taken)
    kinds = Counter(best_move(appliance, infer(appliance.suspects, s.evidence), s.situation).kind for s in states)
    print(f"the advice: {', '.join(f'{k} {n}' for k, n in sorted(kinds.items()))}")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--states", type=int, default=200, help="random job states (200)")
    parser.add_argument("--rounds", type=int, default=3, help="turns for each state, of which the median counts (3)")
    return parser.parse_args()


def _in_turns(
    appliance: Appliance, state: JobState, ways: list[Callable[[Appliance, JobState], object]], rounds: int
) -> list[float]:
    taken: list[list[float]] = [[] for _ in ways]
    for _ in range(rounds):
        for way, own in zip(ways, taken, strict=True):
            start = time.process_time()
            way(appliance, state)
            own.append(time.process_time() - start)
    return [float(np.median(own)) for own in taken]


def _evaluate(appliance: Appliance, state: JobState) -> object:
    return outlook(infer(appliance.suspects, state.evidence))


def _move(appliance: Appliance, state: JobState) -> object:
    return best_move(appliance, infer(appliance.suspects, state.evidence), state.situation)


def _advise(appliance: Appliance, state: JobState) -> object:
    return advise(appliance, infer(appliance.suspects, state.evidence), state.situation)


def _print_times(names: list[str], taken: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> None:
    """`taken` (states, ways), the full evaluation first."""
    ratio = taken / taken[:, :1]
    print(
        f"{len(taken)} job states\n{'':18}{'median ms':>11}{'p95 ms':>9}{'in evaluations: median':>25}{'p95':>8}{'most':>8}"
    )
    for i, name in enumerate(names):
        ms, times = 1000 * taken[:, i], ratio[:, i]
        print(
            f"{name:18}{np.median(ms):11.2f}{np.percentile(ms, 95):9.2f}"
            f"{np.median(times):25.1f}{np.percentile(times, 95):8.1f}{times.max():8.1f}"
        )
    reached = float(np.median(ratio[:, names.index("best_move")]))
    print(
        f"target: best_move at most {TARGET:g} evaluations at the median; {'met' if reached <= TARGET else 'not met'}"
    )


if __name__ == "__main__":
    main()
