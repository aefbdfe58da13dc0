"""From a clean log to sparse rows of integers.

Every job becomes the list of the likelihood rows that its evidence picks: an outcome of a symptom or check, a value of an
equipment fact, a doubtful finding, the repairs that were done, and one for what came after them. Missing cells pick nothing.
Jobs with the same evidence are kept once, with a weight.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean
from faultodds.knowledge import Floats
from faultodds.tuning.arrays import Singles
from faultodds.tuning.astray import Deeds
from faultodds.tuning.courses import Moments, moments_of, read_course
from faultodds.tuning.families import Index
from faultodds.tuning.structure import GUESSES, Small, Structure

if TYPE_CHECKING:
    import pandas as pd
    from scipy.sparse import csr_matrix

CAUSE = "cause"
STAYED, BACK, SILENT = 0, 1, -1


@dataclass(frozen=True)
class Split:
    """A doubtful finding: likelihood weights over the outcomes of one observable."""

    observable: int
    weights: tuple[float, ...]


@dataclass(frozen=True)
class Chunk:
    """Encoded jobs; N distinct ones.

    `evidence` (N, rows) one-hot: R outcome rows, equipment values, one row for each check that may be silent, three for what is
    known of the repairs, one for each repair done, then this chunk's own `splits`, and `deeds` once it is `guesses.prepared`.
    `tail` (N,) which of `moments` came after, or -1; jobs are in its order. `facts` (N, V) one-hot over context and equipment
    values, then one for each context fact that may be silent. `weight` (N,) jobs behind each row, less what is forgotten; `count`
    (N,) the plain number of them. `main` (N,) index of a known main cause, or -1. `suspected` (N, guesses): how many repairs that
    were not done could have been guesses, with each of `GUESSES` (`guesses.py`).
    `row_of` (jobs,) row of each job, and `when` (jobs,) its day, or its place in the log.
    """

    evidence: csr_matrix
    facts: csr_matrix
    weight: Floats
    count: Floats
    main: Small
    splits: tuple[Split, ...]
    tail: Small
    moments: Moments
    suspected: Singles
    row_of: Index
    when: Floats
    deeds: Deeds | None = None

    def some(self, most: int) -> Chunk:
        """At most `most` of the rows, evenly spread; the chunk itself when it has no more."""
        rows = self.evidence.shape[0]
        if rows <= most:
            return self
        return self.picked(np.linspace(0, rows - 1, most).astype(np.int64))

    def picked(self, kept: Index) -> Chunk:
        """The chunk with these rows only, given in order."""
        picked = {n: getattr(self, n)[kept] for n in ("evidence", "facts", "weight", "count", "main", "suspected")}
        tail, moments = self.tail[kept], self.moments
        if (told := tail >= 0).any():
            tail[told], moments = moments.reached(tail[told].astype(np.int64))
        number = np.full(self.evidence.shape[0], -1)
        number[kept] = np.arange(len(kept))
        jobs = number[self.row_of] >= 0
        dated = {"row_of": number[self.row_of[jobs]], "when": self.when[jobs]}
        return Chunk(splits=self.splits, deeds=self.deeds, moments=moments, tail=tail, **picked, **dated)

    def between(self, after: float, until: float) -> Chunk:
        """The jobs later than one day and not later than another."""
        here = (self.when > after) & (self.when <= until)
        count = np.bincount(self.row_of[here], minlength=self.evidence.shape[0]).astype(float)
        kept = np.flatnonzero(count)
        out = self.picked(kept)
        jobs = here[np.isin(self.row_of, kept)]
        return dataclasses.replace(
            out,
            weight=(self.weight * count / self.count)[kept],
            count=count[kept],
            row_of=out.row_of[jobs],
            when=out.when[jobs],
        )

    @property
    def jobs(self) -> float:
        """Number of jobs, repeated evidence counted as often as it came."""
        return float(self.count.sum())


class Encoder:
    """Turns clean frames into chunks.

    `latest` is the day that ages are counted from (forgetting); `merge` counts identical evidence once.
    """

    def __init__(self, structure: Structure, half_life_days: float | None = None, merge: bool = True) -> None:
        self.structure = structure
        self.half_life = half_life_days
        self.merge = merge
        self.columns = clean.columns_of(structure.knowledge)

    def encode(self, frame: pd.DataFrame, latest: Any = None) -> Chunk:
        """Encode one frame; raises as `clean.validate` does, and FaultoddsError for a weight that cannot be."""
        plain = frame.drop(columns=[CAUSE]) if CAUSE in frame.columns else frame
        clean.validate(plain, self.structure.knowledge)
        own = _Local(self.structure)
        codes = [_codes(frame[c], own.finding(c)) for c in frame.columns if c.startswith(clean.FOUND)]
        codes += [_codes(frame[c], own.equipment(c)) for c in frame.columns if own.is_equipment(c)]
        codes += _done(self.structure, frame)
        facts = [_codes(frame[c], own.fact(c)) for c in frame.columns if c.startswith(clean.FACT)]
        main = _codes(frame[CAUSE], own.cause()) if CAUSE in frame.columns else np.full(len(frame), -1, np.int32)
        tail, moments = _tails(self.structure, frame)
        table = np.stack([tail, main, *facts, *codes], axis=1)
        weight = self._weights(frame, latest)
        kept, row, weight, count = _kept(table, weight, self.merge)
        order = np.argsort(table[kept, 0], kind="stable")
        table = table[kept[order]]
        cut = 2 + len(facts)
        return Chunk(
            evidence=_one_hot(table[:, cut:], split_start(self.structure) + len(own.splits)),
            facts=_one_hot(table[:, 2:cut], silent_fact_start(self.structure) + len(self.structure.knowledge.context)),
            weight=weight[order],
            count=count[order],
            main=table[:, 1].copy(),
            splits=tuple(own.splits),
            tail=table[:, 0].copy(),
            moments=moments,
            suspected=np.zeros((len(kept), len(GUESSES)), dtype=np.float32),
            row_of=np.argsort(order)[row],
            when=_when(frame),
        )

    def _weights(self, frame: pd.DataFrame, latest: Any) -> Floats:
        if self.half_life is None or clean.DAY not in frame.columns:
            return np.ones(len(frame))
        last = latest if latest is not None else frame[clean.DAY].max()
        age = (last - frame[clean.DAY]).dt.days.to_numpy(dtype=float)
        return np.where(np.isnan(age), 1.0, 0.5 ** (np.nan_to_num(age) / self.half_life))


def _when(frame: pd.DataFrame) -> Floats:
    """(N,) day of each job, or its place where the log has no days."""
    if clean.DAY not in frame.columns or frame[clean.DAY].isna().all():
        return np.arange(len(frame), dtype=float)
    import pandas as pd

    days = (frame[clean.DAY] - pd.Timestamp("2000-01-01")).dt.days.to_numpy(dtype=float)
    return np.where(np.isnan(days), np.nanmax(days), days)


# --- one column ----------------------------------------------------------------------------------------------------


def _codes(column: pd.Series[Any], row_of: Any) -> Small:
    """Likelihood row of each cell, -1 where there is none; `row_of` is asked once for each different cell."""
    values = column.astype("category")
    rows = np.array([*(row_of(str(v)) for v in values.cat.categories), -1], dtype=np.int32)
    return np.asarray(rows[values.cat.codes.to_numpy()])


class _Local:
    """Numbers the rows of one chunk as they are asked for."""

    def __init__(self, structure: Structure) -> None:
        self.structure = structure
        self.fact_rows = {pair: i for i, pair in enumerate((*structure.layout.fact_rows, *structure.equipment_rows))}
        self.splits: list[Split] = []

    def finding(self, column: str) -> Any:
        name = column.removeprefix(clean.FOUND)
        outcomes = self.structure.suspects.observables[name]

        def row_of(cell: str) -> int:
            weights = clean.weights(cell)
            if len(weights) == 1:
                return self.structure.row_of[name, next(iter(weights))]
            place = self.structure.observables.index(name)
            self.splits.append(Split(place, tuple(weights.get(o, 0.0) for o in outcomes)))
            return split_start(self.structure) + len(self.splits) - 1

        return row_of

    def is_equipment(self, column: str) -> bool:
        return column.startswith(clean.FACT) and column.removeprefix(clean.FACT) in self.structure.knowledge.equipment

    def equipment(self, column: str) -> Any:
        name = column.removeprefix(clean.FACT)
        return lambda cell: self.structure.rows + self.structure.equipment_rows.index((name, cell))

    def fact(self, column: str) -> Any:
        name = column.removeprefix(clean.FACT)
        return lambda cell: self.fact_rows[name, cell]

    def cause(self) -> Any:
        mains = self.structure.suspects.mains

        def index(cell: str) -> int:
            if cell not in mains:
                from faultodds.errors import unknown

                raise unknown("main cause", cell, mains, where=f"column '{CAUSE}'")
            return mains.index(cell)

        return index


def silent_fact_start(structure: Structure) -> int:
    """First column of a chunk's facts that says that a context fact is not in the record."""
    return len(structure.layout.fact_rows) + len(structure.equipment_rows)


