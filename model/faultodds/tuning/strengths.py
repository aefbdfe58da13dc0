"""How many jobs the file's numbers are worth, chosen from the log itself (empirical Bayes).

For each kind of number, the strength n under which the expected counts of its families are likeliest: the Dirichlet-multinomial
evidence, with a pull towards the usual strength, since counts that are mostly guessed from the model itself say less than they
seem to: which symptoms go with which fault is learned under the very numbers that are in question. After the choice the fit goes
on, and the choice is made again. Shares are not chosen so: see `shares_worth`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats
from faultodds.tuning.families import Families
from faultodds.tuning.settings import KINDS, WORTH
from faultodds.tuning.structure import Structure

Bools = npt.NDArray[np.bool_]

GRID = (15.0, 30.0, 60.0, 120.0, 250.0, 500.0, 1000.0)
#: Spread of log n about the usual strength: a factor of 6 is worth 18 nats. With a spread of 1 the evidence of 300 jobs chose
#: strengths under which new jobs were forecast worse than by the file. No source.
PULL = 0.3
#: How far from the file's the shares of a log seem to lie when the shop's are the file's and the log is long, since the file's
#: picture of symptoms and repairs is not the shop's: Kullback and Leibler's divergence in nats, for each cause but one. The
#: middle of what two logs of 3,000 jobs of the simulated shop, with its 47 causes, showed. No source.
STRAYS = 0.0048
#: Least part of the way that a log moves the shares.
LEAST = 0.05
#: Jobs that the file's spread of a context fact is worth.
USUAL = 100.0


def choose(families: Families, counts: Floats, centre: Floats, jobs: float) -> dict[str, float]:
    """The best strength of each kind on `GRID` for expected `counts` (P,).

    `centre` (P,) are the chances that the strengths are about: the file's, or `recentred`. `jobs` is the weight of the whole log.
    """
    out = {"shares": shares_worth(families, counts, jobs)}
    for k, kind in list(enumerate(KINDS))[1:]:
        chosen = families.kind == k
        entries = chosen[families.of]
        usual = WORTH[kind]
        scores = [
            evidence(families, counts, n, entries, chosen, centre) - 0.5 * (np.log(n / usual) / PULL) ** 2 for n in GRID
        ]
        out[kind] = GRID[int(np.argmax(scores))] if chosen.any() else usual
    return out


def shares_worth(families: Families, counts: Floats, jobs: float) -> float:
    """Jobs that the file's shares are worth, from what the log says of them when it is all but free to say it.

    As in shrinkage towards a guess (James and Stein 1961, from memory): of the distance by which a log's shares stray from the
    file's, what any log shows is taken for error and the rest for the shop's own, and the shares go that part of the way.
    The error does not shrink with more jobs, so the worth grows with them. `counts` may be those of a part of the log.
    """
    own = families.kind[families.of] == 0
    file = families.prior[own]
    free = WORTH["shares"] * file + counts[own]
    free /= free.sum()
    strayed = float((free * np.log(free / file)).sum())
    # A short log cannot stray as far: the usual worth holds it, and the divergence goes with the square of the distance.
    told = float(counts[own].sum())
    usual = STRAYS * (len(file) - 1) * (told / (told + WORTH["shares"])) ** 2
    part = max(LEAST, 1.0 - usual / max(strayed, 1e-9))
    return WORTH["shares"] + jobs * (1.0 - part) / part


def believed(worth: float, jobs: float) -> float:
    """What part of the way shares go that the file's are worth so many jobs, the usual ones left out of account."""
    return jobs / (worth - WORTH["shares"] + jobs)


def evidence(
    families: Families, counts: Floats, strength: float, entries: Bools, chosen: Bools, centre: Floats
) -> float:
    """Log Dirichlet-multinomial evidence of the chosen families' counts when the file is worth `strength` jobs."""
    from scipy.special import gammaln

    prior = strength * centre[entries]
    totals = families.totals(counts)[chosen]
    spread = gammaln(prior + counts[entries]) - gammaln(prior)
    return float(spread.sum() + (gammaln(strength) - gammaln(strength + totals)).sum())


def recentred(structure: Structure, counts: Floats) -> Floats:
    """(P,) the file's chances with the shop's own spread of every context fact in place of the file's `usual`.

    What a fact says of a fault is in the factors; how common its values are is the shop's affair (how many of its customers have
    foil vents, which answers it bothers to write down). Taken alone, each fault's column would learn that shift by itself,
    the rare faults' hardly at all, and the shift would seem to speak for the common ones. So the spread is fitted for all faults
    together, factors as in the file, with the file's own spread worth `USUAL` jobs.
    """
    f = structure.families
    centre = np.concatenate([f.prior, [0.0, 1.0]])
    padded = np.concatenate([counts, [0.0, 0.0]])
    names = [fact for fact, _ in structure.layout.fact_rows]
    for fact in dict.fromkeys(names):
        index = f.fact[[i for i, n in enumerate(names) if n == fact]]
        learned = (index < len(f.prior)).all(axis=0)
        index = index[:, learned]
        centre[index] = _shifted(centre[index], padded[index])
    return np.asarray(centre[:-2])


def _shifted(chances: Floats, counts: Floats) -> Floats:
    """(V, C) columns of chances, every row multiplied by one factor, so that they fit counts (V, C) added up over the columns."""
    total = counts.sum(axis=0)
    if not total.sum() > 0:
        return chances
    usual = USUAL * chances.mean(axis=1)
    factor = np.ones(len(chances))
    for _ in range(30):
        shifted = chances * factor[:, None]
        shifted /= shifted.sum(axis=0)
        factor *= (counts.sum(axis=1) + usual) / (shifted @ total + USUAL * shifted.mean(axis=1))
    shifted = chances * factor[:, None]
    return np.asarray(shifted / shifted.sum(axis=0))
