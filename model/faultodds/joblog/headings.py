"""Where a table begins: the row of headings among the first rows, headings over two rows, or none at all."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from faultodds.joblog import dates
from faultodds.joblog.stems import is_blank, key, vocabulary

FULL: Final = 0.6
"""The headings are the first row that is so full as the fullest."""
_NUMBER: Final = re.compile(r"[-+$#]?[\d.,:/]+%?(?:\s*(?:min|mins|h|hr|hrs))?")
_WEAK: Final = re.compile(r"[^A-Za-z]*|\(.*\)|no\.?|#|id|code|name|type", re.I)

Rows = Sequence[Sequence[str]]


def place(rows: Rows) -> tuple[list[str], int]:
    """The headings, and the number of rows above the first row of the table's body; no headings for a table that has none."""
    filled = [sum(bool(cell.strip()) for cell in row) for row in rows]
    most = max(filled, default=0)
    at = next((n for n, count in enumerate(filled) if count and count >= FULL * most), 0)
    if not rows:
        return [], 0
    if _is_body(rows[at]) and not _known(rows[at]):
        return [], at
    if at + 1 < len(rows) and _goes_on(rows[at], rows[at + 1]):
        return _joined(rows[at], rows[at + 1]), at + 2
    if at and _goes_on(rows[at - 1], rows[at]):
        return _joined(rows[at - 1], rows[at]), at + 1
    return [*rows[at]], at + 1


def names(width: int) -> list[str]:
    """Names for the columns of a table that has none."""
    return [f"column {n}" for n in range(1, width + 1)]


def _is_body(row: Sequence[str]) -> bool:
    """Whether a row is a job and no headings: it holds a date, and numbers."""
    cells = [cell.strip() for cell in row if not is_blank(cell.strip())]
    days = sum(dates.parse(cell) is not None and not cell.isdigit() for cell in cells)
    return days > 0 and sum(any(c.isalpha() for c in cell) for cell in cells) > 1


def _known(row: Sequence[str]) -> bool:
    known = {key(phrase) for phrases in vocabulary()["headings"].values() for phrase in phrases}
    return sum(key(cell) in known for cell in row if cell.strip()) >= 2


def _goes_on(upper: Sequence[str], lower: Sequence[str]) -> bool:
    """Whether the second of two rows goes on with headings: all words, under a row with gaps or words of groups."""
    cells = [cell.strip() for cell in lower if cell.strip()]
    gaps = [n for n, cell in enumerate(upper) if not cell.strip()]
    if (
        not cells
        or _is_body(lower)
        or any(_NUMBER.fullmatch(cell) for cell in cells)
        or any(len(c) > 30 for c in cells)
    ):
        return False
    named_below = sum(n < len(lower) and bool(lower[n].strip()) for n in gaps)
    return bool(gaps) and named_below >= 0.5 * len(gaps) and (_known(lower) or not _known(upper))


def _joined(upper: Sequence[str], lower: Sequence[str]) -> list[str]:
    """One heading a column: the lower one, with the group it stands under where it says too little by itself or stands twice."""
    width = max(len(upper), len(lower))
    above = [*(cell.strip() for cell in upper), *[""] * (width - len(upper))]
    below = [*(cell.strip() for cell in lower), *[""] * (width - len(lower))]
    group, found = "", []
    for n in range(width):
        group = above[n] or group
        weak = _WEAK.fullmatch(below[n]) or below.count(below[n]) > 1
        found.append(f"{group} {below[n]}".strip() if weak or not below[n] else below[n])
    return found
