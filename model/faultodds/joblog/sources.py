"""A shop's log as a file: what kind it is, its headings, and its rows in pieces, every cell as text.

Rows come as many times as they are asked for, so that a log
larger than memory can be gone through twice.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from faultodds.errors import FaultoddsError
from faultodds.joblog.personal import without_numbers
from faultodds.joblog.stems import is_blank
from faultodds.names import harmless

CHUNK_ROWS: Final = 20_000
MOST_COLUMNS: Final = 1_000
LONGEST_CELL: Final = 4_000
"""Characters. A row with a longer cell is set aside before any pattern is held against it."""
DAMAGED: Final = "is damaged"
SHEET: Final = 10_000_000
"""More rows than a sheet can have."""
VISIT: Final = r"(?:sheet \d{1,4} )?row \d{1,9}"
"""How visits without a job number are called (`Source.visit`)."""
LOOKED_THROUGH: Final = 30
"""Lines at the top among which the headings are looked for."""


@dataclass
class Chunk:
    """Some rows: their cells, their numbers (`Source.where`), and rows that do not fit.

    `broken` is (row number, "reason: more closely", the cells joined) of rows with more cells than headings, an overlong cell or
    damage; they are not in `rows`.
    `short` counts rows that were filled up with blanks, `blank` rows that say nothing, which are passed over.
    """

    rows: list[list[str]]
    numbers: list[int] = field(default_factory=list)
    broken: list[tuple[int, str, str]] = field(default_factory=list)
    short: int = 0
    blank: int = 0


@dataclass(frozen=True)
class Source:
    """A log that can be read: `kind` in words, `headings`, `notes` on how it was read, and `chunks()` for its rows.

    `lost`: the damaged sheets that held a good part of the file; nobody should import the rest without being asked. `sheets`: the
    names of a workbook's sheets, where it has several. A row's number is the one that a spreadsheet shows beside it, and `SHEET`
    times the place of its sheet more.
    """

    name: str
    kind: str
    headings: list[str]
    notes: list[str]
    chunks: Callable[[], Iterator[Chunk]]
    lost: tuple[str, ...] = ()
    sheets: tuple[str, ...] = ()

    def where(self, number: int) -> tuple[int, int]:
        """The place of a row's sheet among `sheets`, and the number that a spreadsheet shows beside it."""
        return divmod(number, SHEET) if self.sheets else (0, number)

    def place(self, number: int) -> str:
        """Where a row is to be found: "row 7", or "sheet 'May' row 9" where there are several sheets."""
        sheet, row = self.where(number)
        return f"sheet '{self.sheets[sheet]}' row {row:,}" if self.sheets else f"row {row:,}"

    def visit(self, number: int) -> str:
        """What a visit without a job number is called: "row 7", "sheet 2 row 9"; sheets may bear people's names."""
        sheet, row = self.where(number)
        return f"sheet {sheet + 1} row {row}" if self.sheets else f"row {row}"


def refuse_too_wide(path: Path, columns: int, at_least: bool = False) -> None:
    """Raise FaultoddsError when a table has more columns than any job log."""
    if columns > MOST_COLUMNS:
        more = "more than " if at_least else ""
        raise FaultoddsError(
            f"{path} has {more}{columns:,} columns; a job log has at most {MOST_COLUMNS:,}. "
            "Is it the right file, with one row a job? Nothing was read."
        )


def tidy_headings(raw: Sequence[str], path: Path) -> list[str]:
    """Headings without stray blanks or anybody's number or address; raises FaultoddsError when two columns share one, or there
    are none."""
    names = [" ".join(h.replace("\ufeff", "").split()) for h in raw]
    named = [without_numbers(harmless(name)) or f"column {place}" for place, name in enumerate(names, start=1)]
    twice = sorted({name for name in named if named.count(name) > 1})
    if twice:
        raise FaultoddsError(
            f"{path}: two columns are both called '{twice[0]}', so it cannot be told which one counts. "
            "Rename one of them and import again."
        )
    if not any(any(c.isalpha() for c in name) for name in names):
        raise FaultoddsError(
            f"{path} has no headings: its first row is '{', '.join(names[:4])}'. Put a row of column names on top."
        )
    if len(named) < 2:
        raise FaultoddsError(
            f"{path} has one column only ('{named[0]}'): either it is not a table, or its delimiter is not one of "
            "comma, semicolon, tab or bar. Save it as CSV with commas and import that."
        )
    return named


def in_chunks(
    rows: Iterable[list[str]], width: int, first: int, damaged: Mapping[int, str] = MappingProxyType({})
) -> Iterator[Chunk]:
    """Rows cut or filled to `width` cells, in chunks, the first with the number `first`; blank rows are passed over, too long ones
    are set apart, and so are those that are `damaged`: row number, and what is wrong with it."""
    number, rows = first - 1, iter(rows)
    while batch := list(islice(rows, CHUNK_ROWS)):
        chunk = Chunk([])
        for row in batch:
            number += 1
            if number in damaged:
                chunk.broken.append((number, damaged[number], " | ".join(row)))
                continue
            _sort_in(chunk, row, width, number)
        yield chunk


def _sort_in(chunk: Chunk, raw: list[str], width: int, number: int) -> None:
    row = [harmless(cell) for cell in raw]
    if any("\0" in cell for cell in raw):
        chunk.broken.append((number, f"{DAMAGED}: holds a NUL byte", " | ".join(row)))
        return
    if len(row) > width and any(not is_blank(cell) for cell in row[width:]):
        reason = f"does not fit the headings: has {len(row)} cells where there are {width} headings"
        chunk.broken.append((number, reason, " | ".join(row)))
        return
    if not any(row) or all(is_blank(cell) for cell in row):
        chunk.blank += 1
        return
    if len(longest := max(row, key=len)) > LONGEST_CELL:
        reason = f"has a cell of over {LONGEST_CELL:,} characters: a cell of {len(longest):,} characters"
        chunk.broken.append((number, reason, " | ".join(row)))
        return
    chunk.short += len(row) < width
    chunk.rows.append(row[:width] + [""] * (width - len(row)))
    chunk.numbers.append(number)


def text_of(value: Any) -> str:
    """A cell of a spreadsheet or Parquet file as it would be typed."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.10g}"
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(value)
