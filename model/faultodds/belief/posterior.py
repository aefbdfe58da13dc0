"""From findings to fault odds: short arithmetic on the two arrays.

Prior: `w[c] = share[c] * prod_i P(fact_i | c)`, then `prior = w @ given_main`. A finding multiplies by a row
of `likelihood` (or a weighted sum of rows when the technician is not sure). A repair is an index map: what is
seen after it is read through the map, what was seen before stays as it was. A repair may fail to take, so
belief is kept over pairs (which repairs took, which suspect it was); the pairs are called branches.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np
import numpy.typing as npt
from msgspec import Struct, field

from faultodds.belief.suspects import Suspects
from faultodds.errors import ClashError, FaultoddsError, unknown
from faultodds.knowledge import Floats

# A relative chance this small is taken for "cannot be": far under any table's floor, far over rounding.
IMPOSSIBLE = 1e-13
COVER_STEPS = 20_000
Bools = npt.NDArray[np.bool_]


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


class FaultOdds(Struct, frozen=True):
    """Chance of one mode now (`probability`), and before any finding but with the context facts (`prior`)."""

    component: str
    mode: str
    probability: float
    prior: float

    @property
    def name(self) -> str:
        """`component.mode`."""
        return f"{self.component}.{self.mode}"


class Belief(Struct, frozen=True, dict=True):
    """Posterior over suspects. `prior`, `original` and `now` have shape (H,) and sum to 1.

    `original` is about the machine as it came in, `now` about the machine after the repairs done so far.
    `omitted_mass` is the prior chance, under these context facts, of the suspects the compilation left out.
    """

    suspects: Suspects
    evidence: Evidence
    prior: Floats
    original: Floats
    now: Floats
    omitted_mass: float
    log_evidence: float

    @cached_property
    def mode_odds(self) -> Floats:
        """(M,) chance of each mode in the machine as it is now."""
        return self.now @ self.suspects.member_float

    @cached_property
    def predictions(self) -> Floats:
        """(R,) chance of each outcome if its symptom or check were looked at now."""
        return self.suspects.likelihood @ self.now

    @cached_property
    def missing_bits(self) -> float:
        """What is still not known about which suspect is the truth, in bits (the entropy of `now`)."""
        p = self.now[self.now > 0]
        return float(-(p * np.log2(p)).sum())

    def outcome_odds(self, name: str) -> dict[str, float]:
        """Chance of each outcome of one symptom or check."""
        _known("symptom or check", name, self.suspects.observables)
        chances = self.predictions[self.suspects.rows[name]]
        return dict(zip(self.suspects.observables[name], chances.tolist(), strict=True))

    def mechanism_odds(self, name: str) -> dict[str, float]:
        """Chance of each state of a mechanism."""
        _known("mechanism", name, self.suspects.mechanism_states)
        row = self.suspects.mechanism[list(self.suspects.mechanism_states).index(name)]
        states = self.suspects.mechanism_states[name]
        weight = np.bincount(row, self.now, minlength=len(states))
        return dict(zip(states, weight.tolist(), strict=True))

    def fault_odds(self) -> list[FaultOdds]:
        """Every mode, most probable first (file order where equal)."""
        prior = self.prior @ self.suspects.member_float
        order = np.argsort(-self.mode_odds, kind="stable")
        names = [self.suspects.modes[i].partition(".") for i in order]
        return [
            FaultOdds(component, mode, float(self.mode_odds[i]), float(prior[i]))
            for i, (component, _, mode) in zip(order, names, strict=True)
        ]

    def top_suspects(self, count: int = 5) -> list[tuple[tuple[str, ...], float]]:
        """The most probable sets of modes now, with their chances."""
        order = np.argsort(-self.now, kind="stable")[:count]
        return [(self.suspects.names(int(h)), float(self.now[h])) for h in order]

    @property
    def sound(self) -> float:
        """Chance that nothing is wrong with the machine now."""
        return float(self.now[self.suspects.sound])


class Outlook(Struct, frozen=True):
    """One full evaluation: what every outcome would tell.

    `chance` (R,): chance of each outcome. `modes` (M,): mode odds now. `after` (R, M): mode odds after each
    outcome (the odds now where an outcome cannot happen).
    """

    chance: Floats
    modes: Floats
    after: Floats


def outlook(belief: Belief, drop: float = 1e-9) -> Outlook:
    """Every mode's odds, every outcome's chance, and every mode's odds after every outcome.

    Suspects whose posterior adds up to at most `drop` may be left out of the sums, so each chance is right to
    `drop`.
    """
    s = belief.suspects
    p, member, likelihood = belief.now, s.member_float, s.likelihood
    keep = likely(p, drop)
    # Picking columns copies the largest array there is; it pays only when it makes that array much smaller.
    if len(keep) < 0.5 * len(p):
        p, member, likelihood = p[keep], member[keep], likelihood[:, keep]
    chance = likelihood @ p
    modes = p @ member
    # The chances go onto the memberships, not onto the likelihoods: a third of the work, and the copy stays small.
    after = likelihood @ (member * p[:, None])
    possible = chance > 0
    after /= np.where(possible, chance, 1.0)[:, None]
    after[~possible] = modes
    return Outlook(chance, modes, after)


def likely(p: Floats, drop: float) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Indices of the suspects to keep so that what is dropped adds up to at most `drop`."""
    order = np.argsort(p)
    cut = int(np.searchsorted(np.cumsum(p[order]), drop, side="right"))
    return np.sort(order[cut:])


