"""Everything known on a call, in the form that the arrays take: weighed findings, repairs done, facts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct, field

from faultodds.belief.suspects import Suspects
from faultodds.errors import FaultoddsError, unknown
from faultodds.knowledge import Floats


class WeighedFinding(Struct, frozen=True):
    """One finding: how likely it is under each outcome of a symptom or check.

    `weights` maps outcomes to likelihoods (a sure finding is `{outcome: 1}`; "not sure, 70/30" is `{a: .7, b:
    .3}`; outcomes left out count as 0). `stage` is the number of repairs done before it was seen. `take`
    tells deliberate re-measurements apart.
    """

    name: str
    weights: Mapping[str, float]
    stage: int = 0
    take: int = 0

    @property
    def label(self) -> str:
        """The finding as people write it: `heat=none`, or `heat=none 70% / normal 30%`."""
        total = sum(self.weights.values())
        if len(self.weights) == 1:
            return f"{self.name}={next(iter(self.weights))}"
        parts = sorted(self.weights.items(), key=lambda kv: (-kv[1], kv[0]))
        return f"{self.name}=" + " / ".join(f"{o} {v / total:.0%}" for o, v in parts)


class RepairEffect(Struct, frozen=True):
    """One repair done: the modes it takes away and the chance that it takes."""

    name: str
    modes: tuple[str, ...]
    success: float = 1.0


class Evidence(Struct, frozen=True):
    """Everything known on this call. `facts` maps fact to value; order of findings never matters."""

    facts: Mapping[str, str] = field(default_factory=dict)
    seen: tuple[WeighedFinding, ...] = ()
    repairs: tuple[RepairEffect, ...] = ()

    def plus(self, *seen: WeighedFinding) -> Evidence:
        """The same evidence with more findings."""
        return Evidence(self.facts, (*self.seen, *seen), self.repairs)


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
        unique.setdefault((s.name, s.stage, s.take, tuple(sorted(s.weights.items()))), s)
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
    for repair in evidence.repairs:
        for mode in repair.modes:
            known("mode", mode, suspects.modes)
