"""Counts of jobs whose main causes and suspects are known: what the parts of observables drew, which repairs took, what was left
out of the log. Everything is drawn for all jobs of a group at once, which is the same distribution.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats
from faultodds.tuning import astray, statistics
from faultodds.tuning.arrays import Arrays
from faultodds.tuning.encode import (
    Chunk,
    done_start,
    repair_start,
    silent_fact_start,
    silent_start,
    split_start,
    undone_start,
)
from faultodds.tuning.families import Index
from faultodds.tuning.likelihood import (
    LEAST,
    Silence,
    behind_gaps,
    done_for_need,
    split_weights,
    unreported,
)
from faultodds.tuning.structure import GUESSES, Structure

Rng = np.random.Generator


def pick(weights: npt.NDArray[Any], rng: Rng) -> Index:
    """One column of each row, with chances in proportion to the weights."""
    reach = np.cumsum(weights, axis=1, dtype=weights.dtype)
    # Never the very end of a row: rounding must not pick a column of no weight.
    aim = reach[:, -1] * (rng.random(len(weights)) * (1 - 1e-6)).astype(weights.dtype)
    return np.asarray((reach <= aim[:, None]).sum(axis=1))


class Tally:
    """Counts of one chunk, every job's main cause and suspect being known."""

    def __init__(
        self, structure: Structure, chunk: Chunk, arrays: Arrays, rng: Rng, main: Index, suspect: Index
    ) -> None:
        self.structure, self.chunk, self.arrays, self.rng = structure, chunk, arrays, rng
        self.main, self.suspect = main, suspect
        size = arrays.outcome.size
        # How many findings of each outcome in each group, and their weights added up.
        self.number = np.zeros(size, dtype=np.int64)
        self.weight = np.zeros(size)

    def counts(self, rows: statistics.Rows) -> Floats:
        """(P,) counts of the families' entries."""
        s, f = self.structure, self.structure.families
        padded = np.zeros(len(f.prior) + 2)
        mains = len(s.suspects.mains)
        by_main = np.bincount(self.main, self.chunk.weight, minlength=mains).astype(float)
        np.add.at(padded, f.share, by_main)
        facts = self.chunk.facts
        job = np.repeat(np.arange(facts.shape[0]), np.diff(facts.indptr))
        pair = facts.indices.astype(np.int64) * mains + self.main[job]
        by_fact = np.bincount(pair, self.chunk.weight[job], minlength=facts.shape[1] * mains).reshape(-1, mains)
        np.add.at(padded, f.fact, by_fact[: len(f.fact)] + self._behind_gaps(rows))
        np.add.at(padded, f.state, statistics.state_counts(s, by_main, self._modes(mains)))
        self._findings(rows, padded)
        self._courses(rows, padded)
        np.add.at(padded, f.part, self._parts())
        return padded[:-2]

    def _behind_gaps(self, rows: statistics.Rows) -> Floats:
        """(V, C) values of context facts that are not in the record, where gaps say something."""
        s, chunk = self.structure, self.chunk
        out = np.zeros((len(s.fact_of), len(s.suspects.mains)))
        if (rows.silence.facts == 1.0).all():
            return out
        silent, chance = chunk.facts[:, silent_fact_start(s) :].tocsc(), behind_gaps(s, rows)
        for fact in range(silent.shape[1]):
            job = silent.indices[silent.indptr[fact] : silent.indptr[fact + 1]]
            values = np.flatnonzero(s.fact_of == fact)
            drawn = values[pick(chance[values][:, self.main[job]].T, self.rng)]
            np.add.at(out, (drawn, self.main[job]), chunk.weight[job])
        return out

    def _modes(self, mains: int) -> Floats:
        member = self.structure.suspects.member_float[self.suspect] * self.chunk.weight[:, None]
        out = np.zeros((mains, member.shape[1]))
        np.add.at(out, self.main, member)
        return out

    def _findings(self, rows: statistics.Rows, padded: Floats) -> None:
        """Findings and repairs as outcomes of groups."""
        s, evidence = self.structure, self.chunk.evidence
        job = np.repeat(np.arange(evidence.shape[0]), np.diff(evidence.indptr))
        row, job = self._rights(evidence.indices, job, rows, padded)
        suspect = self.suspect[job]
        plain = row < s.rows
        cell: Index = np.asarray(s.cell[row[plain], suspect[plain]], dtype=np.intp)
        self._add(cell, job[plain])
        observable, outcome = s.outcome_of
        self._wrote(observable[row[plain]], outcome[row[plain]], job[plain], 1, rows, padded)
        doubtful = row >= split_start(s)
        split = row[doubtful] - split_start(s)
        settled = self._settled(split, suspect[doubtful], rows.silence)
        self._add(settled, job[doubtful])
        of = np.array([one.observable for one in self.chunk.splits], dtype=np.int64)
        self._wrote(of[split], settled % s.layout.widest, job[doubtful], 1, rows, padded)
        silent = (row >= silent_start(s)) & (row < done_start(s))
        self._untold(row[silent] - silent_start(s), suspect[silent], job[silent], rows, padded)
        done = (row >= repair_start(s)) & (row < undone_start(s))
        undone = (row >= undone_start(s)) & ~doubtful
        self._beside(row[undone] - undone_start(s), job[undone])
        head = row - done_start(s)
        known = job[(head == 0) | (head == 1) | self._none_done(job, head, padded)]
        self._repairs(row[done] - repair_start(s), job[done], known, padded)

    def _rights(self, row: Index, job: Index, rows: statistics.Rows, padded: Floats) -> tuple[Index, Index]:
        """Rows and their jobs, with the rows of each deed that was right in its place; the others are counted here."""
        deeds, start = self.chunk.deeds, split_start(self.structure) + len(self.chunk.splits)
        if deeds is None:
            return row, job
        own = row >= start
        which, whose = row[own] - start, job[own]
        chance = astray.rights(*astray.likelihoods(self.structure, self.arrays, deeds, rows.done))
        good = self.rng.random(len(which)) < chance[which, self.suspect[whose]]
        astray.add_astray(self.structure, deeds.parts[which[~good]], self.chunk.weight[whose[~good]], padded)
        right = deeds.right[which[good]]
        behind = np.repeat(whose[good], np.diff(right.indptr))
        return np.concatenate([row[~own], done_start(self.structure) + right.indices]), np.concatenate(
            [job[~own], behind]
        )

    def _none_done(self, job: Index, head: Index, padded: Floats) -> npt.NDArray[np.bool_]:
        """Where nothing is known of the repairs since there were none."""
        s, f = self.structure, self.structure.families
        plain = s.group_of[s.checks : s.checks + len(s.knowledge.repair)]
        chance = np.maximum(self.arrays.outcome[plain, 0], LEAST)
        hidden = unreported(self.arrays, np.log(chance).sum(axis=0))[:, self.suspect[job]]
        none = self.rng.random(len(job)) * hidden.sum(axis=0) < hidden[0]
        weight = self.chunk.weight[job]
        for some, down, which in (
            (0, 1, head == 0),
            (1, 1, head == 1),
            (0, 0, (head == 2) & none),
            (1, 0, (head == 2) & ~none),
        ):
            padded[f.reported[some, down]] += weight[which].sum()
        padded[f.wrong[0]] += weight[(head == 0) | (head == 1)].sum()
        return np.asarray((head == 2) & none)

    def _settled(self, split: Index, suspect: Index, silence: Silence) -> Index:
        """Which outcome each doubtful finding was."""
        if not len(split):
            return np.zeros(0, dtype=np.int64)
        s, widest = self.structure, self.structure.layout.widest
        weights = np.zeros((len(self.chunk.splits), widest))
        for i, one in enumerate(self.chunk.splits):
            weights[i, : len(one.weights)] = split_weights(one, self.arrays, silence)
        observable = np.array([one.observable for one in self.chunk.splits])
        group = s.group_of[observable[split], suspect].astype(np.int64)
        picked: Index = group * widest + pick(self.arrays.outcome[group] * weights[split], self.rng)
        return picked

    def _untold(self, check: Index, suspect: Index, job: Index, rows: statistics.Rows, padded: Floats) -> None:
        """What each symptom and check that is not in the record would have shown."""
        group = self.structure.group_of[check, suspect].astype(np.int64)
        written = self.arrays.written[check]
        outcome = pick(self.arrays.outcome[group] * (1.0 - written), self.rng)
        self._add(group * self.structure.layout.widest + outcome, job)
        self._wrote(check, outcome, job, 0, rows, padded)

    def _wrote(
        self, check: Index, outcome: Index, job: Index, down: int, rows: statistics.Rows, padded: Floats
    ) -> None:
        """Answers that were written down, or were not."""
        index = self.structure.families.written[check, (outcome > 0).astype(np.int64), down]
        np.add.at(padded, index, self.chunk.weight[job] * rows.silence.heard[check])

    def _repairs(self, row: Index, job: Index, known: Index, padded: Floats) -> None:
        """Which repairs were done for need, and not as a guess; `row` is repair * guesses + chance of a guess."""
        s, widest = self.structure, self.structure.layout.widest
        groups = s.group_of[s.checks :].astype(np.int64)
        repairs, follows = len(s.knowledge.repair), row // len(GUESSES)
        every = (groups[:repairs, self.suspect[known]] * widest).ravel()
        self._add(every, np.tile(known, repairs))
        beside = follows >= repairs
        self._beside(follows[beside] - repairs, job[beside])
        group, level = groups[follows, self.suspect[job]], row % len(GUESSES)
        needed = self.rng.random(len(job)) < done_for_need(self.arrays, group, np.array(GUESSES)[level])
        # One that was needed may have been a guess as well.
        chance = np.where(needed, self.arrays.guessed * np.array(GUESSES)[level], 1.0)
        guess = (self.rng.random(len(job)) < chance).astype(np.int64)
        counted = np.zeros((len(GUESSES), 2))
        np.add.at(counted, (level, guess), self.chunk.weight[job])
        suspected = self.chunk.weight @ self.chunk.suspected
        statistics.count_guesses(s, self.arrays.guessed, counted, suspected, padded)
        done, job = group[needed] * widest, job[needed]
        self._add(done + 1, job)
        self._add(done, job, sign=-1)

    def _beside(self, instead: Index, job: Index) -> None:
        """Repairs beside another that was done: counted with those in place of with the plain ones."""
        s, widest = self.structure, self.structure.layout.widest
        groups = s.group_of[s.checks :].astype(np.int64)
        follows = len(s.knowledge.repair) + instead
        self._add(groups[follows, self.suspect[job]] * widest, job)
        self._add(groups[s.repair_of[follows], self.suspect[job]] * widest, job, sign=-1)

    def _add(self, cell: Index, job: Index, sign: int = 1) -> None:
        self.number += sign * np.bincount(cell, minlength=len(self.number))
        self.weight += sign * np.bincount(cell, self.chunk.weight[job], minlength=len(self.weight))

    def _courses(self, rows: statistics.Rows, padded: Floats) -> None:
        """Which repairs took, what the runs showed, who came back: every job from moment to moment."""
        s, f, moments = self.structure, self.structure.families, self.chunk.moments
        repair, shown, then = moments.steps_of()
        job = np.flatnonzero(self.chunk.tail >= 0)
        moment, suspect = self.chunk.tail[job].astype(np.int64), self.suspect[job]
        while len(going := np.flatnonzero(moment >= moments.ends)):
            step = moment[going] - moments.ends
            stays, after = suspect[going], then[step]
            better = s.removal[repair[step], stays]
            takes = self.arrays.success[repair[step]]
            ran = np.where(shown[step][:, None], rows.sights.bad[np.stack([stays, better], axis=1)], 1.0)
            chance = rows.tail[after[:, None], np.stack([stays, better], axis=1)] * ran
            chance *= np.stack([1.0 - takes, takes], axis=1)
            took = pick(chance, self.rng)
            acted = better != stays
            np.add.at(padded, f.success[repair[step], took][acted], self.chunk.weight[job[going]][acted])
            suspect[going] = np.where(took == 1, better, stays)
            moment[going] = after
            self._ran(job[going][shown[step]], suspect[going][shown[step]], self._any_fault)
        last = moments.after[moment]
        self._ran(job[last >= 0], suspect[last >= 0], moments.runs[last[last >= 0]])
        back = moments.back[moment]
        known = back >= 0
        habit = f.habit[s.left[suspect[known]], back[known]]
        np.add.at(padded, habit, self.chunk.weight[job[known]])

    @property
    def _any_fault(self) -> Floats:
        """(1, O) weights of the outcomes of a run that still showed the fault."""
        return np.where(np.arange(self.structure.layout.widest) > 0, 1.0, 0.0)[None, :]

    def _ran(self, job: Index, suspect: Index, weights: Floats) -> None:
        """Add the outcomes of runs of which `weights` (n or 1, O) is known."""
        group = self.structure.group_of[self.structure.verify, suspect].astype(np.int64)
        outcome = pick(self.arrays.outcome[group] * weights, self.rng)
        self._add(group * self.structure.layout.widest + outcome, job)

    def _parts(self) -> Floats:
        """(N, O) what every part drew, given the largest of them in each group: one part after the other."""
        s, a = self.structure, self.arrays
        widest = s.layout.widest
        some = np.flatnonzero(self.number > 0)
        group, shown = some // widest, some % widest
        per = self.weight[some] / self.number[some]
        active = s.active[group]
        reach = a.reach[active]
        behind = np.ones_like(reach)
        behind[:, :-1] = np.cumprod(reach[:, :0:-1], axis=1)[:, ::-1]
        row = np.arange(len(some))
        top = behind[row, :, shown]
        under = np.where(shown[:, None] > 0, behind[row, :, np.maximum(shown - 1, 0)], 0.0)
        waiting, free = self.number[some].copy(), np.zeros(len(some), dtype=np.int64)
        out = np.zeros((len(a.chance) + 1, widest))
        chance = np.concatenate([a.chance, np.eye(1, widest)])
        below = np.arange(widest)[None, :] < shown[:, None]
        at = np.arange(widest)[None, :] == shown[:, None]
        for k in range(active.shape[1]):
            here = np.flatnonzero(active[:, k] < len(a.chance))
            p = chance[active[here, k]]
            must = p * np.where(below[here], (top - under)[here, k, None], np.where(at[here], top[here, k, None], 0.0))
            may = p * (below[here] | at[here])
            first = self.rng.multinomial(waiting[here], _shares(must))
            second = self.rng.multinomial(free[here], _shares(may))
            np.add.at(out, active[here, k], (first + second) * per[here, None])
            arrived = first[np.arange(len(here)), shown[here]]
            waiting[here] -= arrived
            free[here] += arrived
        return np.asarray(out[:-1])


def _shares(weights: Floats) -> Floats:
    weights = np.maximum(weights, 0.0)
    total = weights.sum(axis=1, keepdims=True)
    first = np.eye(1, weights.shape[1]).repeat(len(weights), axis=0)
    return np.asarray(np.divide(weights, total, out=first, where=total > 0))
