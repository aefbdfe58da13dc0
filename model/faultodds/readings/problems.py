"""What is wrong with a reading spec, in sentences a shop manager can act on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from faultodds.errors import nearest
from faultodds.readings.bands import ends
from faultodds.readings.numbers import neat
from faultodds.readings.specs import Band, ReadingSpec, Winding

OWN_UNITS: dict[str, tuple[str, ...]] = {
    "resistance": ("ohm",),
    "continuity": ("ohm",),
    "windings": ("ohm",),
    "thermistor": ("ohm",),
    "temperature": ("F", "C"),
    "bench_heat": ("F", "C"),
    "voltage": ("V",),
    "current": ("A",),
    "pressure": ("inwc", "Pa", "mbar"),
    "air_speed": ("fpm", "m/s"),
    "dial": ("btu_h",),
    "moisture": ("percent",),
    "angle": ("deg",),
    "time": ("min",),
    "concentration": ("ppm",),
}

# Below this nothing is shown, so the lowest band must start there; without an entry, at -inf.
FLOORS = dict.fromkeys(
    ("ohm", "V", "A", "inwc", "Pa", "mbar", "fpm", "m/s", "btu_h", "percent", "deg", "min", "ppm"), 0.0
)


def floor_of(spec: ReadingSpec) -> float:
    """The least value that the bands of `spec` can be asked about."""
    return -math.inf if spec.kind in ("bench_heat", "temperature") else FLOORS.get(spec.unit, -math.inf)


def spec_problems(spec: ReadingSpec, outcomes: Sequence[str]) -> list[str]:
    """Problems with `spec` for a check with `outcomes`, one sentence each; empty when it is sound."""
    return [
        *_unit(spec),
        *_numbers(spec),
        *_names(spec, outcomes),
        *_remarks(spec),
        *_by_fact(spec),
        *_of_kind(spec, outcomes),
    ]


def _unit(spec: ReadingSpec) -> Iterator[str]:
    allowed = OWN_UNITS[spec.kind]
    if spec.unit not in allowed:
        yield f"unit is '{spec.unit}': {spec.kind} is read in {' or '.join(allowed)}."


def _numbers(spec: ReadingSpec) -> Iterator[str]:
    for name in ("edge", "edge_fraction", "accuracy", "counts", "resolution", "leads", "ambient_accuracy"):
        value = getattr(spec, name)
        if not (math.isfinite(value) and value >= 0):
            yield f"{name} is {value:g}: it must be 0 or more."
    if spec.edge_fraction >= 0.5:
        yield f"edge_fraction is {spec.edge_fraction:g}: it is a fraction under 0.5 (0.05 is 5 %)."
    if spec.counts and not spec.resolution:
        yield "counts is given without resolution: say what one step of the last digit is worth."
    for name in ("duct_inches", "heating_value"):
        if not getattr(spec, name) > 0:
            yield f"{name} is {getattr(spec, name):g}: it must be above 0."
    yield from (
        f"heating_values.{fuel} is {value:g}: it must be above 0."
        for fuel, value in spec.heating_values.items()
        if not value > 0
    )
    if (spec.danger_over is None and spec.danger_under is None) != ("{}" not in spec.danger):
        yield "danger_over or danger_under and danger go together: the value, and how it is told, with {} for the value."
    for name in ("plausible", "limits", "rated_range"):
        span = getattr(spec, name)
        if span and not (len(span) == 2 and span[0] < span[1]):
            yield f"{name} must be [low, high] with low under high."


def _names(spec: ReadingSpec, outcomes: Sequence[str]) -> Iterator[str]:
    used = {f"bands.{name}": name for name in spec.bands} | {f"words.{name}": name for name in spec.words}
    used |= {f"bands_for.{fuel}.{name}": name for fuel, bands in spec.bands_for.items() for name in bands}
    if spec.otherwise is not None:
        used["otherwise"] = spec.otherwise
    for key, name in used.items():
        if name not in outcomes:
            close = nearest(name, outcomes)
            hint = f" Did you mean '{close}'?" if close else ""
            known = ", ".join(outcomes)
            yield f"{key} names '{name}', which is no outcome of this check.{hint} Known: {known}."
    reached = set(used.values()) | ({outcomes[0]} if spec.kind == "windings" and outcomes else set())
    for outcome in outcomes:
        if outcome not in reached:
            yield f"no band, word or otherwise leads to the outcome '{outcome}'."


def _remarks(spec: ReadingSpec) -> Iterator[str]:
    for remark in spec.remarks:
        low, high = ends([remark.low, remark.high])
        if not low < high:
            yield f"the remark '{remark.text[:40]}' has no values between its low and its high."


def _by_fact(spec: ReadingSpec) -> Iterator[str]:
    if spec.values and not spec.fact:
        yield f"has its own for '{spec.values[0]}' and no fact: say which fact that is a value of."
    if spec.fact and not spec.values:
        yield f"fact is '{spec.fact}', and nothing is given for any value of it."
    if spec.windings_at is not None and spec.kind != "windings":
        yield "windings_at is for windings; a thermistor has its chart."


def _of_kind(spec: ReadingSpec, outcomes: Sequence[str]) -> Iterator[str]:
    if spec.kind == "windings":
        yield from _windings(spec, outcomes)
        return
    if spec.kind == "thermistor":
        yield from _chart(spec)
    yield from _cover("bands", spec.bands, spec)
    for fuel, bands in spec.bands_for.items():
        yield from _cover(f"bands_for.{fuel}", bands, spec)


def _windings(spec: ReadingSpec, outcomes: Sequence[str]) -> Iterator[str]:
    if not spec.windings:
        yield "windings is empty: name each winding with its low and high ohms."
    for value in spec.windings_for:
        yield from (f"windings_for.{value}: {p}" for p in _bad_windings(spec.windings_for[value]))
    yield from _bad_windings(spec.windings)
    if spec.bands or spec.bands_for:
        yield "a windings check has no bands: each winding carries its own low and high."
    if len(outcomes) != 2 or spec.otherwise != outcomes[1]:
        yield "a windings check has two outcomes, all in band and not, and otherwise names the second."


def _bad_windings(windings: Sequence[Winding]) -> Iterator[str]:
    for winding in windings:
        if not 0 <= winding.low < winding.high < math.inf:
            yield f"the winding '{winding.name}' needs 0 <= low < high, in ohm."
    names = [winding.name for winding in windings]
    yield from (f"the winding '{name}' is named twice." for name in sorted({n for n in names if names.count(n) > 1}))


def _chart(spec: ReadingSpec) -> Iterator[str]:
    rows = spec.chart
    if len(rows) < 2 or any(len(row) != 2 for row in rows):
        yield "chart needs at least two rows of [temperature, ohm]."
        return
    ordered = sorted(rows)
    if any(row[1] <= 0 for row in rows) or any(a[0] == b[0] for a, b in pairwise(ordered)):
        yield "chart needs a different temperature on each row, and ohms above 0."
    if any(b[1] >= a[1] for a, b in pairwise(ordered)):
        yield "chart must fall: a dryer's thermistor reads fewer ohms when it is warmer."


def _cover(key: str, bands: Mapping[str, Sequence[Band]], spec: ReadingSpec) -> Iterator[str]:
    if any(len(band) != 2 for pairs in bands.values() for band in pairs):
        yield f"{key}: each band is [low, high]."
        return
    if not bands:
        yield f"{key} is empty: give each outcome its band."
        return
    written = sorted((*ends(band), outcome) for outcome, pairs in bands.items() for band in pairs)
    for low, high, outcome in written:
        if not low < high:
            yield f"{key}.{outcome} runs from {neat(low)} to {neat(high)}: low must be under high."
    for (_, high, first), (low, _, second) in pairwise(written):
        if low < high:
            yield f"{key}: {first} and {second} overlap between {neat(low)} and {neat(high)}."
    if spec.otherwise is None:
        yield from _gaps(key, written, floor_of(spec))


def _gaps(key: str, written: Sequence[tuple[float, float, str]], floor: float) -> Iterator[str]:
    tail = "Widen a band, or name the outcome that takes the rest with otherwise."
    if written[0][0] > floor:
        yield f"{key}: nothing covers values under {neat(written[0][0])}. {tail}"
    for (_, high, _), (low, _, _) in pairwise(written):
        if low > high:
            yield f"{key}: nothing covers {neat(high)} to {neat(low)}. {tail}"
    if written[-1][1] < math.inf:
        yield f"{key}: nothing covers values over {neat(written[-1][1])}. {tail}"
