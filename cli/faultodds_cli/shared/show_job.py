"""A stored job as lines: where it stands, its story, what was just entered, and the list of jobs."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING

from faultodds.errors import ClashError
from faultodds.job import (
    ENDED,
    Finding,
    Job,
    JudgedFinding,
    MachineState,
    OpenJob,
    Step,
    StoryLine,
    reminders,
    story,
    summary,
)
from faultodds.safety import safety_items
from faultodds_cli.shared.show_advice import advice_lines, at_once_lines, check_lines
from faultodds_cli.shared.show_known import (
    finding_text,
    judgement_lines,
    numbers_called,
    revision_lines as numbers_lines,
    shop_lines,
)
from faultodds_cli.shared.show_odds import odds_table
from faultodds_cli.shared.text import cautions, labelled, numbered, percents, wrap

if TYPE_CHECKING:
    from faultodds.job import Standing
    from faultodds.knowledge import Knowledge

CHECKS_SHOWN = 3
FAULTS_SHOWN = 5


def screen(visit: OpenJob, standing: Collection[str] = ()) -> list[str]:
    """Where the job stands: odds with their change, the next checks, the advice, and what must not be
    forgotten. `standing`: cautions that the screen above has told."""
    if visit.job.is_closed:
        return [*header(visit), *closed_lines(visit)]
    try:
        view = visit.now
    except ClashError as clash:
        return [*header(visit), *clash_lines(clash)]
    lines = [*header(visit), *why_back_lines(view), "", *odds_lines(visit, FAULTS_SHOWN), ""]
    if not visit.job.awaited and view.advice.kind not in ("stop", "refer") and view.advice.checks:
        lines += [*check_lines(view, view.advice.telling_checks[:CHECKS_SHOWN]), ""]
    return lines + next_lines(visit, view, standing)


def header(visit: OpenJob) -> list[str]:
    """Which job this is, what has been done, and what is open or shut off."""
    job, k = visit.job, visit.knowledge
    counts = f"{_count(len(job.findings), 'finding')}, {_count(job.stage, 'repair')}"
    title = f" ({job.title})" if job.title else ""
    lines = wrap(f"Job {job.id}{title}, {k.appliance.title}: {counts}.")
    lines += revision_lines(visit) + shop_lines(visit.appliance)
    lines += [] if job.qualified else wrap("Work for qualified people is not offered on this job.")
    if job.unsettled:
        lines += wrap(
            f"{job.unsettled} Make it safe first: plug out, gas cock shut. Then say how it is: gas off, front on ...",
            "!! ",
        )
    now = machine_now(visit)
    return lines + (wrap(f"Machine now: {now}.") if now else [])


def machine_now(visit: OpenJob) -> str:
    """How the machine is taken to be, with what is on while something is open; empty when it is closed up."""
    access = visit.knowledge.access
    on = [f"{a.makes_safe.upper()} ON" for n, a in access.items() if a.makes_safe and n not in visit.state]
    state = [access[i].title for i in access if i in visit.state]
    return ", ".join([*on, *state]) if state else ""


def state_called(knowledge: Knowledge, state: Collection[str], before: Collection[str] = ()) -> str:
    """A machine state in words that leave nothing out: what is open or shut off, what is on all the same, what has been put back
    since `before`."""
    told = [(i, a) for i, a in knowledge.access.items() if i in state or i in before or (state and a.makes_safe)]
    parts = ", ".join(a.called(i in state) for i, a in told)
    return parts if state else "closed up, ready to run" + (f" ({parts})" if parts else "")


def why_back_lines(view: Standing) -> list[str]:
    """That the complaint came back, and how likely each reason for it is; nothing on a first visit."""
    why = view.why_back
    if why is None:
        return []
    back = view.job.returns[-1]
    reasons = {
        "what was repaired is still there": why.not_taken if view.job.begun else 0.0,
        "something else was there all along": why.missed,
        "a fault has come since": why.new,
        "nothing is wrong now": why.sound,
    }
    told = zip(reasons, reasons.values(), percents(reasons.values()), strict=True)
    said = [f"{text} {whole}" for text, chance, whole in told if chance >= 0.005]
    return wrap(f"Came back on {back.on}, {_count(back.days, 'day')} after it was left: {', '.join(said)}.")


def revision_lines(visit: OpenJob) -> list[str]:
    """Which learned numbers the job is advised with, and that others are accepted by now; nothing when all is the file's."""
    lines = numbers_lines(visit.appliance)
    if visit.accepted_since:
        using, now = (numbers_called(name) for name in (visit.appliance.revision, visit.accepted_since))
        lines += wrap(
            f"This job goes on with {using}; accepted by now: {now}. "
            f"To change over: faultodds job revision {visit.job.typed} {visit.accepted_since}"
        )
    return lines


