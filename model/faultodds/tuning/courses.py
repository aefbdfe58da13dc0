"""What came after the repairs, as a likelihood of what was there before them.

A *course* is: these repairs in this order, runs that still showed the fault after the first few of them, what the last run
showed, and whether the customer came back. Each repair takes or not, so a course has two branches for every repair; along a
branch the machine is a known suspect at every stage. For one suspect only the few repairs that have something to put right in it
matter; they and what was seen make an *event*. Within an event only the condition of the machine at each stage counts (how its
run would look, and whether it is sound), so suspects that agree in that form a *class*. Courses share their classes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean
from faultodds.records import dataclass
from faultodds.tables import Floats
from faultodds.tuning.arrays import Arrays, Singles, log
from faultodds.tuning.families import Families, Index
from faultodds.tuning.structure import Small, Structure, repair_index


@dataclass(frozen=True)
class Course:
    """One course of events; `after` weights the outcomes of the last run (None: no run), `back` is 1, 0 or -1 (not known)."""

    repairs: tuple[int, ...]
    failed: int
    after: tuple[float, ...] | None
    back: int


@dataclass(frozen=True)
class Block:
    """Every class of a chunk with the same number k of repairs that act; Q classes, B = 2^k branches.

    `at` (Q,) number of the class; `repair` (Q, k); `stage` (Q, B, k + 1) condition of the machine after each repair; `relevant`
    (Q, B, k) whether a repair still had anything to put right; `failed` (Q, k + 1) number of runs at each stage that showed
    the fault; `after` (Q,) index into `Tails.after`, -1 where there was no run; `back` (Q,).
    """

    at: Index
    repair: Index
    stage: Small
    relevant: npt.NDArray[np.bool_]
    failed: Index
    after: Index
    back: Index


@dataclass(frozen=True)
class Tails:
    """The tails of a chunk: `row_class` (T, H) class of each suspect; `after` (A, O) different weightings of the last run."""

    blocks: tuple[Block, ...]
    row_class: Small
    classes: int
    after: Floats


#: The repairs that act, in order; the failed runs at each stage; the place of the last run's weights; whether they came back.
_Event = tuple[tuple[int, ...], tuple[int, ...], int, int]


@dataclass(frozen=True)
class _Ways:
    """The classes of one sequence of repairs that all act: (H,) class or -1; conditions and relevance as in `Block`."""

    class_of: Small
    stage: Small
    relevant: npt.NDArray[np.bool_]


class Courses:
    """Works out classes, once for each different sequence of repairs that act."""

    def __init__(self, structure: Structure) -> None:
        self.structure = structure
        index = repair_index(structure)
        self.number = {name: r for name, (r, _) in index.items()}
        self.removal = np.stack([m for _, m in index.values()]) if index else np.zeros((0, 1), np.int32)
        self.acts = self.removal != np.arange(self.removal.shape[1])
        verify = structure.group_of[structure.verify]
        sound = np.zeros(len(verify), dtype=np.int64)
        sound[structure.suspects.sound] = 1
        # A condition of the machine: how its run looks, and whether it is sound.
        _, self.condition = np.unique(verify.astype(np.int64) * 2 + sound, return_inverse=True)
        self.ways: dict[tuple[int, ...], _Ways] = {}
        self.acting: dict[tuple[int, ...], list[tuple[Index, tuple[int, ...]]]] = {}

    def course(self, repairs: str, failed: str, after: str, back: int) -> Course:
        """A course from the cells of a clean log; FaultoddsError when `failed` does not lead `repairs`."""
        done = [n for n in repairs.split(";") if n]
        first = [n for n in failed.split(";") if n]
        if first != done[: len(first)]:
            raise FaultoddsError(
                f"column '{clean.FAILED}': found '{failed}' beside repairs '{repairs}'; "
                "it lists the first of the repairs, in order."
            )
        run: tuple[float, ...] | None = None
        if after:
            weights = clean.weights(after)
            outcomes = self.structure.suspects.observables[self.structure.knowledge.costs.verify]
            run = tuple(weights.get(o, 0.0) for o in outcomes)
        return Course(tuple(self.number[n] for n in done), len(first), run, back)

    def tails(self, courses: Sequence[Course]) -> Tails:
        """Number the classes of several courses."""
        runs = sorted({c.after for c in courses if c.after is not None})
        after = np.zeros((len(runs), self.structure.layout.widest))
        for i, weights in enumerate(runs):
            after[i, : len(weights)] = weights
        place: dict[tuple[float, ...] | None, int] = {None: -1}
        place |= {w: i for i, w in enumerate(runs)}
        events: dict[_Event, int] = {}
        row_class = np.empty((len(courses), len(self.condition)), dtype=np.int32)
        used = 0
        for t, course in enumerate(courses):
            for chosen, event in self._events(course, place[course.after]):
                if event not in events:
                    events[event] = used
                    used += len(self._ways(event[0]).stage)
                row_class[t, chosen] = events[event] + self._ways(event[0]).class_of[chosen]
        return Tails(self._blocks(events), row_class, used, after)

    def _events(self, course: Course, after: int) -> Iterator[tuple[Index, _Event]]:
        """Which suspects see which event in one course."""
        for chosen, acting in self._acting(course.repairs):
            failed = [0] * (len(acting) + 1)
            for run in range(1, course.failed + 1):
                failed[sum(i < run for i in acting)] += 1
            yield chosen, (tuple(course.repairs[i] for i in acting), tuple(failed), after, course.back)

    def _acting(self, repairs: tuple[int, ...]) -> list[tuple[Index, tuple[int, ...]]]:
        """For each combination of the repairs that acts in any suspect: those suspects, and which of the repairs."""
        if repairs not in self.acting:
            acts = self.acts[list(repairs)]
            pattern = np.zeros(len(self.condition), dtype=np.int64)
            for i, row in enumerate(acts):
                pattern += row.astype(np.int64) << i
            self.acting[repairs] = [
                (np.flatnonzero(pattern == p), tuple(i for i in range(len(repairs)) if p >> i & 1))
                for p in np.unique(pattern).tolist()
            ]
        return self.acting[repairs]

    def _ways(self, repairs: tuple[int, ...]) -> _Ways:
        if repairs not in self.ways:
            self.ways[repairs] = self._work_out(repairs)
        return self.ways[repairs]

    def _work_out(self, repairs: tuple[int, ...]) -> _Ways:
        k = len(repairs)
        touched = np.flatnonzero(self.acts[list(repairs)].all(axis=0)) if k else np.arange(len(self.condition))
        stage = np.zeros((len(touched), 2**k, k + 1), dtype=np.int16)
        relevant = np.zeros((len(touched), 2**k, k), dtype=np.int16)
        for branch in range(2**k):
            at = touched
            stage[:, branch, 0] = self.condition[at]
            for i, r in enumerate(repairs):
                then = self.removal[r][at]
                relevant[:, branch, i] = then != at
                at = then if branch >> i & 1 else at
                stage[:, branch, i + 1] = self.condition[at]
        whole = np.concatenate([stage.reshape(len(touched), -1), relevant.reshape(len(touched), -1)], axis=1)
        keys = np.ascontiguousarray(whole).view(np.dtype((np.void, whole.dtype.itemsize * whole.shape[1]))).ravel()
        first, inverse = np.unique(keys, return_index=True, return_inverse=True)[1:]
        class_of = np.full(len(self.condition), -1, dtype=np.int32)
        class_of[touched] = inverse.ravel()
        return _Ways(class_of, stage[first].astype(np.int32), relevant[first].astype(bool))

    def _blocks(self, events: dict[_Event, int]) -> tuple[Block, ...]:
        blocks = []
        for k in sorted({len(repairs) for repairs, *_ in events}):
            chosen = [(event, at, self._ways(event[0])) for event, at in events.items() if len(event[0]) == k]
            sizes = [len(w.stage) for _, _, w in chosen]
            repairs, failed, after, back = zip(*(e for e, _, _ in chosen), strict=True)
            blocks.append(
                Block(
                    at=np.concatenate([at + np.arange(n) for (_, at, _), n in zip(chosen, sizes, strict=True)]),
                    repair=np.repeat(np.array(repairs, dtype=np.int64), sizes, axis=0),
                    stage=np.concatenate([w.stage for _, _, w in chosen]),
                    relevant=np.concatenate([w.relevant for _, _, w in chosen]),
                    failed=np.repeat(np.array(failed), sizes, axis=0),
                    after=np.repeat(after, sizes),
                    back=np.repeat(back, sizes),
                )
            )
        return tuple(blocks)


# --- likelihood, and what it counts --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Conditions:
    """What a condition of the machine shows: (Z, O) chances of its run; whether it is sound; the group behind the run."""

    run: Floats
    sound: npt.NDArray[np.bool_]
    group: Index


def conditions_of(structure: Structure, arrays: Arrays) -> Conditions:
    """The conditions in the order that `Courses` numbers them."""
    verify = structure.group_of[structure.verify].astype(np.int64)
    sound = np.zeros(len(verify), dtype=np.int64)
    sound[structure.suspects.sound] = 1
    keys = np.unique(verify * 2 + sound)
    return Conditions(arrays.outcome[keys // 2], keys % 2 == 1, keys // 2)


def branch_weights(block: Block, tails: Tails, arrays: Arrays, conditions: Conditions) -> Floats:
    """(Q, B) chance of each branch together with what was seen along it."""
    k = block.repair.shape[1]
    took = (np.arange(2**k)[:, None] >> np.arange(k)) & 1
    success = arrays.success[block.repair][:, None, :]
    # A repair with nothing to put right changes nothing: one of its two branches is enough.
    chance = np.where(block.relevant, np.where(took, success, 1.0 - success), took)
    weight = np.prod(chance, axis=2)
    bad = 1.0 - conditions.run[:, 0]
    for stage in range(k + 1):
        if block.failed[:, stage].any():
            weight = weight * bad[block.stage[:, :, stage]] ** block.failed[:, stage, None]
    last = block.stage[:, :, -1]
    # One more weighting, for no run at all: every outcome is as good.
    seen = np.concatenate([conditions.run @ tails.after.T, np.ones((len(conditions.run), 1))], axis=1)
    weight = weight * seen[last, block.after[:, None]]
    back = np.where(conditions.sound, arrays.back[1], arrays.back[0])
    told = np.stack([1.0 - back, back, np.ones_like(back)], axis=1)
    return np.asarray(weight * told[last, block.back[:, None]])


def log_rows(tails: Tails, arrays: Arrays, conditions: Conditions) -> Singles:
    """(T, H) log likelihood of each tail."""
    classes = np.zeros(tails.classes)
    for block in tails.blocks:
        classes[block.at] = branch_weights(block, tails, arrays, conditions).sum(axis=1)
    return log(classes).astype(np.float32)[tails.row_class]


def count(
    families: Families,
    tails: Tails,
    by_class: Floats,
    arrays: Arrays,
    conditions: Conditions,
    cells: Floats,
    padded: Floats,
) -> None:
    """Add the expected numbers of runs, repairs that took and callbacks to `cells` (G, O) and `padded` (P + 2,).

    `by_class` (classes,) is the expected number of jobs in each class.
    """
    for block in tails.blocks:
        weight = branch_weights(block, tails, arrays, conditions)
        total = weight.sum(axis=1, keepdims=True)
        share = np.divide(weight, total, out=np.zeros_like(weight), where=total > 0)
        count_branches(families, block, tails, share * by_class[block.at, None], conditions, cells, padded)


def count_branches(
    families: Families,
    block: Block,
    tails: Tails,
    jobs: Floats,
    conditions: Conditions,
    cells: Floats,
    padded: Floats,
) -> None:
    """Add what `jobs` (Q, B), numbers of jobs in each branch, say of runs, repairs and callbacks."""
    k = block.repair.shape[1]
    took = (np.arange(2**k)[:, None] >> np.arange(k)) & 1
    for i in range(k):
        acted = jobs * block.relevant[:, :, i]
        for outcome in (0, 1):
            index = families.success[block.repair[:, i], outcome]
            np.add.at(padded, index, acted[:, took[:, i] == outcome].sum(axis=1))
    run = conditions.run
    bad = np.where(np.arange(run.shape[1]) > 0, run, 0.0)
    for stage in range(k + 1):
        if block.failed[:, stage].any():
            _count_runs(cells, conditions, block.stage[:, :, stage], jobs * block.failed[:, stage, None], bad)
    last = block.stage[:, :, -1]
    for a, weights in enumerate(tails.after):
        chosen = block.after == a
        _count_runs(cells, conditions, last[chosen], jobs[chosen], run * weights)
    for outcome in (0, 1):
        told = jobs * (block.back == outcome)[:, None]
        sound = conditions.sound[last]
        padded[families.habit[0, outcome]] += told[~sound].sum()
        padded[families.habit[1, outcome]] += told[sound].sum()


def _count_runs(cells: Floats, conditions: Conditions, condition: Small, jobs: Floats, weights: Floats) -> None:
    """Share jobs in a condition out over the outcomes of its run in proportion to `weights` (Z, O)."""
    by_condition = np.bincount(condition.ravel(), jobs.ravel(), minlength=len(weights))
    total = weights.sum(axis=1)
    share = np.divide(weights, total[:, None], out=np.zeros_like(weights), where=total[:, None] > 0)
    np.add.at(cells, conditions.group, share * by_condition[:, None])