def silent_start(structure: Structure) -> int:
    """First row that says that a check is not in the record."""
    return structure.rows + len(structure.equipment_rows)


def done_start(structure: Structure) -> int:
    """First of the rows that say what is known of the repairs: that there were none, that there were some, nothing at all."""
    return silent_start(structure) + structure.checks


def repair_start(structure: Structure) -> int:
    """First of the rows of each repair that was done and each of `GUESSES`."""
    return done_start(structure) + 3


def undone_start(structure: Structure) -> int:
    """First of the rows of repairs that were not done beside another (`Layout.instead`)."""
    return repair_start(structure) + len(structure.repair_of) * len(GUESSES)


def split_start(structure: Structure) -> int:
    """First row of a chunk's own: its doubtful findings, and behind them its deeds."""
    return undone_start(structure) + len(structure.layout.instead)


# --- what was done, and what came of it ------------------------------------------------------------------------------


def _done(structure: Structure, frame: pd.DataFrame) -> list[Small]:
    """What is known of the repairs: that there were none, or some and which; nothing for a log that has no repairs at all."""
    if clean.REPAIRS not in frame.columns or frame[clean.REPAIRS].isna().all():
        return []
    cells = frame[clean.REPAIRS].astype("category")
    code = cells.cat.codes.to_numpy()
    names = structure.repair_number
    done = np.zeros((len(cells.cat.categories) + 1, len(names)), dtype=bool)  # the last row is that of an empty cell
    for row, cell in enumerate(cells.cat.categories):
        done[row, [names[n] for n in str(cell).split(";") if n]] = True
    count = done.sum(axis=1)[code]
    known = np.where(code < 0, 2, count > 0)
    out = [(done_start(structure) + known).astype(np.int32)]
    start, undone = repair_start(structure), undone_start(structure)
    # Which `done:` observable each repair follows: its own, or that beside an earlier one that was done.
    follows = np.tile(np.arange(len(names)), (len(done), 1))
    for v, (other, repair) in reversed(list(enumerate(structure.layout.instead))):
        follows[done[:, other], repair] = len(names) + v
    for r in np.flatnonzero(done.any(axis=0)).tolist():
        out.append(np.where(done[code, r], start + follows[code, r] * len(GUESSES), -1).astype(np.int32))
    for repair in sorted({b for _, b in structure.layout.instead}):
        beside = (follows[:, repair] >= len(names)) & ~done[:, repair]
        place = undone + follows[:, repair] - len(names)
        out.append(np.where(beside[code], place[code], -1).astype(np.int32))
    return out


