"""How the odds of some modes came about: what each fact, finding and repair multiplied them by, in the order they came.

Odds multiply. What one finding multiplies them by depends on what was known before it; the product over all of them does
not. So the factors here are read off from one belief to the next, and lead from the file's shares to the odds now.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Literal

import numpy as np
from msgspec import Struct

from faultodds.belief.evidence import WeighedFinding, in_order, suspect_likelihood
from faultodds.belief.posterior import Belief, prior_for
from faultodds.knowledge import Floats

Kind = Literal["fact", "found", "repair"]


class OddsStep(Struct, frozen=True):
    """One thing that moved the odds of the modes asked about, M of them.

    `name` is `fact=value`, `WeighedFinding.label` or the repair's name; `stage` the number of repairs before it. `before` and
    `after` (M,): natural logarithms of the odds on either side of it, infinite where a mode is ruled out or proved. `without`
    (M,): those of the odds now if it alone were taken back; None for a repair without which the rest would clash.
    """

    kind: Kind
    name: str
    stage: int
    before: Floats
    after: Floats
    without: Floats | None


class OddsCourse(Struct, frozen=True):
    """From the odds by the file's shares alone (`start`, natural logarithms) through every step to the odds `now`."""

    modes: tuple[str, ...]
    start: Floats
    steps: tuple[OddsStep, ...]

    @property
    def now(self) -> Floats:
        """(M,) natural logarithms of the odds now."""
        return self.steps[-1].after if self.steps else self.start


def chance_of(log_odds: float) -> float:
    """The chance that odds stand for, from their natural logarithm; 0 or 1 only where they are infinite."""
    if log_odds < 0:
        odds = math.exp(log_odds)
        return max(odds / (1.0 + odds), math.ulp(0.0)) if math.isfinite(log_odds) else 0.0
    return min(1.0 / (1.0 + math.exp(-log_odds)), math.nextafter(1.0, 0.0)) if math.isfinite(log_odds) else 1.0


def odds_course(belief: Belief, modes: Sequence[str]) -> OddsCourse:
    """What each thing entered multiplied the odds of `modes` by: facts first, then findings and repairs as they came.

    The differences `after - before` are weights of evidence (Good 1950), each given what came before it: they add up to the
    change from `start` to `now`. A finding entered twice is one step unless it was re-measured. `without` a repair, what was
    seen after it was seen of the machine as it was.
    """
    return _Courses(belief, modes).course()


class _Courses:
    """Weights over suspects forward through the stages (a stage is what was seen after so many repairs), and backward what
    each suspect at a stage comes to in the end."""

    def __init__(self, belief: Belief, modes: Sequence[str]) -> None:
        s = self.suspects = belief.suspects
        self.evidence, self.prior, self.modes = belief.evidence, belief.prior, tuple(modes)
        has = s.member_float[:, [s.mode_index[m] for m in modes]]
        # (H, 2M): whether a suspect has each mode, and whether it has not; adding up both keeps the digits near certainty.
        self.sides = np.concatenate([has, 1.0 - has], axis=1)
        self.seen: list[list[WeighedFinding]] = [[] for _ in range(len(self.evidence.repairs) + 1)]
        for finding in in_order(self.evidence.seen):
            self.seen[finding.stage].append(finding)
        self.likelihoods = [[suspect_likelihood(s, f) for f in stage] for stage in self.seen]
        self.removals = [s.removal(r.modes) for r in self.evidence.repairs]

    def course(self) -> OddsCourse:
        start, steps = self._facts()
        weight, last = self.prior, steps[-1].after if steps else start

        def add(kind: Kind, name: str, stage: int, without: Floats | None) -> None:
            nonlocal last
            before, last = last, _log_odds(weight @ self.sides)
            steps.append(OddsStep(kind, name, stage, before, last, without))

        for stage, seen in enumerate(self.seen):
            entered, likelihoods = weight, self.likelihoods[stage]
            for place, (finding, like) in enumerate(zip(seen, likelihoods, strict=True)):
                others = _product(entered, likelihoods[:place] + likelihoods[place + 1 :])
                weight = weight * like
                add("found", finding.label, stage, _log_odds(others @ self.ends[stage]))
            if stage < len(self.removals):
                kept = weight @ self._begun(stage + 1)
                success = self.evidence.repairs[stage].success
                took = np.bincount(self.removals[stage], weight, minlength=len(weight))
                weight = (1.0 - success) * weight + success * took
                add("repair", self.evidence.repairs[stage].name, stage, _log_odds(kept) if kept.any() else None)
        return OddsCourse(self.modes, start, tuple(steps))

    def _facts(self) -> tuple[Floats, list[OddsStep]]:
        """Log odds by the file's shares alone, and a step for each fact."""
        facts, begun = list(self.evidence.facts.items()), self._begun(0)
        start = last = _log_odds(prior_for(self.suspects, {})[0] @ self.sides)
        steps = []
        for i, (fact, value) in enumerate(facts):
            after = _log_odds(prior_for(self.suspects, dict(facts[: i + 1]))[0] @ self.sides)
            others = prior_for(self.suspects, dict(facts[:i] + facts[i + 1 :]))[0]
            steps.append(OddsStep("fact", f"{fact}={value}", 0, last, after, _log_odds(others @ begun)))
            last = after
        return start, steps

    @cached_property
    def ends(self) -> list[Floats]:
        """(H, 2M) of each stage: what each suspect at its end comes to, the later findings weighed in."""
        ends = [self.sides]
        for stage in range(len(self.removals), 0, -1):
            begun = _product(ends[0], self.likelihoods[stage])
            success = self.evidence.repairs[stage - 1].success
            ends.insert(0, (1.0 - success) * begun + success * begun[self.removals[stage - 1]])
        return ends

    def _begun(self, stage: int) -> Floats:
        """(H, 2M) the same at the beginning of a stage."""
        return _product(self.ends[stage], self.likelihoods[stage])


def _product(start: Floats, likelihoods: Sequence[Floats]) -> Floats:
    for like in likelihoods:
        start = (start.T * like).T
    return start


def _log_odds(sides: Floats) -> Floats:
    """(M,) natural logarithms of the odds from the weights for (M,) and against (M,) in one row."""
    count = len(sides) // 2
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(sides[:count]) - np.log(sides[count:]))
