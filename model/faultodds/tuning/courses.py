"""What came after the repairs, as a likelihood of what was there before them.

A *course* is: these repairs in this order, runs that still showed the fault after the first few of them, what the last run
showed, and whether the customer came back. Gone through from its end it is a chain of *moments*, each with some repairs still to
come. With V[m, h] the chance of all that is still to be seen at moment m when the machine is as suspect h says,

    V[m, h] = s * U[h less what the repair puts right] + (1 - s) * U[h]    where it has something to put right
            = U[h]                                                         elsewhere
    U[h]    = V[next moment, h] * (chance that a run shows the fault, if one did)

s being the repair's chance to take. Courses that end alike share their moments. Expected numbers of jobs flow the other way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean
from faultodds.knowledge import Floats
from faultodds.tuning.arrays import Arrays, Singles
from faultodds.tuning.families import Families, Index
from faultodds.tuning.structure import Structure


@dataclass(frozen=True)
class Course:
    """One course of events; `after` weights the outcomes of the last run (None: no run), `back` is 1, 0 or -1 (not known)."""

    repairs: tuple[int, ...]
    failed: int
    after: tuple[float, ...] | None
    back: int


@dataclass(frozen=True)
class Step:
    """Moments `first` to `last` (left out) at which `repair` comes next; `shown`: a run after it still showed the fault.

    `then` (last - first,) the moment after that: each a different one, with a smaller number.
    """

    first: int
    last: int
    repair: int
    shown: bool
    then: Index


@dataclass(frozen=True)
class Moments:
    """The moments of a chunk's courses, ends first, every one after those it leads to.

    `after` (E,) which of `runs` the last run's weights are, -1 where there was none, and `back` (E,), for each end; `runs`
    (A, O) different weightings of the last run; `steps` in the order of their moments, which follow on the ends.
    """

    after: Index
    back: Index
    runs: Floats
    steps: tuple[Step, ...]

    @property
    def ends(self) -> int:
        """E, the number of ends."""
        return len(self.back)

    @property
    def count(self) -> int:
        """M, the number of moments."""
        return self.steps[-1].last if self.steps else self.ends

    def steps_of(self) -> tuple[Index, npt.NDArray[np.bool_], Index]:
        """(M - E,) repair, shown and then of every moment that is no end."""
        sizes = [step.last - step.first for step in self.steps]
        return (
            np.repeat([step.repair for step in self.steps], sizes).astype(np.int64),
            np.repeat([step.shown for step in self.steps], sizes).astype(bool),
            np.concatenate([np.zeros(0, np.int64), *(step.then for step in self.steps)]),
        )

    def reached(self, first: Index) -> tuple[Index, Moments]:
        """Only the moments that some jobs come through, who begin at `first` (n,); their beginnings in the new numbers."""
        kept = np.zeros(self.count, dtype=bool)
        kept[first] = True
        for step in reversed(self.steps):
            kept[step.then[kept[step.first : step.last]]] = True
        number = np.cumsum(kept) - 1
        steps = []
        for step in self.steps:
            here = kept[step.first : step.last]
            if here.any():
                start = int(number[step.first + int(np.argmax(here))])
                then = number[step.then[here]]
                steps.append(Step(start, start + len(then), step.repair, step.shown, then))
        ends = kept[: self.ends]
        return number[first], Moments(self.after[ends], self.back[ends], self.runs, tuple(steps))


def read_course(structure: Structure, repairs: str, failed: str, after: str, back: int) -> Course:
    """A course from the cells of a clean log; FaultoddsError when `failed` does not lead `repairs`."""
    done = [n for n in repairs.split(";") if n]
    first = [n for n in failed.split(";") if n]
    if first != done[: len(first)]:
        raise FaultoddsError(
            f"column '{clean.FAILED}': found '{failed}' beside repairs '{repairs}'; it lists the first of the repairs, in order."
        )
    run: tuple[float, ...] | None = None
    if after:
        weights = clean.weights(after)
        outcomes = structure.suspects.observables[structure.knowledge.costs.verify]
        run = tuple(weights.get(o, 0.0) for o in outcomes)
    return Course(tuple(structure.repair_number[n] for n in done), len(first), run, back)


#: What is still to come: (repair, whether a run after it showed the fault) for each repair, and the end.
_Rest = tuple[tuple[tuple[int, bool], ...], tuple[tuple[float, ...] | None, int]]


def moments_of(courses: Sequence[Course], widest: int) -> tuple[Moments, Index]:
    """The moments of several courses, and (courses,) the first moment of each; `widest` is the O of `runs`."""
    rests = [_rest(course) for course in courses]
    every = {(steps[i:], end) for steps, end in rests for i in range(len(steps) + 1)}
    # By the number of repairs to come, then so that moments with the same next repair lie together.
    order = sorted(every, key=lambda r: (len(r[0]), r[0], r[1][0] or (), r[1][1]))
    number = {rest: i for i, rest in enumerate(order)}
    ends = [end for steps, end in order if not steps]
    runs = sorted({run for run, _ in ends if run is not None})
    place: dict[tuple[float, ...] | None, int] = {None: -1, **{run: i for i, run in enumerate(runs)}}
    return Moments(
        after=np.array([place[run] for run, _ in ends], dtype=np.int64),
        back=np.array([back for _, back in ends], dtype=np.int64),
        runs=np.array([[*run, *[0.0] * (widest - len(run))] for run in runs]).reshape(len(runs), widest),
        steps=tuple(_steps(order, number)),
    ), np.array([number[rest] for rest in rests], dtype=np.int64)


def _rest(course: Course) -> _Rest:
    steps = tuple((repair, i < course.failed) for i, repair in enumerate(course.repairs))
    return steps, (course.after, course.back)


def _steps(order: Sequence[_Rest], number: Mapping[_Rest, int]) -> Iterator[Step]:
    kinds = [(len(steps), steps[:1]) for steps, _ in order]
    starts = [i for i, kind in enumerate(kinds) if kind[1] and (i == 0 or kind != kinds[i - 1])]
    for first, last in pairwise([*starts, len(order)]):
        repair, shown = order[first][0][0]
        then = np.array([number[steps[1:], end] for steps, end in order[first:last]], dtype=np.int64)
        yield Step(first, last, repair, shown, then)


# --- likelihood ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sights:
    """What is seen of a machine: `run` (H, O) chances of the run's outcomes, `bad` (H,) of any but the first, `back` (H,) chance
    that the customer comes back.
    """

    run: Floats
    bad: Floats
    back: Floats


def sights_of(structure: Structure, arrays: Arrays) -> Sights:
    """What is seen under every suspect."""
    run = arrays.outcome[structure.group_of[structure.verify]]
    return Sights(run, 1.0 - run[:, 0], arrays.back[structure.left])


def chances(structure: Structure, moments: Moments, arrays: Arrays, sights: Sights) -> Singles:
    """(M, H) chance of what is still to be seen at every moment: V."""
    out = np.empty((moments.count, len(sights.bad)), dtype=np.float32)
    # One more weighting, for no run at all (-1): every outcome is as good.
    seen = np.concatenate([moments.runs @ sights.run.T, np.ones((1, len(sights.bad)))])
    told = np.stack([1.0 - sights.back, sights.back, np.ones_like(sights.back)])
    out[: moments.ends] = seen[moments.after] * told[moments.back]
    bad = sights.bad.astype(np.float32)
    for step in moments.steps:
        later = out[step.then]
        if step.shown:
            later *= bad
        acts, then, *_ = structure.acting[step.repair]
        takes = np.float32(arrays.success[step.repair])
        here = out[step.first : step.last]
        here[...] = later
        here[:, acts] = takes * later[:, then] + (1 - takes) * later[:, acts]
    return out


# --- what they count -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Tally:
    """Jobs that ended so or so: `success` (repairs, 2) failed, took; `bad` (H,) runs that still showed the fault; `runs` (A, H)
    last runs under each weighting; `back` (3, H) who stayed away, who came back, of whom it is not known.
    """

    success: Floats
    bad: Floats
    runs: Floats
    back: Floats

    @staticmethod
    def empty(structure: Structure, moments: Moments) -> Tally:
        """Nothing yet."""
        suspects = len(structure.left)
        repairs = len(structure.acting)
        return Tally(
            np.zeros((repairs, 2)), np.zeros(suspects), np.zeros((len(moments.runs), suspects)), np.zeros((3, suspects))
        )


def tally(structure: Structure, moments: Moments, chance: Singles, jobs: Singles, arrays: Arrays, bad: Floats) -> Tally:
    """Expected numbers, from `jobs` (M, H) that begin at each moment with each suspect and `chance` (M, H) from `chances`.

    `jobs` is used up. `bad` (H,) is that of `Sights`.
    """
    out = Tally.empty(structure, moments)
    single = bad.astype(np.float32)
    for step in reversed(moments.steps):
        acts, then, left, starts = structure.acting[step.repair]
        here = jobs[step.first : step.last]
        better = chance[step.then[:, None], then] * np.float32(arrays.success[step.repair])
        if step.shown:
            better *= single[then]
        before = chance[step.first : step.last][:, acts]
        acted = here[:, acts]
        took = np.divide(better, before, out=np.zeros_like(better), where=before > 0) * acted
        out.success[step.repair, 1] += took.sum(dtype=float)
        out.success[step.repair, 0] += max((acted - took).sum(dtype=float), 0.0)
        here[:, acts] = np.maximum(acted - took, 0.0)
        if len(acts):
            here[:, left] += np.add.reduceat(took, starts, axis=1)
        if step.shown:
            out.bad[...] += here.sum(axis=0, dtype=float)
        jobs[step.then] += here
    last = jobs[: moments.ends]
    for a in range(len(moments.runs)):
        out.runs[a] += last[moments.after == a].sum(axis=0, dtype=float)
    for b in (0, 1):
        out.back[b] += last[moments.back == b].sum(axis=0, dtype=float)
    return out


def add_counts(
    structure: Structure, found: Tally, moments: Moments, sights: Sights, cells: Floats, padded: Floats
) -> None:
    """Add a tally to `cells` (G, O), expected outcomes of groups, and `padded` (P + 2,), counts of the families' entries."""
    f = structure.families
    np.add.at(padded, f.success, found.success)
    shown = np.where(np.arange(sights.run.shape[1]) > 0, sights.run, 0.0)
    _share_out(structure, cells, found.bad, shown)
    for weights, jobs in zip(moments.runs, found.runs, strict=True):
        _share_out(structure, cells, jobs, sights.run * weights)
    _add_habits(structure, f, found.back, padded)


def _add_habits(structure: Structure, families: Families, back: Floats, padded: Floats) -> None:
    for outcome in (0, 1):
        np.add.at(padded, families.habit[structure.left, outcome], back[outcome])


def _share_out(structure: Structure, cells: Floats, jobs: Floats, weights: Floats) -> None:
    """Jobs (H,) under each suspect, shared over the run's outcomes in proportion to `weights` (H, O)."""
    total = weights.sum(axis=1, keepdims=True)
    share = np.divide(weights, total, out=np.zeros_like(weights), where=total > 0)
    np.add.at(cells, structure.group_of[structure.verify], share * jobs[:, None])
