"""Policies that read the model's fault odds: the same belief for all of them, only the choice differs.

The three simple ones share a rule for when to stop checking. They repair as soon as a repair is more likely needed than
`SURE` (all repairs that pass go together, before one run), or when no check is left that tells at least `TELLING` bits; then the
likeliest repair. They run the machine when it is likelier than `SURE` to be sound, leave on a good run, and hand over when an
unlisted cause passes `SURE`, or the likeliest repair left is under `HOPELESS`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np

from faultodds.advice import best_move
from faultodds.belief import likely
from faultodds.knowledge import UNLISTED_MODE, Floats
from faultodds_cli.trial.visit import TrialJob

SURE = 0.8
HOPELESS = 0.05
TELLING = 0.01


class Table:
    """The decision at hand for the simple rules: odds of each repair, and the open checks that tell something."""

    def __init__(self, visit: TrialJob) -> None:
        self.visit = visit
        self.problem = visit.problem
        self.belief = self.problem.belief
        self._kept = likely(self.belief.now, 1e-3)
        self._p = self.belief.now[self._kept] / self.belief.now[self._kept].sum()

    @cached_property
    def repairs(self) -> dict[str, float]:
        """Chance that each repair is needed, likeliest first."""
        s, fixes = self.belief.suspects, self.problem.mode_repair
        columns: dict[str, list[int]] = {}
        for mode, name in fixes.items():
            columns.setdefault(name, []).append(s.mode_index[mode])
        odds = {n: float(self.belief.now @ s.member[:, at].any(axis=1)) for n, at in columns.items()}
        return dict(sorted(odds.items(), key=lambda item: (-item[1], item[0])))

    @cached_property
    def open(self) -> list[str]:
        """The checks that can be done now; the verification run is not among them."""
        return [name for name in self.problem.checks if name != self.problem.knowledge.costs.verify]

    @cached_property
    def telling(self) -> dict[str, float]:
        """The open checks that tell at least `TELLING` bits, with their bits."""
        bits = {name: self.bits(name) for name in self.open}
        return {name: b for name, b in bits.items() if b >= TELLING}

    def bits(self, name: str) -> float:
        """What a check tells about which suspect is the truth, in bits."""
        like = self._like(name)
        return _entropy(like @ self._p) - float(-_xlogx(like).sum(axis=0) @ self._p)

    def bits_about(self, name: str, mode: str) -> float:
        """What a check tells about whether one mode is there, in bits."""
        s, like = self.belief.suspects, self._like(name)
        there = s.member[self._kept, s.mode_index[mode]]
        joint = np.stack([like[:, there] @ self._p[there], like[:, ~there] @ self._p[~there]])
        return _entropy(joint.sum(axis=0)) + _entropy(joint.sum(axis=1)) - _entropy(joint.reshape(-1))

    def _like(self, name: str) -> Floats:
        s = self.belief.suspects
        return np.asarray(s.likelihood[s.rows[name]][:, self._kept])


def _xlogx(p: Floats) -> Floats:
    return np.asarray(p * np.log2(np.maximum(p, 1e-300)))


def _entropy(p: Floats) -> float:
    return float(-_xlogx(p).sum())


#: The check to do next; empty to go straight for the likeliest repair.
Pick = Callable[[Table], str]


def faultodds(visit: TrialJob) -> None:
    """Does what `faultodds next` says, from the first minute to the last."""
    while not visit.over:
        move = best_move(visit.appliance, visit.belief, visit.situation, visit.machine)
        if move.kind == "ask":
            visit.ask(move.name)
        elif move.kind == "check":
            visit.check(move.name)
        elif move.kind == "repair":
            visit.repair([move.name, *move.together])
        elif move.kind == "stop":
            visit.close()
        else:
            visit.hand_over()


def cheapest(visit: TrialJob) -> None:
    """Does the cheapest check there is, getting there included, until a repair passes 80 %."""

    def pick(table: Table) -> str:
        by_price = sorted(table.open, key=lambda n: (table.problem.price_check(n).cost, n))
        return next((name for name in by_price if table.bits(name) >= TELLING), "")

    _simple(visit, pick)


def information(visit: TrialJob) -> None:
    """Does the check that tells most bits for its price, getting there included, until a repair passes 80 %."""

    def pick(table: Table) -> str:
        return max(table.telling, key=lambda n: table.telling[n] / table.problem.price_check(n).cost, default="")

    _simple(visit, pick)


def likeliest(visit: TrialJob) -> None:
    """Goes for the likeliest fault: the check that tells most about it, whatever it costs, then its repair."""

    def pick(table: Table) -> str:
        fixes = table.problem.mode_repair
        leading = next((o.name for o in table.belief.fault_odds() if o.name in fixes), None)
        if leading is None:
            return ""
        bits = {name: table.bits_about(name, leading) for name in table.open}
        best = max(bits, key=lambda n: bits[n], default="")
        return best if best and bits[best] >= TELLING else ""

    _simple(visit, pick)


def _simple(visit: TrialJob, pick: Pick) -> None:
    while not visit.over:
        table = Table(visit)
        sure = [name for name, odds in table.repairs.items() if odds > SURE]
        unlisted = table.belief.mode_odds[table.belief.suspects.mode_index[UNLISTED_MODE]]
        if table.problem.verified:
            visit.close()
        elif table.belief.sound > SURE:
            visit.verify()
        elif unlisted > SURE:
            visit.hand_over()
        elif sure:
            visit.repair(sure)
        else:
            _check_or_guess(visit, table, pick(table))


def _check_or_guess(visit: TrialJob, table: Table, check: str) -> None:
    name, odds = next(iter(table.repairs.items()), ("", 0.0))
    if check:
        visit.check(check)
    elif odds < HOPELESS:
        visit.hand_over()
    else:
        visit.repair([name])
