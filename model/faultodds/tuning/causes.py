"""What each job of a log is put down to, all of its record considered, under what was learned."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from faultodds.tuning import statistics
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.fitting import encoded
from faultodds.tuning.guesses import prepared

if TYPE_CHECKING:
    import pandas as pd

    from faultodds.knowledge import Floats
    from faultodds.tuning.fitting import Learned
    from faultodds.tuning.structure import Structure


def causes_of(structure: Structure, frame: pd.DataFrame, learned: Learned, theta: Floats | None = None) -> Floats:
    """(N, C) chance of each main cause for the jobs of a frame, in its order; 0 throughout for a job that no fault explains.

    `structure` is that of the file that was learned from; `theta` other chances than the learned ones.
    """
    settings = learned.settings.replace(half_life_days=None)
    arrays = arrays_of(structure, learned.theta if theta is None else theta)
    found = []
    for plain in encoded(structure, frame, settings, merge=False)[0]:
        chunk = prepared(structure, plain, learned.silence)
        rows = statistics.rows_of(structure, chunk, arrays, learned.silence)
        chances = np.zeros((len(chunk.weight), len(structure.suspects.mains)))
        for block in statistics.blocks(chunk, rows, arrays):
            # Jobs that single precision cannot hold are empty here, and come once more by themselves.
            told = np.flatnonzero(block.main.any(axis=1) & (block.chance > 0))
            joint = np.asarray(block.joint[told], dtype=float)
            chances[np.arange(len(chances))[block.rows][told]] = joint / joint.sum(axis=1, keepdims=True)
        found.append(chances[chunk.row_of])
    return np.concatenate(found)