def infer(suspects: Suspects, evidence: Evidence) -> Belief:
    """Posterior over suspects given the evidence.

    Raises UnknownName for a name the file does not have, and ClashError (naming the smallest set of findings
    that clash) when no suspect explains the evidence.
    """
    _check_names(suspects, evidence)
    prior, omitted = prior_for(suspects, evidence.facts)
    stages = _stage_likelihoods(suspects, evidence)
    maps, weights = _branches(suspects, evidence, prior, stages)
    total = float(weights.sum())
    if not total > IMPOSSIBLE * _scale(stages):
        # Very small is not yet impossible: many findings, each a little odd, multiply up.
        patterns = _ruling_out(suspects, evidence, prior)
        if not total > 0 or patterns.any(axis=0).all():
            raise _clash(evidence, patterns)
    weights /= total
    now = np.zeros(len(prior))
    for index, weight in zip(maps, weights, strict=True):
        now += np.bincount(index, weight, minlength=len(prior))
    return Belief(suspects, evidence, prior, weights.sum(axis=0), now, omitted, float(np.log(total)))


def prior_for(suspects: Suspects, facts: Mapping[str, str]) -> tuple[Floats, float]:
    """(H,) prior under context and equipment facts, and the share of it that the kept suspects do not hold.

    Raises ClashError when the facts rule out every main cause.
    """
    w = main_cause_weights(suspects, facts)
    lacking = {m for f, v in facts.items() for m in suspects.lacks.get(f, {}).get(v, ())}
    exact = w.copy()
    for component in dict.fromkeys(m.partition(".")[0] for m in sorted(lacking)):
        exact *= suspects.ok[suspects.components.index(component)]
    prior = w @ suspects.given_main
    if lacking:
        prior[suspects.member[:, [suspects.mode_index[m] for m in sorted(lacking)]].any(axis=1)] = 0.0
    total = float(prior.sum())
    if not total > 0:
        names = [f"{k}={v}" for k, v in facts.items()]
        raise ClashError(f"no fault fits these facts together: {', '.join(names)}. Take one back.", names)
    return prior / total, max(0.0, 1.0 - total / float(exact.sum()))


def main_cause_weights(suspects: Suspects, facts: Mapping[str, str]) -> Floats:
    """(C,) unnormalised chance of each main cause given the facts, `w[c]` in the design."""
    w = suspects.share.copy()
    for fact, value in facts.items():
        w *= suspects.facts[fact][suspects.fact_values[fact].index(value)]
    return w


def outcome_weights(suspects: Suspects, seen: WeighedFinding) -> Floats:
    """Likelihood of a finding's outcomes as a vector over the observable's outcomes."""
    outcomes = suspects.observables[seen.name]
    return np.array([float(seen.weights.get(o, 0.0)) for o in outcomes])


def suspect_likelihood(suspects: Suspects, seen: WeighedFinding) -> Floats:
    """(H,) likelihood of one finding under each suspect."""
    rows = suspects.likelihood[suspects.rows[seen.name]]
    return np.asarray(outcome_weights(suspects, seen) @ rows)


def _distinct(seen: Sequence[WeighedFinding]) -> list[WeighedFinding]:
    """A finding seen twice counts once unless re-measured; the same in any order of entry."""
    unique: dict[tuple[object, ...], WeighedFinding] = {}
    for s in seen:
        unique.setdefault((s.name, s.stage, s.take, tuple(sorted(s.weights.items()))), s)
    return [unique[k] for k in sorted(unique, key=repr)]


def _stage_likelihoods(suspects: Suspects, evidence: Evidence) -> list[Floats]:
    stages = [np.ones(len(suspects.member)) for _ in range(len(evidence.repairs) + 1)]
    for s in _distinct(evidence.seen):
        stages[s.stage] = stages[s.stage] * suspect_likelihood(suspects, s)
    return stages


def _scale(stages: Sequence[Floats]) -> float:
    """How small evidence may honestly get: the product of the best suspect's likelihood in each stage."""
    return float(np.prod([s.max() for s in stages]))


def _branches(
    suspects: Suspects, evidence: Evidence, prior: Floats, stages: Sequence[Floats]
) -> tuple[list[np.ndarray[tuple[int], np.dtype[np.int32]]], Floats]:
    """Index maps (original suspect to suspect now) and joint weights (branch, original suspect)."""
    maps = [np.arange(len(prior), dtype=np.int32)]
    weights = [prior * stages[0]]
    for repair, like in zip(evidence.repairs, stages[1:], strict=True):
        removal = suspects.removal(repair.modes)
        took = [(removal[m], w * repair.success) for m, w in zip(maps, weights, strict=True)]
        failed = [(m, w * (1.0 - repair.success)) for m, w in zip(maps, weights, strict=True)]
        branches = [*took, *(failed if repair.success < 1.0 else [])]
        maps = [m for m, _ in branches]
        weights = [w * like[m] for m, w in branches]
    return maps, np.stack(weights)