def _tails(structure: Structure, frame: pd.DataFrame) -> tuple[Small, Moments]:
    """What came after the repairs: for each job the moment at which that begins, or -1, and the moments."""
    out = np.full(len(frame), -1, dtype=np.int32)
    verify = structure.knowledge.costs.verify
    names = [clean.REPAIRS, clean.FAILED, clean.AFTER + verify]
    cells = [frame[n].astype("category") if n in frame.columns else None for n in names]
    parts = [np.full(len(frame), -1) if c is None else c.cat.codes.to_numpy().astype(np.int64) for c in cells]
    back = callbacks(frame, structure.knowledge.log.window_days)
    told = (parts[0] >= 0) & ((parts[1] >= 0) | (parts[2] >= 0) | (back != SILENT))
    distinct, code = np.unique(np.stack([*parts, back], axis=1)[told], axis=0, return_inverse=True)

    # The last text is that of an empty cell, whose code is -1.
    repairs, failed, after = ([""] if c is None else [*map(str, c.cat.categories), ""] for c in cells)
    made = [read_course(structure, repairs[r], failed[f], after[a], b) for r, f, a, b in distinct.tolist()]
    moments, first = moments_of(made, structure.layout.widest)
    out[told] = first[code.ravel()]
    return out, moments


def callbacks(frame: pd.DataFrame, window_days: float) -> Index:
    """For each job whether the customer came back within the window: 1, 0, or -1 where the log cannot say.

    A job says something only when it was followed for the whole window, whichever way it went: counting the early callbacks of
    young jobs, and not their silence, would make callbacks look commoner than they are. `followed_days` missing is worked out from
    `day` and the latest day of the frame; with neither, the ending is taken at its word.
    """
    out = np.full(len(frame), SILENT, dtype=np.int64)
    if clean.ENDED not in frame.columns:
        return out
    ended = frame[clean.ENDED].astype("object").to_numpy()
    back = ended == clean.CAME_BACK
    days = np.full(len(frame), np.nan)
    if clean.BACK_AFTER in frame.columns:
        days = frame[clean.BACK_AFTER].to_numpy(dtype=float)
    followed = _followed(frame)
    old_enough = np.isnan(followed) | (followed >= window_days)
    out[old_enough & ((ended == clean.GONE) | (back & (days > window_days)))] = STAYED
    out[old_enough & back & ~(days > window_days)] = BACK
    return out