def _count(number: int, thing: str) -> str:
    return f"{number or 'no'} {thing}{'' if number == 1 else 's'}"


def next_lines(visit: OpenJob, view: Standing, standing: Collection[str] = ()) -> list[str]:
    """The advice with its steps and cautions, how to close where that is the advice, and the reminders."""
    if visit.job.awaited:
        return wait_lines(visit, view)
    lines = advice_lines(view, standing)
    if view.advice.kind in ("stop", "refer"):
        word = "gone" if view.advice.kind == "stop" else "referred"
        lines += ["", *wrap(f"If you agree ({ENDED[word]}), type: close {word}")]
    said = " ".join(" ".join(lines).split())
    for text in reminders(visit):
        if text not in said:
            lines += ["", *cautions([text])]
    return lines


def wait_lines(visit: OpenJob, view: Standing) -> list[str]:
    """What there is to do while somebody else's work is awaited."""
    from faultodds.advice import closing_lines

    k, names = visit.knowledge, visit.job.awaited
    lines = at_once_lines(view) + wrap(
        f"WAIT. {' and '.join(k.repair[n].title for n in names)}: not done yet.", "DO NEXT: ", "         "
    )
    steps = [step for n in names for step in k.repair[n].steps]
    back = closing_lines(k, visit.state, dead=True) if visit.state else []
    lines += ["", *numbered([*steps, *(line.text for line in back)]), ""]
    for name in names:
        lines += wrap(awaited_text(visit, name), "  ")
    return lines + wrap(f"To go on with something else before that: skip {' and skip '.join(names)}.", "  ")


def awaited_text(visit: OpenJob, name: str) -> str:
    """That somebody else's work is awaited, and what to type when it is done."""
    title, job = visit.knowledge.repair[name].title, visit.job.typed
    return (
        f"Awaited: {title}. The call is kept. When they have been and it is done: faultodds bench {job}, then repair {name} (or "
        f"faultodds job fix {job} {name})."
    )


def odds_lines(visit: OpenJob, count: int) -> list[str]:
    """Bars for the likeliest faults, with the change in points since the last thing that counted."""
    now, belief, k = visit.now, visit.now.belief, visit.knowledge
    shown = [o for o in belief.fault_odds()[:count] if o.probability >= 0.005]
    rows = [(k.title_of(o.name), o.probability, _points(now.change(o.name))) for o in shown]
    if belief.sound >= 0.02:
        title = "machine is sound now" if visit.job.stage else "nothing wrong with the machine"
        rows.append((title, belief.sound, _points(None if now.before is None else belief.sound - now.before.sound)))
    return odds_table("change", rows, (12, 11, 8), gap=1, margin=1)


def _points(change: float | None) -> str:
    if change is None:
        return ""
    points = round(change * 100)
    return f"{points:+d}" if points else "="


def clash_lines(clash: ClashError) -> list[str]:
    """Findings that no fault explains, and the ways out."""
    lines = ["", *wrap("These cannot all be true of one machine:", "!! ")]
    for name in clash.findings:
        lines += wrap(name, "   - ")
    return lines + wrap(
        "Look at the oddest one again and enter it anew, or take it back: undo and its name. The job is kept.",
        "   ",
    )


def closed_lines(visit: OpenJob) -> list[str]:
    """That the job is closed, and how to open it again."""
    lines = wrap(f"This job is closed: {ENDED[visit.job.outcome or 'gone']}.")
    return lines + wrap(
        "Type story to read it, close came back YYYY-MM-DD to open it again, undo to take the closing back."
    )


