"""What in a log looks wrong by itself: few customers, callbacks or times that no shop has, one outcome nearly everywhere.

The bounds are common practice, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from typing import Final

import numpy as np
from numpy.typing import NDArray

from faultodds.joblog.clean import REPAIRS
from faultodds.joblog.cleaning_report import ColumnReport
from faultodds.joblog.money_and_time import LONG_VISIT

FEW_CUSTOMERS: Final = 0.2
"""A log has at least so many customers for every visit with one."""
MOST_BACK: Final = 0.2
ONE_REPAIR: Final = 0.6
ONE_SYMPTOM: Final = 0.8
ONE_FINDING: Final = 0.5
MOST_LONG: Final = 0.2
MOST_UNREAD: Final = 0.5
ENOUGH: Final = 30


def customers(ids: NDArray[np.uint64], heading: str) -> str | None:
    """What is wrong with a column that is taken for the customer; None when nothing is."""
    known = ids[ids > 0]
    different = len(np.unique(known))
    if len(known) < ENOUGH or different >= FEW_CUSTOMERS * len(known):
        return None
    return (
        f"Column '{heading}' is taken for the customer, and has {different:,} different values on {len(known):,} visits: "
        "nearly every visit would count as a callback."
    )


def amounts(column: ColumnReport) -> str | None:
    """What is wrong with a column of minutes or money; None when nothing is."""
    unread, asked = column.counts["unknown"], column.filled
    if asked < ENOUGH or (column.too_long <= MOST_LONG * asked and unread <= MOST_UNREAD * asked):
        return None
    long = f"{column.too_long:,} are over {LONG_VISIT / 60:.0f} hours, and " if column.too_long else ""
    what = "the time on the job" if column.is_ == "minutes" else "the bill"
    return (
        f"Column '{column.heading}' is taken for {what}, and of its {asked:,} cells {long}{unread:,} can be none: is it something "
        "else, or in another unit?"
    )


def callbacks(back: int, visits: int) -> str | None:
    """What is to be said of a share of callbacks; None when it is an ordinary one."""
    if visits < ENOUGH or back <= MOST_BACK * visits:
        return None
    return f"{100 * back / visits:.0f} % of the visits came back. Few shops have so many: look at how it ended."


def outcomes(odd: Counter[tuple[str, str]], symptoms: Collection[str], visits: int) -> list[str]:
    """Symptoms and checks of which one answer that is not the normal one stands on more visits than any shop has; `odd` counts such
    answers by (name, outcome)."""
    if visits < ENOUGH:
        return []
    return [
        f"'{name}={outcome}' stands on {100 * times / visits:.0f} % of the visits. Few shops have so many: is that column, or its "
        "commonest word, read rightly?"
        for (name, outcome), times in odd.most_common()
        if times > (ONE_SYMPTOM if name in symptoms else ONE_FINDING) * visits
    ]


def shares(counts: dict[str, Counter[str]]) -> list[str]:
    """Repairs with a share that no shop has."""
    found = []
    for name, values in counts.items():
        total = values.total()
        (value, times), *_ = values.most_common(1) or [("", 0)]
        if name == REPAIRS and total >= ENOUGH and times > ONE_REPAIR * total:
            found.append(f"{100 * times / total:.0f} % of the repairs are '{value}'. Is that word read rightly?")
    return found
