"""How far a log's shares of the main causes are believed, measured on that log.

A shop's shares are the file's, each times a factor of its own; how far the factors lie from 1 is the *spread*, the standard
deviation of their logarithms. In the fit the spread is wide (`FREE`), so that nothing else is bent to explain what shares are not
allowed to say. What is given out is decided afterwards: with every job's likelihood under every main cause at hand, the shares
under each spread of `SPREADS` are learned from the jobs up to a day and forecast the jobs of the next stretch, from the first to
the last; the spreads are then averaged by the likelihood of their forecasts (Dawid 1984, the prequential principle: from memory).
The first spread is none: the shop is as the file says.

Of every other kind of number, chances are the file's and the fit's mixed in their logarithms: how far they go from the one to the
other is measured on the last part of the log, with a fit of the jobs before it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from faultodds.knowledge import Floats
from faultodds.tuning.families import Families
from faultodds.tuning.settings import KINDS

#: Spread of the factors while fitting, and those that forecasts choose between. A shop in which a fault is three times as common
#: as usual is two of the wide ones away.
FREE, SPREADS = 0.6, (0.0, 0.05, 0.1, 0.2, 0.3, 0.45, 0.65, 0.9)
#: Stretches of the log that are forecast one after the other.
STRETCHES = 12
NEAR, TINY = 1e-9, 1e-30
#: Kinds of numbers that are mixed, and the ways to go that are tried, from the file's to the fit's.
MIXED, WAYS = ("facts", "companions", "links", "tables", "success"), (0.0, 0.25, 0.5, 0.75, 1.0)


def peak(counts: Floats, file: Floats, spread: float) -> Floats:
    """(C,) likeliest shares for (C,) counts of the main causes, when the file's are off by factors of that spread."""
    if spread <= 0:
        return file
    offset = np.zeros(len(file))
    for _ in range(100):
        share = shifted(file, offset)
        slope, bend = _slope(counts, share, offset, spread)
        step = np.linalg.solve(bend, slope)
        offset += np.clip(step, -1.0, 1.0)
        if np.abs(step).max() < NEAR:
            break
    return shifted(file, offset)


def drawn(counts: Floats, file: Floats, spread: float, rng: np.random.Generator) -> Floats:
    """(C,) shares drawn from their posterior, taken for normal about its peak in the logarithms of the factors."""
    if spread <= 0:
        return file
    share = peak(counts, file, spread)
    offset = np.log(share / file)
    offset -= offset.mean()
    root = np.linalg.cholesky(_slope(counts, share, offset, spread)[1])
    return shifted(file, offset + np.linalg.solve(root.T, rng.standard_normal(len(file))))


def shifted(file: Floats, offset: Floats) -> Floats:
    """The file's shares times factors, of which `offset` (C,) are the logarithms, scaled to 1."""
    share = file * np.exp(offset - offset.max())
    return np.asarray(share / share.sum())


def log_prior(share: Floats, file: Floats, spread: float) -> float:
    """Log of the prior against its own peak."""
    offset = np.log(share / file)
    return float(-0.5 * ((offset - offset.mean()) ** 2).sum() / spread**2)


def _slope(counts: Floats, share: Floats, offset: Floats, spread: float) -> tuple[Floats, Floats]:
    """Slope of the log posterior in the logarithms of the factors, and its bend (minus the second derivative)."""
    total = float(counts.sum())
    slope = counts - total * share - offset / spread**2
    bend = np.diag(total * share + spread**-2) - total * np.outer(share, share)
    return slope, bend


def learned(chances: Floats, weight: Floats, file: Floats, spread: float, start: Floats | None = None) -> Floats:
    """(C,) likeliest shares for jobs whose likelihood under each main cause is `chances` (N, C), each counting `weight` (N,)."""
    share = file if start is None or spread <= 0 else start
    if spread <= 0 or not len(chances):
        return file
    for _ in range(200):
        joint = chances * share
        counts = (weight / np.maximum(joint.sum(axis=1), 1e-300)) @ joint
        after = peak(counts, file, spread)
        done = np.abs(after - share).sum() < 1e-5
        share = after
        if done:
            break
    return share


def forecasts(chances: Floats, weight: Floats, file: Floats, spreads: Sequence[float] = SPREADS) -> Floats:
    """(spreads,) log likelihood of each stretch's jobs under shares learned from those before it, added up; jobs by day."""
    edges = np.linspace(0, len(chances), STRETCHES + 1).astype(int)
    out = np.zeros(len(spreads))
    for i, spread in enumerate(spreads):
        share = file
        for start, end in itertools.pairwise(edges):
            share = learned(chances[:start], weight[:start], file, spread, share)
            out[i] += float(weight[start:end] @ np.log(np.maximum(chances[start:end] @ share, 1e-300)))
    return out


def believed(scores: Floats) -> Floats:
    """(spreads,) how far each is believed, by the likelihood of its forecasts."""
    weights = np.exp(scores - scores.max())
    return np.asarray(weights / weights.sum())


def mixed(families: Families, theta: Floats, centre: Floats, way: Mapping[str, float]) -> Floats:
    """(P,) chances part of the way from `centre` to `theta`, in logarithms, for each kind that `way` names."""
    part = np.array([way.get(kind, 1.0) for kind in KINDS])[families.kind][families.of]
    logs = part * np.log(np.maximum(theta, TINY)) + (1.0 - part) * np.log(np.maximum(centre, TINY))
    return np.maximum(families.scaled(np.exp(logs)), TINY)


def ways(score: Callable[[Mapping[str, float]], float], grown: float) -> dict[str, float]:
    """How far each kind goes, `score` being the log likelihood of later jobs with the kinds so far along; `grown` is how many times
    the jobs there are now of those that were learned from then.

    One kind after the other, the ways averaged by their likelihoods. The error of what is learned falls with the jobs, what the
    shop differs by does not, and the best mixture goes by their ratio (James and Stein 1961, from memory).
    """
    out: dict[str, float] = {}
    whole = score({})
    for kind in MIXED:
        scores = np.array([whole if way == 1.0 else score({kind: way}) for way in WAYS])
        way = float(believed(scores) @ np.array(WAYS))
        out[kind] = way * grown / (way * grown + 1.0 - way)
    return out
