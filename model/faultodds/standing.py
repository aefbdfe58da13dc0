"""A job worked out as it stands: the belief, the advice, and what the last thing entered changed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from faultodds.advice import Advice, Situation, advise
from faultodds.appliance import Appliance
from faultodds.belief import Belief, Evidence, infer
from faultodds.call import evidence_of
from faultodds.errors import FaultoddsError
from faultodds.jobs import Fact, Finding, Job, Repair
from faultodds.knowledge import repair_modes
from faultodds.schema import Knowledge

# From this chance on a fault is taken as found.
AS_GOOD_AS_FOUND = 0.5
_WHY_VERIFY = "A repair is not done until the machine has run: this tells whether to leave or to go on."


@dataclass(frozen=True)
class Standing:
    """Belief and advice now, and the belief before the last thing that counted (None when there was nothing
    before)."""

    belief: Belief
    advice: Advice
    before: Belief | None

    def change(self, mode: str) -> float | None:
        """How far the chance of a mode moved with the last thing that counted; None when there was nothing
        before."""
        if self.before is None:
            return None
        column = self.belief.suspects.mode_index[mode]
        return float(self.belief.mode_odds[column] - self.before.mode_odds[column])


def stand(appliance: Appliance, job: Job, situation: Situation) -> Standing:
    """Work a job out; raises ClashError when no suspect explains its findings."""
    belief = believe(appliance, job)
    advice = advise(appliance, belief, situation)
    if unverified(appliance.knowledge, job):
        advice = _verify_first(appliance, belief, advice)
    return Standing(belief, advice, _before(appliance, job))


def unverified(knowledge: Knowledge, job: Job) -> bool:
    """Whether a repair was done and the machine has not had its verification run since, on this visit."""
    verify = knowledge.costs.verify
    return job.stage > 0 and not any(
        (p.finding.name, p.stage, p.visit) == (verify, job.stage, job.visit) for p in job.findings
    )


def _verify_first(appliance: Appliance, belief: Belief, advice: Advice) -> Advice:
    """The advice after a repair: let the machine run, unless it would plainly fail without a further repair.

    A further repair is needed when a fault that it puts right is as good as found; the run would only fail.
    """
    verify = appliance.knowledge.costs.verify
    price = next((c for c in advice.checks if c.name == verify), None)
    if advice.name == verify or price is None or (advice.kind == "repair" and _needed(appliance, belief, advice)):
        return advice
    return replace(advice, kind="check", name=verify, together=(), expected_cost=price.expected_cost, why=_WHY_VERIFY)


def _needed(appliance: Appliance, belief: Belief, advice: Advice) -> bool:
    k, s = appliance.knowledge, belief.suspects
    modes = {m for name in (advice.name, *advice.together) for m in repair_modes(k, k.repair[name])}
    columns = [s.mode_index[m] for m in modes]
    return float(belief.now @ s.member[:, columns].any(axis=1)) >= AS_GOOD_AS_FOUND


def believe(appliance: Appliance, job: Job) -> Belief:
    """The belief that a job's facts, findings and repairs lead to; raises ClashError as `infer` does.

    A verification run of an earlier visit is left out: the complaint has come back since, and a run passed
    then would be the reason to stop now.
    """
    evidence = evidence_of(appliance, job)
    verify = appliance.knowledge.costs.verify
    overtaken = [p.visit < job.visit and p.finding.name == verify for p in job.findings]
    seen = tuple(s for s, over in zip(evidence.seen, overtaken, strict=True) if not over)
    return infer(appliance.suspects, Evidence(evidence.facts, seen, evidence.repairs))


def _before(appliance: Appliance, job: Job) -> Belief | None:
    counted = [i for i, s in enumerate(job.steps) if isinstance(s.payload, Fact | Finding | Repair)]
    if not counted:
        return None
    try:
        return believe(appliance, replace(job, steps=job.steps[: counted[-1]]))
    except FaultoddsError:  # the last one mended a clash: there was no belief to compare with
        return None
