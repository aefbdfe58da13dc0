"""How long each visit of a log was followed: to the day on which the log ends, which a slip in a few dates does not move."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

Ints = NDArray[np.int64]

# Common practice, no source: a month without a visit is far for a shop that has one every day; at most one visit in a hundred is
# dated wrong; so few may stand far off, or so thinly against the shop's usual pace.
FAR: Final = 30
ONE_IN: Final = 100
FEW: Final = 5
THIN: Final = 0.1


def last_day(day: Ints) -> int:
    """The day on which a log ends (-1: no day is known; days below 0 are not). A few visits that stand far behind all others are
    slips of a date: believed, they would have every other followed for so much longer."""
    known = np.sort(day[day >= 0])
    if not len(known):
        return -1
    steps = np.diff(known)
    far = max(FAR, 3 * float(np.quantile(steps, 0.98, method="lower"))) if len(steps) else FAR
    for behind in range(len(known) // ONE_IN, 0, -1):
        rest, off = known[:-behind], known[-behind:]
        pace = len(rest) / (rest[-1] - rest[0] + 1)
        if off[0] - rest[-1] > far and (behind < FEW or behind / (off[-1] - off[0] + 1) < THIN * pace):
            return int(rest[-1])
    return int(known[-1])


def followed(day: Ints) -> NDArray[np.float64]:
    """Days from each visit to the end of the log; NaN where the day is not known."""
    return np.where(day >= 0, np.maximum(last_day(day) - day, 0), np.nan).astype(float)


def followed_in(days: pd.Series[pd.Timestamp]) -> NDArray[np.float64]:
    """The same of a clean log's column of days."""
    return followed(days.to_numpy().astype("datetime64[D]").astype(np.int64))


def slips(day: Ints) -> list[str]:
    """A sentence on the visits that stand behind the end of the log, if there are any."""
    end = last_day(day)
    off = int((day > end).sum())
    if not off:
        return []
    ends, furthest = (np.datetime64(int(each), "D") for each in (end, day.max()))
    said = "1 visit is" if off == 1 else f"{off:,} visits are"
    return [
        f"{said} dated far behind the end of the log ({ends}), up to {furthest}: no other is followed for longer by it."
    ]
