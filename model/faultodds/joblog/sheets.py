"""Logs as Excel sheets and Parquet files."""

from __future__ import annotations

import struct
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from faultodds.errors import FaultoddsError, unknown
from faultodds.joblog import headings as headings_of
from faultodds.joblog.sources import (
    CHUNK_ROWS,
    DAMAGED,
    LOOKED_THROUGH,
    SHEET,
    Chunk,
    Source,
    in_chunks,
    refuse_too_wide,
    text_of,
    tidy_headings,
)
from faultodds.joblog.stems import key, likeness, tokens, vocabulary

ALIKE: Final = 0.85
LEAST_KINDS: Final = 3
MOST_UNPACKED: Final = 300_000_000
"""Bytes; a sheet of a million rows of jobs has fewer."""
MOST_PARTS: Final = 2_000
MOST_MARKS: Final = 15_000_000
"""XML marks in all parts of a workbook (four for a cell), and places in the rows of a sheet, empty ones too. Reading goes by these,
at 2 microseconds each, and hardly by bytes. A log of 100,000 jobs in 30 columns has 12 million."""
_DAMAGE: Final = (
    zipfile.BadZipFile, zlib.error, KeyError, ValueError, OSError, EOFError, SyntaxError, TypeError, IndexError,
    AttributeError, NotImplementedError, RuntimeError, OverflowError, struct.error,
)  # fmt: skip
"""What reading a broken archive or a broken sheet in it ends in."""
SAME_TABLE: Final = 0.7
"""A sheet is a part of the log when it has so many of its headings."""
GOOD_PART: Final = 0.03
"""A damaged sheet with more than this share of the bytes of all sheets may change what is learned: it is asked about."""


@dataclass(frozen=True)
class _Table:
    """One sheet as a table: its name, headings, the rows under them, and the number that a spreadsheet shows beside the first."""

    name: str
    headings: list[str]
    body: list[list[str]]
    first: int


def open_sheet(path: Path, sheet: str | None = None) -> Source:
    """An .xlsx file as a log: the sheet asked for, else the longest table in it with every other sheet of the same headings.

    Formulas count with the values last worked out; raises FaultoddsError for a broken file and an empty sheet.
    """
    try:
        names, sheets, lost = _sheets(path, sheet, _looked_through(path))
    except FaultoddsError:
        raise
    except _DAMAGE as error:
        raise FaultoddsError(
            f"{path} is a broken Excel file, or no Excel file at all ({' '.join(str(error).split())[:100]}). "
            "Open it in a spreadsheet, save it anew as .xlsx or CSV, and import that."
        ) from None
    tables = [_table(name, rows, above) for name, rows, above in sheets if rows]
    if lost and not any(table.body for table in tables):
        raise FaultoddsError(
            f"{path}: {_named(lost)} damaged and cannot be read, and nothing else holds any rows. Open it in a spreadsheet, save "
            "it anew as .xlsx or CSV, and import that."
        )
    if not tables:
        raise FaultoddsError(
            f"{path}: the sheet '{sheet or names[0]}' is empty. Sheets there are: {', '.join(names)}. Give --sheet."
        )
    main = max(tables, key=lambda table: (len(table.headings) > 1, len(table.body) * len(table.headings)))
    headings = tidy_headings(main.headings, path)
    alike = [(table, order) for table in tables if (order := _order(headings, table, main)) is not None]
    used = ", ".join(f"'{table.name}'" for table, _ in alike)
    notes = [f"Excel sheet{'s' if len(alike) > 1 else ''} {used}" + (f" of {len(names)}" if len(names) > 1 else "")]
    notes += [f"the sheet '{name}' is damaged and was left out" for name in lost]
    large = tuple(name for name, share in lost.items() if share > GOOD_PART)

    def chunks() -> Iterator[Chunk]:
        """The rows under the headings, sheet by sheet."""
        for table, order in alike:
            rows = (_placed(row, order, len(headings)) for row in table.body)
            yield from in_chunks(rows, len(headings), names.index(table.name) * SHEET * (len(names) > 1) + table.first)

    return Source(path.name, "Excel", headings, notes, chunks, large, tuple(names) if len(names) > 1 else ())


