"""A job log read from a file, its mapping shown and agreed to."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import typer

from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.progress import work

if TYPE_CHECKING:
    from faultodds.joblog import CleaningReport, Draft
    from faultodds.knowledge import Knowledge


class Given(NamedTuple):
    """What was said of a file to import, by the options of `log import`."""

    name: str | None = None
    mapping: str | None = None
    phrases: str | None = None
    encoding: str | None = None
    sheet: str | None = None
    formulas_aside: bool = False
    yes: bool = False
    force: bool = False
    add_to: str | None = None


def import_file(
    path: Path, knowledge: Knowledge, given: Given, data: str | None, as_json: bool
) -> CleaningReport | None:
    """Import a file; None when its mapping was not agreed to."""
    from faultodds.joblog import PROPOSED, Options, already_clean, draft, import_log, refuse_other_source, with_phrases

    how = Options(given.encoding, given.sheet, given.formulas_aside)
    mapping = Path(given.mapping).expanduser() if given.mapping else None
    with work("reading") as progress:
        found = draft(path, knowledge, given.add_to or given.name, mapping, how, data, progress)
    if given.phrases is not None:
        found = with_phrases(found, Path(given.phrases).expanduser(), knowledge)
    if found.origin != PROPOSED and not as_json:
        say(f"Read with the mapping in {found.origin}.")
    if found.source.lost and not _agreed_without(found, given.yes, as_json):
        return None
    if not given.force and given.add_to is None:
        refuse_other_source(found.name, path.name, data)
    report = already_clean(found, knowledge, data) if given.add_to is None else None
    if report is None:
        if (
            given.add_to is None
            and not found.mapping.confirmed
            and not _agreed(found, knowledge, given.yes, as_json, data)
        ):
            return None
        with work("reading") as progress:
            report = import_log(found, knowledge, data, progress, add=given.add_to is not None)
    return report


def _agreed_without(found: Draft, yes: bool, as_json: bool) -> bool:
    """Ask whether to go on without a damaged sheet that held a good part of the file; raises FaultoddsError with nobody to ask."""
    from faultodds.errors import FaultoddsError

    names = ", ".join(f"'{name}'" for name in found.source.lost)
    what = f"{found.path}: a good part of it is in a sheet that is damaged and cannot be read ({names})."
    if yes or as_json or not sys.stdin.isatty():
        raise FaultoddsError(
            f"{what} Nothing was imported. Open it in a spreadsheet and save it anew; or take one sound sheet alone with --sheet."
        )
    say(what)
    return typer.confirm("Import it without that?", default=False)


def _agreed(found: Draft, knowledge: Knowledge, yes: bool, as_json: bool, data: str | None) -> bool:
    """Show the mapping and ask; with nobody to ask, leave it as a file and say how to go on."""
    from faultodds.joblog import keep_proposal
    from faultodds_cli.shared.show_mapping import mapping_lines

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
