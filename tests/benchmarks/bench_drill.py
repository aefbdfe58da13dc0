"""Simulated learners of the drill, on every level: do they get the scores that they should?

One does what is advised with the program's odds; one does the same with those odds said far too surely; one follows the
checklist and always says what is commonest; one guesses. Scores a step, with 95 % intervals over drills; money above the best
plan, which is played anew on a simulated machine of its own.

    python tests/benchmarks/bench_drill.py --drills 20 --seed 200
    python tests/benchmarks/bench_drill.py --drills 60 --quick     # checklist's moves for all, no plan: quick
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from msgspec.structs import replace

from faultodds.belief import open_appliance
from faultodds.calibration import Drilled, faults, person
from faultodds_cli.drill.debrief import Adviser, best_plan
from faultodds_cli.drill.levels import LEVELS, WHO
from faultodds_cli.trial.checklist import checklist
from faultodds_cli.trial.visit import TrialJob

sys.path.insert(0, str(Path(__file__).parents[1]))

from learners import as_at_first, by_advice, by_policy, drilled, guesses, kept, series, too_sure, tools_odds


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drills", type=int, default=20, help="calls of every level")
    parser.add_argument("--seed", type=int, default=200)
    parser.add_argument("--quick", action="store_true")
    args = parser.parse_args()
    dryer = open_appliance("gas_dryer", revision="file")
    known = faults(dryer.knowledge)
    played: dict[int, dict[str, list[Drilled]]] = {level: {} for level in LEVELS}
    for number, (level, call) in enumerate(series(dryer, args.drills, args.seed)):
        moves = by_policy(checklist) if args.quick else by_advice
        first = drilled(dryer, call, tools_odds, moves, surely=too_sure)
        of = {"right": kept(first, level), "surely": kept(first, level, "surely")}
        of["checklist"] = kept(drilled(dryer, call, as_at_first, by_policy(checklist)), level)
        of["guesses"] = kept(drilled(dryer, call, *guesses(number)), level)
        best = 0.0
        if not args.quick:
            fresh = TrialJob(dryer, call, WHO, False)
            best_plan(fresh, Adviser(lambda done, of: None))
            best = fresh.cost
        for who, each in of.items():
            played[level].setdefault(who, []).append(replace(each, best=best))
    print("level learner     drills  Brier                 log                   too sure              lost")
    for level, done in played.items():
        for who, each in done.items():
            p = person(each, known)
            assert p is not None
            spans = [p.brier, p.log, p.too_sure, None if args.quick else p.lost]
            cells = ["" if s is None else f"{s.value:.2f} ({s.low:.2f} to {s.high:.2f})" for s in spans]
            print(f"{level:5} {who:10} {p.drills:7}  " + "  ".join(c.ljust(20) for c in cells))


if __name__ == "__main__":
    main()
