"""The jobs of a chunk a few at a time, each with the likelihood of its evidence under every suspect and main cause.

For job n, suspect h and main cause c

    L[n, h] = product of the rows its evidence picks        w[n, c] = share[c] * product of P(fact | c)
    A = L @ given_main.T        Z[n] = sum_c w * A

Single precision does for nearly all jobs; the few that it cannot hold are gone through again in double.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats
from faultodds.tuning import astray, courses
from faultodds.tuning.arrays import NEVER, Arrays, Singles, log
from faultodds.tuning.encode import Chunk, Split
from faultodds.tuning.families import Index
from faultodds.tuning.structure import GUESSES, Small, Structure

#: Jobs looked at together: their arrays stay in the processor's cache.
BLOCK = 512
#: Under this a job is gone through again in double precision.
FAINT = 1e-20
#: Least chance that a repair is done, or not done.
LEAST = 1e-9
#: Least chance to be the one that is done in place of the right ones.
SUSPECTED = 0.005


@dataclass(frozen=True)
class Silence:
    """What the gaps and the doubtful readings of a log say.

    `heard` (checks,) of which symptoms and checks a gap is evidence, by the chances that a normal and an odd answer are written
    down (`Arrays.written`). `facts` (V,) for each value of a context fact, how much likelier a gap is with it than with the
    fact's usual one: 1 throughout for a fact whose gaps say nothing. `unclear` (checks,) which checks are on record with
    readings that hardly tell their outcomes apart: left out.
    """

    heard: npt.NDArray[np.bool_]
    facts: Floats
    unclear: npt.NDArray[np.bool_]

    @staticmethod
    def none(structure: Structure) -> Silence:
        """No gap says anything, and no check is unclear."""
        none = np.zeros(structure.checks, dtype=bool)
        return Silence(none, np.ones(len(structure.fact_of)), none)


@dataclass(frozen=True)
class Rows:
    """Log likelihood of every row that a chunk's evidence can pick, (rows, H), those of what is known of repairs by themselves, the
    chances of its moments, (M, H), and the log chance of every column of its facts, (columns, C). Without `labels` it says nothing
    that some repairs were done and others not.
    """

    log_likelihood: Singles
    done: Singles
    log_fact: Floats
    tail: Singles
    sights: courses.Sights
    silence: Silence
    labels: bool


def rows_of(structure: Structure, chunk: Chunk, arrays: Arrays, silence: Silence, labels: bool = True) -> Rows:
    """Every row of a chunk at one setting of the model."""
    sights = courses.sights_of(structure, arrays)
    done = np.asarray(_done_rows(structure, arrays), dtype=np.float32)
    never = np.where(structure.lacking, np.float32(NEVER), np.float32(0.0))
    parts = [
        arrays.log_likelihood + told_rows(structure, arrays, silence),
        never,
        _silent_rows(structure, arrays, silence),
        done if labels else np.zeros_like(done),
        _split_rows(structure, chunk, arrays, silence),
    ]
    if chunk.deeds is not None:
        parts.append(np.logaddexp(*astray.likelihoods(structure, arrays, chunk.deeds, done)))
    whole = np.concatenate([np.asarray(p, dtype=np.float32) for p in parts])
    log_fact = np.concatenate([arrays.log_fact, _silent_facts(structure, arrays, silence)])
    return Rows(
        whole, done, log_fact, courses.chances(structure, chunk.moments, arrays, sights), sights, silence, labels
    )


def told_rows(structure: Structure, arrays: Arrays, silence: Silence) -> Floats:
    """(R, 1) log chance that each outcome is written down, 0 where gaps say nothing."""
    observable, outcome = structure.outcome_of
    written = np.maximum(arrays.written[observable, outcome], LEAST)
    return np.where(silence.heard[observable], np.log(written), 0.0)[:, None]


def unwritten(structure: Structure, arrays: Arrays, check: Index | int) -> Floats:
    """(..., G, O) chance that a symptom or check shows each outcome and that this is not written down."""
    return np.asarray(arrays.outcome * (1.0 - arrays.written[check][..., None, :]))


def _silent_rows(structure: Structure, arrays: Arrays, silence: Silence) -> Singles:
    """That a symptom or check is not in the record."""
    out = np.zeros((structure.checks, structure.group_of.shape[1]), dtype=np.float32)
    for j in np.flatnonzero(silence.heard):
        chance = unwritten(structure, arrays, int(j)).sum(axis=1)
        out[j] = log(np.maximum(chance, LEAST))[structure.group_of[j]]
    return out


def _silent_facts(structure: Structure, arrays: Arrays, silence: Silence) -> Floats:
    """(facts, C) log chance of a gap under each main cause, up to what is the same for all."""
    gap = silence.facts[:, None] * np.exp(arrays.log_fact[: len(silence.facts)])
    out = np.zeros((len(structure.knowledge.context), gap.shape[1]))
    np.add.at(out, structure.fact_of, gap)
    return log(out)


def behind_gaps(structure: Structure, rows: Rows) -> Floats:
    """(V, C) chance of every value of a context fact that is not in the record, where gaps say something."""
    values = len(structure.fact_of)
    silent = rows.log_fact[len(rows.log_fact) - len(structure.knowledge.context) :]
    return np.asarray(rows.silence.facts[:, None] * np.exp(rows.log_fact[:values] - silent[structure.fact_of]))


def _split_rows(structure: Structure, chunk: Chunk, arrays: Arrays, silence: Silence) -> Singles:
    out = np.zeros((len(chunk.splits), structure.group_of.shape[1]), dtype=np.float32)
    for i, split in enumerate(chunk.splits):
        by_group = arrays.outcome[:, : len(split.weights)] @ split_weights(split, arrays, silence)
        out[i] = log(by_group[structure.group_of[split.observable]])
    return out


def split_weights(split: Split, arrays: Arrays, silence: Silence) -> Floats:
    """(O,) weights of the outcomes that a doubtful finding may have been, with the chance that it was written down."""
    weights = np.array(split.weights)
    return weights * arrays.written[split.observable, : len(weights)] if silence.heard[split.observable] else weights


def _done_rows(structure: Structure, arrays: Arrays) -> Floats:
    """That no repair was done, that some were, that nothing is known of them; then for each of `Structure.repair_of`, and each
    chance that it was a guess, what its being done changes; for those beside another, what their not being done does. None of it
    is astray (`astray.py`).
    """
    none, changed, beside = done_logs(structure, arrays)
    written = np.log(np.maximum(arrays.reported, LEAST))
    right = none + np.log(1.0 - arrays.wrong)
    heads = np.stack([right + written[0], right + written[1], np.log(unreported(arrays, none).sum(axis=0))])
    return np.concatenate([heads, changed.reshape(-1, none.shape[0]), beside])


def done_logs(structure: Structure, arrays: Arrays) -> tuple[Floats, Floats, Floats]:
    """(H,) log chance that no repair is done, and what is added to it (repairs, guesses, H) by each that is, and (instead, H) by
    each that is not beside another; without those done in place of the right ones.
    """
    chance = np.maximum(arrays.outcome[structure.group_of[structure.checks :], :2], LEAST)
    undone, done = chance[:, None, :, 0], chance[:, None, :, 1]
    guess = arrays.guessed * np.array(GUESSES)[None, :, None]
    repairs = len(structure.knowledge.repair)
    usual = chance[structure.repair_of, :, 0]
    changed = np.log(done + undone * guess) - np.log(usual)[:, None, :]
    beside = np.log(chance[repairs:, :, 0]) - np.log(usual[repairs:])
    return np.log(chance[:repairs, :, 0]).sum(axis=0), changed, beside


def unreported(arrays: Arrays, none: Floats) -> Floats:
    """(2, H) chance that no repair was done, or that some were, and it is not written down; `none` (H,) log chance of none."""
    chance = np.exp(none)
    return np.maximum(np.stack([chance, 1.0 - chance]) * (1.0 - arrays.reported[:, None]), LEAST)


def done_for_need(arrays: Arrays, group: Small | Index, guess: Floats | float) -> Floats:
    """Chance that a repair which was done was done for another reason than a guess; `group` of `Structure.group_of`."""
    undone, done = np.maximum(arrays.outcome[group, :2], LEAST).T
    return np.asarray(done / (done + undone * guess * arrays.guessed))


def was_guess(arrays: Arrays, group: Small | Index, guess: Floats | float) -> Floats:
    """Chance that a repair which was done was done as a guess, whatever else it was done for."""
    undone, done = np.maximum(arrays.outcome[group, :2], LEAST).T
    return np.asarray(guess * arrays.guessed / (done + undone * guess * arrays.guessed))


# --- the jobs ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Block:
    """A few jobs at one setting of the model: `like` (n, H) is L, `main` (n, C) w, `joint` (n, C) w * A, `chance` (n,) Z.

    All up to `log_scale`. A job that no suspect explains has chance 0.
    """

    rows: slice | Index
    like: npt.NDArray[Any]
    main: npt.NDArray[Any]
    joint: npt.NDArray[Any]
    chance: npt.NDArray[Any]
    log_scale: Floats


def blocks(chunk: Chunk, rows: Rows, arrays: Arrays, size: int = BLOCK) -> Iterator[Block]:
    """The chunk's jobs a few at a time; the jobs that single precision cannot hold come by themselves, in double."""
    given = np.ascontiguousarray(arrays.given_main.T, dtype=np.float32)
    jobs = chunk.evidence.shape[0]
    # Jobs are in the order of their tails, those without one first.
    first_told = int(np.searchsorted(chunk.tail, 0))
    for start in range(0, jobs, size):
        end = min(start + size, jobs)
        here = slice(start, end)
        like = chunk.evidence[here] @ rows.log_likelihood
        top = like.max(axis=1)
        like -= top[:, None]
        np.exp(like, out=like)
        if end > first_told:
            told = max(start, first_told)
            like[told - start :] *= rows.tail[chunk.tail[told:end]]
        log_main = main_logs(chunk, rows, arrays, here)
        top_main = log_main.max(axis=1)
        main = np.exp(log_main - top_main[:, None]).astype(np.float32)
        joint = main * (like @ given)
        chance = np.where((top > NEVER / 2) & (top_main > NEVER / 2), joint.sum(axis=1), np.float32(0.0))
        scale = top.astype(float) + top_main
        faint = np.flatnonzero(~(chance > FAINT))
        if len(faint):
            yield _in_double(chunk, rows, arrays, start + faint)
            main[faint], joint[faint], chance[faint], scale[faint] = 0.0, 0.0, 1.0, 0.0
        yield Block(here, like, main, joint, chance, scale)


