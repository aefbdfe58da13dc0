"""From expected counts to new chances, and the objective that never falls.

Every family has a Dirichlet prior with parameters n * p, p being the file's chances and n the jobs they are worth. The new chances

    theta = (n * p + counts) / (n + total)

are the mode of the posterior in softmax coordinates (log chances up to a constant), where the prior's density is proportional to
the product of theta^(n p). So what each pass cannot lower is  log likelihood + sum of n * p * log theta,  and that is asserted.
"""

from __future__ import annotations

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats
from faultodds.tuning import holding
from faultodds.tuning.arrays import TINY
from faultodds.tuning.families import Families
from faultodds.tuning.holding import FREE, peak

#: Single precision in the sums of a pass: how far the objective may seem to fall, per unit of its size.
ROUNDING = 2e-6


def maximise(families: Families, pseudo: Floats, counts: Floats, free: bool = False) -> Floats:
    """(P,) new chances from Dirichlet parameters `pseudo` and expected `counts`, both (P,); with `free` shares are the file's times
    factors (`holding.py`).
    """
    if free:
        own = families.shares
        counts = counts.copy()
        counts[own] = peak(counts[own], families.prior[own], FREE)
    return np.maximum(families.scaled(pseudo + counts), TINY)


def log_prior(families: Families, pseudo: Floats, theta: Floats, centre: Floats, free: bool = False) -> float:
    """Log of the prior at `theta` against its own peak: sum of n * p * log(theta / p), 0 at the file's numbers."""
    out = float((pseudo * (np.log(np.maximum(theta, TINY)) - np.log(centre))).sum())
    return out + holding.log_prior(theta[families.shares], families.prior[families.shares], FREE) if free else out


def check_no_fall(before: float, now: float, worth: float) -> None:
    """The objective may not fall from one pass to the next; a fall beyond rounding is a fault of this program.

    `worth` is the sum of all Dirichlet parameters: times the spacing of numbers near 1, it is what the prior's part may be off.
    """
    slack = ROUNDING * max(1.0, abs(before)) + 4.0 * np.finfo(float).eps * worth
    if now < before - slack:
        raise FaultoddsError(
            f"learning went downhill (from {before:.6f} to {now:.6f}), which cannot be: a fault of this program. "
            "Nothing was changed. Please report it with the log's cleaning report."
        )
