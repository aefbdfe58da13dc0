"""Printed prices of the whole job against jobs played from the model's own belief, and how they move with the prices of
handing over and of labour.

    python tests/benchmarks/bench_prices.py [--jobs N] [--ahead] [--sets N] [--only N ...] [--ladders]

Evidence sets are random states of calls on the shipped dryer (`tests/random_evidence.py`), machine known and not, before and
after repairs and runs. For each, the printed price of the advised move, of the best repair and of handing over stands beside
the mean of N jobs in which that move is made and everything after it is as advised, with its 95 % interval; their luck is taken
out (`Player.steadied` in `tests/play_out.py`), so that a few tell what some hundreds of plain jobs do, at half a minute a price.
With `--ahead` it stands beside one step of looking ahead instead (the move's own price and, on average, what is printed after
all that it may show), at a second a price. With `--ladders` the price of the job on sixteen prices of handing over and sixteen
labour rates: the largest fall where it must rise, and the largest break of concavity, as shares.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faultodds.advice import NextMove, Situation, advise
from faultodds.belief import Appliance, Belief, Evidence, infer, open_appliance
from faultodds.errors import ClashError
from play_out import Player, ladder, worst_break
from random_evidence import random_evidence

SEED = 31
REFERS, RATES = np.linspace(150, 900, 16), np.linspace(30, 255, 16)


def main() -> None:
    """Print the table, then the ladders."""
    options = _options()
    appliance = open_appliance("gas_dryer", revision="file")
    sets = dict(enumerate(_sets(appliance, options.sets)))
    if options.only:
        sets = {n: sets[n] for n in options.only}
    if options.jobs:
        inside = [one_set(appliance, n, evidence, 0 if options.ahead else options.jobs) for n, evidence in sets.items()]
        within = "within 5 %" if options.ahead else "within 5 % or inside the interval"
        print(f"{within}: {sum(map(sum, inside))} of {sum(map(len, inside))} prices")
    if options.ladders:
        for n, evidence in sets.items():
            belief = infer(appliance.suspects, evidence)
            print(f"set {n:2}: {_ladders(appliance, belief)}", flush=True)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Printed prices against played jobs.")
    parser.add_argument("--jobs", type=int, default=16, help="jobs played for each price; 0 leaves that out")
    parser.add_argument("--ahead", action="store_true", help="one step of looking ahead in place of played jobs")
    parser.add_argument("--sets", type=int, default=40, help="evidence sets")
    parser.add_argument("--only", type=int, nargs="*", help="of these, only some by their numbers")
    parser.add_argument("--ladders", action="store_true", help="how prices move with handing over and labour")
    return parser.parse_args()


def _sets(appliance: Appliance, count: int) -> Iterator[Evidence]:
    rng, made = np.random.default_rng(SEED), 0
    while made < count:
        evidence = random_evidence(appliance, rng)
        try:
            infer(appliance.suspects, evidence)
        except ClashError:
            continue
        made += 1
        yield evidence


def one_set(appliance: Appliance, number: int, evidence: Evidence, jobs: int) -> list[bool]:
    """Print one set's prices; whether each is within 5 % of what playing it costs (without jobs, of what one step of looking ahead
    says), or inside its interval."""
    player = Player(appliance, evidence)
    advice = advise(appliance, player.belief, Situation())
    moves = [NextMove(advice.kind, advice.name, advice.together, advice.expected_cost)]
    moves += [NextMove("repair", r.name, r.together, r.expected_cost) for r in advice.repairs[:1] if r.priced]
    found = []
    for move in dict.fromkeys(moves):
        if not jobs and move.kind not in ("check", "repair"):
            continue
        costs = player.steadied(jobs, SEED, move) if jobs else np.array([player.ahead(move)])
        mean, half = float(costs.mean()), 1.96 * float(costs.std()) / len(costs) ** 0.5
        found.append(abs(move.expected_cost - mean) <= max(0.05 * mean, half))
        print(
            f"set {number:2} ({len(evidence.facts):2} facts, {len(evidence.seen):2} findings, {len(evidence.repairs)} repairs)  "
            f"{move.kind:6} {move.name:22} printed {move.expected_cost:6.1f}  "
            f"{f'played {mean:6.1f} +- {half:5.1f}' if jobs else f'one step ahead {mean:6.1f}'}"
            f"{'' if found[-1] else '  OUT'}",
            flush=True,
        )
    return found


def _ladders(appliance: Appliance, belief: Belief) -> str:
    told = []
    for name, points, how in (("handing over", REFERS, "refer"), ("labour", RATES, "rate")):
        fall, bend = worst_break(ladder(appliance, belief, points, how))
        told.append(f"{name}: falls by {fall:.2%}, concavity broken by {bend:.2%}")
    return "; ".join(told)


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    main()
