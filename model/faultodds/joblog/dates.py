"""Dates in mixed hands: "01/03/2022", "3 Jan 2022", "2022-01-03"; the order of day and month is decided by the column."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

Order = Literal["month first", "day first"]

_MONTHS: Final = {
    name: number
    for number, names in enumerate(
        (
            ("jan", "january"),
            ("feb", "february"),
            ("mar", "march"),
            ("apr", "april"),
            ("may",),
            ("jun", "june"),
            ("jul", "july"),
            ("aug", "august"),
            ("sep", "sept", "september"),
            ("oct", "october"),
            ("nov", "november"),
            ("dec", "december"),
        ),
        start=1,
    )
    for name in names
}
_TIME = re.compile(r"[T ,]+\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:[ap]m)?(?:Z|[+-]\d{2}:?\d{2})?$", re.I)
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{4})(\d{2})(\d{2})")
_WORDED = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[\s.-]*([A-Za-z]{3,9})\.?,?[\s.-]*'?(\d{4}|\d{2})")
_WORD_FIRST = re.compile(r"([A-Za-z]{3,9})\.?\s*(\d{1,2})(?:st|nd|rd|th)?,?\s*'?(\d{4}|\d{2})")
_WEEKDAY = re.compile(r"^(?:mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun)[a-z]*\.?,?\s+", re.I)
_THREE = re.compile(r"(\d{1,2})[-/.\s](\d{1,2})[-/.\s](\d{4}|\d{2})")
_SERIAL = re.compile(r"(\d{5})(?:\.\d+)?")
FIRST_YEAR: Final = 1990
_SHEET_ZERO = dt.date(1899, 12, 30)  # spreadsheets count days from here


@dataclass(frozen=True)
class Decided:
    """The order of day and month in a column and why. `told`: some date can be read in one way only; `certain`: no date is
    left that might be read wrongly."""

    order: Order
    why: str
    certain: bool
    told: bool


def plain(text: str) -> str:
    """A date without its weekday and time of day."""
    return _TIME.sub("", _WEEKDAY.sub("", text.strip())).strip()


def either_way(text: str) -> tuple[int, int] | None:
    """The first two numbers of a date such as 01/03/2022 whose year comes last; None for every other form."""
    match = _THREE.fullmatch(plain(text))
    return (int(match[1]), int(match[2])) if match else None


def decide(counts: Mapping[str, int], usual: Order = "month first") -> Decided:
    """Which of day and month comes first, from every date in the column and how often it stands there.

    A first number over 12 must be a day, and so must a second one. Where neither occurs, `usual` is taken.
    """
    day_first = month_first = open_cells = 0
    for text, count in counts.items():
        pair = either_way(text)
        if pair is None or parse(text) is None:
            continue  # the 30th of February is a slip, and says nothing of the others
        day_first += count if pair[0] > 12 >= pair[1] else 0
        month_first += count if pair[1] > 12 >= pair[0] else 0
        open_cells += count if max(pair) <= 12 and pair[0] != pair[1] else 0
    if not day_first and not month_first:
        return Decided(usual, "no date in the column tells", certain=open_cells == 0, told=False)
    order: Order = "day first" if day_first > month_first else "month first"
    more, fewer = max(day_first, month_first), min(day_first, month_first)
    why = f"{more:,} dates can only be read so"
    if fewer:
        why += f", {fewer:,} only the other way"
    return Decided(order, why, certain=fewer * 20 <= more, told=True)


def parse(text: str, order: Order = "month first", latest: dt.date | None = None) -> dt.date | None:
    """The day that a text names; None when it is no date, or one before 1990 or after `latest`.

    `order` is for dates that could be read both ways; one that cannot be read in that order is read in the other.
    """
    found = _parse(plain(text), order)
    if found is None or found.year < FIRST_YEAR or (latest is not None and found > latest):
        return None
    return found


def _parse(text: str, order: Order) -> dt.date | None:
    if match := _YEAR_FIRST.fullmatch(text):
        year, month, day = (int(part) for part in match.groups() if part)
        return _date(year, month, day)
    if match := _THREE.fullmatch(text):
        first, second, year = int(match[1]), int(match[2]), _full_year(match[3])
        ways = [(first, second), (second, first)]
        for month, day in ways if order == "month first" else reversed(ways):
            if found := _date(year, month, day):
                return found
        return None
    if match := _WORDED.fullmatch(text):
        return _named(match[2], match[1], match[3])
    if match := _WORD_FIRST.fullmatch(text):
        return _named(match[1], match[2], match[3])
    if match := _SERIAL.fullmatch(text):
        return _SHEET_ZERO + dt.timedelta(days=int(match[1]))
    return None


def _named(month: str, day: str, year: str) -> dt.date | None:
    number = _MONTHS.get(month.casefold())
    return _date(_full_year(year), number, int(day)) if number else None


def _full_year(text: str) -> int:
    year = int(text)
    return year if len(text) == 4 else year + (2000 if year < 80 else 1900)


def _date(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def share_of_dates(texts: Iterable[str]) -> float:
    """The share of texts that can be read as a date, spreadsheet numbers left out."""
    tried = [plain(text) for text in texts]
    good = sum(1 for text in tried if not _SERIAL.fullmatch(text) and _parse(text, "month first"))
    return good / len(tried) if tried else 0.0
