"""Whether a finding fits what was found before it: how likely it was, and which earlier findings speak against it."""

from __future__ import annotations

from msgspec import Struct
from msgspec.structs import replace

from faultodds.belief import Appliance, Belief, WeighedFinding, suspect_likelihood
from faultodds.errors import ClashError
from faultodds.job.job import Job, PlacedFinding
from faultodds.job.standing import believe
from faultodds.job.steps import Fact, Finding, Step
from faultodds.job.taking import evidence_of

# A finding is asked about when all three hold; `tests/job/test_fitting.py` measures how often that is an ordinary one.
# It was unlikely; the shipped tables leave a few in a hundred for checks that err, so far smaller would never be met.
ODD = 0.05
# What was found before made it so: it has at most this share of its chance without. A rare fault is no contradiction.
MADE_ODD = 0.3
# And even now it was more likely shown by mistake: the faults that bring it on, at least half as surely as any, stay below this.
BELIEVED = 0.5
MOST_AGAINST = 3


class Misfit(Struct, frozen=True):
    """A finding that does not fit: its `chance` given what was known before, and the earlier findings `against` it, worst first:
    without them it would fit."""

    finding: Finding
    chance: float
    against: tuple[PlacedFinding, ...]


def misfit(appliance: Appliance, job: Job, finding: Finding) -> Misfit | None:
    """The misfit of a finding with the job as it stands before it, or None when it fits or the job clashes already."""
    job = _told(appliance, job.without_place_of(finding), finding)
    try:
        belief = believe(appliance, job)
        chance = _chance(belief, finding)
        if chance >= ODD or chance > MADE_ODD * _chance(believe(appliance, _less(job, job.findings)), finding):
            return None
        if _brought_on(belief, finding) >= BELIEVED:
            return None
        return Misfit(finding, chance, _against(appliance, job, finding))
    except ClashError:
        return None


def misfits(appliance: Appliance, job: Job, since: int = 0) -> list[Misfit]:
    """Every finding entered after step `since` that did not fit those before it, in the order of entry."""
    found = []
    for place, step in enumerate(job.steps):
        if isinstance(step.payload, Finding) and step.seq > since:
            odd = misfit(appliance, replace(job, steps=job.steps[:place]), step.payload)
            found += [odd] if odd else []
    return found


def _brought_on(belief: Belief, finding: Finding) -> float:
    """How likely, with the finding believed, that it is one of the faults that bring it on, and no mistake."""
    likelihood = suspect_likelihood(belief.suspects, WeighedFinding(finding.name, _weights(finding)))
    after = belief.now * likelihood
    total = float(after.sum())
    return float(after[likelihood >= 0.5 * likelihood.max()].sum()) / total if total > 0 else 0.0


def _chance(belief: Belief, finding: Finding) -> float:
    """How likely the finding is now; of one that is not sure, how likely its readings are beside the likeliest."""
    odds = belief.outcome_odds(finding.name)
    weights = _weights(finding)
    return sum(w * odds[o] for o, w in weights.items()) / max(weights.values())


def _weights(finding: Finding) -> dict[str, float]:
    return {finding.outcome: 1.0} if finding.outcome is not None else dict(finding.likelihood or {})


def _told(appliance: Appliance, job: Job, finding: Finding) -> Job:
    """The job with the facts that the finding itself tells: a check on a part says that the machine has it."""
    known = evidence_of(appliance, job).facts
    for name, value in appliance.knowledge.observables[finding.name].needs.items():
        if name not in known:
            job = job.plus(Step(job.last_seq + 1, job.opened_at, Fact(name, value)))
    return job


def _against(appliance: Appliance, job: Job, finding: Finding) -> tuple[PlacedFinding, ...]:
    """The findings to do without for this one to fit: each time the one that stands in its way the most."""
    against: list[PlacedFinding] = []
    chance = 0.0
    while job.findings and chance < ODD and len(against) < MOST_AGAINST:
        chances = [_chance(believe(appliance, _less(job, [p])), finding) for p in job.findings]
        chance = max(chances)
        worst = job.findings[chances.index(chance)]
        against.append(worst)
        job = _less(job, [worst])
    return tuple(against)


def _less(job: Job, findings: tuple[PlacedFinding, ...] | list[PlacedFinding]) -> Job:
    """The job without these findings, nor those that they took the place of."""
    for placed in findings:
        for step in job.in_place_of(placed):
            job = job.minus(step)
    return job