def state_lines(visit: OpenJob) -> list[str]:
    """Every access item as it is, and how to correct it."""
    lines = ["Machine now (correct it with open ITEM or shut ITEM):"]
    for name, access in visit.knowledge.access.items():
        lines += wrap(f"{name}: {access.called(name in visit.state)}", "  ", "    ")
    return lines


# ---- its story ----


def story_lines(visit: OpenJob) -> list[str]:
    """The whole job: when, what, in order."""
    job, k = visit.job, visit.knowledge
    lines = wrap(
        f"Job {job.id}, {job.appliance}, opened {job.opened_at.astimezone():%Y-%m-%d %H:%M}"
        + (f": {job.title}" if job.title else "")
    )
    before = None
    for line in story(job):
        if (line.visit, line.stage) != before:
            before = line.visit, line.stage
            lines += wrap(_stage(*before), "  -- ")
        lines += _story_line(k, line)
    for step in job.undone:
        lines += wrap(f"taken back: {step_text(k, step)}", f"  {step.at.astimezone():%H:%M} ", "        ")
    return lines


def _stage(visit: int, stage: int) -> str:
    when = "before any repair" if stage == 0 else f"after {_count(stage, 'repair')}"
    return f"{when}, visit {visit}" if visit > 1 else when


def _story_line(knowledge: Knowledge, line: StoryLine) -> list[str]:
    minutes = f" [{line.minutes:g} min]" if line.minutes is not None else ""
    return wrap(f"{step_text(knowledge, line)}{minutes}", f"  {line.at.astimezone():%H:%M} ", "        ")


def step_text(knowledge: Knowledge, step: Step | StoryLine) -> str:
    """A step in words."""
    match step.payload:
        case Finding() as finding:
            return finding_text(finding)
        case MachineState(changes):
            known = knowledge.access
            return ", ".join(
                known[i].called(so) if i in known else f"not known any more: {i}" for i, so in changes.items()
            )
        case other:
            return summary(other)


def no_longer_stops(knowledge: Knowledge, taken_back: Iterable[Step]) -> list[str]:
    """What is said of findings taken back that kept the machine from running: only if they were never so."""
    seen = knowledge.observables
    found = [step.payload for step in taken_back if isinstance(step.payload, Finding)]
    return [
        f"{f.name}={outcome} kept the machine from running. Take it back only if it was never so. If it was, enter it again; "
        "what has changed since is looked at again and entered anew."
        for f in found
        for outcome in sorted(seen[f.name].bars & {f.outcome, *(f.likelihood or {})})
    ]


def entered_lines(visit: OpenJob, taken: Iterable[JudgedFinding], since: int) -> list[str]:
    """What was saved after step `since`, with the judgement of each raw reading."""
    lines = [line for s in story(visit.job) if s.seq > since for line in _story_line(visit.knowledge, s)]
    for each in taken:
        if each.judgement is not None:
            lines += judgement_lines(visit.knowledge, each.finding.name, each.judgement)
    told = [line for text in visit.at_once() for line in wrap(text, "AT ONCE: ", "         ")]
    return [*lines, *told, *_guessed_lines(visit, since)]


def _guessed_lines(visit: OpenJob, since: int) -> list[str]:
    """Whether the machine is as it is taken to be, asked when work that was entered after step `since` brought another state."""
    new = [s.payload for s in visit.job.steps if s.seq > since]
    changed = {item for p in new if isinstance(p, MachineState) for item in p.changes}
    if not changed & safety_items(visit.knowledge) or all(isinstance(p, MachineState) for p in new):
        return []
    now = state_called(visit.knowledge, visit.state, changed)
    state = f"faultodds job state {visit.job.typed}"
    return wrap(
        f"Is the machine like this now: {now}? If not: {state} --open ITEM or --shut ITEM.",
        "?  ",
    )


def list_lines(jobs: Iterable[Job]) -> list[str]:
    """Jobs as lines: number, day, how it stands, what it is."""
    lines = []
    for job in jobs:
        stands = "STOPPED" if job.stopped else job.outcome or "open"
        what = job.title or job.appliance
        lines += labelled(f"{job.id:>5}  {job.opened_at.astimezone():%Y-%m-%d} {stands:<10} ", what, 29)
    return lines
