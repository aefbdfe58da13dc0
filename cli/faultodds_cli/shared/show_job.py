"""What the guided call shows. Every function returns lines; nothing here prints."""

from __future__ import annotations

from collections.abc import Iterable

from faultodds.advice import CheckPrice
from faultodds.errors import ClashError
from faultodds.job import Finding, Job, Line, Taken, Tells, Visit, reminders, story, tells, typed
from faultodds.knowledge import Knowledge
from faultodds_cli.shared import show
from faultodds_cli.shared.jobs import view_of
from faultodds_cli.shared.options import View
from faultodds_cli.shared.show import bar, capital, money, percent, width, wrap
from faultodds_cli.shared.text import title_lines

CHECKS_SHOWN = 3
FAULTS_SHOWN = 5
BAR_CELLS = 12
_NOW = 11
_CHANGE = 8


def screen(visit: Visit) -> list[str]:
    """Where the job stands: odds with their change, the next checks, the advice, and what must not be
    forgotten."""
    if visit.job.is_closed:
        return [*header(visit), *closed_lines(visit)]
    try:
        view = view_of(visit)
    except ClashError as clash:
        return [*header(visit), *clash_lines(clash)]
    lines = [*header(visit), "", *odds_lines(visit, FAULTS_SHOWN), ""]
    if view.advice.kind in ("check", "repair") and view.advice.checks:
        lines += [*show.check_lines(view, view.advice.telling_checks[:CHECKS_SHOWN]), ""]
    return lines + next_lines(visit, view)


def header(visit: Visit) -> list[str]:
    """Which job this is, what has been done, and what is open or shut off."""
    job, k = visit.job, visit.knowledge
    counts = f"{_count(len(job.findings), 'finding')}, {_count(job.stage, 'repair')}"
    title = f" ({job.title})" if job.title else ""
    state = [k.access[i].title for i in k.access if i in visit.state]
    lines = wrap(f"Job {job.id}{title}, {k.appliance.title}: {counts}.")
    lines += revision_lines(visit) + show.shop_lines(visit.appliance)
    return lines + (wrap(f"Machine now: {', '.join(state)}.") if state else [])


def revision_lines(visit: Visit) -> list[str]:
    """Which learned numbers the job is advised with, and that others are accepted by now; nothing when all is the file's."""
    lines = show.revision_lines(visit.appliance)
    if visit.accepted_since:
        using, now = (_numbers(name) for name in (visit.appliance.revision, visit.accepted_since))
        lines += wrap(
            f"This job goes on with {using}; accepted by now: {now}. "
            f"To change over: faultodds job revision {visit.job.id} {visit.accepted_since}"
        )
    return lines


def _numbers(revision: str) -> str:
    return "the knowledge file's own numbers" if revision == "file" else f"revision {revision}"


def _count(number: int, thing: str) -> str:
    return f"{number or 'no'} {thing}{'' if number == 1 else 's'}"


def next_lines(visit: Visit, view: View) -> list[str]:
    """The advice with its steps and cautions, how to close where that is the advice, and the reminders."""
    lines = show.advice_lines(view)
    if view.advice.kind in ("stop", "refer"):
        word = "gone" if view.advice.kind == "stop" else "referred"
        lines += ["", *wrap(f"If you agree, type: close {word}")]
    said = " ".join(" ".join(lines).split())
    for text in reminders(visit):
        if text not in said:
            lines += ["", *wrap(text, "  !! ")]
    return lines


def odds_lines(visit: Visit, count: int) -> list[str]:
    """Bars for the likeliest faults, with the change in points since the last thing that counted."""
    belief, k = visit.now.belief, visit.knowledge
    shown = [o for o in belief.fault_odds()[:count] if o.probability >= 0.005]
    lines = [f"{'FAULT ODDS':<{width() - 1 - _NOW - _CHANGE}}{'now':>{_NOW}}{'change':>{_CHANGE}}"]
    for o in shown:
        lines += _odds_row(
            k.title_of(o.name),
            bar(o.probability, BAR_CELLS),
            percent(o.probability),
            _points(visit.now.change(o.name)),
        )
    if belief.sound >= 0.02:
        before = visit.now.before
        change = None if before is None else belief.sound - before.sound
        title = "machine is sound now" if visit.job.stage else "nothing wrong with the machine"
        lines += _odds_row(title, bar(belief.sound, BAR_CELLS), percent(belief.sound), _points(change))
    return lines


