"""Repairs done on what the findings suggest, whether or not they were needed.

A technician who has not found the fault does what the findings make likely: new coils for a valve that sticks, a clean duct for a
door without louvres. Taken as word of the fault, such repairs make every common fault look commoner than it is and its look-alikes
vanish. So a repair can be done for two more reasons than those of `families.py`: as a *guess* beside what is needed, or *in
place* of all that were needed, having nothing to put right (`astray.py`). Which one it is, goes both times by its chance, from the
findings on record at the file's own numbers, among the repairs that do nothing for the likeliest fault that it does not put right:
a part changed to be on the safe side is picked among what else it might have been, however surely the fault was found. The shop's
rates are learned; the chances are worked out once for each repair of each job, before learning.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence

import numpy as np

from faultodds.knowledge import Floats
from faultodds.tuning import missing
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.astray import Deeds
from faultodds.tuning.encode import Chunk, done_start, repair_start, split_start, undone_start
from faultodds.tuning.families import Index
from faultodds.tuning.likelihood import SUSPECTED, Silence, blocks, rows_of
from faultodds.tuning.structure import GUESSES, IN_PLACE, Structure


def prepared(structure: Structure, chunk: Chunk, silence: Silence) -> Chunk:
    """A chunk as it is learned from: without unclear checks, with what its gaps say (`missing.py`), and the chance that each
    repair was a guess.
    """
    return missing.heard(structure, guessed(structure, missing.cleared(structure, chunk, silence)), silence)


def guessed(structure: Structure, chunk: Chunk) -> Chunk:
    """The chunk with every repair that was done moved to the row of the chance that it was a guess, and those of a visit put
    together as one deed; those that were not done are counted.
    """
    first, levels = repair_start(structure), len(GUESSES)
    evidence = chunk.evidence.copy()
    job = np.repeat(np.arange(evidence.shape[0]), np.diff(evidence.indptr))
    done = (evidence.indices >= first) & (evidence.indices < undone_start(structure))
    known = job[(evidence.indices >= first - 3) & (evidence.indices < first - 1)]
    if not len(known):
        return chunk
    follows = (evidence.indices[done] - first) // levels
    repair = structure.repair_of[follows]
    cause = suspected(structure, chunk)
    chance = unneeded(structure, cause)
    level = levels_of(chance)
    evidence.indices[done] = first + follows * levels + level[job[done], repair]
    undone = np.zeros(level.shape, dtype=bool)
    undone[known] = True
    undone[job[done], repair] = False
    let_be = np.stack([((level == i) & undone).sum(axis=1) for i in range(levels)], axis=1).astype(np.float32)
    instead = levels_of(chance, IN_PLACE)
    fitted = repair * len(IN_PLACE) + instead[job[done], repair]
    return _with_deeds(structure, dataclasses.replace(chunk, evidence=evidence, suspected=let_be), job[done], fitted)


def _with_deeds(structure: Structure, chunk: Chunk, job: Index, fitted: Index) -> Chunk:
    """The chunk with one row for each different deed, in place of those that it is made of; `fitted` (n,) repair and level of
    `IN_PLACE` of every repair that was done, `job` (n,) in which job.
    """
    from scipy.sparse import csr_matrix, hstack

    start, end = done_start(structure), split_start(structure)
    shape = chunk.evidence.shape[0], len(structure.useless) * len(IN_PLACE)
    astray = csr_matrix((np.ones(len(job), np.float32), (job, fitted)), shape=shape)
    jobs = np.unique(job)
    both = hstack([chunk.evidence[jobs, start:end], astray[jobs]], format="csr")
    both.sort_indices()
    number: dict[bytes, int] = {}
    keys = [both.indices[a:b].tobytes() for a, b in itertools.pairwise(both.indptr)]
    which = np.array([number.setdefault(key, len(number)) for key in keys], dtype=np.int64)
    picked = both[np.unique(which, return_index=True)[1]]
    made = csr_matrix((np.ones(len(jobs), np.float32), (jobs, which)), shape=(shape[0], len(number)))
    left = chunk.evidence.tocoo()
    stays = ~(np.isin(left.row, jobs) & (left.col >= start) & (left.col < end))
    rest = csr_matrix((left.data[stays], (left.row[stays], left.col[stays])), shape=left.shape)
    deeds = Deeds(picked[:, : end - start], picked[:, end - start :])
    return dataclasses.replace(chunk, evidence=hstack([rest, made], format="csr"), deeds=deeds)


def suggested(structure: Structure, cause: Floats) -> Floats:
    """(N, repairs) chance that a repair's faults are the main cause; of a fault that several put right each has its part."""
    return np.asarray(cause @ structure.puts_right.T)


def unneeded(structure: Structure, cause: Floats) -> Floats:
    """(N, repairs) chance to be the one that is done when one is done without need, from (N, C) chances of the main causes."""
    chance = suggested(structure, cause)
    fixes = structure.puts_right > 0
    useless = chance.sum(axis=1, keepdims=True) - chance @ fixes
    out = np.empty_like(chance)
    for r, own in enumerate(fixes):
        truth = np.where(own, 0.0, cause).argmax(axis=1)
        rest = useless[np.arange(len(cause)), truth]
        out[:, r] = chance[:, r] / np.maximum(rest, chance[:, r] + SUSPECTED)
    return out


def levels_of(chance: Floats, levels: Sequence[float] = GUESSES) -> Index:
    """Which of the levels each chance is taken for."""
    edges = (np.array(levels[1:]) + np.array(levels[:-1])) / 2.0
    return np.searchsorted(edges, chance)


def suspected(structure: Structure, chunk: Chunk) -> Floats:
    """(N, C) chance of each main cause at the file's numbers, going by facts and findings on record."""
    arrays = arrays_of(structure, structure.families.prior)
    blind = dataclasses.replace(chunk, tail=np.full_like(chunk.tail, -1), main=np.full_like(chunk.main, -1))
    rows = rows_of(structure, blind, arrays, Silence.none(structure), labels=False)
    out = np.zeros((len(chunk.tail), len(structure.suspects.mains)))
    for block in blocks(blind, rows, arrays):
        total = block.joint.sum(axis=1, keepdims=True)
        cause = np.divide(block.joint, total, out=np.zeros_like(block.joint), where=total > 0)
        if isinstance(block.rows, slice):
            out[block.rows] += cause
        else:
            out[block.rows] = cause
    return out
