"""Repairs done on what the findings suggest, whether or not they were needed.

A technician who has not found the fault does what the findings make likely: new coils for a valve that sticks, a clean duct for a
door without louvres. Taken as word of the fault, such repairs make every common fault look commoner than it is and its look-alikes
vanish. So a repair can be done for two more reasons than those of `families.py`. As a *guess* beside what is needed, with the
chance that the findings on record give its faults at the file's own numbers, times a rate of the shop. Or *in place* of all that
were needed, alone, having nothing to put right: with the shop's rate of such mistakes, times its chance once the likeliest of the
others is taken away, for that one was the right one. Both rates are learned; the chances are worked out once for each repair of
each job, before learning.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from faultodds.knowledge import Floats
from faultodds.tuning import missing
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.encode import Chunk, repair_start, single_start, split_start, undone_start
from faultodds.tuning.families import Index
from faultodds.tuning.likelihood import SUSPECTED, Silence, Trust, blocks, rows_of
from faultodds.tuning.structure import GUESSES, Structure


def prepared(structure: Structure, chunk: Chunk, silence: Silence) -> Chunk:
    """A chunk as it is learned from: without unclear checks, with what its gaps say (`missing.py`), and the chance that each
    repair was a guess.
    """
    return missing.heard(structure, guessed(structure, missing.cleared(structure, chunk, silence)), silence)


def guessed(structure: Structure, chunk: Chunk) -> Chunk:
    """The chunk with every repair that was done moved to the row of the chance that it was a guess, those that were not counted."""
    first, last, single = repair_start(structure), undone_start(structure), single_start(structure)
    evidence = chunk.evidence.copy()
    job = np.repeat(np.arange(evidence.shape[0]), np.diff(evidence.indptr))
    beside = (evidence.indices >= first) & (evidence.indices < last)
    alone = (evidence.indices >= single) & (evidence.indices < split_start(structure))
    done = beside | alone
    known = job[alone | ((evidence.indices >= first - 3) & (evidence.indices < first - 1))]
    if not len(known):
        return chunk
    levels = len(GUESSES)
    start = np.where(alone, single, first)[done]
    follows = (evidence.indices[done] - start) // levels
    repair = np.where(alone[done], follows, structure.repair_of[follows])
    chance = suggested(structure, chunk)
    level, instead = levels_of(chance), levels_of(in_place(chance))
    evidence.indices[done] = (
        start + follows * levels + np.where(alone[done], instead[job[done], repair], level[job[done], repair])
    )
    undone = np.zeros(level.shape, dtype=bool)
    undone[known] = True
    undone[job[done], repair] = False
    suspected = np.stack([((level == i) & undone).sum(axis=1) for i in range(levels)], axis=1).astype(np.float32)
    return dataclasses.replace(chunk, evidence=evidence, suspected=suspected)


def in_place(chance: Floats) -> Floats:
    """(N, repairs) chance to be the one that is done in place of the right ones, the likeliest of the others being right."""
    top = np.sort(chance, axis=1)[:, -2:] if chance.shape[1] > 1 else np.zeros((len(chance), 2))
    other = np.where(chance >= top[:, 1:], top[:, :1], top[:, 1:])
    return np.asarray(chance / np.maximum(1.0 - other, chance + SUSPECTED))


def levels_of(chance: Floats) -> Index:
    """Which of `GUESSES` each chance is taken for."""
    edges = (np.array(GUESSES[1:]) + np.array(GUESSES[:-1])) / 2.0
    return np.searchsorted(edges, chance)


def suggested(structure: Structure, chunk: Chunk) -> Floats:
    """(N, repairs) chance, at the file's numbers, that a repair's faults are the main cause, going by facts and findings on record.

    Of a fault that several repairs put right each has its part.
    """
    arrays = arrays_of(structure, structure.families.prior)
    blind = dataclasses.replace(chunk, tail=np.full_like(chunk.tail, -1), main=np.full_like(chunk.main, -1))
    rows = rows_of(structure, blind, arrays, Silence.none(structure), Trust(label=0.0))
    out = np.zeros((len(chunk.tail), len(structure.puts_right)))
    for block in blocks(blind, rows, arrays):
        total = block.joint.sum(axis=1, keepdims=True)
        cause = np.divide(block.joint, total, out=np.zeros_like(block.joint), where=total > 0)
        if isinstance(block.rows, slice):
            out[block.rows] += cause @ structure.puts_right.T
        else:
            out[block.rows] = cause @ structure.puts_right.T
    return out