def _named(sheets: Iterable[str]) -> str:
    names = [f"'{name}'" for name in sheets]
    return f"the sheet {names[0]} is" if len(names) == 1 else f"the sheets {', '.join(names)} are"


def _table(name: str, rows: list[list[str]], above: int) -> _Table:
    found, begins = headings_of.place(rows[:LOOKED_THROUGH])
    body = rows[begins:]
    headings = _trimmed(found) or headings_of.names(max(map(len, body), default=0))
    return _Table(name, headings, body, above + begins + 1)


def _order(headings: list[str], table: _Table, main: _Table) -> list[int] | None:
    """For each column of a table its place in the log, `headings` growing by what only it has; None for a sheet that is no part."""
    if table is main:
        return list(range(len(main.headings)))
    names = [*headings]
    order = [_place(heading, names) for heading in table.headings]
    kinds = {_kind(heading) for heading in table.headings}
    shared = {place for place in order if place >= 0}
    a_log = {"day"} <= kinds and len(kinds - {None}) >= LEAST_KINDS
    if len(shared) < SAME_TABLE * len(main.headings) and not (a_log and {_kind(h) for h in main.headings} >= {"day"}):
        return None
    found: list[int] = []
    for heading, place in zip(table.headings, order, strict=True):
        taken = place in found
        if place < 0 or taken:
            headings.append(heading if heading not in headings else f"{heading} ({table.name})")
        found.append(len(headings) - 1 if place < 0 or taken else place)
    return found


def _place(heading: str, names: list[str]) -> int:
    """The column of a log that a heading of another sheet is: spelt alike, or called by another word of the trade for the same."""
    same = [n for n, name in enumerate(names) if key(name) == key(heading)]
    close = {n: likeness(tokens(heading), tokens(name)) for n, name in enumerate(names)}
    best = max(close, key=lambda n: close[n], default=-1)
    kind = _kind(heading)
    alike = [n for n, name in enumerate(names) if kind not in (None, "minutes") and _kind(name) == kind]
    return next(iter([*same, *([best] if best >= 0 and close[best] >= ALIKE else []), *alike]), -1)


def _kind(heading: str) -> str | None:
    """What the trade's headings say that a column is."""
    words = tokens(heading)
    for kind, phrases in vocabulary()["headings"].items():
        if any(tokens(phrase) == words for phrase in phrases):
            return str(kind)
    return "callback" if any(tokens(phrase) == words for phrase in vocabulary()["callback"]["back"]) else None


def _placed(row: list[str], order: list[int], width: int) -> list[str]:
    if order == list(range(width)):
        return row
    placed = [""] * width
    for cell, place in zip(row, order, strict=False):
        if place >= 0:
            placed[place] = cell
    return placed


def _looked_through(path: Path) -> dict[str, Exception]:
    """The damaged parts of an archive with what is wrong with each, found before minutes go into the rows in front of it.

    Raises FaultoddsError for one that would fill the memory, by what it says of itself (it can hold no more than that), and for
    one that would take minutes to read.
    """
    damaged: dict[str, Exception] = {}
    with zipfile.ZipFile(path) as archive:
        parts = archive.infolist()
        size = sum(part.file_size for part in parts)
        if size > MOST_UNPACKED or len(parts) > MOST_PARTS:
            raise FaultoddsError(
                f"{path} unpacks to {size / 1e6:,.0f} MB in {len(parts):,} parts; a workbook may have {MOST_UNPACKED / 1e6:.0f} MB "
                f"in {MOST_PARTS:,}. Nothing was read. Save the sheet of jobs as CSV and import that."
            )
        marks = 0
        for part in parts:
            try:
                with archive.open(part) as held:
                    while block := held.read(1 << 20):
                        marks += block.count(b"<")
                        _refuse_too_full(path, marks)
            except FaultoddsError:
                raise
            except _DAMAGE as error:
                damaged[part.filename] = error
    return damaged


