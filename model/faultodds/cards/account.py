"""A whole job explained: what each thing entered did to the odds of the fault in question, and what would change one's mind.

Weights are natural logarithms of factors on the odds. They add up: `start` and all `weights` are the log odds at the end.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from faultodds.belief import Appliance, Belief, chance_of, infer, odds_course
from faultodds.cards.naming import mended_by
from faultodds.job import Closed, Finding, Job, RepairDone, evidence_of
from faultodds.knowledge import Knowledge

# What multiplies the odds by less than this, or divides them by less, is told with the rest; a natural logarithm.
NEXT_TO_NOTHING = math.log(1.25)


class Weight(Struct, frozen=True):
    """What one thing entered did to the log odds; infinite where it proves the fault or rules it out."""

    kind: str
    name: str
    weight: float


class Account(Struct, frozen=True):
    """How the odds of one fault came about: log odds by the shares alone (`start`), each weight in its order, log odds `now`."""

    mode: str
    start: float
    weights: tuple[Weight, ...]
    now: float

    @property
    def first(self) -> float:
        """The chance before anything was found, the facts told of machine and house counted in."""
        return chance_of(self.start + sum(w.weight for w in self.weights if w.kind == "fact"))

    @property
    def chance(self) -> float:
        """The chance now."""
        return chance_of(self.now)

    def speaking(self, for_it: bool) -> list[Weight]:
        """What was entered that speaks for the fault, or against it, and is worth telling; the heaviest first. Facts are in
        `first`."""
        sign = 1.0 if for_it else -1.0
        told = [w for w in self.weights if w.kind != "fact" and sign * w.weight >= NEXT_TO_NOTHING]
        return sorted(told, key=lambda w: -sign * w.weight)


class Change(Struct, frozen=True):
    """What would change one's mind: after `check` shows `outcome` (its chance now), `mode` leads with `probability`."""

    check: str
    outcome: str
    chance: float
    mode: str
    probability: float


class Chapter(Struct, frozen=True):
    """A part of a job up to some `repairs` done together; without any, up to now. `belief`: just before them; `accounts`: of the
    fault that each of them is for, or of the leading fault."""

    repairs: tuple[str, ...]
    belief: Belief
    accounts: tuple[Account, ...]


def account(belief: Belief, mode: str) -> Account:
    """How the odds of a fault came about."""
    course = odds_course(belief, [mode])
    weights = tuple(Weight(s.kind, s.name, _weight(float(s.before[0]), float(s.after[0]))) for s in course.steps)
    return Account(mode, float(course.start[0]), weights, float(course.now[0]))


def _weight(before: float, after: float) -> float:
    if before == after:
        return 0.0
    return after if math.isinf(after) else after - before


def leading(belief: Belief, k: Knowledge) -> str:
    """The likeliest fault that the file lists."""
    modes = dict(k.modes())
    return next(o.name for o in belief.fault_odds() if o.name in modes)


def changes(belief: Belief, k: Knowledge, checks: Iterable[str], wanted: str = "") -> list[Change]:
    """The outcomes of some checks after which a fault that is put right otherwise leads (or the `wanted` one), likeliest first."""
    s, now = belief.suspects, leading(belief, k)
    mended = mended_by(k, now)[:1]
    modes = dict(k.modes())
    listed = np.array([m in modes for m in s.modes])
    found = []
    for name in checks:
        for outcome, row in zip(s.observables[name], s.likelihood[s.rows[name]], strict=True):
            joint = belief.now * row
            chance = float(joint.sum())
            if chance <= 0:
                continue
            after = np.where(listed, joint @ s.member_float / chance, 0.0)
            lead = s.modes[int(after.argmax())]
            turned = lead == wanted if wanted else mended_by(k, lead)[:1] != mended
            if turned:
                found.append(Change(name, outcome, chance, lead, float(after.max())))
    return sorted(found, key=lambda c: (-c.chance, c.check, c.outcome))


def chapters(appliance: Appliance, job: Job) -> list[Chapter]:
    """A job in the parts that its repairs make of it, the last one up to now; raises ClashError where findings clash."""
    made, group, begun = [], list[str](), 0
    for at, step in enumerate(job.steps):
        p = step.payload
        if isinstance(p, RepairDone):
            begun = begun if group else at
            group.append(p.name)
        elif isinstance(p, Finding | Closed) and group:
            made.append(_chapter(appliance, replace(job, steps=job.steps[:begun]), group))
            group = []
    if group:
        made.append(_chapter(appliance, replace(job, steps=job.steps[:begun]), group))
    return [*made, _chapter(appliance, job, [])]


def _chapter(appliance: Appliance, job: Job, repairs: list[str]) -> Chapter:
    k = appliance.knowledge
    belief = infer(appliance.suspects, evidence_of(appliance, job))
    odds = belief.fault_odds()
    modes = [next(o.name for o in odds if name in mended_by(k, o.name)) for name in repairs] or [leading(belief, k)]
    return Chapter(tuple(repairs), belief, tuple(account(belief, mode) for mode in dict.fromkeys(modes)))
