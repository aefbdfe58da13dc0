"""Before the visit: which parts to have in the van, and the chance of finishing in one visit with them.

What a call needs is worked out in `needs.py`, the best load in `choice.py`; here they become loads that can be told.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from faultodds.errors import unknown
from faultodds.knowledge import repair_modes
from faultodds.names import match
from faultodds.stock.choice import best
from faultodds.stock.needs import Limit, Needs, is_part


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


@dataclass
class Stock(Needs):
    """What parts would do for one call. `situation` tells who goes (`qualified`) and what cannot be done."""

    _loads: dict[Limit, Load] = field(default_factory=dict, init=False, repr=False)

    def load(self, limit: Limit | None = None) -> Load:
        """The best load within a limit. Raises FaultoddsError for a limit that makes no sense, UnknownName for a
        part.
        """
        limit = limit or Limit()
        limit.check()
        if limit not in self._loads:
            self._loads[limit] = self._best(limit)
        return self._loads[limit]

    def _best(self, limit: Limit) -> Load:
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
