"""From findings to fault odds: short arithmetic on the two arrays.

Prior: `w[c] = share[c] * prod_i P(fact_i | c)`, then `prior = w @ given_main`. A finding multiplies by a row
of `likelihood` (or a weighted sum of rows when the technician is not sure). A repair is an index map: what is
seen after it is read through the map, what was seen before stays as it was (`course`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct

from faultodds.belief.clash import IMPOSSIBLE, clash, ruling_out
from faultodds.belief.course import course
from faultodds.belief.evidence import Evidence, check_names, distinct, known, suspect_likelihood
from faultodds.belief.suspects import Suspects
from faultodds.errors import ClashError
from faultodds.knowledge import Floats


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
        known("symptom or check", name, self.suspects.observables)
        chances = self.predictions[self.suspects.rows[name]]
        return dict(zip(self.suspects.observables[name], chances.tolist(), strict=True))

    def mechanism_odds(self, name: str) -> dict[str, float]:
        """Chance of each state of a mechanism."""
        known("mechanism", name, self.suspects.mechanism_states)
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
    ordered = np.sort(p)
    cut = int(np.searchsorted(np.cumsum(ordered), drop, side="right"))
    return np.flatnonzero(p >= ordered[cut]) if cut < len(p) else np.zeros(0, dtype=np.intp)


def infer(suspects: Suspects, evidence: Evidence) -> Belief:
    """Posterior over suspects given the evidence.

    Raises UnknownName for a name the file does not have, and ClashError (naming the smallest set of findings
    that clash) when no suspect explains the evidence.
    """
    check_names(suspects, evidence)
    prior, omitted = prior_for(suspects, evidence.facts)
    stages = _stage_likelihoods(suspects, evidence)
    end = course(suspects, evidence, prior, stages, new_faults(suspects, evidence.facts))
    total = float(end.weight.sum())
    if not total > IMPOSSIBLE * _scale(stages):
        # Very small is not yet impossible: many findings, each a little odd, multiply up.
        patterns = ruling_out(suspects, evidence, prior)
        if not total > 0 or patterns.any(axis=0).all():
            raise clash(evidence, patterns)
    now = np.bincount(end.now, end.weight, minlength=len(prior)).astype(float)
    return Belief(suspects, evidence, prior, end.original / total, now / total, omitted, float(np.log(total)))


class WhyBack(Struct, frozen=True):
    """Why a complaint came back; the four add up to 1. `not_taken`: something that was repaired is still there; else `missed`:
    something else was there when the machine was left; else `new`: it has come since; `sound`: nothing is wrong."""

    not_taken: float
    missed: float
    new: float
    sound: float


def why_back(belief: Belief) -> WhyBack | None:
    """Why the complaint came back, from everything known; None when it has not."""
    s, evidence = belief.suspects, belief.evidence
    if not evidence.waits:
        return None
    stages = _stage_likelihoods(s, evidence)
    end = course(s, evidence, belief.prior, stages, new_faults(s, evidence.facts), ask_came=True)
    repaired = {m for r in evidence.repairs[: evidence.begun] for m in r.modes}
    columns = [s.mode_index[m] for m in sorted(repaired)]
    stayed, came = s.member[end.now], np.flatnonzero(end.came >= 0)
    stayed[came, end.came[came]] = False
    kind = np.where(stayed.any(axis=1), 1, np.where(end.now == s.sound, 3, 2))
    kind[stayed[:, columns].any(axis=1)] = 0
    return WhyBack(*(np.bincount(kind, end.weight, minlength=4) / end.weight.sum()).tolist())


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


def answer_chances(suspects: Suspects, facts: Mapping[str, str], fact: str) -> Floats:
    """(V, H) chance of each value of an untold fact under each suspect, given the facts that are told."""
    told, out = main_cause_weights(suspects, facts), []
    for value, chance in zip(suspects.fact_values[fact], suspects.facts[fact], strict=True):
        joint = (told * chance) @ suspects.given_main
        lacking = [suspects.mode_index[m] for m in suspects.lacks.get(fact, {}).get(value, ())]
        if lacking:
            joint = np.where(suspects.member[:, lacking].any(axis=1), 0.0, joint)
        out.append(joint)
    total = np.sum(out, axis=0)
    return np.where(total > 0, np.array(out) / np.maximum(total, 1e-300), 1.0 / len(out))


def new_faults(suspects: Suspects, facts: Mapping[str, str]) -> Floats:
    """(M,) which mode a new fault is, under the facts; modes that this machine cannot have are none of them."""
    weight = main_cause_weights(suspects, facts)[: len(suspects.modes)]
    lacking = {m for f, v in facts.items() for m in suspects.lacks.get(f, {}).get(v, ())}
    weight[[suspects.mode_index[m] for m in sorted(lacking)]] = 0.0
    return np.asarray(weight / max(float(weight.sum()), 1e-300))


def main_cause_weights(suspects: Suspects, facts: Mapping[str, str]) -> Floats:
    """(C,) unnormalised chance of each main cause given the facts, `w[c]` in the design."""
    w = suspects.share.copy()
    for fact, value in facts.items():
        w *= suspects.facts[fact][suspects.fact_values[fact].index(value)]
    return w


def _stage_likelihoods(suspects: Suspects, evidence: Evidence) -> list[Floats]:
    stages = [np.ones(len(suspects.member)) for _ in range(len(evidence.course) + 1)]
    for s in distinct(evidence.seen):
        stages[s.stage + s.visit] = stages[s.stage + s.visit] * suspect_likelihood(suspects, s)
    return stages


def _scale(stages: Sequence[Floats]) -> float:
    """How small evidence may honestly get: the product of the best suspect's likelihood in each stage."""
    return float(np.prod([s.max() for s in stages]))
