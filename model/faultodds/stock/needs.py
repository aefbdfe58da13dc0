"""What a call may need from the van, and what a load of parts would do for it.

The rule. A *part* is what a repair with a price needs that is not done by others. A fault is put right on this visit
when some repair that fixes it needs no part or has its part in the van; the cheapest such repair is the usual one,
and a dearer one stands in for it only where the difference, labour and part, is less than another visit costs. A call
is finished in one visit when every fault the machine has is put right (a machine with nothing wrong needs nothing). A
fault that only others put right, or that is not on the file's list, is never finished on this visit, whatever is
carried. Checks are taken to find the fault, and repairs to take.

So each suspect needs one part out of each of a few sets, and the chance of finishing is the posterior mass of the
suspects all of whose sets are met. What a load is worth is the visits it saves in money, less what its stand-ins
cost. A machine that needs two parts gains nothing from one of them, so that taking the best part first and then the
next best can go wrong: the choice is made by integer programming (`choice.py`), which proves its answer to be
the best.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from faultodds.advice import Situation
from faultodds.belief import Appliance, Belief, likely
from faultodds.errors import FaultoddsError
from faultodds.knowledge import UNLISTED_MODE, Floats, Ints, Knowledge, Repair, repair_modes
from faultodds.shop import Van

Need = tuple[str, ...]
"""Parts of which one is enough, in file order. `FREE` needs none; an empty one cannot be met here."""
FREE: Need = ("",)

# Suspects that add up to no more than this are left out of the choice, and count as not finished.
DROPPED = 1e-6


@dataclass(frozen=True)
class Limit:
    """What limits the van: `budget` in money, `shelf` in number of parts; `carried` is aboard already, outside the
    limits.

    With neither, what is carried is worth more than carrying it costs.
    """

    budget: float | None = None
    shelf: int | None = None
    carried: tuple[str, ...] = ()

    @property
    def is_free(self) -> bool:
        """Whether nothing limits the van."""
        return self.budget is None and self.shelf is None

    def check(self) -> None:
        """Raise FaultoddsError for a limit that makes no sense."""
        if self.budget is not None and not 0 <= self.budget < np.inf:
            raise FaultoddsError(f"a budget of {self.budget:g}: it is an amount of 0 or more, such as --budget 200.")
        if self.shelf is not None and self.shelf < 0:
            raise FaultoddsError(f"a shelf of {self.shelf} parts: it is a number of 0 or more, such as --shelf 6.")


def is_part(repair: Repair) -> bool:
    """Whether a repair needs a part from the van."""
    return repair.cost > 0 and not repair.by_others


@dataclass
class Needs:
    """What the faults of one call need from the van. `situation` tells who goes (`qualified`) and what cannot be done."""

    appliance: Appliance
    belief: Belief
    situation: Situation = field(default_factory=Situation)

    @property
    def knowledge(self) -> Knowledge:
        """The appliance's knowledge file, at the shop's prices."""
        return self.appliance.knowledge

    @cached_property
    def repairs(self) -> dict[str, Repair]:
        """Repairs this technician may do and this machine may need; equipment that is not known rules nothing out."""
        facts = self.belief.evidence.facts
        return {
            name: repair
            for name, repair in self.knowledge.repair.items()
            if name not in self.situation.skipped
            and (self.situation.qualified or not repair.qualified)
            and all(facts.get(f, v) == v for f, v in repair.needs.items())
        }

    @cached_property
    def parts(self) -> list[str]:
        """The repairs that need a part, in file order."""
        return [n for n, r in self.repairs.items() if is_part(r)]

    @cached_property
    def visit_cost(self) -> float:
        """What another visit costs: a wasted visit, and getting there."""
        return self.knowledge.costs.callback + self.knowledge.costs.travel

    def carrying(self, name: str) -> float:
        """What having a part aboard for one call costs."""
        used = self.appliance.shop
        return self.knowledge.repair[name].cost * (Van().carrying if used is None else used.carrying)

    def price_of_work(self, name: str) -> float:
        """Labour and part of a repair."""
        rate = self.situation.labour_rate
        rate = self.knowledge.costs.labour_rate if rate is None else rate
        return self.repairs[name].minutes * rate / 60.0 + self.repairs[name].cost

    # --- what each suspect needs ------------------------------------------------------------------------------------

    @cached_property
    def mode_needs(self) -> dict[str, Need]:
        """For each mode the parts of which one is enough."""
        found: dict[str, list[str]] = {m: [] for m in self.belief.suspects.modes}
        for name, repair in self.repairs.items():
            for mode in repair_modes(self.knowledge, repair):
                found[mode] += [name] if is_part(repair) else [""] if not repair.by_others else []
        return {m: FREE if "" in names and m != UNLISTED_MODE else tuple(names) for m, names in found.items()}

    @cached_property
    def needs(self) -> list[Need]:
        """The distinct needs; the first is FREE."""
        return list(dict.fromkeys([FREE, *self.mode_needs.values()]))

    @cached_property
    def groups(self) -> tuple[Ints, Floats]:
        """(G, W) the needs of suspects that need the same, by place in `needs`, filled up with 0 (FREE); (G,) their
        mass.
        """
        return self._grouped[0], self.masses(self.belief.now)

    def masses(self, weights: Floats) -> Floats:
        """(G,) or (V, G) the mass of each group, from (H,) or (V, H) weights of the suspects."""
        sets, kept, group = self._grouped
        rows = [np.bincount(group, weights=w, minlength=len(sets)) for w in np.atleast_2d(weights)[:, kept]]
        return np.array(rows, dtype=np.float64).reshape(*np.shape(weights)[:-1], len(sets))

    @cached_property
    def _grouped(self) -> tuple[Ints, Ints, Ints]:
        """(G, W) the needs of each group; (K,) the suspects that are kept; (K,) the group of each."""
        s = self.belief.suspects
        place = [self.needs.index(self.mode_needs[m]) for m in s.modes]
        easier, kept = self._easier, likely(self.belief.now, DROPPED)
        groups: dict[tuple[int, ...], int] = {}
        of = []
        for h in kept.tolist():
            found = {place[i] for i in np.flatnonzero(s.member[h]).tolist()} - {0}
            hard = tuple(sorted(found - set().union(*(easier[i] for i in found)))) if len(found) > 1 else tuple(found)
            of.append(groups.setdefault(hard, len(groups)))
        width = max((len(g) for g in groups), default=0) or 1
        rows = [[*g, *[0] * (width - len(g))] for g in groups]
        return np.array(rows, dtype=np.int64).reshape(-1, width), kept, np.array(of, dtype=np.int64)

    @cached_property
    def _easier(self) -> list[set[int]]:
        """For each need the others that are met whenever it is: those that list all its parts and more."""
        sets = [frozenset(n) for n in self.needs]
        return [{j for j, b in enumerate(sets) if a and a < b} for a in sets]

    def extra(self, need: Need, aboard: frozenset[str]) -> float:
        """What it costs to meet a need from the van, over the usual repair: 0 when that is aboard, infinite when none
        is.
        """
        if need == FREE:
            return 0.0
        usual = min((self.price_of_work(n) for n in need), default=0.0)
        return min((self.price_of_work(n) - usual for n in need if n in aboard), default=float("inf"))

    def outcome(self, aboard: Iterable[str]) -> tuple[float, float]:
        """Chance of finishing in one visit with these parts, and what they are worth against never finishing: in
        money.
        """
        mass, finished, saved = self.groups[1], *self.finishing(aboard)
        return float(mass[finished].sum()), float(saved @ mass)

    def finishing(self, aboard: Iterable[str]) -> tuple[npt.NDArray[np.bool_], Floats]:
        """(G,) which groups are finished in one visit with these parts, and (G,) the money it saves: another visit, less what
        stand-ins cost; 0 where one is not finished.
        """
        extras = np.array([self.extra(n, frozenset(aboard)) for n in self.needs])[self.groups[0]].sum(axis=1)
        finished = (extras == 0) | (extras < self.visit_cost)
        return finished, np.asarray(np.where(finished, self.visit_cost - extras, 0.0))

    def chance(self, aboard: Iterable[str]) -> float:
        """Chance of finishing in one visit with these parts aboard."""
        return self.outcome(aboard)[0]

    # --- what to carry ----------------------------------------------------------------------------------------------
