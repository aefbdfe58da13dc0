"""What every move costs from every machine state the technician may get into, as tables.

Machine states are numbered; 0 is the state now. Costs are money, access and the closing up that is owed included.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from msgspec import Struct

from faultodds.advice.machine import State, need_of
from faultodds.advice.problem import HOPELESS, SOUND, Ints, Problem
from faultodds.knowledge import Floats


class Ledger(Struct, dict=True):
    """Prices for one problem. Shapes: S states, C open checks, U bundles, K classes, N needed repairs."""

    problem: Problem

    @cached_property
    def states(self) -> list[State]:
        """Every machine state that open checks and bundles lead to, in the order they are met."""
        p = self.problem
        found = [p.situation.state]
        work = [p.knowledge.check[n] for n in p.check_names] + [p.verify]
        needs = list(dict.fromkeys(need_of(w) for w in work))
        trips = list({self._access(names): None for names in p.bundles})
        for state in found:
            after = [p.machine.to_need(state, need).after for need in needs]
            after += [p.trip(state, access)[2] for access in trips]
            found += [s for s in dict.fromkeys(after) if s not in found]
        return found

    def _access(self, names: tuple[str, ...]) -> frozenset[str]:
        return frozenset(i for n in names for i in self.problem.knowledge.repair[n].access)

    @cached_property
    def _checks(self) -> tuple[Floats, Ints]:
        p = self.problem
        prices = [[p.price_check(n, s) for n in p.check_names] for s in self.states]
        cost = np.array([[x.cost for x in row] for row in prices]).reshape(len(self.states), -1)
        after = [[self.states.index(x.way.after) for x in row] for row in prices]
        return cost, np.array(after, dtype=np.int64).reshape(cost.shape)

    @property
    def check_cost(self) -> Floats:
        """(S, C) price of each check from each state."""
        return self._checks[0]

    @property
    def check_next(self) -> Ints:
        """(S, C) state after it."""
        return self._checks[1]

    @cached_property
    def _verify(self) -> tuple[Floats, Ints]:
        p = self.problem
        prices = [p.price_check(p.knowledge.costs.verify, s) for s in self.states]
        after = [self.states.index(x.way.after) for x in prices]
        return np.array([x.cost for x in prices]), np.array(after, dtype=np.int64)

    @property
    def verify_cost(self) -> Floats:
        """(S,) price of a verification run."""
        return self._verify[0]

    @property
    def verify_next(self) -> Ints:
        """(S,) state after it."""
        return self._verify[1]

    @cached_property
    def _bundles(self) -> tuple[Floats, Ints]:
        p = self.problem
        own = np.array([self._own(names) for names in p.bundles])
        trips = [[p.trip(s, self._access(names)) for names in p.bundles] for s in self.states]
        minutes = np.array([[t[1] for t in row] for row in trips]).reshape(len(self.states), -1)
        after = [[self.states.index(t[2]) for t in row] for row in trips]
        cost = minutes * p.rate + p.verify.cost + own
        return cost, np.array(after, dtype=np.int64).reshape(cost.shape)

    def _own(self, names: tuple[str, ...]) -> float:
        """Labour and parts of some repairs, without access."""
        work = [self.problem.knowledge.repair[n] for n in names]
        return sum(w.minutes * self.problem.rate + w.cost for w in work)

    @property
    def bundle_cost(self) -> Floats:
        """(S, U) price of each bundle with its verification run."""
        return self._bundles[0]

    @property
    def bundle_next(self) -> Ints:
        """(S, U) state after the run."""
        return self._bundles[1]

    @cached_property
    def bundle_masks(self) -> Ints:
        """(U,) repairs of each bundle as bits."""
        bit = {n: 1 << i for i, n in enumerate(self.problem.needed)}
        return np.array([sum(bit[n] for n in names) for names in self.problem.bundles], dtype=np.int64)

    @cached_property
    def bundle_success(self) -> Floats:
        """(U,) chance that every repair of a bundle takes."""
        repair = self.problem.knowledge.repair
        return np.array([float(np.prod([repair[n].success for n in names])) for names in self.problem.bundles])

    @cached_property
    def needs(self) -> Floats:
        """(K, N) 1 where a class needs a repair."""
        bits = np.arange(len(self.problem.needed))
        masks = np.maximum(self.problem.masks, 0)
        return ((masks[:, None] >> bits) & 1).astype(float)

    @cached_property
    def class_cost(self) -> Floats:
        """(S, K) expected price of finishing the job when the class is known: its repairs and one run, each repair that did
        not take done again until it does; or handing over where that is cheaper."""
        p = self.problem
        own = np.array([self._own((n,)) for n in p.needed]).reshape(-1)
        access = [self._access(p.names(m)) for m in p.masks.tolist()]
        trips = [[p.trip(s, a) for a in access] for s in self.states]
        minutes = np.array([[t[1] for t in row] for row in trips])
        after = np.array([[self.states.index(t[2]) for t in row] for row in trips])
        single = np.arange(len(p.needed))
        fails = (1.0 - self.bundle_success[single]) / self.bundle_success[single]
        again = (fails * self.bundle_cost[:, single]) @ self.needs.T
        cost = minutes * p.rate + p.verify.cost + self.needs @ own + again[after, np.arange(len(p.masks))]
        cost[:, p.masks == SOUND] = 0.0
        cost[:, p.masks == HOPELESS] = p.refer_cost
        return np.asarray(np.minimum(cost, p.refer_cost))

    @cached_property
    def left(self) -> Ints:
        """(U, K) class that is left of class k when bundle u has been done."""
        masks = self.problem.masks
        rest = np.where(masks[None, :] == HOPELESS, HOPELESS, masks[None, :] & ~self.bundle_masks[:, None])
        return np.searchsorted(masks, rest)
