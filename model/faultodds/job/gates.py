"""What stops the machine on a job, or its heat: while it stands the run is not made, and the complaint is not gone."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from faultodds.advice import gone_unmended, may_be, not_looked_at_again, not_looked_for, run_forbidden
from faultodds.belief import Appliance, Belief, Evidence
from faultodds.errors import ClashError, FaultoddsError
from faultodds.job.job import Job
from faultodds.job.naming import names_somebody
from faultodds.job.standing import believe, remembered
from faultodds.job.steps import Danger, Finding, MachineState, Step
from faultodds.job.taking import evidence_of, state_after, take_repair
from faultodds.knowledge import Knowledge
from faultodds.safety import (
    CAUSE_LEFT,
    LIKELY,
    Known,
    at_once,
    barred,
    let_out,
    not_lit_with,
    not_run_with,
    said,
    still_owed,
)


@remembered
def known_on(appliance: Appliance, job: Job) -> tuple[Known, Evidence, Belief | None]:
    """What is known on a call; findings that clash are known without a belief."""
    evidence = evidence_of(appliance, job)
    try:
        belief = believe(appliance, job)
    except ClashError:
        belief = None
    return may_be(appliance.knowledge, evidence, belief), evidence, belief


def brought(appliance: Appliance, job: Job, work: str, found: Finding | None = None) -> MachineState | None:
    """The machine state that a check, with what it `found`, or a repair brings with it, as a step; None when it changes nothing.
    After a repair with which the machine must not run, or not with heat, it is left as it was worked on; live work that found
    such a thing ends dead, with nothing proved after it."""
    k = appliance.knowledge
    if work not in k.repair:
        check = k.check.get(work)
        if found is not None and check is not None and check.prove and likely_shows(found, check.stops):
            return state_after(appliance, job, work, dead=True)
        unheated = check is not None and check.running and check.unheated
        return state_after(appliance, job, work, unlit=unheated and bool(not_lit_with(k, known_on(appliance, job)[0])))
    done = job.plus(Step(job.last_seq + 1, job.opened_at, take_repair(k, work)))
    return state_after(appliance, job, work, not barred(k, known_on(appliance, done)[0]))


def likely_shows(finding: Finding, outcomes: Collection[str]) -> bool:
    """Whether a finding likely shows one of some outcomes."""
    weights = {finding.outcome: 1.0} if finding.outcome is not None else finding.likelihood or {}
    return any(weights.get(o, 0.0) > LIKELY * sum(weights.values()) for o in outcomes)


def standing(appliance: Appliance, job: Job) -> list[str]:
    """What stops the machine now, or its heat, as it is told: "name=outcome"."""
    return [said(n, o) for n, o in barred(appliance.knowledge, known_on(appliance, job)[0])]


def cause_owed(appliance: Appliance, job: Job) -> dict[str, list[str]]:
    """Faults found or put right whose cause is neither mended nor measured to be gone -> the checks of which one is owed."""
    return still_owed(appliance.knowledge, job.repairs, evidence_of(appliance, job).seen)


def told_cause(knowledge: Knowledge, mode: str, checks: Sequence[str]) -> str:
    """What a fault leaves owing, in a sentence or two."""
    good = " or ".join(f"{c} ({next(iter(knowledge.check[c].outcomes))})" for c in checks)
    left = "what brings it on is neither mended nor measured to be gone"
    return f"{knowledge.title_of(mode)}: {left}. Find and mend that, or enter {good}."


def owed_on(appliance: Appliance, job: Job) -> list[str]:
    """What a job leaves to be done, a sentence or two each: for each danger that was told of, and causes not mended."""
    k = appliance.knowledge
    told = [step.payload.text for step in job.steps if isinstance(step.payload, Danger)]
    lines = [
        f"Told on this job: {stop.title}. Owed: {stop.owed}."
        for stop in k.stop.values()
        if stop.owed and any(text.startswith(f"STOP. {stop.title}") for text in told)
    ]
    if told and not lines:
        lines = ["Danger was told of on this job: owed is that its cause is found and put right."]
    return [*lines, *(f"Owed: {told_cause(k, mode, checks)}" for mode, checks in cause_owed(appliance, job).items())]


def only_qualified(knowledge: Knowledge, work: Iterable[str]) -> list[str]:
    """Those of some checks and repairs that are for qualified people."""
    every = {**knowledge.check, **knowledge.repair}
    return [name for name in work if name in every and every[name].qualified]


def refuse_unqualified(work: Sequence[str], by: str = "") -> None:
    """Raise FaultoddsError for work that those who are here may not do, unless it is said `by` whom it was done."""
    if work and not names_somebody(by):
        names = " and ".join(work)
        raise FaultoddsError(
            f"{names}: live or gas-pressure work is for qualified people, and there is said to be none here (--no-qualified-work, "
            "or the shop file). Nothing was entered. If a qualified person did it, say who: job find or job fix with --by WHO; "
            "bench asks when it is typed; next, odds and plans are asked without --no-qualified-work."
        )


def refuse_run(appliance: Appliance, job: Job) -> None:
    """Raise FaultoddsError for a run that is entered while something stands with which the machine is not run at all. One with
    which it is not heated stops no entry: how a run ended says more of the air than what was found before. Neither is it run while
    somebody else's work is awaited."""
    for name in job.awaited:
        raise FaultoddsError(
            f"verify is refused: {appliance.knowledge.repair[name].title} [{name}] is awaited, and the machine stays shut off "
            f"until then. When it is done: repair {name}, then verify; if it is not needed after all: skip {name}, then verify."
        )
    known = known_on(appliance, job)
    _refuse(appliance, "verify", known, not_run_with(appliance.knowledge, known[0]))


