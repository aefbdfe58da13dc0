"""What every move costs from every machine state the technician may get into, as tables.

Machine states are numbered; 0 is the state now. Costs are money, access and the closing up that is owed included.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct

from faultodds.advice.classes import HOPELESS, SOUND
from faultodds.advice.machine import State, need_of
from faultodds.advice.problem import Problem
from faultodds.knowledge import Floats, Ints, Places

# Kinds of moves.
CHECK, REPAIR, RUN, REFER = 0, 1, 2, 3


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

    def _precise(self, table: Floats) -> Floats:
        return np.asarray(table, dtype=self.problem.precision)

    def _access(self, names: tuple[str, ...]) -> frozenset[str]:
        return frozenset(i for n in names for i in self.problem.knowledge.repair[n].access)

    @cached_property
    def _place(self) -> dict[State, int]:
        return {state: place for place, state in enumerate(self.states)}

    def _way(self, names: Sequence[str]) -> tuple[Floats, Ints]:
        """(S, n) minutes of some checks from each state, and the state after each; work with the same need has the same way."""
        work = [self.problem.knowledge.check[n] for n in names]
        needs = {need: place for place, need in enumerate(dict.fromkeys(map(need_of, work)))}
        which = np.array([needs[need_of(w)] for w in work], dtype=np.intp)
        ways = [[self.problem.machine.to_need(s, need) for need in needs] for s in self.states]
        minutes = np.array([[w.charged for w in row] for row in ways]).reshape(len(ways), -1)
        after = np.array([[self._place[w.after] for w in row] for row in ways], dtype=np.int64).reshape(minutes.shape)
        return minutes[:, which] + np.array([w.minutes for w in work]), after[:, which]

    @cached_property
    def _checks(self) -> tuple[Floats, Ints]:
        return self._way(self.problem.check_names)

    @cached_property
    def check_cost(self) -> Floats:
        """(S, C) price of each check from each state."""
        own = [self.problem.knowledge.check[n].cost for n in self.problem.check_names]
        return self._precise(self._checks[0] * self.problem.rate + np.array(own).reshape(-1))

    @property
    def check_next(self) -> Ints:
        """(S, C) state after it."""
        return self._checks[1]

    @cached_property
    def _verify(self) -> tuple[Floats, Ints]:
        return self._way([self.problem.knowledge.costs.verify])

    @cached_property
    def verify_cost(self) -> Floats:
        """(S, 1) price of a verification run."""
        return self._precise(self._verify[0] * self.problem.rate + self.problem.verify.cost)

    @property
    def verify_next(self) -> Ints:
        """(S, 1) state after it."""
        return self._verify[1]

    @cached_property
    def _bundles(self) -> tuple[Floats, Ints]:
        return self._trips(self._needs_of(self.bundle_masks))

    def _trips(self, needs: Floats) -> tuple[Floats, Ints]:
        """(S, n) minutes of some repairs (n, N) together with their run from each state, and the state after the run; what opens
        the same parts is the same trip."""
        p, items = self.problem, list(self.problem.knowledge.access)
        repairs = [p.knowledge.repair[n] for n in p.needed]
        opens = np.array([[i in r.access for i in items] for r in repairs], dtype=float).reshape(
            len(repairs), len(items)
        )
        kinds: dict[tuple[bool, ...], int] = {}
        which = np.array(
            [kinds.setdefault(tuple(row), len(kinds)) for row in (needs @ opens > 0).tolist()], dtype=np.intp
        )
        access = [frozenset(i for i, is_open in zip(items, kind, strict=True) if is_open) for kind in kinds]
        trips = [[p.trip(s, a) for a in access] for s in self.states]
        minutes = np.array([[t[1] for t in row] for row in trips]).reshape(len(trips), -1)
        after = np.array([[self._place[t[2]] for t in row] for row in trips], dtype=np.int64).reshape(minutes.shape)
        return minutes[:, which] + needs @ np.array([r.minutes for r in repairs]), after[:, which]

    def _parts(self, needs: Floats) -> Floats:
        """(n,) what the parts of some repairs (n, N) and one run cost beside the labour."""
        costs = np.array([self.problem.knowledge.repair[n].cost for n in self.problem.needed])
        return np.asarray(self.problem.verify.cost + needs @ costs)

    @cached_property
    def bundle_cost(self) -> Floats:
        """(S, U) price of each bundle with its verification run."""
        return self._precise(self._bundles[0] * self.problem.rate + self._parts(self._needs_of(self.bundle_masks)))

    @property
    def bundle_next(self) -> Ints:
        """(S, U) state after the run."""
        return self._bundles[1]

    def cost(self, kind: int) -> Floats:
        """(S, n) prices of the moves of a kind; the run is a table of one column."""
        return {CHECK: self.check_cost, REPAIR: self.bundle_cost, RUN: self.verify_cost}[kind]

    def minutes(self, kind: int) -> Floats:
        """(S, n) minutes of the moves of a kind."""
        return {CHECK: self._checks, REPAIR: self._bundles, RUN: self._verify}[kind][0]

    def next_state(self, kind: int) -> Ints:
        """(S, n) state after each move of a kind."""
        return {CHECK: self._checks, REPAIR: self._bundles, RUN: self._verify}[kind][1]

    @cached_property
    def bundle_masks(self) -> Ints:
        """(U,) repairs of each bundle as bits."""
        bit = {n: 1 << i for i, n in enumerate(self.problem.needed)}
        return np.array([sum(bit[n] for n in names) for names in self.problem.bundles], dtype=np.int64)

    @cached_property
    def bundle_success(self) -> Floats:
        """(U,) chance that every repair of a bundle takes."""
        takes = self.problem.takes
        return self._precise(np.array([float(np.prod([takes(n) for n in names])) for names in self.problem.bundles]))

    @cached_property
    def class_success(self) -> Floats:
        """(K,) chance that every repair which a class needs takes; what is done besides cannot fail it."""
        single = self.bundle_success[np.arange(len(self.problem.needed))]
        return np.asarray(np.prod(np.where(self.needs > 0, single, 1.0), axis=1), dtype=self.problem.precision)

    @cached_property
    def needs(self) -> Floats:
        """(K, N) 1 where a class needs a repair."""
        return self._needs_of(self.problem.masks)

    def _needs_of(self, masks: Ints) -> Floats:
        """(n, N) 1 where a repair is among those of a mask."""
        bits = np.arange(len(self.problem.needed))
        return ((np.maximum(masks, 0)[:, None] >> bits) & 1).astype(float)

    @cached_property
    def _classes(self) -> tuple[Floats, Floats]:
        """(S, K) money and minutes of finishing the job when the class is known; see `class_cost`."""
        p = self.problem
        minutes, after = self._trips(self.needs)
        single = np.arange(len(p.needed))
        fails = (1.0 - self.bundle_success[single]) / self.bundle_success[single]
        column = np.arange(len(p.masks))
        again = (fails * self._bundles[0][:, single]) @ self.needs.T
        parts = self._parts(self.needs) + self.needs @ (fails * self._parts(self._needs_of(self.bundle_masks))[single])
        minutes = minutes + again[after, column]
        minutes[:, (p.masks == SOUND) | (p.masks == HOPELESS)] = 0.0
        cost = minutes * p.rate + parts
        cost[:, p.masks == SOUND] = 0.0
        cost[:, p.masks == HOPELESS] = p.refer_cost
        return self._precise(cost), self._precise(minutes)

    @property
    def class_cost(self) -> Floats:
        """(S, K) expected price of finishing the job when the class is known: its repairs and one run, each repair that did
        not take done again until it does. Handing over costs what it costs, for what no repair here puts right."""
        return self._classes[0]

    @property
    def class_minutes(self) -> Floats:
        """(S, K) minutes of the same: none where there is nothing to repair, or nobody here who can."""
        return self._classes[1]

    @cached_property
    def least_cost(self) -> Floats:
        """(S, K) `class_cost`, or handing over where that is cheaper."""
        return self._precise(np.minimum(self.class_cost, self.problem.refer_cost))

    @cached_property
    def left(self) -> Places:
        """(U, A) place among the active suspects of what each bundle leaves of each when all its repairs take."""
        p = self.problem
        rest = np.tile(np.arange(len(p.active)), (len(p.bundles), 1))
        for u, names in enumerate(p.bundles):
            for name in names:
                rest[u] = p.left[p.needed.index(name), rest[u]]
        return rest
