"""Logs as Excel sheets and Parquet files."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from faultodds.errors import FaultoddsError, unknown
from faultodds.joblog.sources import (
    CHUNK_ROWS,
    LOOKED_THROUGH,
    Chunk,
    Source,
    heading_row,
    in_chunks,
    refuse_too_wide,
    text_of,
    tidy_headings,
)


def open_sheet(path: Path, sheet: str | None = None) -> Source:
    """One sheet of an .xlsx file as a log: the one asked for, else the first with anything in it.

    Formulas count with the values last worked out; raises FaultoddsError for a broken file and an empty sheet.
    """
    try:
        name, names, rows = _sheet_rows(path, sheet)
    except FaultoddsError:
        raise
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, EOFError, SyntaxError, TypeError) as error:
        raise FaultoddsError(
            f"{path} is a broken Excel file, or no Excel file at all ({' '.join(str(error).split())[:100]}). "
            "Open it in a spreadsheet, save it anew as .xlsx or CSV, and import that."
        ) from None
    if not rows:
        raise FaultoddsError(
            f"{path}: the sheet '{name}' is empty. Sheets there are: {', '.join(names)}. Give --sheet."
        )
    at = heading_row(rows[:LOOKED_THROUGH])
    headings = tidy_headings(_trimmed(rows[at]), path)
    notes = [f"Excel sheet '{name}'" + (f" of {len(names)}" if len(names) > 1 else "")]
    body = rows[at + 1 :]

    def chunks() -> Iterator[Chunk]:
        """The rows under the headings."""
        return in_chunks(iter(body), len(headings))

    return Source(path.name, "Excel", headings, notes, chunks)


def _sheet_rows(path: Path, wanted: str | None) -> tuple[str, list[str], list[list[str]]]:
    import openpyxl

    book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    try:
        names = list(book.sheetnames)
        if wanted is not None and wanted not in names:
            raise unknown("sheet", wanted, names, where=path.name)
        for name in [wanted] if wanted is not None else names:
            rows = _cells_of(path, book[name])
            if rows or wanted is not None:
                return name, names, rows
        return names[0], names, []
    finally:
        book.close()


def _cells_of(path: Path, sheet: Any) -> list[list[str]]:
    if not hasattr(sheet, "iter_rows"):
        return []  # a chart sheet
    rows: list[list[str]] = []
    for row in sheet.iter_rows():
        refuse_too_wide(path, len(row))
        cells = _trimmed([_typed(cell) for cell in row])
        if cells or rows:
            rows.append(cells)
    while rows and not rows[-1]:
        rows.pop()
    return rows


def _typed(cell: Any) -> str:
    value = cell.value
    if isinstance(value, int | float) and not isinstance(value, bool) and "%" in str(cell.number_format):
        return f"{text_of(100.0 * value)}%"
    return text_of(value)


def _trimmed(cells: list[str]) -> list[str]:
    while cells and not cells[-1].strip():
        cells = cells[:-1]
    return cells


def open_parquet(path: Path) -> Source:
    """A Parquet file as a log, read batch by batch."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        file = pq.ParquetFile(path)
        names = list(file.schema_arrow.names)
    except (pa.ArrowException, OSError) as error:
        raise _broken(path, error) from None
    refuse_too_wide(path, len(names))
    headings = tidy_headings(names, path)

    def chunks() -> Iterator[Chunk]:
        """The rows of the file."""
        number = 1
        try:
            for batch in pq.ParquetFile(path).iter_batches(batch_size=CHUNK_ROWS):
                columns = [[text_of(value) for value in column.to_pylist()] for column in batch.columns]
                rows = (list(row) for row in zip(*columns, strict=True))
                yield from in_chunks(rows, len(headings), number)
                number += batch.num_rows
        except (pa.ArrowException, OSError) as error:
            raise _broken(path, error) from None

    return Source(path.name, "Parquet", headings, ["Parquet"], chunks)


def _broken(path: Path, error: Exception) -> FaultoddsError:
    return FaultoddsError(
        f"{path} is a broken Parquet file ({' '.join(str(error).split())[:100]}). Write it anew and import that."
    )
