"""What three questions on the telephone are worth: the share of simulated calls finished in one visit with what was loaded.

A dispatcher knows the first thing the customer said. The van is loaded with the parts that are worth it then (`faultodds stock
--shelf N`); or after three questions chosen at random; or after three, each the one that `faultodds ask --shelf N` puts first
then. A call is finished in one visit when for every fault of the simulated machine something that puts it right is aboard, or
needs no part. The customer answers as simulated customers do, now and then wrong; what they cannot tell stays untold.

    python tests/benchmarks/bench_questions.py --jobs 200 --seed 5 --shelf 3
    python tests/benchmarks/bench_questions.py --second-world
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import faultodds_sim.call as simulator
import second_world.call as second_world
from faultodds.advice import Situation, open_questions
from faultodds.belief import Appliance, Belief, Evidence, WeighedFinding, infer, open_appliance
from faultodds.stock import Limit, Stock, load_questions
from faultodds_cli.trial.bridge import complaint_of
from faultodds_sim.repairs import CURES

Call = simulator.SimCall | second_world.SecondCall
COUNT = 3
WAYS = ("no question", "three at random", "the best three")


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--town", type=int, default=0)
    parser.add_argument("--second-world", action="store_true", help="calls of the second invented world")
    parser.add_argument("--shelf", type=int, default=3)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    open_appliance("gas_dryer", revision="file")  # puts it where the processes find it
    played = partial(_played, args.seed, args.town, args.second_world, args.shelf)
    with multiprocessing.get_context("spawn").Pool(args.workers) as pool:
        some = [range(n, min(n + 25, args.jobs)) for n in range(0, args.jobs, 25)]
        won = np.array([row for rows in pool.imap(played, some) for row in rows], dtype=float)
    world = "second world" if args.second_world else f"town {args.town}"
    print(
        f"{args.jobs} simulated calls, {world}, room for {args.shelf} parts: finished in one visit with what was loaded"
    )
    for name, share in zip(WAYS, won.mean(axis=0), strict=True):
        print(f"  {name:<16} {share:6.1%}")
    for other in (0, 1):
        gain = won[:, 2] - won[:, other]
        half = 1.96 * gain.std(ddof=1) / np.sqrt(len(gain))
        print(f"  the best three over {WAYS[other]}: {100 * gain.mean():+.1f} +- {100 * half:.1f} in a hundred")


def _played(seed: int, town: int, second: bool, shelf: int, numbers: range) -> list[list[bool]]:
    """For each call, whether it is finished in one visit without a question, after three at random, after the best three."""
    appliance = open_appliance("gas_dryer", revision="file")
    everyone = second_world.calls(numbers.stop, seed) if second else simulator.calls(numbers.stop, seed, town)
    rows = []
    for number, call in enumerate(everyone):
        if number not in numbers:
            continue
        start = infer(appliance.suspects, Evidence({}, complaint_of(call)[:1]))
        rng = np.random.default_rng([seed, number])
        told = [start, _asked(appliance, call, start, shelf, rng), _asked(appliance, call, start, shelf, None)]
        rows.append([_finished(appliance, call, belief, shelf) for belief in told])
    return rows


def _asked(appliance: Appliance, call: Call, belief: Belief, shelf: int, rng: np.random.Generator | None) -> Belief:
    """The belief after three questions, at random or one after the other the best."""
    skipped: set[str] = set()
    for _ in range(COUNT):
        if rng is None:
            stock = Stock(appliance, belief, Situation(skipped=frozenset(skipped)))
            best = [q.question for q in load_questions(stock, Limit(shelf=shelf), 1)]
        else:
            best = open_questions(appliance.knowledge, belief.evidence, skipped)
            best = [best[int(rng.integers(len(best)))]] if best else []
        if not best:
            break
        belief = _told(appliance, call, belief, best[0].name)
        skipped.add(best[0].name)
    return belief


def _told(appliance: Appliance, call: Call, belief: Belief, name: str) -> Belief:
    evidence = belief.evidence
    facts = {**call.facts, **call.equipment}
    if name in facts:
        known = {**evidence.facts, name: facts[name]}
        return infer(appliance.suspects, Evidence(known, evidence.seen))
    answer = call.complaint.get(name) or call.ask(name)
    if answer is None:
        return belief
    return infer(appliance.suspects, evidence.plus(WeighedFinding(name, {answer: 1.0})))


def _finished(appliance: Appliance, call: Call, belief: Belief, shelf: int) -> bool:
    repair = appliance.knowledge.repair
    load = {p.name for p in Stock(appliance, belief, Situation()).load(Limit(shelf=shelf)).parts}
    ways = [CURES.get(mode, ()) for mode in call.true_modes if mode not in {"nothing_wrong"}]
    return all(any(r in load or (repair[r].cost <= 0 and not repair[r].by_others) for r in cures) for cures in ways)


if __name__ == "__main__":
    main()
