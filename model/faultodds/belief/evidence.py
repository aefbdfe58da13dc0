"""Everything known on a call, in the form that the arrays take: weighed findings, repairs done, time passed, facts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from faultodds.belief.suspects import Suspects
from faultodds.errors import FaultoddsError, unknown
from faultodds.knowledge import FAILS_AGAIN, Floats, Knowledge, repair_modes
from faultodds.names import whole_percents


class WeighedFinding(Struct, frozen=True):
    """One finding: how likely it is under each outcome of a symptom or check.

    `weights` maps outcomes to likelihoods (a sure finding is `{outcome: 1}`; "not sure, 70/30" is `{a: .7, b:
    .3}`; outcomes left out count as 0). `stage` is the number of repairs done before it was seen, `visit` the
    number of times that time passed before it. `take` tells deliberate re-measurements apart.
    """

    name: str
    weights: Mapping[str, float]
    stage: int = 0
    take: int = 0
    visit: int = 0

    @property
    def label(self) -> str:
        """The finding as people write it: `heat=none`, or `heat=none 70% / normal 30%`; what is as good as ruled out is left
        out."""
        total = sum(self.weights.values())
        parts = sorted(self.weights.items(), key=lambda kv: (-kv[1], kv[0]))
        whole = whole_percents(v / total for _, v in parts)
        shares = {o: f"{p}%" for (o, _), p in zip(parts, whole, strict=True) if p}
        told = list(shares) if len(shares) == 1 else [f"{o} {share}" for o, share in shares.items()]
        return f"{self.name}=" + " / ".join(told)


class RepairEffect(Struct, frozen=True):
    """One repair done: the modes it takes away, the chance that it takes, and the chance that it does not take when it is
    done again after it did not."""

    name: str
    modes: tuple[str, ...]
    success: float = 1.0
    fails_again: float = FAILS_AGAIN

    @property
    def lasting(self) -> float:
        """Chance that it failed, where it did, for a reason for which it never takes; so that it fails again as often as said."""
        if not self.success:
            return 1.0
        return max(0.0, (self.fails_again - (1.0 - self.success)) / self.success)


class TimePassed(Struct, frozen=True):
    """Time between two visits, after the first `stage` repairs: the machine may have got one fault more.

    `new` is the chance that it did; which one goes by the shares under the facts. `if_wrong` and `if_right` are the chances
    that somebody calls again about a machine with a fault and about one without.
    """

    stage: int
    new: float = 0.0
    if_wrong: float = 1.0
    if_right: float = 1.0


class Evidence(Struct, frozen=True):
    """Everything known on this call. `facts` maps fact to value; order of findings never matters. `waits`: the times
    between visits, in order."""

    facts: Mapping[str, str] = field(default_factory=dict)
    seen: tuple[WeighedFinding, ...] = ()
    repairs: tuple[RepairEffect, ...] = ()
    waits: tuple[TimePassed, ...] = ()

    def plus(self, *seen: WeighedFinding) -> Evidence:
        """The same evidence with more findings."""
        return replace(self, seen=(*self.seen, *seen))

    @property
    def begun(self) -> int:
        """Repairs done before this visit."""
        return self.waits[-1].stage if self.waits else 0

    @property
    def course(self) -> list[RepairEffect | TimePassed]:
        """Repairs and times between visits in the order in which they were; a finding comes after the first
        `stage + visit` of them."""
        out: list[RepairEffect | TimePassed] = list(self.repairs)
        for place, wait in enumerate(self.waits):
            out.insert(wait.stage + place, wait)
        return out


def repair_effect(knowledge: Knowledge, name: str) -> RepairEffect:
    """A repair of a knowledge file as evidence."""
    repair = knowledge.repair[name]
    again = knowledge.costs.fails_again if repair.fails_again is None else repair.fails_again
    return RepairEffect(name, tuple(repair_modes(knowledge, repair)), repair.success, again)


def distinct(seen: Sequence[WeighedFinding]) -> list[WeighedFinding]:
    """A finding seen twice counts once unless re-measured; the same in any order of entry."""
    unique = _once(seen)
    return [unique[k] for k in sorted(unique, key=repr)]


def in_order(seen: Sequence[WeighedFinding]) -> list[WeighedFinding]:
    """The same findings as `distinct`, in the order in which they were entered."""
    return list(_once(seen).values())


def _once(seen: Sequence[WeighedFinding]) -> dict[tuple[object, ...], WeighedFinding]:
    unique: dict[tuple[object, ...], WeighedFinding] = {}
    for s in seen:
        unique.setdefault((s.name, s.stage, s.visit, s.take, tuple(sorted(s.weights.items()))), s)
    return unique


def outcome_weights(suspects: Suspects, seen: WeighedFinding) -> Floats:
    """Likelihood of a finding's outcomes as a vector over the observable's outcomes."""
    outcomes = suspects.observables[seen.name]
    return np.array([float(seen.weights.get(o, 0.0)) for o in outcomes])


def suspect_likelihood(suspects: Suspects, seen: WeighedFinding) -> Floats:
    """(H,) likelihood of one finding under each suspect."""
    rows = suspects.likelihood[suspects.rows[seen.name]]
    return np.asarray(outcome_weights(suspects, seen) @ rows)


def known(kind: str, name: str, allowed: Mapping[str, object] | Sequence[str]) -> None:
    if name not in allowed:
        raise unknown(kind, name, allowed)


def check_names(suspects: Suspects, evidence: Evidence) -> None:
    for fact, value in evidence.facts.items():
        known("fact", fact, suspects.fact_values)
        known(f"value of '{fact}'", value, suspects.fact_values[fact])
    ends = [0, *(w.stage for w in evidence.waits), len(evidence.repairs)]
    if ends != sorted(ends):
        raise FaultoddsError(
            f"the times between visits are said to come after {ends[1:-1]} of {ends[-1]} repairs; give them in order."
        )
    for s in evidence.seen:
        known("symptom or check", s.name, suspects.observables)
        for outcome, weight in s.weights.items():
            known(f"outcome of '{s.name}'", outcome, suspects.observables[s.name])
            if not (0.0 <= weight < float("inf")):
                raise FaultoddsError(f"'{s.name}={outcome}' has weight {weight}; a weight is 0 or more.")
        if not sum(s.weights.values()) > 0:
            raise FaultoddsError(f"the finding '{s.name}' gives no outcome any weight; name at least one outcome.")
        if not 0 <= s.stage <= len(evidence.repairs):
            raise FaultoddsError(
                f"'{s.name}' is said to come after repair {s.stage}, but only {len(evidence.repairs)} were done."
            )
        _check_visit(s, ends)
    for repair in evidence.repairs:
        for mode in repair.modes:
            known("mode", mode, suspects.modes)


def _check_visit(seen: WeighedFinding, ends: Sequence[int]) -> None:
    if not 0 <= seen.visit < len(ends) - 1:
        raise FaultoddsError(
            f"'{seen.name}' is said to be of visit {seen.visit + 1}, but there were {len(ends) - 1} visits."
        )
    first, last = ends[seen.visit : seen.visit + 2]
    if not first <= seen.stage <= last:
        raise FaultoddsError(
            f"'{seen.name}' is said to come after repair {seen.stage} and in visit {seen.visit + 1}; that visit begins after "
            f"repair {first} and ends with repair {last}."
        )
