"""How a call may end: on which day, for what reason, and what is owed before the complaint can be called gone."""

from __future__ import annotations

import re
from datetime import date

from faultodds.advice import closing_lines
from faultodds.belief import Appliance, WeighedFinding
from faultodds.errors import FaultoddsError
from faultodds.job import sayings
from faultodds.job.gates import cause_owed, refuse_gone, told_cause
from faultodds.job.job import OWN_NOTES, Job
from faultodds.job.reasons import shows, spoiled, spoiled_parts
from faultodds.job.standing import unverified
from faultodds.job.steps import Closed, Note, RepairDone
from faultodds.knowledge import Knowledge
from faultodds.safety import LIKELY, Unmended, run_shows_only, unmended

_COVER = re.compile(r"\b(?:panels?|plates?|covers?|lids?|screws?|clamps?|clips?|caps?|wires?|shields?|guards?)\b")
_PARTS = re.compile(r"\s*[,;.:]\s*|\s+(?:and|but)\s+")


def ending(appliance: Appliance, job: Job, outcome: str, on: str | None, note: str, today: date) -> Closed:
    """The closing of a job with this outcome; raises FaultoddsError when the call cannot end so."""
    closed = Closed(outcome, _day(on, today), note.strip())
    if closed.outcome == job.outcome == "came_back":
        raise FaultoddsError(
            f"job {job.id} is open: the complaint came back on {job.closings[-1].on}, and it has not been closed since. "
            "Go on with the call; or if it ended and the complaint came back once more, close it gone or referred first."
        )
    if job.is_closed and closed.outcome != "came_back":
        raise FaultoddsError(
            f"job {job.id} is closed already: {job.outcome}. If that was a mistake, type faultodds job undo {job.typed} first; if "
            "the complaint came back, close it came_back."
        )
    knowledge = appliance.knowledge
    if closed.outcome != "came_back":
        _refuse_another_state(knowledge, job, closed.note)
    if closed.outcome == "gone":
        _refuse_awaited(knowledge, job)
        _refuse_owed(appliance, job)
        refuse_gone(appliance, job)
        _refuse_failed(knowledge, job)
        _refuse_unmended(knowledge, job, closed.note)
        _refuse_open(knowledge, job)
        _refuse_reason(knowledge, job, closed.note)
        if not closed.note and (noted := noted_undone(knowledge, job)):
            raise FaultoddsError(
                f"It was noted: '{noted}'. Is that put right? Say what was done: "
                f'faultodds job close {job.typed} gone --note "panel on, every screw in"'
            )
        if not closed.note and untouched(knowledge, job):
            raise FaultoddsError(
                "nothing was repaired on this visit and the machine was not run, so why is the complaint gone? Say it in a few "
                f'words, and it is kept with the job: faultodds job close {job.typed} gone --note "screen was out, put back"'
            )
        if not closed.note and unverified(knowledge, job):
            raise FaultoddsError(
                "the machine was not run after the last repair, so why is the complaint gone? Run it and enter verify; or say "
                f'why there was no run, and it is kept with the job: faultodds job close {job.typed} gone --note "no run made: ..."'
            )
        if not closed.note and (only := run_shows_only(knowledge, repaired_now(job))):
            raise FaultoddsError(
                f"{' '.join(only)} Was it? Say so, or why the complaint is gone all the same: "
                f'faultodds job close {job.typed} gone --note "run made so, ended dry"'
            )
    return closed


def _refuse_awaited(knowledge: Knowledge, job: Job) -> None:
    for name in job.awaited:
        raise FaultoddsError(
            f"close gone is refused: {knowledge.repair[name].title} [{name}] is awaited. When it is done, enter it again and run "
            f"the machine; if it is not needed after all: skip {name}. Handed over for good: close referred."
        )


def _refuse_another_state(knowledge: Knowledge, job: Job, note: str) -> None:
    """Refuse words that tell of another state of the machine than is on record: nobody leaves it like that unseen."""
    heard = [s for part in (note, *_PARTS.split(note)) for s in sayings.understand(knowledge, part)]
    for remark in (s for s in heard if s.kind == "noted"):
        name, _, value = remark.value.partition("=")
        seen = knowledge.observables[name]
        if seen.bars or value != next(iter(seen.outcomes)):
            raise FaultoddsError(
                f"close gone is refused: '{note}' is no reason why the complaint is gone. {remark.name}"
            )
    told = [s for s in heard if s.kind == "machine"]
    state = {(s.name, s.value): sayings.machine_item(knowledge, s.name) for s in told}
    other = [(n, v) for (n, v), item in state.items() if item and job.machine_state.get(item, False) != (v == "off")]
    if other:
        said = ", ".join(sayings.echo(*each) for each in other)
        now = ", ".join(
            a.called(bool(job.machine_state.get(i))) for i, a in knowledge.access.items() if i in state.values()
        )
        raise FaultoddsError(
            f"'{note}' says {said}, but the machine is taken to be: {now}. Say first how it is, all of it, such as unplugged, gas "
            "off, front on; then close."
        )


def _refuse_reason(knowledge: Knowledge, job: Job, note: str) -> None:
    """Refuse words that tell of something not so, not done or not put back; where a reason is owed, words that are none."""
    owed = reason_owed(knowledge, job)
    noted = noted_undone(knowledge, job)
    why_not = not noted and (bool(left_unmended(knowledge, job)) or unverified(knowledge, job))
    wrong = spoiled(note, why_not) or (note if owed and not why_not and not shows(note) else None)
    if note and wrong:
        raise FaultoddsError(
            f"close gone is refused: {owed}{' ' if owed else ''}'{wrong}' is no reason why the complaint is gone. "
            "Say what was done or seen that shows it; put right first what is not; what is only to be remembered: "
            f'faultodds job note {job.typed} "...". Or close referred.'
        )
    stopping = sayings.doubted_stop(knowledge, note) if note else None
    last = [p.finding.outcome for p in job.findings if p.finding.name == stopping]
    if stopping and not (
        last and last[-1] == next(iter(knowledge.observables[stopping].outcomes)) in sayings.plain(note)
    ):
        raise FaultoddsError(
            f"close gone is refused: '{note}' tells of {stopping}. Enter what {stopping} shows now first."
        )


