"""What the file's numbers are about in this shop: how common the values of facts are here, and how full each column is."""

from __future__ import annotations

import numpy as np

from faultodds.knowledge import Floats
from faultodds.tuning.families import Index
from faultodds.tuning.structure import Structure

#: Jobs that the file's spread of a context fact is worth.
USUAL = 100.0
#: A column is never thought to be quite full or quite empty.
LEAST_FULL = 0.02


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
    for index in f.written:
        _filled(centre, padded, index)
    return np.asarray(centre[:-2])


def _filled(centre: Floats, counts: Floats, index: Index) -> None:
    """The chance that an answer is written down is thought to be that of the whole column, whatever the answer, and an odd answer
    to be written down at least as often as the file says.
    """
    told, gaps = counts[index[:, 1]].sum(), counts[index[:, 0]].sum()
    if not told + gaps > 0:
        return
    full = np.clip(told / (told + gaps), LEAST_FULL, 1.0 - LEAST_FULL)
    for row, chance in zip(index, (full, max(full, centre[index[1, 1]])), strict=True):
        centre[row] = 1.0 - chance, chance


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
