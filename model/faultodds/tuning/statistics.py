"""One pass over a chunk of jobs: what the jobs are expected to count for each number of the model.

With L, w, A and Z as in `likelihood.py`

    P(c | job) = w * A / Z        P(h | job) = L * (w @ given_main) / Z

and every expected count is a sum over these. What comes back (`Statistics`) adds up over chunks: it is the whole interface to
chunks of a file, two cores, or a cluster.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats
from faultodds.tuning import astray, courses
from faultodds.tuning.arrays import TINY, Arrays, arrays_of
from faultodds.tuning.encode import Chunk, Split, done_start, silent_fact_start, silent_start, split_start
from faultodds.tuning.likelihood import (
    LEAST,
    Block,
    Rows,
    Silence,
    behind_gaps,
    blocks,
    done_for_need,
    rows_of,
    split_weights,
    unreported,
    unwritten,
    was_guess,
)
from faultodds.tuning.structure import GUESSES, Structure

__all__ = ["Block", "Rows", "Silence", "Statistics", "blocks", "rows_of", "statistics", "total"]


#: All evidence counts in full.


@dataclass(frozen=True)
class Statistics:
    """Expected counts of some jobs: `counts` (P,) for each entry of the families, weights applied.

    `log_likelihood` of these jobs, `weight` their total weight, `jobs` their number, `impossible` the number that no suspect
    explains (they count for nothing).
    """

    counts: Floats
    log_likelihood: float
    weight: float
    jobs: float
    impossible: float

    def __add__(self, other: Statistics) -> Statistics:
        """Both together."""
        return Statistics(
            self.counts + other.counts,
            self.log_likelihood + other.log_likelihood,
            self.weight + other.weight,
            self.jobs + other.jobs,
            self.impossible + other.impossible,
        )


def total(parts: Iterable[Statistics]) -> Statistics:
    """The sum, always in the order given, so that the same chunks give the same bits."""
    whole: Statistics | None = None
    for part in parts:
        whole = part if whole is None else whole + part
    assert whole is not None, "no statistics to add up"
    return whole


def statistics(
    structure: Structure,
    chunk: Chunk,
    theta: Floats,
    silence: Silence | None = None,
    labels: bool = True,
) -> Statistics:
    """Expected counts of one chunk at `theta` (P,)."""
    silence = silence or Silence.none(structure)
    arrays = arrays_of(structure, theta)
    rows = rows_of(structure, chunk, arrays, silence, labels)
    sums = _Sums(structure, chunk, arrays)
    for block in blocks(chunk, rows, arrays):
        sums.add(block)
    let_be = np.log(1.0 - arrays.guessed * np.array(GUESSES))
    return Statistics(
        counts=sums.counts(rows),
        log_likelihood=sums.log_likelihood + (float(chunk.weight @ chunk.suspected @ let_be) if labels else 0.0),
        weight=float(chunk.weight.sum()) - sums.lost_weight,
        jobs=chunk.jobs - sums.impossible,
        impossible=sums.impossible,
    )


def log_likelihood(structure: Structure, chunk: Chunk, theta: Floats, silence: Silence) -> float:
    """Log likelihood of one chunk at `theta` (P,), nothing counted."""
    arrays = arrays_of(structure, theta)
    out = 0.0
    for block in blocks(chunk, rows_of(structure, chunk, arrays, silence), arrays):
        possible = block.chance > 0
        log_chance = np.log(np.where(possible, block.chance, 1.0)) + block.log_scale
        out += float((chunk.weight[block.rows] * log_chance)[possible].sum())
    return out


class _Sums:
    """Running sums over the jobs of a chunk."""

    def __init__(self, structure: Structure, chunk: Chunk, arrays: Arrays) -> None:
        self.structure, self.chunk, self.arrays = structure, chunk, arrays
        self.given = arrays.given_main.astype(np.float32)
        mains, suspects = self.given.shape
        self.by_row = np.zeros((chunk.evidence.shape[1], suspects))
        self.by_tail = np.zeros((chunk.moments.count, suspects), dtype=np.float32)
        self.pair = np.zeros((mains, suspects))
        self.main = np.zeros(mains)
        self.fact = np.zeros((chunk.facts.shape[1], mains))
        self.log_likelihood = self.impossible = self.lost_weight = 0.0

    def add(self, block: Block) -> None:
        """Add a few jobs."""
        here = block.rows
        weight = self.chunk.weight[here]
        possible = block.chance > 0
        if not possible.all():
            self.impossible += float(self.chunk.count[here][~possible].sum())
            self.lost_weight += float(weight[~possible].sum())
        per = np.where(possible, weight, 0.0) / np.where(possible, block.chance, 1.0)
        per = per.astype(block.like.dtype)[:, None]
        scaled = block.main * per
        self.pair += scaled.T @ block.like
        main = block.joint * per
        self.main += main.sum(axis=0, dtype=float)
        self.fact += self.chunk.facts[here].T @ main
        given = self.given if block.like.dtype == np.float32 else self.arrays.given_main
        block.like[...] *= scaled @ given
        self._add_rows(self.chunk.evidence[here], block.like)
        self._add_tails(self.chunk.tail[here], block.like)
        log_chance = np.log(np.where(possible, block.chance, 1.0)) + block.log_scale
        self.log_likelihood += float((weight * log_chance)[possible].sum())

    def _add_rows(self, evidence: Any, expected: npt.NDArray[Any]) -> None:
        used = np.unique(evidence.indices)
        if len(used) * 3 < evidence.shape[1]:
            self.by_row[used] += evidence[:, used].T @ expected
        else:
            self.by_row += evidence.T @ expected

    def _add_tails(self, tail: Any, expected: npt.NDArray[Any]) -> None:
        from scipy.sparse import csr_matrix

        told = int(np.searchsorted(tail, 0))  # jobs are in the order of their tails, those without one first
        if told < len(tail):
            used, which = np.unique(tail[told:], return_inverse=True)
            one_hot = csr_matrix((np.ones(len(which), expected.dtype), which, np.arange(len(which) + 1)))
            self.by_tail[used] += one_hot.T @ expected[told:]

    def counts(self, rows: Rows) -> Floats:
        """(P,) expected counts of the families' entries."""
        s, f = self.structure, self.structure.families
        padded = np.zeros(len(f.prior) + 2)
        np.add.at(padded, f.share, self.main)
        silent = self.fact[silent_fact_start(s) :][s.fact_of]
        np.add.at(padded, f.fact, self.fact[: len(f.fact)] + silent * behind_gaps(s, rows))
        np.add.at(padded, f.state, self._states())
        cells = np.zeros_like(self.arrays.outcome)
        self._count_cells(cells, padded, rows)
        np.add.at(padded, f.part, part_counts(s, self.arrays, cells))
        return padded[:-2]

    def _states(self) -> Floats:
        """(Q, S) expected states of components, by the class of the main cause."""
        modes = (self.pair * self.arrays.given_main) @ self.structure.suspects.member_float
        return state_counts(self.structure, self.main, modes)

    def _count_cells(self, cells: Floats, padded: Floats, rows: Rows) -> None:
        s, chunk = self.structure, self.chunk
        flat = np.bincount(s.cell.ravel(), self.by_row[: s.rows].ravel(), minlength=cells.size)
        cells += flat.reshape(cells.shape)
        at = split_start(s)
        for i, split in enumerate(chunk.splits):
            jobs = self.by_row[at + i]
            _count_split(s, self.arrays, rows.silence, split, jobs, cells, padded)
        gaps = self.by_row[silent_start(s) : done_start(s)]
        _count_gaps(s, self.arrays, rows.silence, gaps, self.by_row[: s.rows].sum(axis=1), cells, padded)
        if rows.labels:
            done = _rights(s, chunk, rows, self.arrays, self.by_row, padded)
            guessed = _count_done(s, self.arrays, cells, done, padded)
            count_guesses(s, self.arrays.guessed, guessed, chunk.weight @ chunk.suspected, padded)
        found = courses.tally(s, chunk.moments, rows.tail, self.by_tail, self.arrays, rows.sights.bad)
        courses.add_counts(s, found, chunk.moments, rows.sights, cells, padded)


