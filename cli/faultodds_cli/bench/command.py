"""`faultodds bench`: the guided call."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.call import appliance_named
from faultodds_cli.shared.jobs import opened_store, resume, start

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.job import OpenJob, Store
    from faultodds_cli.shared.talk import Talk

_HELP = "A guided call: findings in, odds and the next check out. Every line is saved as it is typed."

app = options.new_app(_HELP)


@app.command(help=_HELP)
def bench(
    job: Annotated[
        str | None, typer.Argument(metavar="[JOB]", help="A saved job to go on with; a new one without.")
    ] = None,
    title: Annotated[str, typer.Option("--title", metavar="TEXT", help="A few words to know a new job by.")] = "",
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    ambient: options.Ambient = None,
    qualified: options.JobQualified = None,
    labour_rate: options.Labour = None,
    revision: options.Revision = None,
    shop: options.Shop = None,
    technician: options.Technician = None,
) -> None:
    """The guided call, or going on with one."""
    from faultodds_cli.shared.talk import Talk

    settings = {"qualified": qualified, "labour_rate": labour_rate, "ambient": ambient}
    with opened_store(data) as store:
        if job is None:
            _new(Talk(), store, appliance_named(appliance, revision, shop, technician), title, settings)
        else:
            _go_on(Talk(), resume(store, job, appliance, revision, shop, technician, **settings))


def _new(talk: Talk, store: Store, appliance: Appliance, title: str, settings: dict[str, Any]) -> None:
    """A new call. The job begins with the first answer, so that looking in leaves nothing behind."""
    from faultodds_cli.bench.intake import first_answers

    talk.tell(f"A new call: {appliance.knowledge.appliance.title}. Type help or leave at any time; all is saved.")
    visit, safe = first_answers(talk, appliance.knowledge, lambda: start(store, appliance, title, **settings))
    if visit is None:
        talk.tell("Nothing was entered, so no job was started.")
    else:
        _talk_through(talk, visit, safe, fresh=True)


def _go_on(talk: Talk, visit: OpenJob) -> None:
    """A saved job: safety again, then what is still to be asked, then the findings."""
    from faultodds_cli.bench.intake import still_safe

    visit.keep_hands()
    talk.tell(f"Going on with job {visit.job.id}. Type help or leave at any time; all is saved.")
    told = any(p.visit == visit.job.visit for p in visit.job.findings)
    _talk_through(talk, visit, still_safe(talk, visit), fresh=not told and not visit.job.is_closed)


def _talk_through(talk: Talk, visit: OpenJob, safe: bool, fresh: bool) -> None:
    """The call after the safety questions; `safe` is false when the input ended before they were answered."""
    from faultodds_cli.bench.call import BenchCall
    from faultodds_cli.bench.commands import exact
    from faultodds_cli.bench.intake import complaint, intake
    from faultodds_cli.bench.lines import talk_through
    from faultodds_cli.bench.machine import settled_again
    from faultodds_cli.shared.talk import CallLeft

    call = BenchCall(visit, talk, is_command=lambda word: exact(word) is not None)
    safe = safe and settled_again(visit, talk, call.is_command)
    with suppress(CallLeft):
        # On a callback the machine is known; what it does now is asked.
        if safe and (not fresh or ((visit.job.visit > 1 or intake(call)) and complaint(call))):
            talk_through(call)
            return
    if not call.over:  # a call that was left has said so
        talk.say(call.goodbye())
