"""`faultodds log`: a shop's own job log in, looked at, and out again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.import_log import Given, import_file
from faultodds_cli.shared.printing import say, say_json

if TYPE_CHECKING:
    from faultodds.joblog import CleaningReport, Draft

app = options.new_app("Your own job log: import it, look at it, write it out. Learning from it is 'faultodds tune'.")

LogArgument = Annotated[str, typer.Argument(metavar="NAME|FILE", help="An imported log, or a file.")]


@app.command("import")
def import_(
    file: Annotated[
        str | None, typer.Argument(metavar="[FILE]", help="CSV, Excel (.xlsx) or Parquet, one row a job.")
    ] = None,
    store: Annotated[bool, typer.Option("--store", help="Take this program's own jobs instead of a file.")] = False,
    name: Annotated[
        str | None, typer.Option("--name", metavar="NAME", help="What to call it; the file's name.")
    ] = None,
    mapping: Annotated[
        str | None, typer.Option("--mapping", metavar="MAP.toml", help="A mapping file to use, instead of a proposal.")
    ] = None,
    phrases: Annotated[
        str | None,
        typer.Option(
            "--phrases", metavar="PHRASES.csv", help="The table of phrases that an import wrote, with what they mean."
        ),
    ] = None,
    add_to: Annotated[
        str | None,
        typer.Option("--add-to", metavar="LOG", help="Add the file's visits to a log that is there: a new month."),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Take the proposed mapping without asking.")] = False,
    encoding: Annotated[
        str | None, typer.Option("--encoding", metavar="NAME", help="Of a CSV file, if it is found out wrongly.")
    ] = None,
    sheet: Annotated[str | None, typer.Option("--sheet", metavar="NAME", help="Of an Excel file.")] = None,
    formulas_aside: Annotated[
        bool, typer.Option("--set-aside-formulas", help="Set rows that hold a formula aside, instead of refusing.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Replace a log of that name made from another file.")] = False,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Read a job log: its columns are recognised, shown and confirmed, then every row is read or set aside with a reason.

    Names, telephone numbers and addresses are left out. The next log with the same headings needs no questions.

    Examples: faultodds log import jobs.csv / faultodds log import --store
    """
    from faultodds.errors import FaultoddsError
    from faultodds.knowledge import load

    if store == (file is not None):
        raise FaultoddsError("give a file, or --store: faultodds log import jobs.csv / faultodds log import --store.")
    if add_to is not None and (store or name is not None):
        raise FaultoddsError("--add-to names the log that a file is added to: leave out --store and --name.")
    knowledge = load(appliance)
    if file is None:
        from faultodds.joblog import import_store

        _finish(import_store(knowledge, name or "jobs", data), data, as_json)
        return
    given = Given(name, mapping, phrases, encoding, sheet, formulas_aside, yes, force, add_to)
    report = import_file(Path(file).expanduser(), knowledge, given, data, as_json)
    if report is not None:
        _finish(report, data, as_json)


def _finish(report: CleaningReport, data: str | None, as_json: bool) -> None:
    from faultodds.joblog import files_of
    from faultodds_cli.log.show import report_lines

    files = files_of(report.log, data)
    if as_json:
        say_json(
            {"imported": True, **report.as_dict(), "files": {"clean": str(files.clean), "folder": str(files.folder)}}
        )
        return
    say(report_lines(report, files))


@app.command("list")
def list_(data: options.Data = None, as_json: options.Json = False) -> None:
    """The logs that were imported."""
    from faultodds.joblog import summaries

    logs = summaries(data)
    if as_json:
        say_json({"logs": logs})
        return
    from faultodds_cli.log.show import list_lines

    say(list_lines(logs) if logs else "No logs yet. Import one with: faultodds log import jobs.csv")


@app.command("describe")
def describe_(
    log: LogArgument,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """What is in a log: months, jobs, how often each check was done, repairs, callbacks, gaps.

    For a file that is not imported yet: what its columns would be taken for.
    """
    from faultodds.joblog import describe_file, find_log
    from faultodds.knowledge import load
    from faultodds_cli.log.show import describe_lines
    from faultodds_cli.shared.show_known import outdated_lines
    from faultodds_cli.shared.show_mapping import mapping_lines

    knowledge = load(appliance)
    path = find_log(log, data)
    found, proposal = describe_file(path, knowledge, data)
    if proposal is not None:
        say_json(_columns(proposal)) if as_json else say(mapping_lines(proposal, knowledge))
    elif found is not None:
        if as_json:
            say_json({"log": log, **found.as_dict()})
            return
        say([*outdated_lines(knowledge.appliance.id, data, log), *describe_lines(log, found, knowledge)])


def _columns(proposal: Draft) -> dict[str, Any]:
    columns = [
        {"heading": c.heading, "is": c.kind, "of": list(c.of), "sure": c.sure, "why": c.why}
        for c in proposal.mapping.columns
    ]
    return {"file": proposal.source.name, "imported": False, "rows": proposal.found.rows, "columns": columns}


@app.command("phrases")
def phrases_(
    log: Annotated[str, typer.Argument(metavar="NAME", help="An imported log.")],
    top: Annotated[int, typer.Option("--top", metavar="N", min=1, max=100_000, help="How many rows at most.")] = 40,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Every phrase of a log, how often it stands there and what it became; those that look like the opposite come first.

    What is wrong is written into the last column of the file (a repair, name=outcome, or - for nothing), and read with
    --phrases at the next import. What looks personal is blotted out.
    """
    from faultodds.joblog import kept_phrases, phrase_file

    path = phrase_file(log, data)
    found = kept_phrases(path)
    if as_json:
        rows = [
            {name: getattr(p, name) for name in ("column", "phrase", "times", "became", "odd", "means")} for p in found
        ]
        say_json({"log": log, "file": str(path), "phrases": rows})
        return
    from faultodds_cli.log.show import phrase_lines

    say(phrase_lines(found, top, path))


@app.command("export")
def export_(
    log: Annotated[str, typer.Argument(metavar="NAME", help="An imported log.")],
    to: Annotated[str, typer.Option("--to", metavar="FILE", help="Where to: .csv, .xlsx or .parquet.")],
    force: options.Force = False,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Write a clean log to a file for a spreadsheet or another program; no cell can act as a formula."""
    from faultodds.joblog import export_log, find_log

    target = Path(to).expanduser()
    count = export_log(find_log(log, data), target, force)
    if as_json:
        say_json({"log": log, "file": str(target), "visits": count})
    else:
        say(f"Wrote {target} ({count:,} visits).")
