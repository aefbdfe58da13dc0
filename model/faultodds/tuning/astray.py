"""Visits on which a technician was led astray: what was done is useless, and what was needed was not done.

Of each *deed*, a different set of repairs done on one visit, the likelihood is that of its being right (the needed ones, and
guesses beside them) and that of its being useless through and through. A visit goes astray at a rate of the shop; after a part that
did nothing another of that kind may be tried, at a rate of its own; which one, goes by its chance among those that do nothing
(`guesses.unneeded`). All three are learned or worked out before learning, and no visit is both right and astray.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from faultodds.knowledge import Floats
from faultodds.tuning.arrays import NEVER, Arrays, Singles
from faultodds.tuning.structure import IN_PLACE, Structure

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix


@dataclass(frozen=True)
class Deeds:
    """K deeds of a chunk: `right` (K, rows of what is known of repairs) one-hot, the rows that it picks when it is right; `astray`
    (K, repairs * levels) one-hot, its repairs with the level of `IN_PLACE` of each.
    """

    right: csr_matrix
    astray: csr_matrix

    @property
    def count(self) -> int:
        """K."""
        return int(self.right.shape[0])

    @property
    def parts(self) -> Floats:
        """(K,) repairs in each."""
        parts: Floats = np.diff(self.astray.indptr).astype(float)
        return parts


def likelihoods(structure: Structure, arrays: Arrays, deeds: Deeds, done: Singles) -> tuple[Singles, Singles]:
    """(K, H) log chance of each deed, right and astray; `done` are the rows of what is known of repairs."""
    from scipy.special import gammaln

    right = np.asarray(deeds.right @ done, dtype=np.float32)
    more = deeds.parts - 1.0
    fitted = deeds.astray @ np.tile(np.log(IN_PLACE), len(structure.useless))
    rate = np.log(arrays.wrong * arrays.reported[1] * (1.0 - arrays.again)) + more * np.log(arrays.again)
    levels = len(IN_PLACE)
    useful = np.repeat(~structure.useless, levels, axis=0).astype(np.float32)
    blocked = deeds.astray @ useful
    astray = (rate + fitted + gammaln(deeds.parts + 1.0))[:, None].astype(np.float32)
    return right, np.where(blocked > 0, np.float32(NEVER), astray)


def rights(right: Singles, astray: Singles) -> Singles:
    """(K, H) chance that a deed was right."""
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(astray - right, -80.0, 80.0))))


def add_astray(structure: Structure, parts: Floats, jobs: Floats, padded: Floats) -> None:
    """Count `jobs` (n,) visits that went astray, on which so many `parts` (n,) were fitted."""
    f = structure.families
    padded[f.wrong[1]] += float(jobs.sum())
    padded[f.reported[1, 1]] += float(jobs.sum())
    np.add.at(padded, f.again, np.array([jobs.sum(), jobs @ (parts - 1.0)]))
