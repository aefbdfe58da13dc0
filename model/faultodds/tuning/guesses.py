"""Repairs done on what the findings suggest, whether or not they were needed.

A technician who has not found the fault does what the findings make likely: new coils for a valve that sticks, a clean duct for a
door without louvres. Taken as word of the fault, such repairs make every common fault look commoner than it is and its look-alikes
vanish. So a repair can be done for one more reason than those of `families.py`: as a *guess*, with the chance that the findings on
record give its faults at the file's own numbers. That chance is worked out once for each repair of each job, before learning.
Of one that was done it says how much of the doing is explained without the fault being there; one that was not done says nothing by
it, since a guess is as likely whatever is wrong.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from faultodds.knowledge import Floats
from faultodds.tuning import missing
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.encode import Chunk, done_start, split_start
from faultodds.tuning.families import Index
from faultodds.tuning.likelihood import Silence, Trust, blocks, rows_of
from faultodds.tuning.structure import GUESSES, Structure


def prepared(structure: Structure, chunk: Chunk, silence: Silence) -> Chunk:
    """A chunk as it is learned from: without unclear checks, with what its gaps say (`missing.py`), and the chance that each
    repair was a guess.
    """
    heard = missing.hushed(structure, missing.cleared(structure, chunk, silence), silence)
    return guessed(structure, heard, silence)


def guessed(structure: Structure, chunk: Chunk, silence: Silence) -> Chunk:
    """The chunk with every repair that was done moved to the row of the chance that it was a guess."""
    first, last = done_start(structure) + 1, split_start(structure)
    evidence = chunk.evidence.copy()
    job = np.repeat(np.arange(evidence.shape[0]), np.diff(evidence.indptr))
    done = (evidence.indices >= first) & (evidence.indices < last)
    if not done.any():
        return chunk
    levels = len(GUESSES)
    repair = (evidence.indices[done] - first) // levels
    level = levels_of(suggested(structure, chunk, silence)[job[done], repair])
    evidence.indices[done] = first + repair * levels + level
    return dataclasses.replace(chunk, evidence=evidence)


def levels_of(chance: Floats) -> Index:
    """Which of `GUESSES` each chance is taken for."""
    edges = (np.array(GUESSES[1:]) + np.array(GUESSES[:-1])) / 2.0
    return np.searchsorted(edges, chance)


def suggested(structure: Structure, chunk: Chunk, silence: Silence) -> Floats:
    """(N, repairs) chance, at the file's numbers, that a repair's faults are the main cause, going by facts and findings alone.

    Of a fault that several repairs put right each has its part.
    """
    arrays = arrays_of(structure, structure.families.prior)
    blind = dataclasses.replace(chunk, tail=np.full_like(chunk.tail, -1), main=np.full_like(chunk.main, -1))
    rows = rows_of(structure, blind, arrays, silence, Trust(label=0.0))
    out = np.zeros((len(chunk.tail), len(structure.puts_right)))
    for block in blocks(blind, rows, arrays):
        total = block.joint.sum(axis=1, keepdims=True)
        cause = np.divide(block.joint, total, out=np.zeros_like(block.joint), where=total > 0)
        if isinstance(block.rows, slice):
            out[block.rows] += cause @ structure.puts_right.T
        else:
            out[block.rows] = cause @ structure.puts_right.T
    return out
