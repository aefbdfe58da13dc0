"""How good forecasts were: scores of chances against what turned out.

Forecasts `p` have shape (N, K): a row a job, a column a group, each row summing to 1. `truth` (N,) is the column that turned
out. Scores are losses per job (smaller is better), so that means and paired differences can be taken later.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from faultodds.knowledge import Bools, Floats, Ints

#: Edges of the bins that calibration is judged in: ten of equal width.
EDGES: Floats = np.linspace(0.0, 1.0, 11)
#: A chance under this counts as this in the log score, so that one job can cost at most about 27.6.
LEAST = 1e-12


def log_scores(p: Floats, truth: Ints) -> Floats:
    """(N,) minus the natural log of the chance that was given to what turned out. An even guess among K costs log K."""
    given = p[np.arange(len(p)), truth]
    return np.asarray(-np.log(np.maximum(given, LEAST)))


def brier_scores(p: Floats, truth: Ints) -> Floats:
    """(N,) sum over the groups of (chance - what turned out)^2, from 0 to 2 (Brier's own many-class form)."""
    return np.asarray(((p - one_hot(truth, p.shape[1])) ** 2).sum(axis=1))


def one_hot(truth: Ints, groups: int) -> Floats:
    """(N, K) zeros, with a one where each job turned out."""
    return np.asarray(np.eye(groups)[truth])


def among_top(p: Floats, truth: Ints, k: int) -> Bools:
    """(N,) whether what turned out was among the k likeliest; of equal chances the earlier column comes first."""
    order = np.argsort(-p, axis=1, kind="stable")[:, :k]
    return np.asarray((order == truth[:, None]).any(axis=1))


@dataclass(frozen=True)
class Decomposition:
    """The Brier score taken apart: `score = reliability - resolution + uncertainty + leftover` (Murphy 1973).

    Reliability: how far stated chances lie from what then happened (0 is best). Resolution: how far the bins' outcomes lie
    from the overall share (more is better). Uncertainty: what always stating the overall share would score. `leftover`: what
    lumping different chances into one bin leaves; 0 when a bin holds one value.
    """

    score: float
    reliability: float
    resolution: float
    uncertainty: float
    leftover: float


def decompose(stated: Floats, happened: Floats, edges: Floats | None = EDGES) -> Decomposition:
    """The Brier score of one yes-or-no forecast, taken apart; `edges` None makes a bin of every distinct value."""
    parts = _bins(stated, happened, edges)
    overall = float(happened.mean())
    weight = parts.jobs / parts.jobs.sum()
    reliability = float(weight @ (parts.stated - parts.happened) ** 2)
    resolution = float(weight @ (parts.happened - overall) ** 2)
    uncertainty = overall * (1.0 - overall)
    score = float(((stated - happened) ** 2).mean())
    return Decomposition(score, reliability, resolution, uncertainty, score - (reliability - resolution + uncertainty))


def decompose_groups(p: Floats, truth: Ints, edges: Floats | None = EDGES) -> Decomposition:
    """The many-class Brier score taken apart: the sum over the groups of each group's yes-or-no forecast."""
    happened = one_hot(truth, p.shape[1])
    parts = [decompose(p[:, k], happened[:, k], edges) for k in range(p.shape[1])]
    return Decomposition(
        sum(d.score for d in parts),
        sum(d.reliability for d in parts),
        sum(d.resolution for d in parts),
        sum(d.uncertainty for d in parts),
        sum(d.leftover for d in parts),
    )


@dataclass(frozen=True)
class Bins:
    """Forecasts in bins, empty ones left out: mean chance stated, share that happened, jobs; each of shape (B,)."""

    stated: Floats
    happened: Floats
    jobs: Ints


def _bins(stated: Floats, happened: Floats, edges: Floats | None) -> Bins:
    if edges is None:
        which = np.unique(stated, return_inverse=True)[1]
    else:
        which = np.clip(np.searchsorted(edges, stated, side="right") - 1, 0, len(edges) - 2)
    jobs = np.bincount(which)
    kept = jobs > 0
    count = jobs[kept]
    return Bins(
        np.bincount(which, stated)[kept] / count, np.bincount(which, happened)[kept] / count, count.astype(np.int64)
    )


def favourites(p: Floats, truth: Ints) -> tuple[Floats, Floats]:
    """(N,) the chance given to each job's likeliest group, and (N,) 1 where that group turned out."""
    return p.max(axis=1), among_top(p, truth, 1).astype(float)


def curve(p: Floats, truth: Ints, edges: Floats | None = EDGES) -> Bins:
    """The calibration curve of the favourites: of the jobs whose likeliest group was given 70 to 80 %, how many were so."""
    return _bins(*favourites(p, truth), edges)


def _distance(bins: Bins) -> float:
    return float(bins.jobs @ np.abs(bins.stated - bins.happened) / bins.jobs.sum())


def binary_calibration_error(stated: Floats, happened: Floats, edges: Floats | None = EDGES) -> float:
    """Mean distance, over jobs, between the chance stated of one yes-or-no forecast and how often such ones were right."""
    return _distance(_bins(stated, happened, edges))


def calibration_by_luck(p: Floats, edges: Floats = EDGES, draws: int = 200, seed: int = 0) -> float:
    """The calibration error that forecasts with these favourites show on average when they are exactly right.

    With few jobs the shares in the bins wander by luck alone; an error near this one says nothing against a forecast.
    """
    stated = p.max(axis=1)
    rng = np.random.default_rng(seed)
    turned_out = rng.random((draws, len(stated))) < stated
    return float(np.mean([_distance(_bins(stated, row.astype(float), edges)) for row in turned_out]))
