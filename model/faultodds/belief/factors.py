"""How the odds of some modes came about: what each fact, finding, repair and return multiplied them by, in order.

Odds multiply. What one finding multiplies them by depends on what was known before it; the product over all of them does
not. So the factors here are read off from one belief to the next, and lead from the file's shares to the odds now.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from faultodds.belief.course import course, passages
from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding, in_order, suspect_likelihood
from faultodds.belief.posterior import Belief, new_faults, prior_for
from faultodds.knowledge import Floats

Kind = Literal["fact", "found", "repair", "came_back"]


class OddsStep(Struct, frozen=True):
    """One thing that moved the odds of the modes asked about, M of them.

    `name` is `fact=value`, `WeighedFinding.label`, the repair's name or the visit that began; `stage` the number of repairs
    before it. `before` and `after` (M,): natural logarithms of the odds on either side of it, infinite where a mode is ruled
    out or proved. `without` (M,): those of the odds now if it alone were taken back; None where the rest would then clash.
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
    """What each thing entered multiplied the odds of `modes` by: facts first, then findings, repairs and returns as they came.

    The differences `after - before` are weights of evidence (Good 1950), each given what came before it: they add up to the
    change from `start` to `now`. A finding entered twice is one step unless it was re-measured. `without` a repair or a return,
    what was seen after it was seen of the machine as it was.
    """
    return _Courses(belief, modes).course()


class _Courses:
    """Weights carried through the course point by point: a point is what was seen after so many of its steps."""

    def __init__(self, belief: Belief, modes: Sequence[str]) -> None:
        s = self.suspects = belief.suspects
        self.evidence, self.prior, self.modes = belief.evidence, belief.prior, tuple(modes)
        has = s.member_float[:, [s.mode_index[m] for m in modes]]
        # (H, 2M): whether a suspect has each mode, and whether it has not; adding up both keeps the digits near certainty.
        self.sides = np.concatenate([has, 1.0 - has], axis=1)
        self.seen: list[list[WeighedFinding]] = [[] for _ in range(len(self.evidence.course) + 1)]
        for finding in in_order(self.evidence.seen):
            self.seen[finding.stage + finding.visit].append(finding)
        self.likelihoods = [[suspect_likelihood(s, f) for f in seen] for seen in self.seen]
        self.points = [_product(np.ones(len(self.prior)), likes) for likes in self.likelihoods]
        self.passages, _ = passages(s, self.evidence, new_faults(s, self.evidence.facts))
        self.now = [np.arange(len(self.prior)), *(step.now for step in self.passages)]

    def course(self) -> OddsCourse:
        start, steps = self._facts()
        weight, last = self.prior, steps[-1].after if steps else start
        repairs = returns = 0
        for point, seen in enumerate(self.seen):
            if point:
                weight = self.passages[point - 1].on(weight)
                step = self.evidence.course[point - 1]
                before, last = last, self._odds(weight, point)
                if isinstance(step, RepairEffect):
                    steps.append(OddsStep("repair", step.name, repairs, before, last, self._without(repairs, None)))
                    repairs += 1
                else:
                    name, without = f"visit {returns + 2}", self._without(None, returns)
                    steps.append(OddsStep("came_back", name, repairs, before, last, without))
                    returns += 1
            likelihoods = [like[self.now[point]] for like in self.likelihoods[point]]
            entered = weight
            for place, (finding, like) in enumerate(zip(seen, likelihoods, strict=True)):
                others = _product(entered, likelihoods[:place] + likelihoods[place + 1 :])
                weight = weight * like
                before, last = last, self._odds(weight, point)
                steps.append(OddsStep("found", finding.label, repairs, before, last, self._end(others, point)))
        return OddsCourse(self.modes, start, tuple(steps))

    def _facts(self) -> tuple[Floats, list[OddsStep]]:
        """Log odds by the file's shares alone, and a step for each fact."""
        facts = list(self.evidence.facts.items())
        start = last = _log_odds(prior_for(self.suspects, {})[0] @ self.sides)
        steps = []
        for i, (fact, value) in enumerate(facts):
            after = _log_odds(prior_for(self.suspects, dict(facts[: i + 1]))[0] @ self.sides)
            others = replace(self.evidence, facts=dict(facts[:i] + facts[i + 1 :]))
            without = self._followed(others, prior_for(self.suspects, others.facts)[0], self.points)
            steps.append(OddsStep("fact", f"{fact}={value}", 0, last, after, without))
            last = after
        return start, steps

    def _odds(self, weight: Floats, point: int) -> Floats:
        """Log odds by the weights of the states at a point."""
        return _log_odds(weight @ self.sides[self.now[point]])

    def _end(self, weight: Floats, point: int) -> Floats:
        """Log odds at the end, from weights at a point with what was seen there weighed in."""
        for later in range(point + 1, len(self.points)):
            weight = self.passages[later - 1].on(weight) * self.points[later][self.now[later]]
        return self._odds(weight, len(self.points) - 1)

    def _without(self, repair: int | None, wait: int | None) -> Floats | None:
        """Log odds at the end if a repair had not been done, or nobody had come back; None when the rest would clash."""
        repairs, waits = list(self.evidence.repairs), list(self.evidence.waits)
        if repair is not None:
            del repairs[repair]
            waits = [replace(w, stage=w.stage - (w.stage > repair)) for w in waits]
            point = repair + 1 + sum(w.stage <= repair for w in self.evidence.waits)
        else:
            assert wait is not None
            point = waits.pop(wait).stage + wait + 1
        # What was seen after it was seen of the machine as it was.
        points = [*self.points[: point - 1], self.points[point - 1] * self.points[point], *self.points[point + 1 :]]
        return self._followed(replace(self.evidence, repairs=tuple(repairs), waits=tuple(waits)), self.prior, points)

    def _followed(self, evidence: Evidence, prior: Floats, points: Sequence[Floats]) -> Floats | None:
        """Log odds at the end of another course; None where nothing is left."""
        end = course(self.suspects, evidence, prior, points, new_faults(self.suspects, evidence.facts))
        return _log_odds(end.weight @ self.sides[end.now]) if end.weight.any() else None


def _product(start: Floats, likelihoods: Sequence[Floats]) -> Floats:
    for like in likelihoods:
        start = (start.T * like).T
    return start


def _log_odds(sides: Floats) -> Floats:
    """(M,) natural logarithms of the odds from the weights for (M,) and against (M,) in one row."""
    count = len(sides) // 2
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(sides[:count]) - np.log(sides[count:]))