def state_counts(structure: Structure, main: Floats, modes: Floats) -> Floats:
    """(Q, S) component states from (C,) jobs of each main cause and (C, M) jobs that have each mode beside it."""
    class_of = structure.layout.class_of
    out = np.zeros(structure.families.state.shape)
    for k in range(len(class_of)):
        own = np.flatnonzero(structure.component_of == k)
        told = class_of[k] >= 0
        cells = np.concatenate([(main - modes[:, own].sum(axis=1))[:, None], modes[:, own]], axis=1)[told]
        np.add.at(out, (class_of[k][told][:, None], np.arange(cells.shape[1])[None, :]), cells)
    return np.maximum(out, 0.0)


def _count_split(
    structure: Structure,
    arrays: Arrays,
    silence: Silence,
    split: Split,
    expected: Floats,
    cells: Floats,
    padded: Floats,
) -> None:
    """Share the jobs with a doubtful finding out over the outcomes it may have been."""
    weights = split_weights(split, arrays, silence)
    group = structure.group_of[split.observable]
    by_group = np.bincount(group, expected, minlength=len(cells))
    used = np.flatnonzero(by_group)
    chance = arrays.outcome[used, : len(weights)] * weights
    total = chance.sum(axis=1, keepdims=True)
    share = np.divide(chance, total, out=np.zeros_like(chance), where=total > 0)
    shared = share * by_group[used, None]
    cells[used, : len(weights)] += shared
    if silence.heard[split.observable]:
        np.add.at(padded, structure.families.written[split.observable, :, 1], normal_and_odd(shared.sum(axis=0)))


