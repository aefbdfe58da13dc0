"""Before the visit: which parts to have in the van, and the chance of finishing in one visit with them.

The rule. A *part* is what a repair with a price needs that is not done by others. A fault is put right on this visit
when some repair that fixes it needs no part or has its part in the van; the cheapest such repair is the usual one,
and a dearer one stands in for it only where the difference, labour and part, is less than another visit costs. A call
is finished in one visit when every fault the machine has is put right (a machine with nothing wrong needs nothing). A
fault that only others put right, or that is not on the file's list, is never finished on this visit, whatever is
carried. Checks are taken to find the fault, and repairs to take.

So each suspect needs one part out of each of a few sets, and the chance of finishing is the posterior mass of the
suspects all of whose sets are met. What a load is worth is the visits it saves in money, less what its stand-ins
cost. A machine that needs two parts gains nothing from one of them, so that taking the best part first and then the
next best can go wrong: the choice is made by integer programming (`stock_choice.py`), which proves its answer to be
the best.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from faultodds.advice import Situation
from faultodds.belief import Appliance, Belief, likely
from faultodds.errors import FaultoddsError, unknown
from faultodds.knowledge import UNLISTED_MODE, Floats, Knowledge, Repair, repair_modes
from faultodds.names import match
from faultodds.records import dataclass
from faultodds.shop import Van

Ints = npt.NDArray[np.int64]
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


@dataclass(frozen=True)
class PartValue:
    """One part (by its repair), and what it adds to the others aboard.

    `saves`: chance of finishing, and so the expected number of further visits saved; `worth`: money, stand-ins saved
    counted in; `carrying`: what having it aboard for one call costs; `needed`: chance of a fault for which it is the
    usual part; `stands_in`: usual parts that are not aboard and for which it does.
    """

    name: str
    price: float
    saves: float
    worth: float
    carrying: float
    needed: float
    stands_in: tuple[str, ...] = ()


@dataclass(frozen=True)
class Load:
    """A van for one call: the parts aboard and those left behind, what matters most first.

    `worth`: what the load saves, and `most_worth` a proven bound on that of any load within the limits.
    `without_parts` and `with_every_part`: chance of finishing with an empty van and with everything. `others`: chance
    of a fault that only others put right; `nobody`: of one that is not on the list or that no repair here fixes.
    """

    parts: tuple[PartValue, ...]
    left: tuple[PartValue, ...]
    price: float
    chance: float
    worth: float
    most_worth: float
    without_parts: float
    with_every_part: float
    others: float
    nobody: float
    visit_cost: float


def is_part(repair: Repair) -> bool:
    """Whether a repair needs a part from the van."""
    return repair.cost > 0 and not repair.by_others


@dataclass
class Stock:
    """What parts would do for one call. `situation` tells who goes (`qualified`) and what cannot be done."""

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
        s, p = self.belief.suspects, self.belief.now
        place = [self.needs.index(self.mode_needs[m]) for m in s.modes]
        easier = self._easier
        masses: dict[tuple[int, ...], float] = {}
        for h in likely(p, DROPPED).tolist():
            found = {place[i] for i in np.flatnonzero(s.member[h]).tolist()} - {0}
            hard = tuple(sorted(found - set().union(*(easier[i] for i in found)))) if len(found) > 1 else tuple(found)
            masses[hard] = masses.get(hard, 0.0) + float(p[h])
        width = max((len(g) for g in masses), default=0) or 1
        rows = [[*g, *[0] * (width - len(g))] for g in masses]
        return np.array(rows, dtype=np.int64).reshape(-1, width), np.array(list(masses.values()))

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
        sets, mass = self.groups
        extras = np.array([self.extra(n, frozenset(aboard)) for n in self.needs])[sets].sum(axis=1)
        finished = (extras == 0) | (extras < self.visit_cost)
        worth = mass[finished] @ (self.visit_cost - extras[finished])
        return float(mass[finished].sum()), float(worth)

    def chance(self, aboard: Iterable[str]) -> float:
        """Chance of finishing in one visit with these parts aboard."""
        return self.outcome(aboard)[0]

    # --- what to carry ----------------------------------------------------------------------------------------------

    def load(self, limit: Limit | None = None) -> Load:
        """The best load within a limit. Raises FaultoddsError for a limit that makes no sense, UnknownName for a
        part.
        """
        from faultodds.stock.choice import best

        limit = limit or Limit()
        limit.check()
        carried = self.named(limit.carried)
        chosen, most = best(self, limit, frozenset(carried))
        return self.judged([*chosen, *(n for n in carried if n not in chosen)], most)

    def judge(self, carried: Iterable[str]) -> Load:
        """A given van as it is."""
        names = self.named(carried)
        return self.judged(names, self.outcome(names)[1])

    def named(self, typed: Iterable[str]) -> list[str]:
        """Parts from what was typed. One that this call cannot need is taken, and adds nothing."""
        k = self.knowledge
        parts = {n: r.title for n, r in k.repair.items() if is_part(r)}
        out = []
        for text in typed:
            if text in k.repair and text not in parts:
                raise unknown("part", text, parts, f"The repair '{text}' needs none from the van.")
            out.append(match("part", text, parts, parts))
        return list(dict.fromkeys(out))

    def judged(self, aboard: Sequence[str], most_worth: float) -> Load:
        """Everything there is to say about a load."""
        chance, worth = self.outcome(aboard)
        now = (chance, worth)
        with_it = [self._value(n, aboard, now, self.outcome([a for a in aboard if a != n])) for n in aboard]
        left = [self._value(n, aboard, self.outcome([*aboard, n]), now) for n in self.parts if n not in aboard]
        others, nobody = self._never
        return Load(
            parts=tuple(sorted(with_it, key=lambda v: -v.worth)),
            left=tuple(sorted(left, key=lambda v: -v.worth)),
            price=float(sum(self.knowledge.repair[n].cost for n in aboard)),
            chance=chance,
            worth=worth,
            most_worth=max(most_worth, worth),
            without_parts=self.chance(()),
            with_every_part=self.chance(self.parts),
            others=others,
            nobody=nobody,
            visit_cost=self.visit_cost,
        )

    def _value(
        self, name: str, aboard: Sequence[str], more: tuple[float, float], less: tuple[float, float]
    ) -> PartValue:
        """One part, from chance and worth with it and without it."""
        saves, worth = (max(a - b, 0.0) for a, b in zip(more, less, strict=True))
        usual = [min(n, key=self.price_of_work) for n in self.needs if name in n]
        return PartValue(
            name=name,
            price=self.knowledge.repair[name].cost,
            saves=saves,
            worth=worth,
            carrying=self.carrying(name),
            needed=self._chance_of(self._modes_for(name)),
            stands_in=tuple(dict.fromkeys(u for u in usual if u != name and u not in aboard)),
        )

    def _modes_for(self, name: str) -> list[str]:
        """The modes for which it is the usual part."""
        return [m for m, need in self.mode_needs.items() if name in need and not self.extra(need, frozenset([name]))]

    @property
    def _never(self) -> tuple[float, float]:
        """Chance of a fault that only others put right (and of none that nobody here does), and of one that nobody
        here does.
        """
        by_others = {m for r in self.repairs.values() if r.by_others for m in repair_modes(self.knowledge, r)}
        hopeless = [m for m, need in self.mode_needs.items() if not need]
        nobody = self._chance_of([m for m in hopeless if m not in by_others])
        return self._chance_of(hopeless) - nobody, nobody

    def _chance_of(self, modes: Sequence[str]) -> float:
        """Chance that the machine has one or more of these modes."""
        s = self.belief.suspects
        return float(self.belief.now @ s.member[:, [s.mode_index[m] for m in modes]].any(axis=1))