def _refuse_too_full(path: Path, marks: int) -> None:
    if marks > MOST_MARKS:
        raise FaultoddsError(
            f"{path} holds more than a workbook of {MOST_MARKS / 4e6:g} million cells does, and reading it would take minutes. "
            "Nothing was read. Save the sheet of jobs as CSV, which has no such limit, and import that."
        )


def _sheets(
    path: Path, wanted: str | None, damaged: Mapping[str, Exception]
) -> tuple[list[str], list[tuple[str, list[list[str]], int]], dict[str, float]]:
    """The names of the sheets, those that can be read with their rows and how many blank ones are above them, and the names of
    those that cannot with their share of the bytes."""
    import openpyxl

    book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    try:
        names = list(book.sheetnames)
        if wanted is not None and wanted not in names:
            raise unknown("sheet", wanted, names, where=path.name)
        read: list[tuple[str, list[list[str]], int]] = []
        lost: dict[str, float] = {}
        for name in [wanted] if wanted is not None else names:
            try:
                if (error := damaged.get(_place_of(book[name]))) is not None:
                    raise error
                read.append((name, *_cells_of(path, book[name])))
            except _DAMAGE:
                if len(names) == 1 or wanted is not None:
                    raise
                lost[name] = _share(path, book, name)
        return names, read, lost
    finally:
        book.close()


def _place_of(sheet: Any) -> str:
    """Its name in the archive; none of a chart sheet."""
    return str(getattr(sheet, "_worksheet_path", "")).lstrip("/")


def _share(path: Path, book: Any, name: str) -> float:
    """A sheet's share of the bytes of all sheets, by the archive's own list; 1 when that does not tell."""
    with zipfile.ZipFile(path) as archive:
        sizes = {part.filename: part.file_size for part in archive.infolist() if "sheets/" in part.filename}
    try:
        return sizes[_place_of(book[name])] / sum(sizes.values())
    except (*_DAMAGE, ZeroDivisionError):
        return 1.0


def _cells_of(path: Path, sheet: Any) -> tuple[list[list[str]], int]:
    """The rows of a sheet from the first that is not blank, and how many are above it."""
    if not hasattr(sheet, "iter_rows"):
        return [], 0  # a chart sheet
    sheet.reset_dimensions()  # how far a sheet says it goes is not always kept up: its rows count
    rows: list[list[str]] = []
    places = above = 0
    for row in sheet.iter_rows():
        refuse_too_wide(path, len(row))
        places += 1 + len(row)
        _refuse_too_full(path, places)
        cells = _trimmed([_typed(cell) for cell in row])
        if cells or rows:
            rows.append(cells)
        else:
            above += 1
    while rows and not rows[-1]:
        rows.pop()
    return rows, above


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
                damaged: dict[int, str] = {}
                columns = [_texts(column, number, damaged) for column in batch.columns]
                rows = (list(row) for row in zip(*columns, strict=True))
                yield from in_chunks(rows, len(headings), number, damaged)
                number += batch.num_rows
        except (pa.ArrowException, OSError) as error:
            raise _broken(path, error) from None

    return Source(path.name, "Parquet", headings, ["Parquet"], chunks)


def _texts(column: Any, first: int, damaged: dict[int, str]) -> list[str]:
    """A column's cells as text; rows whose text is not UTF-8 are noted in `damaged`."""
    import pyarrow as pa

    try:
        return [text_of(value) for value in column.to_pylist()]
    except UnicodeDecodeError:
        raw = column.cast(pa.large_binary()).to_pylist()
    texts = [(value or b"").decode("utf-8", "replace") for value in raw]
    damaged |= {
        first + n: f"{DAMAGED}: holds text that is not UTF-8" for n, text in enumerate(texts) if "\ufffd" in text
    }
    return texts


def _broken(path: Path, error: Exception) -> FaultoddsError:
    return FaultoddsError(
        f"{path} is a broken Parquet file ({' '.join(str(error).split())[:100]}). Write it anew and import that."
    )