def _known(kind: str, name: str, allowed: Mapping[str, object] | Sequence[str]) -> None:
    if name not in allowed:
        raise unknown(kind, name, allowed)


def _check_names(suspects: Suspects, evidence: Evidence) -> None:
    for fact, value in evidence.facts.items():
        _known("fact", fact, suspects.fact_values)
        _known(f"value of '{fact}'", value, suspects.fact_values[fact])
    for s in evidence.seen:
        _known("symptom or check", s.name, suspects.observables)
        for outcome, weight in s.weights.items():
            _known(f"outcome of '{s.name}'", outcome, suspects.observables[s.name])
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
            _known("mode", mode, suspects.modes)


def _ruling_out(suspects: Suspects, evidence: Evidence, prior: Floats) -> Bools:
    """(finding, case) which findings rule out which cases; a case is a suspect and a way its repairs went."""
    seen = _distinct(evidence.seen)
    return np.unique(np.stack([_ruled_out(suspects, evidence, s)[:, prior > 0].ravel() for s in seen]), axis=1)


def smallest_cover(patterns: Bools) -> list[int]:
    """The fewest rows of a (row, column) table that between them are true in every column; every row if none do.

    Looked for by size, branching on the column that the fewest rows cover. Exact for up to `COVER_STEPS` steps; past that
    rows are taken away one by one for as long as the rest still covers, which may leave a row too many.
    """
    every = list(range(len(patterns)))
    if not patterns.any(axis=0).all():
        return every
    steps = 0

    def search(left: Bools, size: int) -> list[int] | None:
        nonlocal steps
        steps += 1
        if not left.any():
            return []
        if size == 0 or steps > COVER_STEPS:
            return None
        columns = np.flatnonzero(left)
        column = columns[patterns[:, columns].sum(axis=0).argmin()]
        for row in np.flatnonzero(patterns[:, column]):
            rest = search(left & ~patterns[row], size - 1)
            if rest is not None:
                return [int(row), *rest]
        return None

    for size in every[1:]:
        found = search(np.ones(patterns.shape[1], dtype=bool), size)
        if found is not None:
            return sorted(found)
        if steps > COVER_STEPS:
            break
    for row in list(every):
        others = [r for r in every if r != row]
        if patterns[others].any(axis=0).all():
            every = others
    return every


def _clash(evidence: Evidence, patterns: Bools) -> ClashError:
    """The error that names the smallest set of findings that no suspect explains."""
    seen = _distinct(evidence.seen)
    names = [seen[i].label for i in smallest_cover(patterns)]
    facts = ", ".join(f"{k}={v}" for k, v in evidence.facts.items())
    given = f" (with {facts})" if facts else ""
    return ClashError(
        f"no fault or set of faults explains these findings together: {', '.join(names)}{given}. "
        "Look at one of them again, or undo the last finding.",
        names,
    )


def _ruled_out(
    suspects: Suspects, evidence: Evidence, seen: WeighedFinding
) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """(branch, H) whether a finding cannot be, for each way the repairs can have gone and each original suspect."""
    like = suspect_likelihood(suspects, seen)
    impossible = like <= IMPOSSIBLE * like.max()
    branches = []
    for took in itertools.product((True, False), repeat=len(evidence.repairs)):
        if all(t or r.success < 1.0 for t, r in zip(took, evidence.repairs, strict=True)):
            done = list(zip(took, evidence.repairs, strict=True))[: seen.stage]
            branches.append(impossible[suspects.removal(m for t, r in done if t for m in r.modes)])
    return np.stack(branches)


def weights_of_evidence(belief: Belief, modes: Sequence[str]) -> dict[str, Floats]:
    """Weight of each finding for each of `modes`, in decibans, given all the other findings (Good 1950).

    Positive speaks for the mode, negative against. Keys are `WeighedFinding.label`; values have the order of `modes`. A
    finding without which nothing is known keeps a finite weight: chances are held within 1e-12 of 0 and 1.
    """
    s = belief.suspects
    columns = [s.mode_index[m] for m in modes]
    out: dict[str, Floats] = {}
    with_all = _decibans(belief.original @ s.member_float[:, columns])
    for finding in _distinct(belief.evidence.seen):
        rest = tuple(o for o in belief.evidence.seen if o != finding)
        without = infer(s, Evidence(belief.evidence.facts, rest, belief.evidence.repairs))
        out[finding.label] = with_all - _decibans(without.original @ s.member_float[:, columns])
    return out


def _decibans(p: Floats) -> Floats:
    q = np.clip(p, 1e-12, 1.0 - 1e-12)
    return np.asarray(10.0 * np.log10(q / (1.0 - q)))
