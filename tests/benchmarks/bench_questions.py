"""What three questions on the telephone are worth: the share of simulated calls finished in one visit with what was loaded.

A dispatcher knows the first thing the customer said. The van is loaded with the parts that are worth it then (`faultodds stock
--shelf N`); or after three questions chosen at random; or after the three that `faultodds ask` puts first. A call is finished
in one visit when for every fault of the simulated machine something that puts it right is aboard, or needs no part. The
customer answers as simulated customers do, now and then wrong; what they cannot tell stays untold.

    python tests/benchmarks/bench_questions.py --jobs 200 --seed 5 --shelf 3
"""

from __future__ import annotations

import argparse

import numpy as np

from faultodds.advice import Situation, best_questions
from faultodds.advice.problem import Problem
from faultodds.advice.questions import open_questions
from faultodds.belief import Evidence, WeighedFinding, infer, open_appliance
from faultodds.belief.appliance import Appliance
from faultodds.belief.posterior import Belief
from faultodds.stock import Limit, Stock
from faultodds_cli.trial.bridge import complaint_of
from faultodds_sim.call import SimCall, calls
from faultodds_sim.repairs import CURES

COUNT = 3


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--town", type=int, default=0)
    parser.add_argument("--shelf", type=int, default=3)
    args = parser.parse_args()
    appliance = open_appliance("gas_dryer", revision="file")
    rows = []
    for number, call in enumerate(calls(args.jobs, args.seed, args.town)):
        start = infer(appliance.suspects, Evidence({}, complaint_of(call)[:1]))
        rng = np.random.default_rng([args.seed, number])
        told = {
            "no question": start,
            "three at random": _asked(appliance, call, start, rng),
            "the best three": _asked(appliance, call, start, None),
        }
        rows.append([_finished(appliance, call, belief, args.shelf) for belief in told.values()])
    won = np.array(rows, dtype=float)
    print(f"{args.jobs} simulated calls, room for {args.shelf} parts: finished in one visit with what was loaded")
    for name, share in zip(told, won.mean(axis=0), strict=True):
        print(f"  {name:<16} {share:6.1%}")
    for name, other in (("no question", 0), ("three at random", 1)):
        gain = won[:, 2] - won[:, other]
        half = 1.96 * gain.std(ddof=1) / np.sqrt(len(gain))
        print(f"  the best three over {name}: {gain.mean():+.1%} +- {half:.1%}")


def _asked(appliance: Appliance, call: SimCall, belief: Belief, rng: np.random.Generator | None) -> Belief:
    """The belief after three questions, at random or one after the other the best."""
    skipped: set[str] = set()
    for _ in range(COUNT):
        where = Situation(skipped=frozenset(skipped), asking=True)
        if rng is None:
            best = [q.question for q in best_questions(appliance, belief, where, 1)]
        else:
            best = [q for q in open_questions(Problem(appliance, belief, where)) if q.name not in skipped]
            best = [best[int(rng.integers(len(best)))]] if best else []
        if not best:
            break
        belief = _told(appliance, call, belief, best[0].name)
        skipped.add(best[0].name)
    return belief


def _told(appliance: Appliance, call: SimCall, belief: Belief, name: str) -> Belief:
    evidence = belief.evidence
    facts = {**call.facts, **call.equipment}
    if name in facts:
        known = {**evidence.facts, name: facts[name]}
        return infer(appliance.suspects, Evidence(known, evidence.seen))
    answer = call.complaint.get(name) or call.ask(name)
    if answer is None:
        return belief
    return infer(appliance.suspects, evidence.plus(WeighedFinding(name, {answer: 1.0})))


def _finished(appliance: Appliance, call: SimCall, belief: Belief, shelf: int) -> bool:
    repair = appliance.knowledge.repair
    load = {p.name for p in Stock(appliance, belief, Situation()).load(Limit(shelf=shelf)).parts}
    ways = [CURES.get(mode, ()) for mode in call.true_modes if mode not in ("nothing_wrong",)]
    return all(any(r in load or (repair[r].cost <= 0 and not repair[r].by_others) for r in cures) for cures in ways)


if __name__ == "__main__":
    main()