def refuse_gone(appliance: Appliance, job: Job) -> None:
    """Raise FaultoddsError while something stops the machine or its heat, or was found to stop the machine and was not looked at
    again after its repair."""
    known = known_on(appliance, job)
    _refuse(appliance, "close gone", known, barred(appliance.knowledge, known[0]))
    for name, outcome in let_out(appliance.knowledge, known[0]):
        raise FaultoddsError(
            f"close gone is refused: {name}={outcome} may be so ({known[0][name][outcome]:.0%}); then what the machine lets out "
            f"goes into the room. Look, and enter what {name} shows; then close gone. Otherwise close referred."
        )
    k, (_, evidence, belief) = appliance.knowledge, known
    for name, outcome in not_looked_at_again(k, evidence, belief) + (
        not_looked_for(k, evidence, belief) if belief else []
    ):
        raise FaultoddsError(
            f"close gone is refused: {name}={outcome} was found, or may be so, and nobody has looked again since with a plain "
            f"answer. Enter what {name} shows now; then close gone. Otherwise close referred: the machine is then left out of "
            "service."
        )
    for name, outcome in gone_unmended(k, evidence):
        raise FaultoddsError(
            f"close gone is refused: {name}={outcome} was found, and what makes it was not put right since: a good look by itself "
            f"mends nothing. Find it and mend it; or close referred. Only if the first was read or typed wrong: take back {name}, "
            "as often as it was entered, and enter what it shows."
        )


def _refuse(
    appliance: Appliance, what: str, on_call: tuple[Known, Evidence, Belief | None], stops: Sequence[tuple[str, str]]
) -> None:
    if not stops:
        return
    k, (known, evidence, belief), (name, outcome) = appliance.knowledge, on_call, stops[0]
    mends = [n for n, r in k.repair.items() if not r.by_others and not run_forbidden(k, evidence, belief, known, [n])]
    mend = f"Mend what causes it ({', '.join(mends[:4])})" if mends else "Mend what causes it"
    again = "what is measured now" if outcome == CAUSE_LEFT else f"what {name} shows now"
    raise FaultoddsError(
        f"{what} is refused while {said(name, outcome)} stands. {at_once(k, known)[0]} {mend}, or enter {again}, "
        f"looked at again; then {what}. Otherwise close referred: the machine is then left out of service."
    )
