"""Each technician's callbacks and first repairs that failed; who differs from the others by more than chance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from faultodds.joblog import clean

if TYPE_CHECKING:
    import pandas as pd

ENOUGH: Final = 10
"""Visits of one person, at the least, of which anything is said."""
CHANCE: Final = 0.05
"""In so many shops of equal technicians somebody may be told apart, both counts and all people together."""
INTERVAL: Final = 0.90
"""How sure an interval is."""


@dataclass
class Record:
    """One technician's `visits`; of `ended` it is told whether the customer came back, and on `back` they did; on `wrong` of
    `repaired` visits with a repair a run still showed the fault after the first."""

    visits: int = 0
    back: int = 0
    ended: int = 0
    wrong: int = 0
    repaired: int = 0

    @property
    def came_back(self) -> str:
        """The callbacks in words."""
        return _told(self.back, self.ended)

    @property
    def first_failed(self) -> str:
        """The first repairs after which the fault was still there, in words."""
        return _told(self.wrong, self.repaired)


def add_records(found: dict[str, Record], piece: pd.DataFrame) -> None:
    """Add the visits of a piece of a clean log to the records of those who went."""
    who, ended = _texts(piece, clean.TECHNICIAN), _texts(piece, clean.ENDED)
    done, failed = _texts(piece, clean.REPAIRS) != "", _texts(piece, clean.FAILED) != ""
    back, told = ended == clean.CAME_BACK, np.isin(ended, (clean.CAME_BACK, clean.GONE))
    for name in sorted({*who} - {""}):
        record, at = found.setdefault(str(name), Record()), who == name
        record.visits += int(at.sum())
        record.back += int((at & back).sum())
        record.ended += int((at & told).sum())
        record.wrong += int((at & done & failed).sum())
        record.repaired += int((at & done).sum())


def _texts(frame: pd.DataFrame, column: str) -> Any:
    given = frame[column].astype(object) if column in frame else [""] * len(frame)
    return np.array([each if isinstance(each, str) else "" for each in given], dtype=object)


def _told(hits: int, of: int) -> str:
    return f"{hits} of {of:,}{f', {hits / of:.0%}' if of >= ENOUGH else ''} ({between(hits, of)})" if of else "not told"


def between(hits: int, of: int) -> str:
    """The 90 % interval of a share (Wilson), in words."""
    if of < ENOUGH:
        return "too few to say" if of else "not told"
    from scipy.stats import binomtest

    found = binomtest(hits, of).proportion_ci(INTERVAL, method="wilson")
    return f"{100 * found.low:.0f} to {found.high:.0%}"


# --- who differs ---------------------------------------------------------------------------------------------------


def differences(records: Mapping[str, Record]) -> list[str]:
    """A sentence for each technician who is called back, or whose first repair fails, more or less often than the others',
    by more than chance; the surest first."""
    counts = (
        ("{} was called back {} often than the others", {n: (r.back, r.ended) for n, r in records.items()}),
        (
            "{}'s first repair failed {} often than the others'",
            {n: (r.wrong, r.repaired) for n, r in records.items()},
        ),
    )
    found = [line for words, told in counts for line in _apart(words, told)]
    return [*found[:-1], f"{found[-1]} Chance alone hardly does that; harder calls may."] if found else []


def _apart(words: str, told: dict[str, tuple[int, int]]) -> list[str]:
    """One after the other is taken out, the least like the rest first, and the rest are held against each other (Holm's steps):
    who is measured against somebody that bad is not better for it."""
    left = {name: each for name, each in told.items() if each[1] >= ENOUGH}
    found = []
    while len(left) > 1:
        hits, of = (sum(each[n] for each in left.values()) for n in (0, 1))
        by_chance = {n: _chance(*each, hits, of) for n, each in left.items()}
        # Of two, each differs from the other just as much: named is the one with more.
        name = min(left, key=lambda n: (round(by_chance[n], 9), -left[n][0] / left[n][1], n))
        if len(left) * by_chance[name] >= CHANCE / 2:
            break
        own, own_of = left.pop(name)
        others, others_of = hits - own, of - own_of
        how = "more" if own * others_of > others * own_of else "less"
        found.append(
            f"{words.format(name, how)}: {own} of {own_of:,} ({own / own_of:.0%}) against {others} of {others_of:,} "
            f"({others / others_of:.0%})."
        )
    return found


def _chance(own: int, own_of: int, hits: int, of: int) -> float:
    """How likely a share at least so far out is where nobody differs: Fisher's exact test, twice the smaller tail."""

    from scipy.stats import hypergeom

    tails = hypergeom.cdf(own, of, hits, own_of), hypergeom.sf(own - 1, of, hits, own_of)
    return min(1.0, 2.0 * float(min(tails)))
