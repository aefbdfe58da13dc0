"""`faultodds log`: a shop's own job log in, looked at, and out again."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.progress import terminal

if TYPE_CHECKING:
    from faultodds.joblog import CleaningReport, Draft, Options
    from faultodds.knowledge import Knowledge

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
    knowledge = load(appliance)
    if file is None:
        from faultodds.joblog import import_store

        _finish(import_store(knowledge, name or "jobs", data), data, as_json)
        return
    from faultodds.joblog import Options

    how = Options(encoding, sheet, formulas_aside)
    _import_file(Path(file).expanduser(), knowledge, name, mapping, phrases, how, yes, force, data, as_json)


def _import_file(
    path: Path,
    knowledge: Knowledge,
    name: str | None,
    mapping: str | None,
    phrases: str | None,
    how: Options,
    yes: bool,
    force: bool,
    data: str | None,
    as_json: bool,
) -> None:
    from faultodds.joblog import PROPOSED, already_clean, draft, import_log, refuse_other_source, with_phrases

    with _progress(quiet=as_json) as progress:
        given = Path(mapping).expanduser() if mapping else None
        found = draft(path, knowledge, name, given, how, data, progress)
    if phrases is not None:
        found = with_phrases(found, Path(phrases).expanduser(), knowledge)
    if found.origin != PROPOSED and not as_json:
        say(f"Read with the mapping in {found.origin}.")
    if not force:
        refuse_other_source(found.name, path.name, data)
    report = already_clean(found, knowledge, data)
    if report is None:
        if not found.mapping.confirmed and not _agreed(found, knowledge, yes, as_json, data):
            return
        with _progress(quiet=as_json) as progress:
            report = import_log(found, knowledge, data, progress)
    _finish(report, data, as_json)


def _agreed(found: Draft, knowledge: Knowledge, yes: bool, as_json: bool, data: str | None) -> bool:
    """Show the mapping and ask; with nobody to ask, leave it as a file and say how to go on."""
    from faultodds.joblog import keep_proposal
    from faultodds_cli.log.show import mapping_lines

    if yes:
        return True
    path = keep_proposal(found, data)
    answer = {"imported": False, "mapping": str(path), "columns": len(found.mapping.columns)}
    if as_json:
        say_json(answer)
        raise typer.Exit(2)
    say(mapping_lines(found, knowledge))
    asked = sys.stdin.isatty()
    if asked and typer.confirm("\nImport it so?", default=True):
        return True
    say(["", f"Nothing is imported yet. The mapping is in {path}"])
    say("Change what is wrong in it and run the same import again; add --yes to take it as it is.")
    if not asked:
        raise typer.Exit(2)
    return False


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


@contextmanager
def _progress(quiet: bool) -> Iterator[Any]:
    """A bar while somebody is looking."""
    screen = None if quiet else terminal()
    if screen is None:
        yield None
        return
    from rich.progress import Progress

    with Progress(console=screen, transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda what, done, total: bar.update(task, description=what, completed=done, total=total or None)


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
    from faultodds_cli.log.show import describe_lines, mapping_lines

    knowledge = load(appliance)
    path = find_log(log, data)
    found, proposal = describe_file(path, knowledge, data)
    if proposal is not None:
        say_json(_columns(proposal)) if as_json else say(mapping_lines(proposal, knowledge))
    elif found is not None:
        say_json({"log": log, **found.as_dict()}) if as_json else say(describe_lines(log, found, knowledge))


def _columns(proposal: Draft) -> dict[str, Any]:
    columns = [
        {"heading": c.heading, "is": c.kind, "of": list(c.of), "sure": c.sure, "why": c.why}
        for c in proposal.mapping.columns
    ]
    return {"file": proposal.source.name, "imported": False, "rows": proposal.found.rows, "columns": columns}


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
