"""A first look through a whole log: is it one at all, is it safe, and what do its columns look like?"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from faultodds.errors import FaultoddsError
from faultodds.joblog.sources import Source

SAMPLE_ROWS: Final = 3_000
FEWEST_ROWS: Final = 2
_JOIN: Final = "\x1f"
FORMULA: Final = re.compile(
    r"""\x1f\s*(?:
        =\s*[A-Za-z+\-@("'\d$]          # =SUM(..), =1+1, ="a"
      | @\s*[A-Za-z_.]+\s*[(!]          # @SUM(..)
      | [+\-]\s*[A-Za-z_.]+\s*[(|!]     # +cmd|..., -SUM(..)
    )""",
    re.X,
)
"""A cell that a spreadsheet would work out instead of show; "-40", "+5" and "- no glow" are none."""


@dataclass
class Scan:
    """What the first look found: how many rows, some of them, where formulas stand (row numbers), and how often each text
    stands in the column of days."""

    rows: int = 0
    blank: int = 0
    days: Counter[str] = field(default_factory=Counter)
    sample: list[list[str]] = field(default_factory=list)
    formulas: list[int] = field(default_factory=list)
    first_formula: str = ""
    broken: int = 0


def look_through(
    source: Source,
    day_column: Callable[[list[list[str]]], int | None] = lambda sample: None,
    on_rows: Callable[[int], None] | None = None,
) -> Scan:
    """Go through the log once. `day_column` is shown the first rows and says which column holds the days.

    Raises FaultoddsError for a log with no rows, one row, or nothing in them.
    """
    found = Scan()
    place: int | None = None
    for chunk in source.chunks():
        found.rows += len(chunk.rows)
        found.blank += chunk.blank
        found.broken += len(chunk.broken)
        found.sample += chunk.rows[: max(0, SAMPLE_ROWS - len(found.sample))]
        if chunk.rows and found.rows == len(chunk.rows):
            place = day_column(found.sample)
        if place is not None:
            found.days.update(row[place] for row in chunk.rows)
        for number, row in zip(chunk.numbers, chunk.rows, strict=True):
            if FORMULA.search(_JOIN + _JOIN.join(row)):
                found.formulas.append(number)
                found.first_formula = found.first_formula or _formula_in(row)
        if on_rows:
            on_rows(found.rows)
    _refuse_empty(source, found)
    return found


def _formula_in(row: list[str]) -> str:
    return next((cell.strip() for cell in row if FORMULA.search(_JOIN + cell)), "")[:40]


def _refuse_empty(source: Source, found: Scan) -> None:
    if found.broken and not found.rows:
        raise FaultoddsError(
            f"{source.name}: every row has more cells than there are headings, so no row can be read. "
            "Look at the delimiter and the headings, and export the log again."
        )
    if not found.rows and found.blank:
        raise FaultoddsError(
            f"{source.name}: all {found.blank:,} rows are blank (every cell is empty, or says nothing such as n/a). "
            "Export the log again."
        )
    if not found.rows:
        raise FaultoddsError(
            f"{source.name} has headings ({', '.join(source.headings[:4])} ...) and nothing under them. "
            "Export the log again, with its rows."
        )
    if found.rows + found.broken < FEWEST_ROWS:
        raise FaultoddsError(
            f"{source.name} has one row: there is nothing to learn from one job. Give a log of the shop's jobs, "
            "one row each."
        )


def refuse_formulas(path: Path, source: Source, found: Scan) -> None:
    """Raise FaultoddsError when cells hold formulas: opened in a spreadsheet they would be run."""
    if found.formulas:
        more = f" and {len(found.formulas) - 1:,} more rows" if len(found.formulas) > 1 else ""
        raise FaultoddsError(
            f"{path}: {source.place(found.formulas[0])}{more}: a cell holds a formula where a value should be "
            f"('{found.first_formula}'). "
            "A spreadsheet would run it. Look at where the file comes from; then save values only, or set those rows aside: "
            "--set-aside-formulas."
        )