def _points(change: float | None) -> str:
    if change is None:
        return ""
    points = round(change * 100)
    return f"{points:+d}" if points else "="


def _odds_row(title: str, drawn: str, now: str, change: str) -> list[str]:
    room = width() - 1 - BAR_CELLS - _NOW - _CHANGE
    first, *more = title_lines(title, room - 3)
    row = f"{'  ' + first:<{room}}{drawn:<{BAR_CELLS}}{now:>{_NOW}}{change:>{_CHANGE}}".rstrip()
    return [row, *(f"    {line}" for line in more)]


def clash_lines(clash: ClashError) -> list[str]:
    """Findings that no fault explains, and the ways out."""
    lines = ["", *wrap("These cannot all be true of one machine:", "!! ")]
    for name in clash.findings:
        lines += wrap(name, "   - ")
    return lines + wrap(
        "Look at the oddest one again and enter it anew, or type undo to take back the last. The job is kept.",
        "   ",
    )


def closed_lines(visit: Visit) -> list[str]:
    """That the job is closed, and how to open it again."""
    lines = wrap(f"This job is closed: {visit.job.outcome}.")
    return lines + wrap(
        "Type story to read it, close came back YYYY-MM-DD to open it again, undo to take the closing back."
    )


# ---- asked for by name -------------------------------------------------------------------------------


def why_lines(visit: Visit) -> list[str]:
    """Why this advice: the reason, what more knowing could save, and what each finding says."""
    view = view_of(visit)
    advice, k = view.advice, visit.knowledge
    lines = wrap(advice.why)
    lines += wrap(
        f"The job is likely to cost about {money(advice.expected_cost, k)} from here. "
        f"Even knowing the fault for certain would save at most {money(advice.evpi, k)} of that."
    )
    if visit.job.findings:
        lines += ["", *show.weight_lines(view)]
    return lines


def why_check_lines(visit: Visit, name: str) -> list[str]:
    """What one check would tell: for each outcome its chance and the faults that lead after it, and what
    the check is worth."""
    k = visit.knowledge
    observable = k.observables()[name]
    lines = wrap(f"{capital(observable.title)} [{name}]")
    for t in tells(visit, name):
        lines += _tells(k, t)
    price = next((c for c in visit.now.advice.checks if c.name == name), None)
    return lines + (
        _worth(visit, price)
        if price
        else wrap("It is not offered now: done already, skipped, or not for this machine.", "  ")
    )


def _tells(knowledge: Knowledge, t: Tells) -> list[str]:
    leading = "; ".join(
        f"{knowledge.title_of(o.name)} {percent(o.probability)}" for o in t.leading if o.probability >= 0.01
    )
    return wrap(f"{t.outcome} ({percent(t.chance)}): then {leading or 'nothing stands out'}", "  if ", "       ")


def _worth(visit: Visit, price: CheckPrice) -> list[str]:
    k, advice = visit.knowledge, visit.now.advice
    reason = k.check[price.name].reason
    best = advice.repairs[0].expected_cost if advice.repairs else None
    unknown = visit.now.belief.missing_bits
    text = f"{price.price.minutes:.0f} min, {money(price.price.cost, k)}; "
    text += f"the whole job then costs about {money(price.expected_cost, k)}"
    text += f", against {money(best, k)} with the best repair at once." if best is not None else "."
    told = f" It answers {percent(price.bits / unknown)} of what is still open." if unknown > 0 else ""
    return wrap(f"{capital(reason.rstrip('.'))}." if reason else "", "  ") + wrap(text + told, "  ")


def how_lines(visit: Visit, name: str) -> list[str]:
    """The steps and cautions of one check or repair from where the machine is now."""
    action = visit.how(name)
    k = visit.knowledge
    lines = show.action_lines(action, k)
    lines += wrap(f"About {action.price.minutes:.0f} min, {money(action.price.cost, k)}.", "  ")
    if name in k.check:
        meter = ", or the raw reading" if name in k.reading else ""
        lines += wrap(f"Then enter what it shows: {show.outcomes_of(k, name)}{meter}.", "  ")
    return lines


def outcome_question(knowledge: Knowledge, name: str) -> str:
    """What to type for a symptom or check that was named without what it showed."""
    observable = knowledge.observables()[name]
    if name in knowledge.reading:
        outcomes = ", ".join(observable.outcomes)
        return f"{capital(observable.title)}: what does it read? Or say {outcomes}."
    choices = ", ".join(_choice(i, o, w) for i, (o, w) in enumerate(observable.outcomes.items(), 1))
    return f"{capital(observable.title)}: {choices}?"


