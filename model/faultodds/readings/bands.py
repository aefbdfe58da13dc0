"""Bands with soft edges: how much of an uncertain reading lies in each outcome's band.

The true value is taken as normal about the reading with standard uncertainty u. A meter's accuracy +/-a is
a rectangle of half-width a, so u = a / sqrt(3) (JCGM 100:2008, 4.3.7); a band edge that is itself only
known to +/-t adds t / sqrt(3) in quadrature, at that edge. A range typed as such is spread evenly between
its ends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

from faultodds.readings.specs import Band, Limit, ReadingSpec

Segment = tuple[float, float, str]
"""(low, high, outcome); segments in order cover the whole line once."""


def standard_uncertainty(half_width: float) -> float:
    """u of a rectangular distribution of half-width a: a / sqrt(3) (JCGM 100:2008, 4.3.7)."""
    return half_width / math.sqrt(3)


def ends(band: Band) -> tuple[float, float]:
    """The two ends of a written band as numbers; "OL" and nothing are without end."""
    low, high = band
    return _end(low, -math.inf), _end(high, math.inf)


def _end(limit: Limit, without: float) -> float:
    return math.inf if limit == "OL" else without if limit is None else float(limit)


def segments(bands: Mapping[str, Sequence[Band]], otherwise: str | None, floor: float = -math.inf) -> list[Segment]:
    """Bands in order, gaps given to `otherwise`; a band that starts at `floor` has no lower end.

    The bands must not overlap, and without `otherwise` must leave no gap (`spec_problems` says so).
    """
    written = sorted((*ends(band), outcome) for outcome, pairs in bands.items() for band in pairs)
    written = [(-math.inf if low <= floor else low, high, outcome) for low, high, outcome in written]
    filled: list[Segment] = []
    reached = -math.inf
    for low, high, outcome in written:
        if low > reached and otherwise is not None:
            filled.append((reached, low, otherwise))
        filled.append((low, high, outcome))
        reached = high
    if reached < math.inf and otherwise is not None:
        filled.append((reached, math.inf, otherwise))
    return filled


def edge_uncertainty(spec: ReadingSpec, edge: float) -> float:
    """Standard uncertainty of where a band's edge lies, in the bands' unit."""
    return standard_uncertainty(spec.edge + spec.edge_fraction * abs(edge))


def shares(spec: ReadingSpec, line: Sequence[Segment], low: float, high: float, u: float) -> dict[str, float]:
    """Chance of each outcome for a true value spread from `low` to `high`, blurred by `u`; sums to 1.

    Where one end is infinite ("still closed at 180 F") each outcome gets the chance that its band reaches
    that far, scaled to sum to 1: how far beyond the value lies is not known.
    """
    if math.isinf(low) and low == high:
        return {(line[-1] if low > 0 else line[0])[2]: 1.0}
    if math.isinf(high) or math.isinf(low):
        return _open_ended(spec, line, low, high, u)
    return _closed(spec, line, low, high, u)


def _closed(spec: ReadingSpec, line: Sequence[Segment], low: float, high: float, u: float) -> dict[str, float]:
    inner = [segment[0] for segment in line[1:]]
    below = [chance_below(edge, low, high, math.hypot(u, edge_uncertainty(spec, edge))) for edge in inner]
    steps = [0.0, *_never_falling(below), 1.0]
    found: dict[str, float] = {}
    for (_, _, outcome), (start, stop) in zip(line, pairwise(steps), strict=True):
        found[outcome] = found.get(outcome, 0.0) + (stop - start)
    return found


def _open_ended(spec: ReadingSpec, line: Sequence[Segment], low: float, high: float, u: float) -> dict[str, float]:
    upward = math.isinf(high)
    found: dict[str, float] = {}
    for start, stop, outcome in line:
        edge, seen = (stop, low) if upward else (start, high)
        below = chance_below(
            edge, seen, seen, math.hypot(u, edge_uncertainty(spec, edge)) if abs(edge) < math.inf else 0
        )
        found[outcome] = max(found.get(outcome, 0.0), below if upward else 1.0 - below)
    total = sum(found.values())
    return {outcome: share / total for outcome, share in found.items()}


def chance_below(edge: float, low: float, high: float, u: float) -> float:
    """Chance that the true value is below `edge`, spread evenly from `low` to `high` and blurred by `u`."""
    if math.isinf(edge):
        return 1.0 if edge > 0 else 0.0
    if high - low <= 1e-12 * max(abs(low), abs(high), 1e-300):
        return _normal(edge - low, u)
    if u <= 1e-9 * (high - low):
        return min(1.0, max(0.0, (edge - low) / (high - low)))
    averaged = u / (high - low) * (_integral((edge - low) / u) - _integral((edge - high) / u))
    return min(1.0, max(0.0, averaged))


def _normal(distance: float, u: float) -> float:
    if u <= 0 or abs(distance) > 1e6 * u:
        return 1.0 if distance > 0 else 0.0
    return 0.5 * math.erfc(-distance / u / math.sqrt(2))


def _integral(z: float) -> float:
    """The normal distribution function integrated up to z: z Phi(z) + phi(z)."""
    if z > 40:
        return z
    if z < -40:
        return 0.0
    return z * 0.5 * math.erfc(-z / math.sqrt(2)) + math.exp(-z * z / 2) / math.sqrt(2 * math.pi)


def _never_falling(values: Sequence[float]) -> list[float]:
    # Edges with different tolerances can cross by rounding, far from the reading.
    risen: list[float] = []
    for value in values:
        risen.append(max(value, risen[-1]) if risen else value)
    return risen
