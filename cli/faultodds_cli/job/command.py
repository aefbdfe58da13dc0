"""`faultodds job`: a call step by step, for scripts.

Every command changes or shows one stored job and says which.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.job import keeping, look
from faultodds_cli.job.saved import say_saved
from faultodds_cli.shared import options
from faultodds_cli.shared.call import appliance_named, unsaved_job
from faultodds_cli.shared.jobs import opened_store, resume, start
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import cautions, numbered, wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.job import JudgedFinding, OpenJob

app = options.new_app("A call step by step, for scripts. Every step is on disk before the command ends.")

MinutesOption = Annotated[
    float | None,
    typer.Option("--minutes", metavar="MIN", min=0, max=1440, help="How long it took, all of it together."),
]
ByOption = Annotated[
    str,
    typer.Option(
        "--by", metavar="WHO", help="Which qualified person did it, where no work for qualified people is offered."
    ),
]
FactsOption = Annotated[
    list[str] | None, typer.Option("--fact", "-f", metavar="NAME=VALUE", help="An intake fact. Repeatable.")
]


@app.command()
def new(
    fact: FactsOption = None,
    found: options.Found = None,
    reading: options.Reading = None,
    title: Annotated[str, typer.Option("--title", metavar="TEXT", help="A few words to know the job by.")] = "",
    appliance: options.JobAppliance = None,
    revision: options.Revision = None,
    ambient: options.Ambient = None,
    qualified: options.JobQualified = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Start a job, with what is known at the start, and print its number.

    Example: faultodds job new --title "slow dryer, ground floor" --found dry_time=longer
    """
    from faultodds.safety import stop_first

    stop_first(appliance or options.DEFAULT_APPLIANCE, [title, *(fact or []), *(found or []), *(reading or [])])
    with opened_store(data) as store:
        opened = appliance_named(appliance, revision)
        _refuse_bad_start(opened, fact or [], found or [], reading or [], ambient, qualified)
        with store.together():
            visit = start(store, opened, title, ambient=ambient, qualified=qualified)
            taken = _enter(visit, fact or [], found or [], reading or [])
        say_saved(visit, as_json, f"Job {visit.job.id} is started.{_is_it_safe(visit)}", taken, since=0)


def _is_it_safe(visit: OpenJob) -> str:
    """What is asked of everybody who starts a job, empty where the knowledge file has no stop sign."""
    signs = "; ".join(f"{stop.title} ({name})" for name, stop in visit.knowledge.stop.items())
    stop = f"faultodds job find {visit.job.typed} {next(iter(visit.knowledge.stop), '')}=yes"
    return (
        signs and f" First, is it safe? {signs}: if any of it is so, or may be, touch nothing and type its name: {stop}"
    )