def normal_and_odd(outcomes: Floats) -> Floats:
    """(..., 2) jobs with a normal outcome and with any other, from (..., O)."""
    return np.stack([outcomes[..., 0], outcomes[..., 1:].sum(axis=-1)], axis=-1)


def _count_gaps(
    structure: Structure,
    arrays: Arrays,
    silence: Silence,
    expected: Floats,
    told: Floats,
    cells: Floats,
    padded: Floats,
) -> None:
    """Count the answers that were not written down, and those that were.

    `expected` (checks, H) jobs that are silent about each symptom and check, `told` (R,) jobs with each outcome.
    """
    observable = structure.outcome_of[0]
    for j in np.flatnonzero(silence.heard).tolist():
        by_group = np.bincount(structure.group_of[j], expected[j], minlength=len(cells))
        used = np.flatnonzero(by_group)
        hidden = unwritten(structure, arrays, j)[used]
        shared = hidden / np.maximum(hidden.sum(axis=1, keepdims=True), TINY) * by_group[used, None]
        cells[used] += shared
        index = structure.families.written[j]
        np.add.at(padded, index[:, 0], normal_and_odd(shared.sum(axis=0)))
        np.add.at(padded, index[:, 1], normal_and_odd(told[observable == j]))


def count_guesses(structure: Structure, guessed: float, done: Floats, suspected: Floats, padded: Floats) -> None:
    """Count guesses that were made and let be.

    `done` (guesses, 2): repairs done that were no guess, and that were, by the chance of one; `suspected` (guesses,) those not
    done. One that is no guess may have been one, and was let be, with a chance of its own.
    """
    chance = np.array(GUESSES)
    let_be = chance * (1.0 - guessed) / (1.0 - chance * guessed)
    padded[structure.families.guess[0]] += float(let_be @ (suspected + done[:, 0]))
    padded[structure.families.guess[1]] += float(done[:, 1].sum())


