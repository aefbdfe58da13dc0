"""Calls played out on one kind of machine: the base policy (`advice/policy.py`) works on truths drawn from the fault
odds.

Calls that have gone the same way so far stand at the same `Spot`, where the next move is worked out once. The belief
is kept over suspects, exactly; only for the policy it is gathered into classes by needed repairs, with likelihoods
weighed afresh at each spot. (With the classes' likelihoods as they were at the door the policy loses its way after a
repair that was not enough.)
"""

from __future__ import annotations

import copy
from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultodds.advice import (
    BIT_PRICES,
    CHECK,
    DEPTH,
    MONEY,
    REFER,
    REPAIR,
    SOUND,
    STAGES,
    Ledger,
    Policy,
    Problem,
    Rollout,
    even_points,
)
from faultodds.knowledge import Bools, Floats, Places

# Chances that add up to less than this cannot be told from none.
FAINT = 1e-12
FINISHED, WAITING, HANDED_OVER = range(3)


@dataclass
class Spot:
    """Where a call may stand: chance of each active suspect (A,), machine state, checks done (C,), and the spots that come
    next.
    """

    chances: Floats
    state: int
    done: Bools
    turn: int
    after: dict[int, Spot]
    move: tuple[int, int] | None = None


class Play:
    """The game on one kind of machine. `cannot`: repairs at which the visit ends, for want of a part or because
    others do them.
    """

    def __init__(self, problem: Problem, cannot: Collection[str]) -> None:
        self.problem = problem
        self.policy = Policy(problem, Ledger(problem))
        self.sound = int(np.flatnonzero(problem.masks[problem.class_of] == SOUND)[0])
        self.ends_there = [any(n in cannot for n in bundle) for bundle in problem.bundles]
        self.door = Spot(problem.weights, 0, np.zeros(len(problem.check_names), dtype=bool), 1, {})

    def calls(self, count: int) -> list[tuple[float, int]]:
        """Minutes and ending of `count` calls; their truths and all that is left to chance lie at fixed, evenly
        spread points.
        """
        p = self.problem
        points = even_points(count, DEPTH + 1)
        at = p.by_need[np.minimum(np.searchsorted(np.cumsum(p.weights[p.by_need]), points[0]), len(p.active) - 1)]
        return [self.call(int(a), points[:, n]) for n, a in enumerate(at.tolist())]

    def call(self, truth: int, points: Floats) -> tuple[float, int]:
        """One call, the truth by its place among the active suspects; still open after `DEPTH` moves it is handed over."""
        spot, minutes = self.door, 0.0
        while spot.turn <= DEPTH:
            move, which = spot.move = spot.move or self._choice(spot)
            if move == REFER:
                break
            if move == REPAIR and self.ends_there[which]:
                return minutes, WAITING
            minutes += self._minutes(spot.state, move, which)
            if move == REPAIR:
                truth = self._mended(truth, which, float(points[spot.turn]))
            if move != CHECK and truth == self.sound:
                return minutes, FINISHED
            shown = self._shown(truth, which, float(points[spot.turn])) if move == CHECK else 0
            if shown not in spot.after:
                spot.after[shown] = self._next(spot, move, which, shown)
            spot = spot.after[shown]
        return minutes, HANDED_OVER

    # --- what happens ---

    def _rows(self, which: int) -> slice:
        return self.problem.rows[self.problem.check_names[which]]

    def _shown(self, truth: int, which: int, point: float) -> int:
        """The outcome a check shows, by its place in the check's list."""
        shown = np.cumsum(self.problem.suspect_likelihood[self._rows(which), truth])
        return min(int(np.searchsorted(shown, point * shown[-1])), len(shown) - 1)

    def _mended(self, truth: int, which: int, point: float) -> int:
        """What is left of the truth by a bundle of repairs; each takes with its own chance, all by one point."""
        for name in self.problem.bundles[which]:
            repair = self.problem.knowledge.repair[name]
            took = point < repair.success
            if took:
                truth = int(self._left(name)[truth])
            point = point / repair.success if took else (point - repair.success) / (1.0 - repair.success)
        return truth

    def _left(self, name: str) -> Places:
        return np.asarray(self.problem.left[self.problem.needed.index(name)])

    # --- what is believed then ---

    def _next(self, spot: Spot, move: int, which: int, shown: int) -> Spot:
        """The spot after a move: what a check showed counts; after a run the machine was not right, or it would be
        over.
        """
        ledger, turn = self.policy.ledger, spot.turn + 1
        if move == CHECK:
            done = spot.done.copy()
            done[which] = True
            like = self.problem.suspect_likelihood[self._rows(which).start + shown]
            chances = _scaled(spot.chances * like, spot.chances)
            return Spot(chances, int(ledger.check_next[spot.state, which]), done, turn, {})
        if move == REPAIR:
            # What was looked at before the repair may show something else now.
            state, done = int(ledger.bundle_next[spot.state, which]), np.zeros_like(spot.done)
            return Spot(self._not_right(self._after_repairs(spot.chances, which)), state, done, turn, {})
        return Spot(self._not_right(spot.chances), int(ledger.verify_next[spot.state, 0]), spot.done, turn, {})

    def _after_repairs(self, chances: Floats, which: int) -> Floats:
        for name in self.problem.bundles[which]:
            success = self.problem.knowledge.repair[name].success
            took = np.bincount(self._left(name), chances, minlength=len(chances))
            chances = success * took + (1.0 - success) * chances
        return chances

    def _not_right(self, chances: Floats) -> Floats:
        left = chances.copy()
        left[self.sound] = 0.0
        return _scaled(left, chances)

    # --- what is done then ---

    def _choice(self, spot: Spot) -> tuple[int, int]:
        """What the policy does at a spot, its classes' weights and likelihoods as they are there."""
        p, chances = self.problem, spot.chances / spot.chances.sum()
        weights = p.by_class(chances)
        here = copy.copy(self.policy)
        here.__dict__.pop("_noise", None)
        joint = p.by_class(p.suspect_likelihood * chances)
        here.like = np.where(weights > FAINT, joint / np.maximum(weights, FAINT), self.policy.like)
        here.__dict__["scale"] = max(float(self.policy.ledger.class_cost[spot.state] @ weights), 1e-9)
        row, state, bit_price = weights[None], np.array([spot.state]), self._bit_share * here.scale
        if p.refer_cost < float(here.value(row, state, bit_price)[0]):
            return REFER, 0
        choice = here.choose(row, state, spot.done[None], bit_price)
        return int(choice.move[0]), int(choice.which[0])

    @cached_property
    def _bit_share(self) -> float:
        """The price of a bit at which the policy does the job cheapest, as a share of the job's cost if the truth
        were told.
        """
        prices = np.array(BIT_PRICES) * self.policy.scale
        costs = Rollout(self.policy, STAGES[-1][0]).whole(self.problem.weights, prices)[:, MONEY]
        return BIT_PRICES[int(costs.argmin())]

    # --- the clock ---

    def _minutes(self, state: int, move: int, which: int) -> float:
        """Minutes of a move from a machine state, closing up charged with the opening."""
        p, here = self.problem, self.policy.ledger.states[state]
        if move == CHECK:
            return p.price_check(p.check_names[which], here).minutes
        if move == REPAIR:
            return p.price_repairs(p.bundles[which], here).minutes
        return p.price_check(p.knowledge.costs.verify, here).minutes


def _scaled(chances: Floats, before: Floats) -> Floats:
    """Chances that add up to 1; what cannot be told from none leaves the belief as it was."""
    total = chances.sum()
    return np.asarray(chances / total) if total > FAINT else before
