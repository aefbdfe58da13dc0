"""How often a normal result of a check is written down, beside a bad one.

What was found wrong is written down; what was found right not always. Taken alone, each check would learn that as a false alarm of
its own. But the habit is the shop's, and moves all checks alike, with a fault and without: the odds of a normal result *on record*
are its odds times one number, `kept`. A check's own numbers differ from the file's by what the file's are worth (the Dirichlet
prior), so what is common to all of them tells the number: its likelihood is a product of beta-binomials, one for each family. Half
the belief beforehand is that nothing is left out.

Where strengths are set by hand, the file's numbers may count for nothing, and nothing is told from them.

Learning goes on with chances as the record shows them, about a centre that is moved likewise; what is given out is moved back.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats
from faultodds.tuning.arrays import TINY
from faultodds.tuning.families import Index
from faultodds.tuning.structure import Structure

#: Logarithms of `kept` that are weighed, from a fifth to five: bad results may be the ones left out. The middle one is nothing.
#: The range, and half the belief for nothing, are common practice, no source.
LOGS = np.linspace(-1.6, 1.6, 65)
NOTHING = len(LOGS) // 2


def normals(structure: Structure, heard: npt.NDArray[np.bool_]) -> Index:
    """Entries of normal results of checks of which no gap is evidence (`Silence.heard`)."""
    s, f = structure, structure.families
    checks = {n for n, h in zip(s.observables, heard, strict=False) if n in s.knowledge.check and not h}
    rows = [r for r, p in enumerate(s.layout.parts) if p.observable in checks - {s.knowledge.costs.verify}]
    entries = f.part[rows, 0]
    return np.asarray(entries[entries < len(f.prior)])


def belief(structure: Structure, normal: Index, pseudo: Floats, counts: Floats) -> Floats:
    """(len(LOGS),) how far each of `LOGS` is believed; `pseudo` and `counts` (P,) are the file's Dirichlet parameters and what was
    counted.
    """
    from scipy.special import betaln

    f = structure.families
    family = f.of[normal]
    worth, jobs = f.totals(pseudo)[family], f.totals(counts)[family]
    odds = np.log(f.prior[normal]) - np.log1p(-f.prior[normal])
    out = np.where(np.arange(len(LOGS)) == NOTHING, np.log(len(LOGS) - 1), 0.0)
    for i, moved in enumerate(LOGS):
        a = worth / (1.0 + np.exp(-odds - moved))
        out[i] += float((betaln(a + counts[normal], worth - a + jobs - counts[normal]) - betaln(a, worth - a)).sum())
    weights = np.exp(out - out.max())
    return np.asarray(weights / weights.sum())


def moved(structure: Structure, normal: Index, theta: Floats, log_kept: float) -> Floats:
    """(P,) chances as a record shows them, or with minus the logarithm, as checks show them of which a record shows `theta`."""
    weights = theta.copy()
    weights[normal] *= np.exp(log_kept)
    return np.maximum(structure.families.scaled(weights), TINY)


def sentences(weights: Floats) -> tuple[str, ...]:
    """What the manager should know, where it is all but sure that something is left out."""
    if weights[NOTHING] > 0.05:
        return ()
    log_kept = float(weights @ LOGS)
    which, part = ("normal", log_kept) if log_kept < 0 else ("bad", -log_kept)
    return (
        f"All checks alike show fewer {which} results than the file expects: about {1.0 - np.exp(part):.0%} of them seem not to "
        "be written down. The learned chances allow for that; ask for every result to be written down.",
    )