def _rights(structure: Structure, chunk: Chunk, rows: Rows, arrays: Arrays, by_row: Floats, padded: Floats) -> Floats:
    """Expected jobs of each row of what is known of repairs, those of right deeds with them; the others are counted here."""
    start, end = done_start(structure), split_start(structure)
    out = by_row[start:end].copy()
    if chunk.deeds is None:
        return out
    jobs = by_row[end + len(chunk.splits) :]
    right = jobs * astray.rights(*astray.likelihoods(structure, arrays, chunk.deeds, rows.done))
    gone = np.maximum(jobs - right, 0.0).sum(axis=1)
    astray.add_astray(structure, chunk.deeds.parts, gone, padded)
    return np.asarray(out + chunk.deeds.right.T @ right)


def _count_done(structure: Structure, arrays: Arrays, cells: Floats, expected: Floats, padded: Floats) -> Floats:
    """Count repairs done and not done, those done as a guess among the latter; returns (guesses, 2) how many were no guess or one.

    `expected` (3 + repairs * guesses, H) jobs that are known to have had no repairs or some, of which that is not known, and that
    had each with each chance of a guess.
    """
    out = np.zeros((len(GUESSES), 2))
    padded[structure.families.wrong[0]] += float(expected[:2].sum())
    groups = structure.group_of[structure.checks :]
    repairs = len(structure.knowledge.repair)
    chance = np.maximum(arrays.outcome[groups[:repairs], 0], LEAST)
    hidden = unreported(arrays, np.log(chance).sum(axis=0))
    none, some = hidden / hidden.sum(axis=0) * expected[2]
    np.add.at(
        padded,
        structure.families.reported,
        np.stack([[none.sum(), expected[0].sum()], [some.sum(), expected[1].sum()]]),
    )
    every = np.tile(expected[:2].sum(axis=0) + none + some, (len(groups), 1))
    # Where some were done and nobody wrote which.
    unnamed = np.zeros_like(every)
    unnamed[:repairs] = some / np.maximum(1.0 - np.exp(np.log(chance).sum(axis=0)), LEAST) * (1.0 - chance)
    done, undone = np.split(expected[3:], [len(groups) * len(GUESSES)])
    done = done.reshape(len(groups), len(GUESSES), -1)
    every[repairs:] = done[repairs:].sum(axis=1) + undone
    np.subtract.at(every, structure.repair_of[repairs:], every[repairs:])
    for r, (jobs, group) in enumerate(zip(done, groups, strict=True)):
        needed = unnamed[r]
        for level, (n, guess_chance) in enumerate(zip(jobs, GUESSES, strict=True)):
            needed += n * done_for_need(arrays, group, guess_chance)
            guess = float((n * was_guess(arrays, group, guess_chance)).sum())
            out[level] += n.sum() - guess, guess
        cells[:, 0] += np.bincount(group, every[r] - needed, minlength=len(cells))
        cells[:, 1] += np.bincount(group, needed, minlength=len(cells))
    return out


def part_counts(structure: Structure, arrays: Arrays, cells: Floats) -> Floats:
    """(N, O) expected outcomes of each part, from (G, O) outcomes shown by each group.

    P(part i drew a | the largest is o) is, with F the running sums, p_i(a) * [prod_{j != i} F_j(o) - prod_{j != i} F_j(o - 1)]
    over P(o) for a < o, and p_i(o) * prod_{j != i} F_j(o) over P(o) for a = o.
    """
    active = structure.active
    reach = arrays.reach[active]
    before, behind = np.ones_like(reach), np.ones_like(reach)
    before[:, 1:] = np.cumprod(reach[:, :-1], axis=1)
    behind[:, :-1] = np.cumprod(reach[:, :0:-1], axis=1)[:, ::-1]
    others = before * behind
    per_chance = np.divide(cells, arrays.outcome, out=np.zeros_like(cells), where=arrays.outcome > 0)[:, None, :]
    reached = others * per_chance
    strictly = np.diff(others, axis=2, prepend=0.0) * per_chance
    # Sum over the outcomes shown above each drawn one.
    above = strictly[:, :, ::-1].cumsum(axis=2)[:, :, ::-1] - strictly
    drawn = reached + above
    weight = np.zeros((len(arrays.chance) + 1, cells.shape[1]))
    np.add.at(weight, active, drawn)
    return np.asarray(weight[:-1] * arrays.chance)
