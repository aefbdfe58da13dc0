"""`faultodds data`: where what is kept of jobs and logs lies, and how to delete it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import wrap

if TYPE_CHECKING:
    from faultodds.files import Kept

app = options.new_app("What is kept of your jobs and logs: where it lies, and how to delete it.")


@app.command("where")
def where(data: options.Data = None, as_json: options.Json = False) -> None:
    """Where jobs, logs, learned numbers and the shop file lie, and how large they are.

    Example: faultodds data where
    """
    folder, kept = _kept(data)
    if as_json:
        say_json({"folder": str(folder), "kept": [_entry(each) for each in kept]})
        return
    say([*wrap(f"Data folder: {folder}"), *(_lines(kept) or ["  nothing is kept there"])])


@app.command("wipe")
def wipe(
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Delete without asking.")] = False,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """Delete everything that is kept: jobs, imported logs, learned numbers, drills, your own files. It cannot be undone.

    What is deleted is shown first, and asked about. A shop's own log and exported files are not touched.

    Example: faultodds data wipe
    """
    from faultodds.errors import FaultoddsError
    from faultodds.files import remove

    folder, kept = _kept(data)
    if not as_json:
        say([*wrap(f"To be deleted for good, in {folder}:"), *(_lines(kept) or ["  nothing: nothing is kept there"])])
    if kept and not yes:
        if as_json or not sys.stdin.isatty():
            raise FaultoddsError("nothing was deleted: nobody is there to ask. Type: faultodds data wipe --yes")
        if not typer.confirm("Delete all of it?", default=False):
            say("Nothing was deleted.")
            return
    remove(kept)
    if as_json:
        say_json({"folder": str(folder), "deleted": [_entry(each) for each in kept]})
    elif kept:
        say("Deleted.")


def _kept(data: str | None) -> tuple[Path, list[Kept]]:
    from faultodds.files import kept_in
    from faultodds.job import store_path

    folder = store_path(data).parent
    return folder, kept_in(folder)


def _lines(kept: list[Kept]) -> list[str]:
    return [
        line
        for each in kept
        for line in wrap(f"{each.what}: {_counted(len(each.paths))}, {each.size / 1000:,.0f} kB", "  ", "    ")
    ]


def _counted(files: int) -> str:
    return f"{files:,} file{'' if files == 1 else 's'}"


def _entry(each: Kept) -> dict[str, Any]:
    return {"what": each.what, "files": [str(path) for path in each.paths], "bytes": each.size}
