"""Learning a shop's numbers from its log: expectation and maximisation, until the log posterior stands still.

Every job counts, half-tested ones too: what was not looked at is summed over. See `statistics.py` for a pass, `maximise.py` for
the step and the objective, `missing.py` for logs that keep bad results only, `gibbs.py` for how sure the result is.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean
from faultodds.knowledge import Floats, Knowledge, overlay
from faultodds.tuning import holding, kept, missing, places as file_places
from faultodds.tuning.arrays import TINY, arrays_of
from faultodds.tuning.ascent import WARM, Ascent
from faultodds.tuning.encode import Chunk, Encoder, frames_of
from faultodds.tuning.families import Families
from faultodds.tuning.guesses import prepared
from faultodds.tuning.likelihood import Silence, blocks, rows_of
from faultodds.tuning.places import Place
from faultodds.tuning.settings import Settings
from faultodds.tuning.statistics import log_likelihood
from faultodds.tuning.structure import Structure, structure_of
from faultodds.tuning.work import each, one_thread_each, workers

if TYPE_CHECKING:
    import pandas as pd

#: Jobs of a chunk: enough to keep two cores busy, few enough that a million fit in memory.
CHUNK = 10_000
#: Jobs of the part that is looked at first, of the part on which the holding back is measured, and of the part on which
#: most of the way up a log of over twice as many is gone; there, how many times the tolerance is enough.
SAMPLE, PART, MOST_WAY, ENOUGH = 3_000, 6_000, 20_000, 4.0
#: What part of the log is learned from to forecast the rest.
PAST = 0.6
#: Fewer jobs than these forecast nothing, nor can their forecasts be judged.
FEWEST = 20
#: Most jobs that such a part takes from one chunk.
FROM_EACH = 5_000


@dataclass(frozen=True)
class Learned:
    """What a log says.

    `knowledge` with the learned numbers in place; `numbers` path to learned value, `file` path to the file's, the same paths;
    `spoke` path to the expected number of jobs that the number's family could learn from. `log_posterior` after each pass, since
    silences were chosen. `jobs` learned from,
    `set_aside` jobs that no fault explains. `notes` are plain sentences for the manager. `families`, `theta`, `counts`,
    `strengths` and `silence` are the fit itself; `held` is how far it was believed,
    None for strengths set by hand; `kept` how far each of `kept.LOGS` is.
    """

    knowledge: Knowledge
    numbers: dict[str, float]
    file: dict[str, float]
    spoke: dict[str, float]
    log_posterior: tuple[float, ...]
    log_likelihood: float
    jobs: int
    set_aside: int
    settings: Settings
    strengths: dict[str, float]
    notes: tuple[str, ...]
    families: Families
    places: dict[str, Place]
    theta: Floats
    counts: Floats
    held: Held | None
    silence: Silence
    centre: Floats
    kept: Floats

    def written(self, check: int) -> tuple[float, float]:
        """Chance that a normal answer of a symptom or check is written down, and that any other is."""
        normal, odd = self.families.padded(self.theta)[self.families.written[check, :, 1]]
        return float(normal), float(odd)


def fit(knowledge: Knowledge, logs: pd.DataFrame | Iterable[pd.DataFrame], settings: Settings | None = None) -> Learned:
    """Learn from a clean log, whole or in pieces.

    Raises FaultoddsError for an empty log, one in which no job can be explained, or names that the file does not have.
    """
    with one_thread_each():
        return _fit(knowledge, logs, settings or Settings())


def _fit(knowledge: Knowledge, logs: pd.DataFrame | Iterable[pd.DataFrame], settings: Settings) -> Learned:
    structure = structure_of(knowledge, settings.omitted_target)
    chunks, notes = encoded(structure, logs, settings)
    start = warmed(structure, chunks, settings)
    chunks = each(lambda chunk: prepared(structure, chunk, start.silence), chunks, settings.workers)
    ascent = Ascent(structure, settings, start.silence, start.theta)
    weight = sum(float(c.weight.sum()) for c in chunks)
    with workers(structure, part_of(chunks, PART), settings) as go:
        ascent.settle(go)
    if weight > 2 * MOST_WAY:
        part = part_of(chunks, MOST_WAY)
        each_for = weight / sum(float(c.weight.sum()) for c in part)
        with workers(structure, [replace(c, weight=each_for * c.weight) for c in part], settings) as go:
            ascent.climb(go, ENOUGH)
    with workers(structure, chunks, settings) as go:
        ascent.climb(go)
    held = hold(structure, chunks, ascent) if ascent.free else None
    ascent.theta = ascent.shown(ascent.theta)
    return _learned(structure, settings, ascent, held, [*notes, *start.notes, *kept.sentences(ascent.kept)])


@dataclass(frozen=True)
class Held:
    """How far a log is believed: `spreads` (S,) how far each of `holding.SPREADS` is, `ways` how far each kind goes from the file's
    numbers to the fit's.
    """

    spreads: Floats
    ways: dict[str, float]


def hold(structure: Structure, chunks: Sequence[Chunk], ascent: Ascent) -> Held:
    """Hold what was fitted back as far as forecasts say, in place."""
    spreads = _hold_shares(structure, part_of(chunks, MOST_WAY), ascent)
    ways = _ways(structure, chunks, ascent)
    ascent.theta = holding.mixed(structure.families, ascent.theta, ascent.centre, ways)
    return Held(spreads, ways)


def _ways(structure: Structure, chunks: Sequence[Chunk], ascent: Ascent) -> dict[str, float]:
    """A fit of the first part of a log, held against the jobs that came after it."""
    part = part_of(chunks, PART)
    day = np.quantile(np.concatenate([c.when for c in part]), PAST)
    past = [c.between(-np.inf, day) for c in part]
    future = [c.between(day, np.inf) for c in part]
    jobs = sum(float(c.weight.sum()) for c in past)
    if min(jobs, sum(float(c.weight.sum()) for c in future)) < FEWEST:
        return dict.fromkeys(holding.MIXED, 1.0)
    before = Ascent(structure, ascent.settings, ascent.silence, structure.families.prior)
    here = ascent.settings.replace(scheduler=None)
    with workers(structure, past, here) as go:
        before.settle(go)
        before.climb(go, ENOUGH)

    def score(way: Mapping[str, float]) -> float:
        theta = holding.mixed(structure.families, before.theta, before.centre, way)
        return sum(log_likelihood(structure, c, theta, ascent.silence) for c in future)

    return holding.ways(score, sum(float(c.weight.sum()) for c in chunks) / jobs)


def _hold_shares(structure: Structure, chunks: Sequence[Chunk], ascent: Ascent) -> Floats:
    """Hold the fitted shares back, in place; returns how far each spread is believed."""
    f = structure.families
    file, counts = f.prior[f.shares], ascent.counts[f.shares]
    chances, weight, when = main_likelihoods(structure, chunks, ascent.theta, ascent.silence)
    order = np.argsort(when, kind="stable")
    chances, weight = chances[order], weight[order]
    held = holding.believed(holding.forecasts(chances, weight, file))
    whole = weight.sum() > 0.999 * counts.sum()
    every = [
        holding.learned(chances, weight, file, s) if whole else holding.peak(counts, file, s) for s in holding.SPREADS
    ]
    ascent.theta[f.shares] = np.maximum(held @ np.stack(every), TINY)
    return held


def main_likelihoods(
    structure: Structure, chunks: Sequence[Chunk], theta: Floats, silence: Silence
) -> tuple[Floats, Floats, Floats]:
    """(jobs, C) likelihood of each job's record under every main cause, up to a factor, with its weight and its day."""
    f = structure.families
    arrays = arrays_of(structure, theta)
    chances, weight, when = [], [], []
    for chunk in chunks:
        rows = rows_of(structure, chunk, arrays, silence)
        found = np.zeros((chunk.evidence.shape[0], int(f.shares.sum())))
        for block in blocks(chunk, rows, arrays):
            told = np.flatnonzero(block.joint.any(axis=1))
            joint = np.asarray(block.joint[told], dtype=float)[:, f.share < len(theta)] / theta[f.shares]
            found[np.arange(len(found))[block.rows][told]] = joint / joint.max(axis=1, keepdims=True)
        jobs = np.asarray(found.max(axis=1) > 0)[chunk.row_of]
        row = chunk.row_of[jobs]
        chances.append(found[row])
        weight.append((chunk.weight / chunk.count)[row])
        when.append(chunk.when[jobs])
    return np.concatenate(chances), np.concatenate(weight), np.concatenate(when)


