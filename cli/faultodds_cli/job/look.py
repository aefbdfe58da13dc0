"""The `faultodds job` commands that only look: show, next, list."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from faultodds.names import capital
from faultodds_cli.shared import options
from faultodds_cli.shared.jobs import opened_store, resume
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import wrap, wrap_each


def show(
    job: options.Job,
    appliance: options.JobAppliance = None,
    qualified: options.Qualified = True,
    labour_rate: options.Labour = None,
    revision: options.Revision = None,
    shop: options.Shop = None,
    technician: options.Technician = None,
    figure: options.Figure = None,
    force: options.Force = False,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """The whole story of a job: times, findings and raw readings, repairs, how it ended, odds and advice
    now. With --figure, a picture of the odds after each step."""
    options.refuse_figure(figure, force, "job.png")
    with opened_store(data) as store:
        visit = resume(store, job, appliance, revision, shop, technician, qualified=qualified, labour_rate=labour_rate)
        if figure is not None:
            from faultodds.charts import draw_course

            draw_course(visit.knowledge, visit.now.belief, figure)
        if as_json:
            from faultodds.job import job_answer

            say_json(job_answer(visit))
            return
        from faultodds_cli.shared.show_job import screen, story_lines

        if visit.job.stopped:
            say([*wrap_each(visit.job.stopped.text), "", *story_lines(visit), ""])
        say([*story_lines(visit), "", *screen(visit)])


def next_(
    job: options.Job,
    appliance: options.JobAppliance = None,
    qualified: options.Qualified = True,
    labour_rate: options.Labour = None,
    revision: options.Revision = None,
    shop: options.Shop = None,
    technician: options.Technician = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """What to do next on a stored job."""
    with opened_store(data) as store:
        visit = resume(store, job, appliance, revision, shop, technician, qualified=qualified, labour_rate=labour_rate)
        now = visit.now  # a clash is said as an error: there is no advice then
        if as_json:
            from faultodds.job import now_answer

            say_json({"job": visit.job.id, **now_answer(visit)})
            return
        from faultodds_cli.shared.show_advice import check_lines
        from faultodds_cli.shared.show_job import CHECKS_SHOWN, header, next_lines, why_back_lines

        view = visit.now
        checks = check_lines(view, view.advice.telling_checks[:CHECKS_SHOWN]) if now.advice.checks else []
        say([*header(visit), *why_back_lines(view), "", *next_lines(visit, view), "", *checks])


def list_(
    only_open: Annotated[bool, typer.Option("--open", help="Only jobs that are not closed.")] = False,
    only_closed: Annotated[bool, typer.Option("--closed", help="Only closed jobs.")] = False,
    limit: Annotated[
        int, typer.Option("--limit", metavar="N", min=1, max=1_000_000, help="At most so many, the newest.")
    ] = 50,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """The jobs there are, newest first."""
    from faultodds.job import job_line

    status: Any = "all" if only_open == only_closed else "open" if only_open else "closed"
    with opened_store(data) as store:
        jobs, damaged = store.list(status, limit), store.damaged
    if as_json:
        say_json({"jobs": [job_line(job) for job in jobs], "damaged": damaged})
        return
    from faultodds_cli.shared.show_job import list_lines

    told = [line for text in damaged.values() for line in wrap(capital(text), "!! ")]
    none = "No jobs to show." if damaged else "No jobs yet. Start one with: faultodds bench, or faultodds job new"
    say([*told, *(list_lines(jobs) if jobs else [none])])


def why(
    job: options.Job,
    what: Annotated[
        list[str] | None,
        typer.Argument(metavar="[WHAT]...", help="all, a part, not a part, two of them (coils from igniter)."),
    ] = None,
    appliance: options.JobAppliance = None,
    revision: options.Revision = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """The job explained: in a line, in a paragraph, and with all in full; or why a fault leads, or does not.

    Examples: faultodds job why 7 / faultodds job why 7 all / faultodds job why 7 not the igniter
    """
    from faultodds.errors import FaultoddsError
    from faultodds_cli.shared.show_fault import why_told

    text = " ".join(what or [])
    with opened_store(data) as store:
        visit = resume(store, job, appliance, revision)
        visit.listen(text)
        told = why_told(visit, text, in_full=f"faultodds job why {visit.job.typed} all")
        if isinstance(told, str):
            raise FaultoddsError(
                f"'{text}' is a check or symptom. Name a part or a fault; in the guided call: why {told}."
            )
        if as_json:
            say_json({"job": visit.job.id, "why": " ".join(" ".join(told).split())})
        else:
            say(told)
