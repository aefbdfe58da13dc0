"""Drift: months of a log held against the whole of it.

A job's main cause is known only as chances, so a month's count of a cause is a sum of chances, and such sums vary less than counts
would. The test is therefore a permutation test: if months do not matter, the jobs of a month are a draw without replacement from
all jobs, and the mean and the covariance of such a draw's sum are known exactly. Two things are looked at in each month: the
cause that is furthest off, and all causes together (the distance of what
the month shows from what it should show is near chi-square); the surer of the two counts, twice, for having looked twice. Cells
too small for that are pooled, months too small are left out, and the p-values are corrected for the number of months
(Holm 1979).
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats

LEVEL: Final = 0.05
FEWEST_JOBS: Final = 20
"""Months with fewer jobs are not compared: a sum of so few is not near normal."""
SMALLEST_CELL: Final = 5.0
"""Main causes that a usual month sees less often than this go into one cell together."""
# Directions in which the jobs' evidence tells less than this share of what sure diagnoses would tell are left out: two causes
# that no recorded check separates would only add noise.
_LEAST_TOLD: Final = 0.05


@dataclass(frozen=True)
class Shift:
    """A month unlike the others. `cause` is the main cause that stands out most, with its `seen` jobs against `expected`;
    `p` is corrected for the number of months compared."""

    month: str
    jobs: int
    cause: str
    seen: float
    expected: float
    p: float


class MonthSums:
    """Adds up the chances of each main cause by month, chunk by chunk; small whatever the size of the log."""

    def __init__(self, causes: int) -> None:
        self.jobs: dict[str, int] = {}
        self.sums: dict[str, Floats] = {}
        self.gram: Floats = np.zeros((causes, causes))

    def add(self, months: Iterable[str], chances: Floats) -> None:
        """Add jobs: their months ("2025-03"; "" for a job without a day), and (N, C) chances of each main cause."""
        labels = np.asarray(list(months))
        dated: npt.NDArray[np.bool_] = labels != ""
        rows = np.asarray(chances, dtype=float)[dated]
        self.gram += rows.T @ rows
        for month in np.unique(labels[dated]):
            chosen = rows[labels[dated] == month]
            name = str(month)
            self.jobs[name] = self.jobs.get(name, 0) + len(chosen)
            self.sums[name] = self.sums.get(name, np.zeros(rows.shape[1])) + chosen.sum(axis=0)


def shifts(sums: MonthSums, causes: Sequence[str], level: float = LEVEL) -> list[Shift]:
    """Months whose main causes are unlike the whole log's, in order of time; `causes` names the C columns."""
    names = sorted(m for m, n in sums.jobs.items() if n >= FEWEST_JOBS)
    total = sum(sums.jobs.values())
    if len(sums.jobs) < 2 or not names or total <= FEWEST_JOBS:
        return []
    pooling = _pooling(np.sum(list(sums.sums.values()), axis=0) / len(sums.jobs))
    gram = pooling.T @ sums.gram @ pooling
    whole = pooling.T @ np.sum(list(sums.sums.values()), axis=0)
    mean = whole / total
    covariance = gram / total - np.outer(mean, mean)
    tested = [_test(sums.sums[m] @ pooling, sums.jobs[m], total, mean, covariance) for m in names]
    corrected = holm([p for p, _ in tested])
    found = []
    for month, p, (_, z) in zip(names, corrected, tested, strict=True):
        if p <= level:
            single = pooling.sum(axis=0) == 1
            cell = _telling(np.where(single, z, 0.0))
            cause = causes[int(np.flatnonzero(pooling[:, cell])[0])]
            seen = float((sums.sums[month] @ pooling)[cell])
            found.append(Shift(month, sums.jobs[month], cause, seen, float(sums.jobs[month] * mean[cell]), p))
    return found


def _telling(z: Floats) -> int:
    """The cell to name: the furthest off, but a rise before a fall of about its size, since what rises pushes others down."""
    rise = int(np.argmax(z))
    return rise if z[rise] >= 0.6 * np.abs(z).max() else int(np.argmin(z))


def sentence(shift: Shift, title: str) -> str:
    """A shift in plain words; `title` is the cause's."""
    month = datetime.date.fromisoformat(f"{shift.month}-01").strftime("%B %Y")
    more = "more" if shift.seen > shift.expected else "fewer"
    return (
        f"{month} is unlike the other months: {more} calls for '{title}' than usual, about {shift.seen:.0f} of {shift.jobs} "
        f"where {shift.expected:.0f} would be expected (chance of such a month by luck: {chance_words(shift.p)})."
    )


def chance_words(p: float) -> str:
    """A small chance in words."""
    return "under 1 in 1,000" if p < 0.001 else f"1 in {1 / p:,.0f}"


def _pooling(per_month: Floats) -> Floats:
    """(C, cells) of 0 and 1: causes that a usual month sees often enough by themselves, the others together."""
    alone = np.flatnonzero(per_month >= SMALLEST_CELL)
    rest = np.flatnonzero(per_month < SMALLEST_CELL)
    pooling = np.zeros((len(per_month), len(alone) + bool(len(rest))))
    pooling[alone, np.arange(len(alone))] = 1.0
    pooling[rest, -1:] = 1.0
    return pooling


def _test(seen: Floats, jobs: int, total: int, mean: Floats, covariance: Floats) -> tuple[float, Floats]:
    """The p-value of one month, and how many standard deviations each cell is off."""
    from scipy.stats import chi2, norm

    # Drawing without replacement: what the month has, the rest of the log has not.
    spread = jobs * (total - jobs) / max(total - 1, 1)
    if spread <= 0:
        return 1.0, np.zeros_like(seen)
    usual = jobs * mean
    variance = spread * np.diag(covariance)
    # Small counts have a long tail upwards, which square roots take away, and a short one downwards, which they would lengthen.
    off = np.where(seen > usual, 2.0 * (np.sqrt(np.maximum(seen * usual, 0.0)) - usual), seen - usual)
    z = np.where(variance > 1e-9, off / np.sqrt(np.maximum(variance, 1e-9)), 0.0)
    furthest = min(1.0, 2.0 * float(norm.sf(np.abs(z).max())) * len(z))
    scale = np.sqrt(np.maximum(mean, 1e-12))
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    told = values > _LEAST_TOLD
    if not told.any():
        return 1.0, z
    along = ((seen - usual) / scale) @ vectors[:, told]
    together = float(chi2.sf(float((along**2 / (spread * values[told])).sum()), int(told.sum())))
    return min(1.0, 2.0 * min(furthest, together)), z


def holm(p: Sequence[float]) -> list[float]:
    """P-values corrected for their number, in the order given."""
    order = np.argsort(p)
    corrected, worst = [0.0] * len(p), 0.0
    for rank, at in enumerate(order):
        worst = max(worst, min(1.0, p[at] * (len(p) - rank)))
        corrected[at] = worst
    return corrected
