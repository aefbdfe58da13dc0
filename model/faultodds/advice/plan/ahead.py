"""What lies ahead on a job: money, minutes on site, and the chance of finishing today.

Money for the next move comes from rollout (`ranking.py`). Minutes and the chance of finishing are added up here, by
following the base policy to the end of the job and keeping count on the way.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultodds.advice.ledger import Ledger
from faultodds.advice.policy import CHECK, REPAIR, RUN, Choice, Policy
from faultodds.advice.problem import HOPELESS, SOUND, Problem
from faultodds.advice.ranking import BIT_PRICES, Ranking
from faultodds.advice.rollout import DEPTH, MONEY, Front, Rollout
from faultodds.knowledge import Floats

# Branches less likely than this are settled at what their repairs take, plus labour for what is not known yet.
LEAST = 0.004
# When what is still followed adds up to less than this the rest is settled too.
TAIL = 0.02
# `Front.move` tells apart the branches that this technician finishes and those where others have work to do.
OURS, OTHERS = 0, 1


@dataclass(frozen=True)
class Ahead:
    """Expected money and minutes on site to the end of the job, and the chance of finishing today.

    `today`: the machine is right and has passed its run when the technician leaves; nothing is handed over, no part of
    the work is left to others, and nobody has to come back.
    """

    cost: float
    minutes: float
    today: float

    def plus(self, cost: float, minutes: float) -> Ahead:
        """The same with some work before it."""
        return Ahead(self.cost + cost, self.minutes + minutes, self.today)


def mixed(parts: list[tuple[float, Ahead]]) -> Ahead:
    """The mean of several, each with its chance; the chances are scaled to 1."""
    total = sum(p for p, _ in parts)
    if total <= 0:
        return Ahead(0.0, 0.0, 0.0)
    return Ahead(*(sum(p * getattr(a, f) for p, a in parts) / total for f in ("cost", "minutes", "today")))


def look_ahead(problem: Problem) -> Ahead:
    """What the base policy makes of the job from here, of those that the advice tries the cheaper one; or leaving, where the
    machine has passed its run and that costs less."""
    ways = [_Follow(problem, share).total() for share in BIT_PRICES]
    if problem.verified:
        ways.append(Ahead(Ranking(problem).stop_cost, 0.0, problem.belief.sound))
    return min(ways, key=lambda a: a.cost)


class _Follow:
    """One base policy followed to the end of every branch that is likely enough."""

    def __init__(self, problem: Problem, share: float) -> None:
        self.problem = problem
        self.ledger = Ledger(problem)
        self.policy = Policy(problem, self.ledger)
        self.bit_price = share * self.policy.scale
        self.cost = self.minutes = self.today = 0.0

    def total(self) -> Ahead:
        """Add everything up."""
        rollout = Rollout(self.policy, LEAST)
        front, paid = rollout.start(self.problem.class_weights, 1), np.zeros((2, 4))
        for _ in range(DEPTH):
            weight = front.weights.sum(axis=1)
            small = (weight < LEAST) | (weight[weight >= LEAST].sum() < TAIL)
            self._settle(front.pick(small))
            front = front.pick(~small)
            if not len(front):
                break
            front = self._move(rollout, front, paid)
        self._settle(front)
        return Ahead(self.cost + float(paid[:, MONEY].sum()), self.minutes, min(self.today, 1.0))

    def _move(self, rollout: Rollout, front: Front, paid: Floats) -> Front:
        """One move of the policy in every branch."""
        choice = self.policy.choose(front.weights, front.state, front.done, self.bit_price)
        self.minutes += float(front.weights.sum(axis=1) @ self._minutes_of(front, choice))
        repair = np.flatnonzero(choice.move == REPAIR)
        front.move = front.move.copy()
        front.move[repair[self._by_others[choice.which[repair]]]] = OTHERS
        runs = np.isin(choice.move, (REPAIR, RUN))
        parts = []
        for rows in (np.flatnonzero(~runs), np.flatnonzero(runs)):
            after = rollout.step(front.pick(rows), choice.move[rows], choice.which[rows], paid)
            parts.append(self._run_seen(front.pick(rows), after) if runs[rows].any() else after)
        return Front.join(parts)

    def _run_seen(self, before: Front, after: Front) -> Front:
        """What goes on after a run: what is right is done, and so, for now, is what is wrong and passes all the same."""
        ours = before.move == OURS
        self.today += float(before.weights[ours].sum() - after.weights[after.move == OURS].sum())
        missed = (after.weights * self._passes).sum(axis=0)
        self.cost += float(missed @ (self.problem.callback_cost + self.ledger.class_cost[0]))
        after.weights = after.weights * (1.0 - self._passes)
        return after

    def _minutes_of(self, front: Front, choice: Choice) -> Floats:
        minutes = np.zeros(len(front))
        for kind, table in ((CHECK, self._check_minutes), (REPAIR, self._bundle_minutes), (RUN, self._run_minutes)):
            rows = np.flatnonzero(choice.move == kind)
            if len(rows):
                column = choice.which[rows] if kind != RUN else np.zeros(len(rows), dtype=np.int64)
                minutes[rows] = table[front.state[rows], column]
        return minutes

    def _settle(self, front: Front) -> None:
        """Branches not followed: their repairs if the truth were told, and labour for the bits still missing."""
        if not len(front):
            return
        missing = self.bit_price * float(self.policy.missing_bits(front.weights).sum())
        self.cost += float((front.weights * self.ledger.class_cost[front.state]).sum()) + missing
        self.minutes += float((front.weights * self._class_minutes[front.state]).sum())
        self.minutes += missing / self.problem.rate if self.problem.rate > 0 else 0.0
        self.today += float((front.weights[front.move == OURS] @ self._class_today).sum())

    # --- tables: minutes from every machine state, closing up included ---------------------------------------------------

    @cached_property
    def _check_minutes(self) -> Floats:
        """(S, C)."""
        p = self.problem
        rows = [[p.price_check(n, s).minutes for n in p.check_names] for s in self.ledger.states]
        return np.array(rows).reshape(len(rows), -1)

    @cached_property
    def _run_minutes(self) -> Floats:
        """(S, 1)."""
        p = self.problem
        return np.array([[p.price_check(p.knowledge.costs.verify, s).minutes] for s in self.ledger.states])

    @cached_property
    def _bundle_minutes(self) -> Floats:
        """(S, U)."""
        return self._repair_minutes(self.problem.bundles)

    @cached_property
    def _class_minutes(self) -> Floats:
        """(S, K) minutes when the class is known: none where there is nothing to repair, or nobody here who can."""
        p = self.problem
        minutes = self._repair_minutes([p.names(m) for m in p.masks.tolist()])
        minutes[:, (p.masks == SOUND) | (p.masks == HOPELESS)] = 0.0
        return minutes

    def _repair_minutes(self, bundles: list[tuple[str, ...]]) -> Floats:
        """(S, len(bundles)) repairs done together and the run after them."""
        p, repair = self.problem, self.problem.knowledge.repair
        access = [frozenset(i for n in names for i in repair[n].access) for names in bundles]
        work = np.array([sum(repair[n].minutes for n in names) for names in bundles])
        trips = np.array([[p.trip(s, a)[1] for a in access] for s in self.ledger.states])
        return np.asarray(trips.reshape(len(self.ledger.states), -1) + work)

    @cached_property
    def _passes(self) -> Floats:
        """(K,) chance that a run looks good all the same when the class is wrong."""
        p = self.problem
        row = p.belief.suspects.rows[p.knowledge.costs.verify].start
        good = p.belief.suspects.likelihood[row, p.active]
        passes = ((good * p.weights) @ p.to_class) / np.where(p.class_weights > 0, p.class_weights, 1.0)
        return np.asarray(np.where(p.class_weights > 0, passes, 0.0))

    @cached_property
    def _by_others(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """(U,) whether part of a bundle is somebody else's work."""
        repair = self.problem.knowledge.repair
        return np.array([any(repair[n].by_others for n in names) for names in self.problem.bundles], dtype=bool)

    @cached_property
    def _class_today(self) -> Floats:
        """(K,) 1 where the technician can put the class right, and does rather than hand it over."""
        p, repair = self.problem, self.problem.knowledge.repair
        names = [p.names(m) for m in p.masks.tolist()]
        ours = np.array([not any(repair[n].by_others for n in bundle) for bundle in names])
        kept = (p.masks != HOPELESS) & (self.ledger.class_cost[0] < p.refer_cost)
        return np.asarray(ours & kept, dtype=float)
