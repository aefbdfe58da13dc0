"""How well symptoms and checks show a fault, and what parts two: chances read off the two arrays, nothing new."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from faultodds.belief import Appliance, Belief, Evidence, Suspects, infer
from faultodds.cards.naming import mended_by
from faultodds.errors import FaultoddsError
from faultodds.knowledge import NOTHING_WRONG, Check, Floats
from faultodds.names import capital

# Work for qualified people comes last while anything else parts two faults in three calls of four.
PARTS_WELL = 0.5
# Checks that part two faults about as well: the quickest of them is named.
ABOUT_AS_WELL = 0.05


class Shown(Struct, frozen=True):
    """What a symptom or check shows: its most telling `outcome`, the chance of it on calls `with_it` and `without`.

    `bits`: how much that outcome, shown or not, tells on average on a call with the fault (relative entropy).
    """

    name: str
    outcome: str
    with_it: float
    without: float
    bits: float


class Parting(Struct, frozen=True):
    """A check that parts fault A from fault B: its `outcome` that speaks most for A, its chance `if_a` and `if_b`.

    `apart`: how far the chances of all outcomes differ (total variation, 0 to 1).
    """

    check: str
    outcome: str
    if_a: float
    if_b: float
    apart: float


class Calls:
    """Calls of this shop's usual mix, under what is told of the machine: what they show, with a fault and without it."""

    def __init__(self, appliance: Appliance, facts: Mapping[str, str] | None = None) -> None:
        self.appliance, self.knowledge = appliance, appliance.knowledge
        self.suspects: Suspects = appliance.suspects
        self.belief: Belief = infer(self.suspects, Evidence(facts or {}))
        self.chance = dict(zip(self.suspects.modes, self.belief.mode_odds.tolist(), strict=True))
        self.chance[NOTHING_WRONG] = self.belief.sound

    def there(self, mode: str) -> bool:
        """Whether a machine of this kind can have the fault at all."""
        return float(self.chance[mode]) > 0

    def absent(self, mode: str) -> str:
        """Why no machine of this kind has a fault, in words to stand alone; empty where it can be there."""
        if self.there(mode):
            return ""
        told = self.belief.evidence.facts.items()
        without = (f"{f} is {v}" for f, v in told if mode in self.suspects.lacks.get(f, {}).get(v, ()))
        if why := next(without, ""):
            return f"{capital(self.knowledge.component[mode.partition('.')[0]].title)}: not on this machine ({why})."
        return f"{capital(self.knowledge.title_of(mode))}: this file gives it no chance."

    def can_do(self, check: Check) -> bool:
        """Whether a check can be done on this machine, as far as it is told."""
        return all(self.belief.evidence.facts.get(f, v) == v for f, v in check.needs.items())

    def rows(self, mode: str, but: str = "") -> Floats:
        """(R,) chance of every outcome on calls where a mode is there, and `but` is not."""
        return self._on_calls(self.suspects.likelihood, mode, but)

    def _on_calls(self, likelihood: Floats, mode: str, but: str) -> Floats:
        """Some rows of the likelihood, weighed over the suspects that have a mode and not another: few of them all. Raises
        FaultoddsError for a fault that no such machine has: chances on no calls are none."""
        if absent := self.absent(mode) or (but and self.absent(but)):
            raise FaultoddsError(absent)
        has = self._having(mode)
        where = np.flatnonzero(has & ~self._having(but) if but else has)
        weight = self.belief.prior[where]
        return np.asarray(likelihood[:, where] @ weight / max(float(weight.sum()), 1e-300))

    def _having(self, mode: str) -> npt.NDArray[np.bool_]:
        s = self.suspects
        has = ~s.member.any(axis=1) if mode == NOTHING_WRONG else s.member[:, s.mode_index[mode]]
        return np.asarray(has)

    def rows_without(self, mode: str) -> Floats:
        """(R,) chance of every outcome on calls where a mode is not there."""
        chance = self.chance[mode]
        return np.asarray((self.belief.predictions - chance * self.rows(mode)) / max(1.0 - chance, 1e-300))

    def shown(self, mode: str, names: Iterable[str]) -> list[Shown]:
        """How each of some symptoms or checks shows a fault, by the one outcome out of the ordinary that tells most; the most
        telling first, those left out that no such outcome speaks for it."""
        with_it, without = self.rows(mode), self.rows_without(mode)
        made = [self._shown(n, with_it[self.suspects.rows[n]], without[self.suspects.rows[n]]) for n in names]
        return sorted((each for each in made if each.bits > 0), key=lambda each: -each.bits)

    def _shown(self, name: str, bad: Floats, good: Floats) -> Shown:
        bits = np.where(bad > good, _told(bad, good) + _told(1 - bad, 1 - good), 0.0)[1:] / np.log(2)
        best = 1 + int(np.argmax(bits))
        return Shown(
            name, self.suspects.observables[name][best], float(bad[best]), float(good[best]), float(bits.max())
        )

    def partings(self, a: str, b: str) -> list[Parting]:
        """The checks that part two faults, the one to do first; the verification run is none of them."""
        if_a, if_b = self.rows(a, but=b), self.rows(b, but=a)
        made = []
        for name, check in self.knowledge.check.items():
            if name == self.knowledge.costs.verify or not self.can_do(check):
                continue
            rows = self.suspects.rows[name]
            gap = if_a[rows] - if_b[rows]
            best = int(np.argmax(gap))
            apart = float(np.abs(gap).sum()) / 2
            outcome = self.suspects.observables[name][best]
            made.append(Parting(name, outcome, float(if_a[rows][best]), float(if_b[rows][best]), apart))
        return _in_order(self.appliance, made)

    def look_alikes(self, mode: str, count: int = 3) -> list[str]:
        """The faults that are likeliest to be taken for this one after all that a customer tells, and are put right otherwise.

        By the expected logarithm of their odds against it on a call where it is there: the shares, less the relative entropy
        of every symptom.
        """
        s, own = self.suspects, mended_by(self.knowledge, mode)[:1]
        rows = [r for n in self.knowledge.symptom for r in range(s.rows[n].start, s.rows[n].stop)]
        told = s.likelihood[rows]
        here = self._on_calls(told, mode, "")
        scores = {}
        for other, _ in self.knowledge.modes():
            usual = mended_by(self.knowledge, other)[:1]
            if other != mode and usual and usual != own and self.there(other):
                less = float(_told(here, self._on_calls(told, other, mode)).sum())
                scores[other] = float(np.log(self.chance[other])) - less
        return sorted(scores, key=lambda each: -scores[each])[:count]


def _told(bad: Floats, good: Floats) -> Floats:
    """What each outcome adds to the relative entropy, in natural units."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(bad > 0, bad * np.log(bad / np.maximum(good, 1e-300)), 0.0)


def _in_order(appliance: Appliance, made: list[Parting]) -> list[Parting]:
    """Best first; of those that part about as well the quickest; work for qualified people last while others part well."""
    check = appliance.knowledge.check
    made = sorted(made, key=lambda p: -p.apart)
    well = [p for p in made if p.apart >= PARTS_WELL and not check[p.check].qualified]
    first = well or made
    if not first:
        return []
    near = [p for p in first if p.apart >= first[0].apart - ABOUT_AS_WELL]
    lead = min(near, key=lambda p: check[p.check].minutes)
    return [lead, *(p for p in made if p is not lead)]