def main_logs(chunk: Chunk, rows: Rows, arrays: Arrays, here: slice | Index) -> Floats:
    """(n, C) log of w, a known main cause putting all others out of the question."""
    logs = arrays.log_share + chunk.facts[here] @ rows.log_fact
    known = chunk.main[here]
    told = known >= 0
    if told.any():
        others = np.arange(logs.shape[1])[None, :] != known[told][:, None]
        logs[told] = np.where(others, NEVER, logs[told])
    return np.asarray(logs)


def _in_double(chunk: Chunk, rows: Rows, arrays: Arrays, which: Index) -> Block:
    """Jobs whose likeliest explanation by findings alone is all but ruled out by the rest of what is known."""
    logs = chunk.evidence[which].astype(np.float64) @ rows.log_likelihood.astype(np.float64)
    told = chunk.tail[which] >= 0
    logs[told] += log(rows.tail[chunk.tail[which][told]].astype(float))
    log_main = main_logs(chunk, rows, arrays, which)
    main = np.exp(log_main - log_main.max(axis=1, keepdims=True))
    joint = logs + log(main @ arrays.given_main)
    top = joint.max(axis=1)
    possible = (top > NEVER / 2) & (log_main.max(axis=1) > NEVER / 2)
    # Suspects that cannot be are left out, whatever their findings say, so that nothing overflows.
    like = np.where(joint > NEVER / 2, np.exp(np.minimum(logs - top[:, None], 600.0)), 0.0)
    main[~possible] = 0.0
    like[~possible] = 0.0
    joint = main * (like @ arrays.given_main.T)
    scale = np.where(possible, top + log_main.max(axis=1), 0.0)
    return Block(which, like, main, joint, joint.sum(axis=1), scale)