@dataclass(frozen=True)
class Start:
    """Where the passes over the whole log begin: chances learned from a part of it, and what its record keeps silent about."""

    theta: Floats
    silence: Silence
    notes: tuple[str, ...]


def warmed(structure: Structure, chunks: Sequence[Chunk], settings: Settings) -> Start:
    """A look at which checks have only their bad results written down, and a few passes over a part of the log.

    The look is at the file's own numbers: a fit that takes the record as whole would explain the missing results away.
    """
    sample = part_of(chunks, SAMPLE)
    found = missing.look(structure, sample, structure.families.prior)
    heard = [prepared(structure, c, found.silence) for c in sample]
    plain = settings.replace(iterations=WARM)
    ascent = Ascent(structure, plain, found.silence, structure.families.prior)
    with workers(structure, heard, settings.replace(scheduler=None)) as go:
        ascent.climb(go)
    return Start(ascent.theta, found.silence, found.notes)


def encoded(
    structure: Structure, logs: pd.DataFrame | Iterable[pd.DataFrame], settings: Settings, merge: bool = True
) -> tuple[list[Chunk], list[str]]:
    """A log as chunks of at most `CHUNK` jobs, and what there is to say about it."""
    encoder = Encoder(structure, settings.half_life_days, merge)
    frames = frames_of(logs)
    latest = None
    if settings.half_life_days is not None or not isinstance(frames, Sequence):
        frames = list(frames)
        days = [f[clean.DAY].max() for f in frames if clean.DAY in f.columns and len(f)]
        latest = max(days, default=None)
    chunks, notes = [], _Notes(structure)
    for frame in frames:
        notes.read(frame)
        for start in range(0, len(frame), CHUNK):
            chunks.append(encoder.encode(frame.iloc[start : start + CHUNK], latest))
    if not chunks:
        raise FaultoddsError("the log has no jobs. Import one first: faultodds log import FILE.")
    return chunks, notes.sentences()


