"""What the columns of a log say of one visit, put together: one value for each column of the clean log."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from faultodds.joblog import clean
from faultodds.joblog.cells import Cell
from faultodds.joblog.endings import CODE, NO_WORD, NOT_READ

Values = list[str | None]

WEIGHT: Final = {
    NO_WORD: -2,
    NOT_READ: -1,
    CODE[clean.GONE]: 0,
    CODE[clean.REFERRED]: 1,
    CODE[clean.UNKNOWN]: 2,
    CODE[clean.CAME_BACK]: 3,
}
"""Of several endings told of one visit the one that weighs most counts: back, not done, referred."""


def fill(values: dict[str, Values], cells: Sequence[Cell], n: int) -> int:
    """Put what cells say in their columns; how many said otherwise than an earlier column did."""
    twice = 0
    for row, cell in enumerate(cells):
        for target, value in cell.said:
            column = values.get(target)
            if column is None:
                column = values[target] = [None] * n
            before = column[row]
            if before is None:
                column[row] = value
            elif target in (clean.REPAIRS, clean.FAILED):
                column[row] = ";".join(dict.fromkeys([*before.split(";"), *value.split(";")]))
            elif target == clean.ENDED:
                column[row] = max(before, value, key=lambda ending: WEIGHT[CODE[ending]])
            elif column[row] != value:
                twice += 1
    return twice


def in_order(values: dict[str, Values], n: int) -> list[bool | None]:
    """Put the repairs that failed before those that held, as the clean log has them; of each row whether any held, None where none
    was done."""
    done, failed = (values.get(column) or [None] * n for column in (clean.REPAIRS, clean.FAILED))
    held: list[bool | None] = []
    for row, (cell, first) in enumerate(zip(done, failed, strict=True)):
        names = cell.split(";") if cell else []
        lost = first.split(";") if first else []
        if lost:
            done[row] = ";".join(dict.fromkeys([*lost, *names]))
        held.append(None if not names else len(names) > len(lost))
    return held


def is_denial(cell: str, outcomes: dict[str, str]) -> bool:
    """Whether a finding denies a symptom."""
    # "no" to a symptom of a part (an error code, the auto cycle) does not say that the part is there.
    return cell == "no" and set(outcomes) == {"no", "yes"}
