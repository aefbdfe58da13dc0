"""The van's shelf between two restockings: how many of each part, for a number of calls of the shop's usual mix.

Calls are independent draws from the fault odds. How often a part is called for is then binomial, and the k-th copy of
it is worth the chance that at least k of the calls need it. Copies are chosen by that, each part by itself (a call
that needs two parts counts for each of them), exactly within the limits: the gains of one part's copies fall, so it
is a plain knapsack, solved as an integer program. On a small shelf the best load for one call (`stock.py`), which
knows stand-ins, may be better, and then it is taken. How many calls are then finished in one visit is played out with
the shelf running down, stand-ins and calls that need two parts included, at the same random numbers every time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats
from faultodds.stock.needs import FREE, Limit, Need
from faultodds.stock.stock import Stock

MOST_CALLS = 500
# Calls played out for one answer, over all shelves' worth of them.
PLAYED = 20_000
SEED = 0
# A copy is not carried for less than this share of a visit.
NOTHING = 1e-6


@dataclass(frozen=True)
class Copies:
    """Some copies of one part: `used` of them are expected to be, `short` is the chance that more are called for than
    there are, `worth` the visits they save in money (each part by itself), `carrying` what having them aboard costs
    over all the calls.
    """

    name: str
    count: int
    price: float
    used: float
    short: float
    worth: float
    carrying: float


@dataclass(frozen=True)
class Shelf:
    """A shelf for `calls` calls. `finished`: how many of them are expected to be finished in one visit; likewise with
    no part at all and with more of everything than can be used; `error` is the standard error of playing them out.
    """

    calls: int
    copies: tuple[Copies, ...]
    count: int
    price: float
    finished: float
    error: float
    without_parts: float
    with_every_part: float
    visit_cost: float


class Planner:
    """Shelves for a number of calls."""

    def __init__(self, stock: Stock, calls: int) -> None:
        if not 1 <= calls <= MOST_CALLS:
            raise FaultoddsError(f"{calls} calls between two restockings: from 1 to {MOST_CALLS}, such as --jobs 20.")
        self.stock, self.calls = stock, calls

    @cached_property
    def usual(self) -> dict[Need, str]:
        """The usual part of every need that can be met."""
        s = self.stock
        return {n: min(n, key=s.price_of_work) for n in s.needs if n and n != FREE}

    @cached_property
    def demand(self) -> dict[str, float]:
        """Chance that a call needs each part as its usual one, and can be finished with parts."""
        sets, mass = self.stock.groups
        out = dict.fromkeys(self.stock.parts, 0.0)
        for group, m in zip(sets.tolist(), mass.tolist(), strict=True):
            needs = [self.stock.needs[i] for i in group if i]
            if all(needs):
                for part in {self.usual[n] for n in needs}:
                    out[part] += m
        return out

    def at_least(self, part: str, copies: int) -> float:
        """Chance that at least so many of the calls need a part."""
        from scipy.special import betainc

        p = self.demand.get(part, 0.0)
        if copies <= 0 or p <= 0:
            return float(copies <= 0)
        return 0.0 if copies > self.calls else float(betainc(copies, self.calls - copies + 1, p))

    def best(self, limit: Limit | None = None) -> Shelf:
        """The best shelf within a limit; what is `carried` already (a part as often as there are copies) comes on
        top.
        """
        limit = limit or Limit()
        limit.check()
        carried = Counter(self.named(limit.carried))
        offers = [(n, k) for n in self.stock.parts for k in self._copies(n, carried[n])]
        by_copies = carried + Counter(name for name, _ in self._chosen(offers, limit))
        if limit.is_free:
            return self.judged(by_copies)
        # One of each of the parts that are best for a single call: better on a small shelf, where one part stands in for another.
        for_one = carried + Counter(p.name for p in self.stock.load(limit).parts if p.name not in carried)
        return max((self.judged(by_copies), self.judged(for_one)), key=lambda shelf: shelf.finished)

    def named(self, typed: Iterable[str]) -> list[str]:
        """Parts from what was typed, as often as they were."""
        return [self.stock.named([t])[0] for t in typed]

    def _copies(self, name: str, aboard: int) -> range:
        """The copies worth offering: those with more than next to no chance of being used."""
        last = aboard
        while last < self.calls and self.at_least(name, last + 1) > NOTHING:
            last += 1
        return range(aboard + 1, last + 1)

    def _chosen(self, offers: list[tuple[str, int]], limit: Limit) -> list[tuple[str, int]]:
        from scipy.optimize import Bounds, LinearConstraint, milp

        gain = np.array([self.at_least(n, k) for n, k in offers])
        if limit.is_free:
            carry = np.array([self.stock.carrying(n) * self.calls for n, _ in offers])
            return [o for o, good in zip(offers, gain * self.stock.visit_cost > carry, strict=True) if good]
        if not offers or self.stock.visit_cost <= 0:
            return []
        price = np.array([self.stock.knowledge.repair[n].cost for n, _ in offers])
        limits = [
            LinearConstraint(weight[None], -np.inf, most)
            for weight, most in ((price, limit.budget), (np.ones(len(offers)), limit.shelf))
            if most is not None
        ]
        found = milp(
            -gain + NOTHING * price / price.max(),
            integrality=np.ones(len(offers)),
            bounds=Bounds(0, 1),
            constraints=limits,
            options={"mip_rel_gap": 0.0},
        )
        if found.x is None:
            raise FaultoddsError(
                f"the shelf could not be weighed ({found.message}). Please report it with what you typed."
            )
        return [o for o, x in zip(offers, found.x, strict=True) if x > 0.5]

    def judged(self, aboard: Mapping[str, int]) -> Shelf:
        """Everything there is to say about a shelf."""
        rows = [self._row(n, c) for n, c in aboard.items() if c]
        finished, error = self._played(aboard)
        return Shelf(
            calls=self.calls,
            copies=tuple(sorted(rows, key=lambda c: (-c.worth, c.name))),
            count=sum(c.count for c in rows),
            price=sum(c.count * c.price for c in rows),
            finished=finished,
            error=error,
            without_parts=self.calls * self.stock.chance(()),
            with_every_part=self.calls * self.stock.chance(self.stock.parts),
            visit_cost=self.stock.visit_cost,
        )

    def _row(self, name: str, count: int) -> Copies:
        used = sum(self.at_least(name, k) for k in range(1, count + 1))
        carrying = self.stock.carrying(name) * self.calls * count
        price = self.stock.knowledge.repair[name].cost
        return Copies(name, count, price, used, self.at_least(name, count + 1), used * self.stock.visit_cost, carrying)

    def _played(self, aboard: Mapping[str, int]) -> tuple[float, float]:
        """Expected number of calls finished with the shelf running down, and its standard error."""
        sets, mass = self.stock.groups
        needs = [[self.stock.needs[i] for i in group if i] for group in sets.tolist()]
        shelves = max(20, PLAYED // self.calls)
        points = np.random.default_rng(SEED).random((shelves, self.calls))
        drawn = np.minimum(np.searchsorted(np.cumsum(mass) / mass.sum(), points), len(mass) - 1)
        done = np.array(
            [self._run_down(Counter(aboard), [needs[g] for g in row]) for row in drawn.tolist()], dtype=float
        )
        return _mean(done)

    def _run_down(self, left: Counter[str], calls: list[list[Need]]) -> int:
        """How many of these calls are finished, one after the other, from one shelf; what they use is gone."""
        finished = 0
        for needs in calls:
            used = self._uses(left, needs)
            if used is not None:
                finished += 1
                left.subtract(used)
        return finished

    def _uses(self, left: Counter[str], needs: list[Need]) -> list[str] | None:
        """The parts a call takes from what is left; None when it cannot be finished with them."""
        used, extra = [], 0.0
        for need in needs:
            there = [n for n in need if left[n] > 0]
            if not there:
                return None
            used.append(min(there, key=self.stock.price_of_work))
            extra += self.stock.price_of_work(used[-1]) - self.stock.price_of_work(self.usual[need])
        return list(dict.fromkeys(used)) if extra == 0 or extra < self.stock.visit_cost else None


def _mean(done: Floats) -> tuple[float, float]:
    return float(done.mean()), float(done.std() / len(done) ** 0.5)
