"""Logs of one column: a line of text a job, with its number, day and technician in front and hours and money behind."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

HEADINGS: Final = ["job", "date", "tech", "notes", "minutes", "total"]
MOST: Final = 0.6
"""A file of one column is a log when so many of its lines name a day."""
_DAY: Final = r"\d{1,4}[/.-]\d{1,2}[/.-]\d{2,4}|\d{1,2} [A-Z][a-z]{2} \d{2,4}"
_HEAD: Final = re.compile(
    rf"\W*(?:(?:job|ticket|wo|no|inv)\b\W*)?(?P<job>[A-Za-z]{{0,4}}-?\d{{1,9}})?\b\W{{0,3}}(?P<day>{_DAY})\b\W{{1,3}}"
    r"(?:(?P<tech>[A-Z][A-Za-z]{0,11}\d{0,2})[.:,-]\s+)?",
)
_SPENT: Final = re.compile(
    r"(?:^|(?<=[.,;] ))(?P<time>\d+(?::\d\d|\.\d+)?\s*(?:hrs?|hours?|h|mins?|minutes?))\b[.,;]?\s*", re.I
)
_BILL: Final = re.compile(r"(?:total |bill |charged? )?(?P<bill>[$\u00a3\u20ac]\s?\d[\d,]*(?:\.\d\d)?)[.,;]?\s*", re.I)


def is_narrative(lines: Sequence[str]) -> bool:
    """Whether lines of text are jobs told one a line."""
    told = [line for line in lines if line.strip()]
    return len(told) > 1 and sum(bool(re.search(_DAY, line[:60])) for line in told) >= MOST * len(told)


def begin(lines: Sequence[str]) -> int:
    """How many lines stand above the first job."""
    return next(n for n, line in enumerate(lines) if re.search(_DAY, line[:60]))


def taken_apart(rows: Iterator[list[str]]) -> Iterator[list[str]]:
    """Each line as the cells under `HEADINGS`."""
    for row in rows:
        yield _cells(" ".join(cell for cell in row if cell.strip())) if any(cell.strip() for cell in row) else []


def _cells(line: str) -> list[str]:
    head = _HEAD.match(line)
    rest = line[head.end() :] if head else line
    spent = [*_SPENT.finditer(rest)]
    bill = _BILL.search(rest)
    for match in sorted([*spent[-1:], *([bill] if bill else [])], key=lambda m: -m.start()):
        rest = f"{rest[: match.start()].rstrip(' ,;')} {rest[match.end() :]}"
    job, day, tech = ((head[name] or "") if head else "" for name in ("job", "day", "tech"))
    return [job, day, tech, rest.strip(), spent[-1]["time"] if spent else "", bill["bill"] if bill else ""]
