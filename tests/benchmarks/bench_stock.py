"""Minutes on site before the visit: the quick estimate of `faultodds stock` beside calls played with the full advice
at every move.

    python tests/benchmarks/bench_stock.py [CALLS]

The truths are the same in both. Prints for each complaint: mean minutes of both with standard errors, the minutes
within which four in five calls are over, and how often the visit was finished. A hundred calls take some minutes.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from faultodds.advice.advisor import best_move
from faultodds.advice.machine import MachineStates
from faultodds.advice.problem import Problem
from faultodds.advice.situation import Situation
from faultodds.advice.stopping import even_points
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import Belief, infer
from faultodds.knowledge.schema import repair_modes
from faultodds.stock.minutes import machines, on_site, replaced
from faultodds.stock.needs import Limit
from faultodds.stock.stock import Stock

COMPLAINTS = {
    "no heat": (WeighedFinding("heat", {"none": 1.0}),),
    "dries slowly, cools off": (
        WeighedFinding("dry_time", {"longer": 1.0}),
        WeighedFinding("heat", {"cools_off": 1.0}),
    ),
    "dries slowly": (WeighedFinding("dry_time", {"longer": 1.0}),),
}
SHELF = 8
MOST_MOVES = 40


def one_call(
    appliance: Appliance, door: Belief, truth: int, cannot: set[str], skipped: frozenset[str], rng: np.random.Generator
) -> tuple[float, bool]:
    """Minutes on site and whether the call was finished, when every move is what `faultodds next` says."""
    k, s = appliance.knowledge, appliance.suspects
    machine = MachineStates(k)
    seen, repairs, state, minutes = list(door.evidence.seen), [], frozenset(), 0.0
    for _ in range(MOST_MOVES):
        belief = infer(s, Evidence(door.evidence.facts, tuple(seen), tuple(repairs)))
        move = best_move(appliance, belief, Situation(state, skipped), machine)
        names = (move.name, *move.together)
        if move.kind in ("stop", "refer") or (move.kind == "repair" and cannot & set(names)):
            return minutes + machine.closing_up(state).minutes, move.kind == "stop" and truth == s.sound
        for name in names:
            work = k.check.get(name) or k.repair[name]
            way = machine.to_work(state, work)
            minutes, state = minutes + way.minutes + work.minutes, way.after
            if name in k.check:
                like = s.likelihood[s.rows[name], truth]
                shown = s.observables[name][int(rng.choice(len(like), p=like / like.sum()))]
                seen.append(WeighedFinding(name, {shown: 1.0}, len(repairs), sum(o.name == name for o in seen)))
            else:
                repairs.append(repair_effect(appliance.knowledge, name))
                if rng.random() < k.repair[name].success:
                    truth = int(s.removal(repair_modes(k, k.repair[name]))[truth])
    return minutes, False


def compare(appliance: Appliance, seen: tuple[WeighedFinding, ...], calls: int) -> None:
    """One complaint, with the best eight parts aboard."""
    stock = Stock(appliance, infer(appliance.suspects, Evidence({}, seen)))
    aboard = [p.name for p in stock.load(Limit(shelf=SHELF)).parts]
    start = time.perf_counter()
    quick = on_site(stock, aboard)
    took = time.perf_counter() - start
    rng = np.random.default_rng(0)
    minutes, finished = [], []
    cannot = {n for n, r in stock.repairs.items() if r.by_others} | (set(stock.parts) - set(aboard))
    skipped = replaced(stock, aboard)
    start = time.perf_counter()
    for share, door in machines(stock):
        active = Problem(appliance, door, Situation())
        points = even_points(max(2, round(share * calls)), 1)[0]
        place = np.minimum(np.searchsorted(np.cumsum(active.weights), points), len(active.active) - 1)
        for truth in active.active[place].tolist():
            m, f = one_call(appliance, door, int(truth), cannot, skipped, rng)
            minutes.append(m)
            finished.append(f)
    full = np.array(minutes)
    print(f"  quick  {quick.mean:6.1f} (+-{quick.error:4.1f})  four in five by {quick.planned:4.0f}  finished {quick.finished:.2f}"
          f"  {took:6.1f} s")  # fmt: skip
    print(f"  full   {full.mean():6.1f} (+-{full.std() / len(full) ** 0.5:4.1f})  four in five by {np.quantile(full, 0.8):4.0f}"
          f"  finished {np.mean(finished):.2f}  {time.perf_counter() - start:6.1f} s, {len(full)} calls")  # fmt: skip


if __name__ == "__main__":
    dryer = open_appliance("gas_dryer", revision="file")
    for title, seen in COMPLAINTS.items():
        print(title)
        compare(dryer, seen, int(sys.argv[1]) if len(sys.argv) > 1 else 100)
