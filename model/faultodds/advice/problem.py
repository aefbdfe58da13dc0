"""The decision at hand: which checks and repairs are open to this technician on this machine, and what they cost from here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from faultodds.advice.machine import CLOSED_UP, MachineStates, State, Way
from faultodds.advice.repairs import HOPELESS, MOST_REPAIRS, RepairOrder
from faultodds.appliance import Appliance
from faultodds.belief import Belief, likely
from faultodds.knowledge import repair_modes
from faultodds.schema import UNLISTED_MODE, Check, Knowledge, Repair
from faultodds.tables import Floats

# Suspects that add up to less than this are left out of the sums that rank actions (never of the odds shown).
DROPPED = 1e-3
# Repairs done together are considered for this many of the most probable suspects that need several.
BUNDLES = 12


@dataclass(frozen=True)
class Situation:
    """Where the technician stands, beside the evidence.

    `skipped`: checks and repairs that cannot be done now. `qualified`: whether energised and gas-pressure work may be
    offered. `labour_rate`: overrides the file's, per hour.
    """

    state: State = CLOSED_UP
    skipped: frozenset[str] = frozenset()
    qualified: bool = True
    labour_rate: float | None = None


@dataclass(frozen=True)
class Price:
    """Price of one piece of work from here: minutes on the clock and money, access included; `way` leads there."""

    way: Way
    minutes: float
    cost: float


@dataclass
class Problem:
    """One decision: the belief, the situation, and everything open to the technician, priced."""

    appliance: Appliance
    belief: Belief
    situation: Situation
    machine: MachineStates = field(init=False)
    _trips: dict[tuple[State, frozenset[str]], tuple[Way, float]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.machine = MachineStates(self.knowledge)

    @property
    def knowledge(self) -> Knowledge:
        """The appliance's knowledge file."""
        return self.appliance.knowledge

    @cached_property
    def rate(self) -> float:
        """Labour per minute."""
        rate = self.situation.labour_rate
        return (self.knowledge.costs.labour_rate if rate is None else rate) / 60.0

    @cached_property
    def stage(self) -> int:
        """Number of repairs done so far."""
        return len(self.belief.evidence.repairs)

    @cached_property
    def verified(self) -> bool:
        """Whether the verification run has shown a good machine since the last repair."""
        name = self.knowledge.costs.verify
        good = next(iter(self.verify.outcomes))
        return any(
            s.name == name and s.stage == self.stage and max(s.weights, key=lambda o: s.weights[o]) == good
            for s in self.belief.evidence.seen
        )

    @cached_property
    def checks(self) -> dict[str, Check]:
        """Checks that can be offered now: this machine has the part, nobody skipped them, not done since the last repair."""
        done = {s.name for s in self.belief.evidence.seen if s.stage == self.stage}
        return {
            name: check
            for name, check in self.knowledge.check.items()
            if name not in done and name not in self.situation.skipped and self._allowed(check.needs, check.qualified)
        }

    @cached_property
    def repairs(self) -> dict[str, Repair]:
        """Repairs that can be offered now."""
        return {
            name: repair
            for name, repair in self.knowledge.repair.items()
            if name not in self.situation.skipped and self._allowed(repair.needs, repair.qualified)
        }

    def _allowed(self, needs: dict[str, str], qualified: bool) -> bool:
        facts = self.belief.evidence.facts
        return (self.situation.qualified or not qualified) and all(facts.get(f) == v for f, v in needs.items())

    def price_check(self, name: str) -> Price:
        """A check from the machine state as it is now."""
        check = self.knowledge.check[name]
        way = self.machine.to_work(self.situation.state, check)
        minutes = way.charged + check.minutes
        return Price(way, minutes, minutes * self.rate + check.cost)

    def price_repairs(self, names: Iterable[str], state: State | None = None) -> Price:
        """Repairs done together from a machine state, with the verification run at the end."""
        start = self.situation.state if state is None else state
        work = [self.knowledge.repair[n] for n in names]
        way, fixed_minutes = self._trip(start, frozenset(i for r in work for i in r.access))
        minutes = fixed_minutes + sum(r.minutes for r in work)
        cost = minutes * self.rate + self.verify.cost + sum(r.cost for r in work)
        return Price(way, minutes, cost)

    def _trip(self, start: State, access: frozenset[str]) -> tuple[Way, float]:
        """The way to some parts, and the minutes of going there, closing up and running the machine."""
        key = (start, access)
        if key not in self._trips:
            way = self.machine.way(start, access)
            run = self.machine.to_work(way.after, self.verify)
            self._trips[key] = (way, way.charged + run.charged + self.verify.minutes)
        return self._trips[key]

    @property
    def verify(self) -> Check:
        """The verification run."""
        return self.knowledge.check[self.knowledge.costs.verify]

    @cached_property
    def mode_repair(self) -> dict[str, str]:
        """For each mode, the repair that puts it right at the least cost; modes that nobody here can fix are missing."""
        chosen: dict[str, tuple[float, str]] = {}
        for name, repair in self.repairs.items():
            price = (repair.minutes * self.rate + repair.cost) / repair.success
            for mode in repair_modes(self.knowledge, repair):
                if mode not in chosen or price < chosen[mode][0]:
                    chosen[mode] = (price, name)
        return {mode: name for mode, (_, name) in chosen.items()}

    @cached_property
    def active(self) -> npt.NDArray[np.intp]:
        """Indices of the suspects that take part in ranking actions."""
        return likely(self.belief.now, DROPPED)

    @cached_property
    def weights(self) -> Floats:
        """(A,) chances of the active suspects, normalised."""
        p = self.belief.now[self.active]
        return np.asarray(p / p.sum())

    @cached_property
    def needed(self) -> list[str]:
        """The repairs that some active suspect needs (the likeliest 62), in file order; their position is their bit."""
        present = np.flatnonzero(np.any(self.belief.suspects.member[self.active], axis=0))
        modes = {self.belief.suspects.modes[i] for i in present}
        weight: dict[str, float] = {}
        for mode in sorted(modes & set(self.mode_repair)):
            name = self.mode_repair[mode]
            weight[name] = weight.get(name, 0.0) + float(self.belief.mode_odds[self.belief.suspects.mode_index[mode]])
        names = sorted(weight, key=lambda n: (-weight[n], n))[:MOST_REPAIRS]
        return [n for n in self.knowledge.repair if n in names]

    @cached_property
    def classes(self) -> tuple[list[int], npt.NDArray[np.int64]]:
        """Distinct repair masks, and which of them each active suspect has."""
        s = self.belief.suspects
        member = s.member[self.active]
        bits = np.zeros((len(s.modes), len(self.needed)), dtype=bool)
        hopeless = np.zeros(len(s.modes), dtype=bool)
        for i, mode in enumerate(s.modes):
            repair = self.mode_repair.get(mode) if mode != UNLISTED_MODE else None
            if repair in self.needed:
                bits[i, self.needed.index(repair)] = True
            else:
                hopeless[i] = True
        need = member @ bits
        powers = np.array([1 << i for i in range(len(self.needed))], dtype=np.int64)
        masks = need.astype(np.int64) @ powers
        masks = np.where(member[:, hopeless].any(axis=1), HOPELESS, masks)
        distinct, which = np.unique(masks, return_inverse=True)
        return [int(m) for m in distinct], which.reshape(-1)

    @cached_property
    def class_weights(self) -> Floats:
        """(K,) chance of each class now."""
        masks, which = self.classes
        return np.bincount(which, self.weights, minlength=len(masks)).astype(float)

    @cached_property
    def bundles(self) -> list[tuple[str, ...]]:
        """Every needed repair alone, then the repairs that the most probable several-repair classes need together."""
        masks, _ = self.classes
        several = [(-w, m) for w, m in zip(self.class_weights.tolist(), masks, strict=True) if m > 0 and m & (m - 1)]
        together = [self._names(m) for _, m in sorted(several)[:BUNDLES]]
        return [(n,) for n in self.needed] + together

    def _names(self, mask: int) -> tuple[str, ...]:
        return tuple(n for i, n in enumerate(self.needed) if mask >> i & 1)

    @cached_property
    def order(self) -> RepairOrder:
        """The base policy over these classes and bundles."""
        bit = {n: 1 << i for i, n in enumerate(self.needed)}
        masks = [sum(bit[n] for n in names) for names in self.bundles]
        success = [float(np.prod([self.knowledge.repair[n].success for n in names])) for names in self.bundles]
        return RepairOrder(self.classes[0], masks, success, self.refer_cost)

    @property
    def refer_cost(self) -> float:
        """Price of handing the job over."""
        return self.knowledge.costs.refer

    def bundle_costs(self, state: State) -> Floats:
        """(U,) price of each bundle from a machine state, verification included."""
        return np.array([self.price_repairs(names, state).cost for names in self.bundles])

    @cached_property
    def later_costs(self) -> Floats:
        """(U,) price of each bundle after a verification run has failed."""
        return self.bundle_costs(self.machine.to_work(self.situation.state, self.verify).after)

    def verify_cost(self, state: State) -> float:
        """Price of a verification run from a machine state."""
        way = self.machine.to_work(state, self.verify)
        return (way.charged + self.verify.minutes) * self.rate + self.verify.cost