@app.command()
def find(
    job: options.Job,
    findings: Annotated[
        list[str] | None,
        typer.Argument(metavar="[NAME=OUTCOME|READING]...", help="What symptoms and checks showed."),
    ] = None,
    reading: options.Reading = None,
    again: Annotated[
        bool, typer.Option("--again", help="Measured anew on purpose: counts beside the earlier finding.")
    ] = False,
    ambient: options.Ambient = None,
    minutes: MinutesOption = None,
    by: ByOption = "",
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Enter what symptoms and checks showed.

    Examples: faultodds job find 7 hood_flap=weak / faultodds job find 7 thermistor_ohms=9.2k --ambient 72F
    """
    if not (findings or reading):
        from faultodds.errors import FaultoddsError

        raise FaultoddsError("nothing to enter. Type for example: faultodds job find 7 hood_flap=weak")
    with _entering(job, appliance, data, as_json, ambient) as (visit, taken):
        taken += _enter(visit, [], findings or [], reading or [], again=again, minutes=minutes, by=by)


@app.command()
def fact(
    job: options.Job,
    facts: Annotated[list[str], typer.Argument(metavar="NAME=VALUE...", help="Intake facts: control=board age=to_8.")],
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Enter or correct intake facts."""
    with _entering(job, appliance, data, as_json) as (visit, _):
        _enter(visit, facts, [], [])


@app.command()
def fix(
    job: options.Job,
    repairs: Annotated[list[str], typer.Argument(metavar="REPAIR...", help="The repairs done, in order.")],
    minutes: MinutesOption = None,
    by: ByOption = "",
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Enter repairs that were done; the run that verifies them comes next."""
    with _entering(job, appliance, data, as_json) as (visit, _):
        before = visit.state
        done = visit.fixes(repairs, minutes, by)
    from faultodds_cli.shared.show_job import awaited_text

    for name in [] if as_json else visit.job.awaited:
        say(wrap(awaited_text(visit, name)))
    if not (as_json or visit.left_off or visit.job.awaited):
        closing = visit.put_back(done[-1].name, before)
        say(["Closing it up again is:", *numbered(closing)] if closing else [])
        say(f"Next, run the machine: faultodds job verify {visit.job.typed} OUTCOME")


@app.command()
def verify(
    job: options.Job,
    outcome: Annotated[str, typer.Argument(metavar="OUTCOME", help="How the run ended, or its minutes: '48 min'.")],
    minutes: MinutesOption = None,
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Enter how the run after a repair ended."""
    with _entering(job, appliance, data, as_json) as (visit, taken):
        taken.append(visit.verify(outcome, minutes))


@app.command()
def skip(
    job: options.Job,
    name: Annotated[str, typer.Argument(metavar="NAME", help="A check, a repair, or a question.")],
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why not.")] = "",
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Enter that a check or repair cannot be done now."""
    with _entering(job, appliance, data, as_json) as (visit, _):
        visit.skip(name, reason)


@app.command()
def state(
    job: options.Job,
    opened: Annotated[
        list[str] | None,
        typer.Option("--open", metavar="ITEM", help="Is open, shut off or moved. Repeatable."),
    ] = None,
    shut: Annotated[
        list[str] | None,
        typer.Option("--shut", metavar="ITEM", help="Is closed, on or back in place. Repeatable."),
    ] = None,
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Correct what is open, shut off or moved; without options, show it."""
    with _entering(job, appliance, data, as_json) as (visit, _):
        changes = {**dict.fromkeys(opened or [], True), **dict.fromkeys(shut or [], False)}
        if changes:
            visit.set_state(changes)
    if not as_json:
        from faultodds_cli.shared.show_job import state_lines

        say(state_lines(visit)[1:])


@app.command()
def missing(
    job: options.Job,
    tool: Annotated[str, typer.Argument(metavar="TOOL", help="A tool, or helper for a second person.")],
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Enter that a tool is not there: what needs it is not offered any more on this visit."""
    with _entering(job, appliance, data, as_json) as (visit, _):
        visit.without(tool)


@app.command()
def undo(
    job: options.Job,
    name: Annotated[
        str | None,
        typer.Argument(metavar="[NAME]", help="An older finding, repair, fact or skip; what came after it stays."),
    ] = None,
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Take back the last entry, with the opening and shutting that came with it; or an older one by its name.

    Examples: faultodds job undo 7 / faultodds job undo 7 coil_ohms
    """
    from faultodds_cli.shared.show_job import no_longer_stops, step_text

    with opened_store(data) as store:
        visit = resume(store, job, appliance)
        steps = visit.take_back(name) if name else visit.undo()
        taken = [step_text(visit.knowledge, step) for step in steps]
        if as_json:
            from faultodds.job import job_answer

            warned = no_longer_stops(visit.knowledge, steps)
            say_json({**job_answer(visit, advice=False), "taken_back": taken, "warned": warned})
        else:
            say([f"Job {visit.job.id}:", *(line for text in taken for line in wrap(f"taken back: {text}", "  "))])
            say(cautions(no_longer_stops(visit.knowledge, steps)))


@app.command()
def note(
    job: options.Job,
    text: Annotated[list[str], typer.Argument(metavar="TEXT...", help="Free text, kept with the job.")],
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Keep a remark with the job; it is never evidence."""
    with _entering(job, appliance, data, as_json) as (visit, _):
        visit.note(" ".join(text))


@app.command()
def safe(
    job: options.Job,
    remark: Annotated[
        str, typer.Option("--note", metavar="TEXT", help="Who says so, how it was made sure, and what that showed.")
    ] = "",
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Say that it is safe again, on a job that was stopped by gas, carbon monoxide, illness or fire."""
    with _entering(job, appliance, data, as_json) as (visit, _):
        visit.safe(remark)
    if not as_json:
        from faultodds.job import owed_on

        for text in owed_on(visit.appliance, visit.job):
            say(wrap(text))


@app.command("revision")
def revision_(
    job: options.Job,
    revision: Annotated[str, typer.Argument(metavar="ID|file", help="Learned numbers to go on with.")],
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Go on with other learned numbers than the job was advised with so far; a note in the job says so."""
    from faultodds.job import OpenJob

    with opened_store(data) as store:
        since = store.get(job).last_seq
        visit = OpenJob.readvise(store, job, revision, appliance)
        say_saved(
            visit, as_json, f"Job {visit.job.id} goes on with revision {visit.job.revision or 'file'}.", [], since
        )


@app.command()
def close(
    job: options.Job,
    outcome: Annotated[str, typer.Argument(metavar="gone|referred|came_back", help="How the call ended.")],
    on: Annotated[
        str | None, typer.Option("--on", metavar="YYYY-MM-DD", help="The day the complaint came back.")
    ] = None,
    remark: Annotated[
        str,
        typer.Option(
            "--note", metavar="TEXT", help="A remark on the ending: why it is gone, when nothing was repaired."
        ),
    ] = "",
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Close a job; came_back opens it again."""
    with _entering(job, appliance, data, as_json) as (visit, _):
        steps, stopped = visit.closing_up(outcome), visit.out_of_service(outcome)
        visit.close(outcome, on, remark)
    typed = visit.job.typed
    if visit.job.outcome == "came_back" and not as_json:
        say(
            wrap(
                f"Ask what it does now, and enter it: faultodds bench {typed}, or faultodds job find {typed} NAME=OUTCOME"
            )
        )
    if visit.job.is_closed and not as_json:
        from faultodds.advice import left_off
        from faultodds.job import owed_on

        for text in owed_on(visit.appliance, visit.job):
            say(wrap(text))
        if stopped:
            say(wrap(f"The machine is left out of service: {', '.join(stopped)}."))
        if steps:
            say([left_off(visit.knowledge) if stopped else "Put the machine back:", *numbered(steps)])


app.command("keep")(keeping.keep)
app.command("show")(look.show)
app.command("next")(look.next_)
app.command("list")(look.list_)
app.command("why")(look.why)


def _refuse_bad_start(
    appliance: Appliance,
    facts: list[str],
    found: list[str],
    readings: list[str],
    ambient: str | None,
    qualified: bool | None,
) -> None:
    """Raise for what cannot be entered before there is a job: a bad start leaves none behind."""
    from faultodds.job import evidence_of, only_qualified, refuse_unqualified, steps_for_one_shot

    steps = steps_for_one_shot(appliance.knowledge, facts, found, readings, ambient=ambient)
    if qualified is False:
        refuse_unqualified(only_qualified(appliance.knowledge, (getattr(s, "name", "") for s in steps)))
    evidence_of(appliance, unsaved_job(appliance, steps))


@contextmanager
def _entering(
    job: str, appliance: str | None, data: str | None, as_json: bool, ambient: str | None = None
) -> Iterator[tuple[OpenJob, list[JudgedFinding]]]:
    """A stored job to enter something in; then what was saved is said, with the readings that were put in the list."""
    with opened_store(data) as store:
        visit = resume(store, job, appliance, ambient=ambient)
        since = visit.job.last_seq
        taken: list[JudgedFinding] = []
        with visit.together():
            yield visit, taken
        say_saved(visit, as_json, f"Job {visit.job.id}:", taken, since)


def _enter(
    visit: OpenJob,
    facts: Sequence[str],
    found: Sequence[str],
    readings: Sequence[str],
    again: bool = False,
    minutes: float | None = None,
    by: str = "",
) -> list[JudgedFinding]:
    """Enter all of it, or nothing: stop signs first, then everything is judged, then it is saved."""
    from faultodds.job import pair, take_fact

    visit.listen(*facts, *found, *readings)
    findings = [(*pair(text, "--found"), False) for text in found] + [(*pair(t, "--reading"), True) for t in readings]
    findings = [f for f in findings if not visit.stop_sign(f[0], f[1])]
    judged = [visit.judge(name, value, again=again, reading=reading) for name, value, reading in findings]
    given = [take_fact(visit.knowledge, *pair(text, "--fact")) for text in facts]
    visit.try_out([*given, *(taken.finding for taken in judged)])
    if given:
        visit.facts([(each.name, each.value) for each in given])
    return visit.finds(findings, again=again, minutes=minutes, by=by) if findings else []
