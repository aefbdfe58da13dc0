"""A job worked out as it stands: the belief, the advice, and what the last thing entered changed."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from functools import cached_property, wraps
from typing import TypeVar

from msgspec import Struct
from msgspec.structs import replace

from faultodds.advice import Advice, Situation, advise
from faultodds.belief import Appliance, Belief, WhyBack, infer, why_back
from faultodds.errors import FaultoddsError
from faultodds.job.job import Job
from faultodds.job.steps import Closed, Fact, Finding, RepairDone, Step
from faultodds.job.taking import evidence_of
from faultodds.knowledge import Knowledge

Found = TypeVar("Found")
# A screen asks many times of the job as it stands, and of it as it was before or would be after.
ASKED_OF = 4


def remembered(work: Callable[[Appliance, Job], Found]) -> Callable[[Appliance, Job], Found]:
    """`work`, remembered for the jobs asked about last; these are told by which they are, since none is ever changed."""
    kept: deque[tuple[Appliance, Job, Found]] = deque(maxlen=ASKED_OF)

    @wraps(work)
    def asked(appliance: Appliance, job: Job) -> Found:
        for its, of, found in kept:
            if its is appliance and of is job:
                return found
        found = work(appliance, job)
        kept.append((appliance, job, found))
        return found

    return asked


class Standing(Struct, frozen=True, dict=True):
    """A job as it stands: what is known, and the belief from it. Advice is worked out when it is asked for. `appliance` is
    fitted to the job's facts."""

    appliance: Appliance
    job: Job
    situation: Situation
    belief: Belief

    @cached_property
    def advice(self) -> Advice:
        """What to do next."""
        return advise(self.appliance, self.belief, self.situation)

    @cached_property
    def before(self) -> Belief | None:
        """The belief before the last thing that counted; None when there was nothing before."""
        return _before(self.appliance, self.job)

    @cached_property
    def why_back(self) -> WhyBack | None:
        """Why the complaint came back; None when it has not."""
        return why_back(self.belief)

    def change(self, mode: str) -> float | None:
        """How far the chance of a mode moved with the last thing that counted; None when there was nothing
        before."""
        if self.before is None:
            return None
        column = self.belief.suspects.mode_index[mode]
        return float(self.belief.mode_odds[column] - self.before.mode_odds[column])


def stand(appliance: Appliance, job: Job, situation: Situation) -> Standing:
    """Work a job out; raises ClashError when no suspect explains its findings."""
    return Standing(appliance.fitted(job.facts), job, situation, believe(appliance, job))


def unverified(knowledge: Knowledge, job: Job) -> bool:
    """Whether a repair was done on this visit and the machine has not had its verification run since."""
    verify = knowledge.costs.verify
    return job.stage > job.begun and not any(
        (p.finding.name, p.stage, p.visit) == (verify, job.stage, job.visit) for p in job.findings
    )


@remembered
def believe(appliance: Appliance, job: Job) -> Belief:
    """The belief that a job's facts, findings, repairs and returns lead to; raises ClashError as `infer` does."""
    return infer(appliance.suspects, evidence_of(appliance, job))


def _back(step: Step) -> bool:
    return isinstance(step.payload, Closed) and step.payload.outcome == "came_back"


def _before(appliance: Appliance, job: Job) -> Belief | None:
    counted = [i for i, s in enumerate(job.steps) if isinstance(s.payload, Fact | Finding | RepairDone) or _back(s)]
    if not counted:
        return None
    try:
        return believe(appliance, replace(job, steps=job.steps[: counted[-1]]))
    except FaultoddsError:  # the last one mended a clash: there was no belief to compare with
        return None