def _choice(number: int, outcome: str, words: str) -> str:
    return f"{number} {outcome}" if words in (outcome, "") else f"{number} {outcome} ({words})"


def taken_lines(visit: Visit, taken: Taken) -> list[str]:
    """How a finding was understood."""
    if taken.judgement is not None:
        return show.judgement_lines(visit.knowledge, taken.finding.name, taken.judgement)
    return wrap(f"Noted: {_finding_text(taken.finding)}.")


def state_lines(visit: Visit) -> list[str]:
    """Every access item, open or not, and how to correct it."""
    lines = ["Machine now (correct it with open ITEM or shut ITEM):"]
    for name, access in visit.knowledge.access.items():
        lines += wrap(f"{'YES' if name in visit.state else 'no ':3}  {name}: {access.title}", "  ", "         ")
    return lines


def symptom_lines(visit: Visit, names: list[str]) -> list[str]:
    """The symptoms with their numbers and what each can be."""
    lines = []
    for number, name in enumerate(names, 1):
        symptom = visit.knowledge.symptom[name]
        known = next((p.finding for p in visit.job.findings if p.finding.name == name), None)
        if list(symptom.outcomes) == ["no", "yes"]:
            choices = ""
        else:
            choices = ": " + ", ".join(f"{i} {o}" for i, o in enumerate(symptom.outcomes, 1))
        noted = f"  [{known.outcome or 'not sure'}]" if known else ""
        lines += wrap(f"{capital(symptom.title)}{choices}{noted}", f"  {number:2} ", "     ")
    return lines


def fact_lines(visit: Visit) -> list[str]:
    """Every intake fact with the answer given, or the answers there are."""
    lines = []
    for name, fact in typed.asked(visit.knowledge).items():
        given = visit.job.facts.get(name)
        text = f"{name} = {given} ({fact.values[given]})" if given else f"{name} = ? ({' | '.join(fact.values)})"
        lines += wrap(text, "  ", "      ")
    return lines


def story_lines(job: Job) -> list[str]:
    """The whole job: when, what, in order."""
    lines = wrap(
        f"Job {job.id}, {job.appliance}, opened {job.opened_at.astimezone():%Y-%m-%d %H:%M}"
        + (f": {job.title}" if job.title else "")
    )
    stage = visit = -1
    for line in story(job):
        if (line.visit, line.stage) != (visit, stage):
            visit, stage = line.visit, line.stage
            lines += wrap(_stage(visit, stage), "  -- ")
        lines += _story_line(line)
    return lines + wrap(f"{_count(len(job.undone), 'step')} taken back." if job.undone else "", "  ")


def _stage(visit: int, stage: int) -> str:
    when = "before any repair" if stage == 0 else f"after {_count(stage, 'repair')}"
    return f"{when}, visit {visit}" if visit > 1 else when


def _story_line(line: Line) -> list[str]:
    minutes = f" [{line.minutes:g} min]" if line.minutes is not None else ""
    text = _finding_text(line.payload) if isinstance(line.payload, Finding) else line.text
    return wrap(f"{text}{minutes}", f"  {line.at.astimezone():%H:%M} ", "        ")


def _finding_text(f: Finding) -> str:
    shown = f.outcome if f.outcome is not None else show.likelihood_words(f.likelihood or {})
    raw = f' (read "{f.raw}")' if f.raw is not None else ""
    again = f", take {f.take + 1}" if f.take else ""
    return f"{f.name} = {shown}{raw}{again}"


def entered_lines(visit: Visit, taken: Iterable[Taken], since: int) -> list[str]:
    """What was saved after step `since`, with the judgement of each raw reading."""
    lines = [line for s in story(visit.job) if s.seq > since for line in _story_line(s)]
    for each in taken:
        if each.judgement is not None:
            lines += show.judgement_lines(visit.knowledge, each.finding.name, each.judgement)
    return lines


def list_lines(jobs: Iterable[Job]) -> list[str]:
    """Jobs as lines: number, day, how it stands, what it is."""
    lines = []
    for job in jobs:
        stands = job.outcome or "open"
        what = job.title or job.appliance
        lines += wrap(f"{job.opened_at.astimezone():%Y-%m-%d} {stands:<10} {what}", f"{job.id:>5}  ", " " * 29)
    return lines