def _followed(frame: pd.DataFrame) -> Floats:
    followed = np.full(len(frame), np.nan)
    if clean.DAY in frame.columns and len(frame):
        followed = (frame[clean.DAY].max() - frame[clean.DAY]).dt.days.to_numpy(dtype=float)
    if clean.FOLLOWED in frame.columns:
        told = frame[clean.FOLLOWED].to_numpy(dtype=float)
        followed = np.where(np.isnan(told), followed, told)
    return followed


# --- rows ----------------------------------------------------------------------------------------------------------


def _one_hot(codes: Small, width: int) -> csr_matrix:
    from scipy.sparse import csr_matrix

    told = codes >= 0
    ends = np.concatenate([[0], np.cumsum(told.sum(axis=1))])
    picked = codes[told].astype(np.int32)
    return csr_matrix((np.ones(len(picked), np.float32), picked, ends.astype(np.int32)), shape=(len(codes), width))


def _kept(table: Small, weight: Floats, merge: bool) -> tuple[Index, Index, Floats, Floats]:
    """Rows that stand for each different one, which of them each row is, the weights and the numbers behind them; all of them
    without `merge`.
    """
    every = np.arange(len(table))
    if not merge:
        return every, every, weight, np.ones(len(table))
    multipliers = np.random.default_rng(12345).integers(1, 2**63, size=table.shape[1], dtype=np.uint64)
    keys = (table.astype(np.uint64) * multipliers).sum(axis=1, dtype=np.uint64)
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    if not (table == table[first][inverse]).all():  # two different rows with one key: about once in 2^64
        return every, every, weight, np.ones(len(table))
    count = np.bincount(inverse, minlength=len(first)).astype(float)
    row = inverse.ravel().astype(np.int64)
    return first.astype(np.int64), row, np.bincount(inverse, weight, minlength=len(first)).astype(float), count


def frames_of(logs: Any) -> Sequence[pd.DataFrame] | Any:
    """One frame or an iterable of frames, as an iterable; FaultoddsError for anything else."""
    import pandas as pd

    if isinstance(logs, pd.DataFrame):
        return [logs]
    if hasattr(logs, "__iter__"):
        return logs
    raise FaultoddsError(f"a log is a data frame or several of them; found {type(logs).__name__}.")
