"""How readings and bands are put into words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from faultodds.readings.bands import ends
from faultodds.readings.numbers import neat
from faultodds.readings.parse import Quantity
from faultodds.readings.problems import floor_of
from faultodds.readings.specs import ReadingSpec
from faultodds.readings.units import shown


def in_words(value: Quantity, unit: str) -> str:
    """A reading for people, as it was typed: "1,150 ohm", "OL", "over 180 F", "110 to 130 ohm"."""
    low, high = value.typed or (value.low, value.high)
    if math.isinf(low) and low > 0:
        return "OL"
    if math.isinf(high):
        return f"over {neat(low)} {shown(unit)}"
    if low == high:
        return f"{neat(low)} {shown(unit)}"
    if math.isinf(low):
        return f"under {neat(high)} {shown(unit)}"
    return f"{neat(low)} to {neat(high)} {shown(unit)}"


def describe(spec: ReadingSpec, outcomes: Sequence[str]) -> str:
    """The bands in one line, outcome by outcome: "normal under 600 ohm; open over 600 ohm"."""
    if not spec.has_bands:
        return no_bands(spec)
    if spec.kind == "windings":
        parts = [f"{each.name} {neat(each.low)} to {neat(each.high)} ohm" for each in spec.windings]
        if spec.windings_at is not None:
            parts[-1] += f", for a room of {neat(spec.windings_at)} {spec.chart_unit}, wider for others"
        return "; ".join([*parts, f"{spec.otherwise} when any is out"])
    unit = {"thermistor": "% of chart", "bench_heat": f"{spec.unit} from its rating"}.get(spec.kind, shown(spec.unit))
    bands = spec.bands
    # What is less than a part reads is asked about, and held against no band.
    least = spec.plausible[0] if spec.kind == "resistance" and spec.plausible else floor_of(spec)
    most = math.inf if spec.danger_over is None else spec.danger_over
    parts = []
    for name in outcomes:
        if name in bands:
            spans = " or ".join(
                _span(low, min(high, most), floor_of(spec), least) for low, high in map(ends, bands[name])
            )
            parts.append(f"{name} {spans} {unit}")
    return "; ".join([*parts, f"{spec.otherwise} otherwise"] if spec.otherwise else parts)


def no_bands(spec: ReadingSpec) -> str:
    """That the file has nothing to hold a reading against."""
    return f"for this {spec.fact.replace('_', ' ') or 'machine'} the file has no bands; the maker's sheet has to tell"


def _span(low: float, high: float, floor: float, least: float) -> str:
    if low <= floor:
        return f"{neat(least)} to {neat(high)}" if least > floor else f"under {neat(high)}"
    return f"over {neat(low)}" if math.isinf(high) else f"{neat(low)} to {neat(high)}"


def borderline(chances: Mapping[str, float], outcomes: Sequence[str]) -> str:
    """The sentence for a reading that no outcome owns."""
    first, second = sorted(outcomes, key=lambda outcome: -chances[outcome])[:2]
    return (
        f"Too near the edge between {first} and {second} to say: read it again, with good contact, "
        "before buying a part."
    )
