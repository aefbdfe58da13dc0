"""Proper scores of odds of a few named faults.

A forecast names up to `NAMED` faults with their chances. What is left over is spread evenly over all the faults that were not
named, so that every forecast is scored on the same faults and nobody gains by choosing which to name. With that spread both
scores are best, in expectation, at one's true chances of the named faults, whatever one believes of the others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from faultodds.audit import brier_scores, log_scores
from faultodds.knowledge import Floats

NAMED = 3
# Nobody knows for certain: more than this in all is taken for this, and said back; less than `LEAST` for one fault is that.
MOST, LEAST = 0.99, 0.002


def bounded(named: Mapping[str, float]) -> dict[str, float]:
    """What chances are taken for: scaled down where they pass `MOST` in all."""
    least = {name: max(p, LEAST) for name, p in named.items()}
    total = sum(least.values())
    return {name: p * min(1.0, MOST / total) for name, p in least.items()} if least else {}


def rest(named: Mapping[str, float]) -> float:
    """The chance of anything that was not named."""
    return 1.0 - sum(named.values())


def spread(named: Mapping[str, float], faults: Sequence[str]) -> Floats:
    """(K,) chances of all the faults."""
    even_rest = rest(named) / (len(faults) - len(named))
    return np.array([named.get(name, even_rest) for name in faults])


def even(faults: Sequence[str]) -> tuple[float, float]:
    """Brier and log score of one who takes every fault for as likely as any other."""
    k = len(faults)
    return 1.0 - 1.0 / k, float(np.log(k))


def brier(p: Floats, truth: int) -> float:
    """Brier score of one forecast (K,), from 0 (sure and right) to 2 (sure and wrong)."""
    return float(brier_scores(p[None, :], np.array([truth]))[0])


def log_loss(p: Floats, truth: int) -> float:
    """Minus the natural log of the chance given to what was so."""
    return float(log_scores(p[None, :], np.array([truth]))[0])
