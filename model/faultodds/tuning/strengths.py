"""How many jobs the file's numbers are worth, chosen from the log itself (empirical Bayes).

For each kind of number, the strength n under which the expected counts of its families are likeliest: the Dirichlet-multinomial
evidence, with a mild pull towards the usual strength, since counts that are mostly guessed from the model itself always agree
with it. After the choice the fit goes on, and the choice is made again.
"""

from __future__ import annotations

import numpy as np

from faultodds.tables import Floats
from faultodds.tuning.families import Families
from faultodds.tuning.settings import KINDS, WORTH

GRID = (4.0, 8.0, 15.0, 30.0, 60.0, 120.0, 250.0, 500.0, 1000.0)
#: Spread of log n about the usual strength: two of them are a factor of about 16.
PULL = 1.4


def choose(families: Families, counts: Floats, frozen: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> dict[str, float]:
    """The best strength of each kind on `GRID` for expected `counts` (P,); families in `frozen` have no say."""
    out = {}
    for k, kind in enumerate(KINDS):
        chosen = (families.kind == k) & ~frozen
        entries = chosen[families.of]
        usual = WORTH[kind]
        scores = [evidence(families, counts, n, entries, chosen) - 0.5 * (np.log(n / usual) / PULL) ** 2 for n in GRID]
        out[kind] = GRID[int(np.argmax(scores))] if chosen.any() else usual
    return out


def evidence(
    families: Families,
    counts: Floats,
    strength: float,
    entries: np.ndarray[tuple[int], np.dtype[np.bool_]],
    chosen: np.ndarray[tuple[int], np.dtype[np.bool_]],
) -> float:
    """Log Dirichlet-multinomial evidence of the chosen families' counts when the file is worth `strength` jobs."""
    from scipy.special import gammaln

    prior = strength * families.prior[entries]
    totals = families.totals(counts)[chosen]
    spread = gammaln(prior + counts[entries]) - gammaln(prior)
    return float(spread.sum() + (gammaln(strength) - gammaln(strength + totals)).sum())
