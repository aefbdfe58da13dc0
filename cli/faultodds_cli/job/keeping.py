"""`faultodds job keep`: model, serial number, parts, who went and photographs, kept with a job for its pages."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.jobs import opened_store, resume
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import wrap


def keep(
    job: options.Job,
    model: Annotated[str, typer.Option("--model", metavar="TEXT", help="The machine's model.")] = "",
    serial: Annotated[str, typer.Option("--serial", metavar="TEXT", help="Its serial number.")] = "",
    part: Annotated[
        list[str] | None, typer.Option("--part", metavar="TEXT", help="A part fitted, with its number. Repeatable.")
    ] = None,
    photo: Annotated[
        list[Path] | None,
        typer.Option("--photo", metavar="FILE", help="A photograph, kept small and without place or time. Repeatable."),
    ] = None,
    technician: Annotated[str, typer.Option("--technician", metavar="NAME", help="Who went.")] = "",
    appliance: options.JobAppliance = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Keep with a job what its pages show besides: nothing of it counts as a finding.

    Example: faultodds job keep 7 --model GD-200 --part "coil set 12-345" --photo plate.jpg
    """
    from faultodds.errors import FaultoddsError
    from faultodds.job import keep_photo, summary

    named = [("model", model), ("serial", serial), ("technician", technician), *(("part", text) for text in part or [])]
    given = [(name, text) for name, text in named if text.strip()]
    if not given and not photo:
        raise FaultoddsError("nothing to keep. Type for example: faultodds job keep 7 --model GD-200")
    with opened_store(data) as store:
        visit = resume(store, job, appliance)
        since = visit.job.last_seq
        for name, text in given:
            visit.keep(name, text)
        for path in photo or []:
            keep_photo(visit, path)
        kept = [summary(step.payload) for step in visit.job.steps if step.seq > since]
    if as_json:
        say_json({"job": visit.job.id, "kept": kept})
    else:
        say([f"Job {visit.job.id}:", *(line for text in kept for line in wrap(text, "  "))])