def reason_owed(knowledge: Knowledge, job: Job) -> str:
    """What has not been done on this visit that would show that the complaint is gone, so that a reason is asked for; empty when
    nothing is."""
    if noted := noted_undone(knowledge, job):
        return f"It was noted: '{noted}'."
    if left := [each for each in left_unmended(knowledge, job) if not each.barring]:
        return _told_unmended(knowledge, left[0])
    if untouched(knowledge, job):
        return "Nothing was repaired and the machine was not run."
    if unverified(knowledge, job):
        return "The machine was not run after the last repair."
    return " ".join(run_shows_only(knowledge, repaired_now(job)))


def noted_undone(knowledge: Knowledge, job: Job) -> str | None:
    """The part of a note of this visit that tells of a thing of the machine that is off, loose or not put back; None for none."""
    found = None
    for step in job.steps:
        match step.payload:
            case Closed("came_back"):
                found = None
            case Note(text) if not text.startswith((*OWN_NOTES, *(stop.ask for stop in knowledge.stop.values()))):
                told = (p for p in spoiled_parts(text) if sayings.things_named(knowledge, p) or _COVER.search(p))
                found = next(told, found)
    return found


def repaired_now(job: Job) -> list[str]:
    """The repairs of this visit."""
    done: list[str] = []
    for step in job.steps:
        match step.payload:
            case Closed("came_back"):
                done = []
            case RepairDone(name):
                done.append(name)
    return done


def left_unmended(knowledge: Knowledge, job: Job) -> list[Unmended]:
    """The faults that were seen on this job, and neither mended nor looked at again."""
    seen = []
    for p in job.findings:
        f = p.finding
        weights = {f.outcome: 1.0} if f.outcome is not None else f.likelihood or {}
        seen.append(WeighedFinding(f.name, weights, p.stage, f.take))
    return unmended(knowledge, job.repairs, seen)


def _told_unmended(knowledge: Knowledge, left: Unmended) -> str:
    return f"{left.name}={left.outcome} was found ({knowledge.title_of(left.mode)}), and not mended."


def _refuse_unmended(knowledge: Knowledge, job: Job, note: str) -> None:
    """Refuse to call it gone over a fault that was seen and is not mended: one that lets a hazard out or stops the air whatever
    is said, another one without a reason."""
    for left in sorted(left_unmended(knowledge, job), key=lambda each: not each.barring):
        told = _told_unmended(knowledge, left)
        looked = f"Enter its repair, or look again and enter what {left.name} shows now"
        if left.barring:
            raise FaultoddsError(f"close gone is refused: {told} {looked}; then close gone. Otherwise close referred.")
        if not note:
            raise FaultoddsError(
                f"{told} Why is the complaint gone? {looked}; or say why, and it is kept with the job: "
                f'faultodds job close {job.typed} gone --note "customer wants that left"'
            )


def _refuse_open(knowledge: Knowledge, job: Job) -> None:
    """Refuse to call it gone while the machine stands open or shut off."""
    stands = [item for item in knowledge.access if job.machine_state.get(item)]
    if stands:
        steps = " ".join(f"{n}. {line.text}" for n, line in enumerate(closing_lines(knowledge, frozenset(stands)), 1))
        raise FaultoddsError(
            f"close gone is refused: the machine stands open or shut off ({', '.join(stands)}). Put it back together: {steps} "
            f"Then say so: faultodds job state {job.id} {' '.join(f'--shut {item}' for item in stands)}; then close gone."
        )


def untouched(knowledge: Knowledge, job: Job) -> bool:
    """Whether nothing was repaired on this visit, and no verification run was made."""
    run = knowledge.costs.verify
    return not repaired_now(job) and not any(p.visit == job.visit and p.finding.name == run for p in job.findings)


def _refuse_failed(knowledge: Knowledge, job: Job) -> None:
    """Refuse to call a complaint gone when the last run, with nothing repaired since, did not end well."""
    run = knowledge.costs.verify
    good = next(iter(knowledge.check[run].outcomes))
    here = [p.finding for p in job.findings if (p.finding.name, p.stage, p.visit) == (run, job.stage, job.visit)]
    last = max(here, key=lambda f: f.take, default=None)
    if last is None or last.outcome == good or (last.likelihood or {}).get(good, 0.0) > LIKELY:
        return
    raise FaultoddsError(
        f"close gone is refused: the last run did not end {good}. Go on with the call, or run it again and enter how that ends: "
        f"verify {good}. Otherwise close referred."
    )


def _refuse_owed(appliance: Appliance, job: Job) -> None:
    """Refuse to close on a fault that something brought on, while what did is neither mended nor measured to be gone."""
    for mode, checks in cause_owed(appliance, job).items():
        raise FaultoddsError(
            f"{told_cause(appliance.knowledge, mode, checks)} Then close gone. What cannot be measured now is not settled by "
            "leaving it out: close referred, and the machine is left out of service."
        )


def _day(text: str | None, today: date) -> date | None:
    if text is None:
        return None
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise FaultoddsError(f"'{text}' is not a day. Type it as YYYY-MM-DD, for example 2025-03-31.") from None
    if day > today:
        raise FaultoddsError(f"{day} is still to come; today is {today}. Type the day it was, as YYYY-MM-DD.")
    return day
