"""A clean log written out for others: CSV, Excel or Parquet, and read in again."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from faultodds.errors import FaultoddsError
from faultodds.files import refuse_taken
from faultodds.joblog import clean
from faultodds.joblog.aside import safe

if TYPE_CHECKING:
    import pandas as pd

ENDINGS: Final = (".csv", ".xlsx", ".parquet")
MOST_SHEET_ROWS: Final = 1_048_575


def export_log(source: Path, to: Path, force: bool = False) -> int:
    """Write the clean log at `source` to a file by its ending; the number of visits.

    In CSV and Excel no cell can be taken for a formula. Raises FaultoddsError for another ending, a file that is there (unless
    `force`), or more visits than a sheet holds.
    """
    refuse_taken(to, "--to", "jobs.csv", kind="a log", endings=ENDINGS, force=force)
    kind = to.suffix.casefold()
    count = sum(len(piece) for piece in clean.read_chunks(source))
    with clean.replacing(to) as beside:
        if kind == ".parquet":
            shutil.copyfile(source, beside)
        elif kind == ".csv":
            _write_csv(source, beside)
        else:
            _write_sheet(source, beside, count)
    return count


def _write_csv(source: Path, to: Path) -> None:
    with to.open("w", encoding="utf-8-sig", newline="") as handle:
        writer = csv.writer(handle)
        for row in _rows(source):
            writer.writerow(row)


def _write_sheet(source: Path, to: Path, count: int) -> None:
    if count > MOST_SHEET_ROWS:
        raise FaultoddsError(
            f"the log has {count:,} visits and a sheet holds {MOST_SHEET_ROWS:,} at most. Export it to .csv or .parquet."
        )
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("visits")
    for row in _rows(source):
        sheet.append(row)
    book.save(to)


def _rows(source: Path) -> Iterator[Sequence[Any]]:
    """The headings, then every visit, text made safe, numbers as numbers."""
    for place, piece in enumerate(clean.read_chunks(source)):
        if place == 0:
            yield [safe(str(name)) for name in piece.columns]
        yield from _plain_rows(piece)


def _plain_rows(piece: pd.DataFrame) -> Iterator[list[Any]]:
    columns: list[list[Any]] = []
    for name in piece.columns:
        given = piece[name]
        if name == clean.DAY:
            columns.append([None if day is None or day != day else f"{day:%Y-%m-%d}" for day in given])
        elif name in clean.NUMBERS:
            columns.append([None if value != value else _neat(value) for value in given])
        else:
            columns.append([None if text is None or text != text else safe(str(text)) for text in given])
    yield from (list(row) for row in zip(*columns, strict=True))


def _neat(value: float) -> float | int:
    return int(value) if float(value).is_integer() else value