class _Notes:
    """Counts, while the log is read, what the manager should know."""

    def __init__(self, structure: Structure) -> None:
        self.window = structure.knowledge.log.window_days
        self.jobs = self.young = self.endings = self.repairs = 0

    def read(self, frame: pd.DataFrame) -> None:
        self.jobs += len(frame)
        if clean.ENDED in frame.columns:
            self.endings += int(frame[clean.ENDED].notna().sum())
        if clean.REPAIRS in frame.columns:
            self.repairs += int(frame[clean.REPAIRS].notna().sum())
        if clean.FOLLOWED in frame.columns:
            self.young += int((frame[clean.FOLLOWED] < self.window).sum())

    def sentences(self) -> list[str]:
        out = []
        if self.young:
            out.append(
                f"{self.young:,} of {self.jobs:,} jobs are younger than {self.window:g} days: "
                "whether those customers come back is not known yet, so that part of them is left out."
            )
        if not self.repairs:
            out.append("The log names no repairs, so what was replaced could not help to tell the faults apart.")
        if not self.endings:
            out.append("The log says of no job how it ended, so callbacks could not be learned from.")
        return out


def part_of(chunks: Sequence[Chunk], jobs: int) -> list[Chunk]:
    """About so many jobs, evenly spread over the log; all chunks when they have no more."""
    every = sum(c.evidence.shape[0] for c in chunks)
    if every <= jobs:
        return list(chunks)
    # A few jobs of every chunk of a long log would cost the fixed work of a chunk over and over; an even number keeps two threads
    # busy.
    count = min(len(chunks), 2 * math.ceil(jobs / FROM_EACH / 2))
    used = [chunks[i * len(chunks) // count] for i in range(count)]
    share = min(1.0, jobs / sum(c.evidence.shape[0] for c in used))
    return [c.some(math.ceil(c.evidence.shape[0] * share)) for c in used]


def _learned(structure: Structure, settings: Settings, ascent: Ascent, held: Held | None, notes: list[str]) -> Learned:
    k, s, f = structure.knowledge, structure.suspects, structure.families
    assert ascent.statistics is not None
    found = ascent.statistics
    places = file_places.places_of(k, s, f)
    learned = file_places.numbers(places, ascent.theta)
    counts = found.counts
    behind = f.totals(counts)
    if found.impossible:
        notes.append(
            f"{found.impossible:,.0f} jobs have findings that no fault or set of faults of the file explains together; "
            "they were set aside."
        )
    return Learned(
        knowledge=overlay.apply(k, learned),
        numbers=learned,
        file={path: overlay.value(k, path) for path in learned},
        spoke={path: float(behind[list(place.families)].sum()) for path, place in places.items()},
        log_posterior=tuple(ascent.trace),
        log_likelihood=found.log_likelihood,
        jobs=round(found.jobs),
        set_aside=round(found.impossible),
        settings=settings,
        strengths=ascent.strengths,
        notes=tuple(notes),
        families=f,
        places=places,
        theta=ascent.theta,
        counts=counts,
        held=held,
        silence=ascent.silence,
        centre=ascent.centre,
        kept=ascent.kept,
    )
