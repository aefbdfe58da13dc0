"""A shop's log opened by what it is: the kind is told by the file's first bytes, not by its name."""

from __future__ import annotations

from itertools import islice
from pathlib import Path
from typing import Final

from faultodds.errors import FaultoddsError, nearest
from faultodds.joblog import delimited, sheets
from faultodds.joblog.sources import Source


def open_source(path: Path, encoding: str | None = None, sheet: str | None = None) -> Source:
    """Open a log: CSV in any delimiter and common encoding, Excel (.xlsx) or Parquet.

    Raises FaultoddsError for a folder, a missing, empty, broken, protected or foreign file, saying what to do.
    """
    start = _first_bytes(path)
    if start.startswith(b"PK\x03\x04"):
        return sheets.open_sheet(path, sheet)
    if start.startswith(b"PAR1"):
        return sheets.open_parquet(path)
    for magic, words in _FOREIGN.items():
        if start.startswith(magic):
            raise FaultoddsError(f"{path} {words}")
    return delimited.open_text(path, encoding)


_FOREIGN: Final = {
    b"\xd0\xcf\x11\xe0": (
        "is an Excel file with a password, or one in the old .xls form. Open it in a spreadsheet, "
        "save it as .xlsx without a password or as CSV, and import that."
    ),
    b"SQLite format 3": "is a database. For the jobs kept by this program type: faultodds log import --store.",
    b"%PDF": "is a PDF. Export the table from where it was made as CSV or .xlsx, and import that.",
    b"\x1f\x8b": "is compressed. Unpack it first (gunzip), then import what is in it.",
}


def _first_bytes(path: Path) -> bytes:
    if path.is_dir():
        raise FaultoddsError(f"{path} is a folder. Give the file in it: faultodds log import {path / 'jobs.csv'}.")
    if path.exists() and not path.is_file():
        raise FaultoddsError(
            f"{path} is a pipe or a device and no file. Save what comes out of it to a file, and import that."
        )
    try:
        with path.open("rb") as handle:
            start = handle.read(4096)
    except FileNotFoundError:
        raise FaultoddsError(f"there is no file at {path}.{_neighbour(path)} Check the name and the folder.") from None
    except OSError as error:
        raise FaultoddsError(f"{path} cannot be read ({error.strerror or error}).") from None
    if not start.strip():
        raise FaultoddsError(f"{path} is empty. Export the log again, with its headings and rows.")
    return start


def _neighbour(path: Path) -> str:
    folder = path.parent
    names = [f.name for f in islice(folder.iterdir(), 500)] if folder.is_dir() else []
    close = nearest(path.name, names)
    return f" Did you mean '{folder / close}'?" if close else ""
