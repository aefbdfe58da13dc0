"""How sure: intervals of shares and of mean differences on the same jobs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats

LEVEL = 0.95
RESAMPLES = 1000


@dataclass(frozen=True)
class Interval:
    """A figure and its interval (95 % unless said otherwise)."""

    value: float
    low: float
    high: float

    @property
    def clear(self) -> int:
        """-1 when the interval lies under 0, +1 when it lies over 0, 0 when it holds 0."""
        return -1 if self.high < 0.0 else 1 if self.low > 0.0 else 0


def wilson(right: Floats, jobs: Floats, level: float = LEVEL) -> tuple[Floats, Floats]:
    """Low and high end of Wilson's interval (1927) for a share, `right` of `jobs`; arrays of one shape."""
    from statistics import NormalDist

    z = NormalDist().inv_cdf(0.5 + level / 2.0)
    share = right / jobs
    middle = (share + z**2 / (2.0 * jobs)) / (1.0 + z**2 / jobs)
    half = z * np.sqrt(share * (1.0 - share) / jobs + z**2 / (4.0 * jobs**2)) / (1.0 + z**2 / jobs)
    # At 0 and at all of them rounding can leave an end a hair on the wrong side of the share.
    return np.clip(middle - half, 0.0, share), np.clip(middle + half, share, 1.0)


def resamples(jobs: int, count: int = RESAMPLES, seed: int = 0) -> npt.NDArray[np.int64]:
    """(count, jobs) job numbers drawn with replacement; the same for the same seed, so that all methods share the luck."""
    return np.random.default_rng(seed).integers(0, jobs, (count, jobs))


def mean_difference(one: Floats, other: Floats, level: float = LEVEL) -> Interval:
    """Mean of `one - other` over the same jobs, with its paired bootstrap interval (percentiles)."""
    paired = one - other
    return bootstrap(lambda rows: float(paired[rows].mean()), len(paired), level)


def bootstrap(figure: Callable[[npt.NDArray[np.int64]], float], jobs: int, level: float = LEVEL) -> Interval:
    """A figure of the jobs' rows and its bootstrap interval."""
    drawn = [figure(rows) for rows in resamples(jobs)]
    low, high = np.quantile(drawn, [(1.0 - level) / 2.0, (1.0 + level) / 2.0])
    return Interval(figure(np.arange(jobs)), float(low), float(high))
