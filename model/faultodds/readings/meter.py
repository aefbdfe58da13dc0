"""What the meter and its leads do to a reading."""

from __future__ import annotations

import math

from faultodds.errors import BadReading
from faultodds.readings.bands import standard_uncertainty
from faultodds.readings.numbers import neat
from faultodds.readings.parse import Quantity
from faultodds.readings.specs import ReadingSpec

LEADS_TOLD = 0.01
"""The share of a reading from which on it is said that the leads were taken off."""


def meter_half_width(spec: ReadingSpec, value: float) -> float:
    """Accuracy of the meter at `value`, +/- in the spec's unit: percent of reading plus counts."""
    return abs(value) * spec.accuracy / 100 + spec.counts * spec.resolution


def meter_uncertainty(spec: ReadingSpec, value: float) -> float:
    """Standard uncertainty at `value`: half-width over sqrt 3 (JCGM 100:2008, 4.3.7); 0 for OL."""
    return standard_uncertainty(meter_half_width(spec, value)) if math.isfinite(value) else 0.0


def less_leads(value: Quantity, leads: float, typed: str) -> Quantity:
    """`value` less the test leads' ohms; within half an ohm of the leads it is a dead short."""
    if leads == 0 or value.high == 0 or math.isinf(value.low):
        return value
    if value.high - leads < -0.5:
        raise BadReading(
            f"'{typed.strip()}' is less than the leads alone ({neat(leads)} ohm). "
            "Touch the tips together, read the leads again and type for example leads 0.3."
        )
    return Quantity(max(0.0, value.low - leads), max(0.0, value.high - leads), (value.low, value.high))


def leads_note(value: Quantity) -> list[str]:
    """That the leads were taken off, where that is more than a hundredth of what was typed and leaves anything."""
    if value.typed is None or value.high == 0 or math.isinf(value.high):
        return []
    leads = round(value.typed[1] - value.high, 6)
    return [f"Judged less {neat(leads)} ohm for the leads."] if leads > LEADS_TOLD * value.typed[1] else []
