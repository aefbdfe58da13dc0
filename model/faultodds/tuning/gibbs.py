"""How sure the learned numbers are: draws from their full posterior by blocked Gibbs sampling.

A sweep draws main cause and suspect of every job together, then what each part of an observable drew and which repairs took
(for all jobs of a group at once, which is the same distribution), then every family from Dirichlet(n * p + counts). Strengths and
silences are those of a fit. Jobs that count in part (forgetting) add their part to the counts.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from faultodds.errors import unknown
from faultodds.knowledge import Floats, Knowledge
from faultodds.tuning import holding, kept, statistics
from faultodds.tuning.arrays import TINY, Arrays, arrays_of
from faultodds.tuning.encode import (
    Chunk,
)
from faultodds.tuning.families import Index
from faultodds.tuning.fitting import Learned, encoded, fit
from faultodds.tuning.guesses import prepared
from faultodds.tuning.places import Place
from faultodds.tuning.settings import Settings
from faultodds.tuning.structure import Structure, structure_of
from faultodds.tuning.tally import Tally, pick
from faultodds.tuning.work import one_thread_each

if TYPE_CHECKING:
    import pandas as pd

#: Jobs drawn together.
BLOCK = 512


@dataclass(frozen=True)
class Draws:
    """Draws of every number: `theta` (draws, P), `places` path to where it stands in them."""

    theta: Floats
    places: dict[str, Place]

    def of(self, path: str) -> Floats:
        """(draws,) the draws of one number; UnknownName when it is not learned."""
        if path not in self.places:
            raise unknown("learned number", path, self.places)
        return self.places[path].of(self.theta)

    def interval(self, path: str, level: float = 0.9) -> tuple[float, float]:
        """Central interval of one number."""
        low, high = np.quantile(self.of(path), [(1 - level) / 2, (1 + level) / 2])
        return float(low), float(high)

    def ess(self, path: str) -> float:
        """Effective sample size of one number: independent draws that would be worth as much."""
        return effective_size(self.of(path))


def effective_size(draws: Floats) -> float:
    """Effective sample size by the initial positive sequence (Geyer 1992, from memory).

    Autocorrelations are added in pairs for as long as a pair's sum is positive.
    """
    count = len(draws)
    centred = draws - draws.mean()
    variance = float(centred @ centred) / count
    if not variance > 0:
        return float(count)
    spectrum = np.fft.rfft(centred, 2 * count)
    correlation = np.fft.irfft(spectrum * np.conj(spectrum))[:count] / (count * variance)
    pairs = correlation[: 2 * (count // 2)].reshape(-1, 2).sum(axis=1)
    stop = int(np.argmax(pairs <= 0)) if (pairs <= 0).any() else len(pairs)
    return float(count / max(2.0 * pairs[:stop].sum() - 1.0, 1.0 / count))


def sample(
    knowledge: Knowledge,
    logs: pd.DataFrame | Iterable[pd.DataFrame],
    settings: Settings | None = None,
    sweeps: int = 400,
    burn: int = 100,
    seed: int | None = None,
    learned: Learned | None = None,
    tick: Callable[[int], None] = lambda done: None,
) -> Draws:
    """Draws from the posterior of every number, `sweeps` of them after `burn` that are thrown away.

    `learned` is a fit of the same log, where the drawing starts; without it one is made. Errors are those of `fit`. An iterable
    of frames is gone through twice without `learned`, so it must be a list. `tick` is told how many sweeps are done: on a long log
    they take minutes.
    """
    settings = settings or Settings()
    learned = learned or fit(knowledge, logs, settings)
    structure = structure_of(knowledge, settings.omitted_target)
    chunks, _ = encoded(structure, logs, settings, merge=False)
    chain = Chain(structure, chunks, learned, settings.seed if seed is None else seed)
    kept = []
    with one_thread_each():
        for done in range(burn + sweeps):
            tick(done)
            theta = chain.sweep()
            if done >= burn:
                kept.append(theta)
    return Draws(np.stack(kept), learned.places)


class Chain:
    """A Markov chain over the families' chances."""

    def __init__(self, structure: Structure, chunks: list[Chunk], learned: Learned, seed: int) -> None:
        self.structure, self.learned = structure, learned
        self.chunks = [prepared(structure, c, learned.silence) for c in chunks]
        self.theta = learned.theta.copy()
        free = {"shares": 0.0} if learned.held is not None else {}
        self.pseudo = structure.families.spread_strengths({**learned.strengths, **free}, learned.centre)
        self.rng = np.random.default_rng(seed)
        self.normal = kept.normals(structure, learned.silence.heard)

    def sweep(self) -> Floats:
        """One sweep; returns the new chances (P,)."""
        f = self.structure.families
        counts = np.zeros(len(f.prior))
        arrays = arrays_of(self.structure, self.theta)
        for chunk in self.chunks:
            counts += self._counts(chunk, arrays)
        drawn = np.maximum(self.rng.standard_gamma(self.pseudo + counts), 1e-290)
        self.theta = np.maximum(f.scaled(drawn), TINY)
        held = self.learned.held
        left_out = float(self.rng.choice(kept.LOGS, p=self.learned.kept))
        if held is None:
            return kept.moved(self.structure, self.normal, self.theta, -left_out)
        # The chain goes on with shares that are free; what is handed out is held back as the learned shares are.
        own = f.shares
        self.theta[own] = holding.drawn(counts[own], f.prior[own], holding.FREE, self.rng)
        out = holding.mixed(f, self.theta, self.learned.centre, held.ways)
        out = kept.moved(self.structure, self.normal, out, -left_out)
        spread = holding.SPREADS[int(self.rng.choice(len(holding.SPREADS), p=held.spreads))]
        out[own] = holding.drawn(counts[own], f.prior[own], spread, self.rng)
        return out

    def _counts(self, chunk: Chunk, arrays: Arrays) -> Floats:
        rows = statistics.rows_of(self.structure, chunk, arrays, self.learned.silence)
        main, suspect = self._jobs(chunk, arrays, rows)
        told = suspect >= 0
        if not told.all():
            chunk = _picked(chunk, told)
        tally = Tally(self.structure, chunk, arrays, self.rng, main[told], suspect[told])
        return tally.counts(rows)

    def _jobs(self, chunk: Chunk, arrays: Arrays, rows: statistics.Rows) -> tuple[Index, Index]:
        """Main cause and suspect of every job, -1 for one that no suspect explains."""
        count = chunk.evidence.shape[0]
        main, suspect = np.full(count, -1), np.full(count, -1)
        single = arrays.given_main.astype(np.float32)
        for block in statistics.blocks(chunk, rows, arrays, BLOCK):
            here = np.arange(count)[block.rows]
            possible = block.joint.any(axis=1)
            given = single if block.like.dtype == np.float32 else arrays.given_main
            like = block.like[possible]
            cause = pick(block.joint[possible], self.rng)
            main[here[possible]] = cause
            suspect[here[possible]] = pick(like * given[cause], self.rng)
        return main, suspect


def _picked(chunk: Chunk, rows: npt.NDArray[np.bool_]) -> Chunk:
    parts = {n: getattr(chunk, n)[rows] for n in ("evidence", "facts", "weight", "count", "main", "tail", "suspected")}
    return dataclasses.replace(chunk, **parts)
