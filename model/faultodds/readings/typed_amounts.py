"""Amounts for the trade's sums: a number with or without its unit, in the unit that the sum wants."""

from __future__ import annotations

import math
import re

from faultodds.errors import BadReading
from faultodds.readings.numbers import NUMBER, number
from faultodds.readings.parse import quantity, refuse_long
from faultodds.readings.specs import Kind, ReadingSpec
from faultodds.readings.units import fold

# What may stand behind a number for each unit, and its worth in that unit.
WORTH: dict[str, dict[str, float]] = {
    "ft": {"ft": 1, "feet": 1, "foot": 1, "'": 1, "m": 1 / 0.3048, "in": 1 / 12, '"': 1 / 12},
    "in": {"in": 1, "inch": 1, "inches": 1, '"': 1, "mm": 1 / 25.4, "cm": 1 / 2.54},
    "lb": {"lb": 1, "lbs": 1, "kg": 1 / 0.45359237},
    "s": {"s": 1, "sec": 1, "secs": 1, "seconds": 1, "min": 60, "minutes": 60},
    "cu ft": {"cuft": 1, "ft3": 1, "cubicfoot": 1, "cubicfeet": 1, "m3": 1 / 0.3048**3},
    "Btu/h": {"btu/h": 1, "btuh": 1, "btu": 1, "kbtu/h": 1000, "kw": 3412.14163},
    "Btu/cu ft": {"btu/cuft": 1, "btu": 1, "mj/m3": 26.839},
    "%": {"%": 1, "percent": 1},
    "ppm": {"ppm": 1},
}

LEAST, MOST = 1e-6, 1e7
"""Nothing that is summed up here, in whatever unit, is smaller or larger."""


def amount(text: str, unit: str, example: str) -> float:
    """The number in `text` in `unit`, one of `WORTH`; a bare number is taken to be in it.

    Raises BadReading naming the units that are taken and `example`.
    """
    refuse_long(text)
    match = re.fullmatch(rf"\s*({NUMBER})\s*(.*?)\s*", text)
    typed = fold(match[2]) if match else ""
    if match is None or (typed and typed not in WORTH[unit]):
        known = ", ".join(WORTH[unit])
        raise BadReading(
            f"'{text.strip()}' is not an amount in {unit}. Type a number, alone or with {known}: for example {example}."
        )
    return _possible(number(match[1]) * WORTH[unit].get(typed, 1.0), text, unit, example)


def measured(text: str, kind: Kind, unit: str, example: str) -> float:
    """A single reading ("11.2k", "72F", "0.6 in wc", "5.8 m/s") in `unit`; else raises BadReading."""
    value = quantity(text, ReadingSpec(kind=kind, unit=unit)).middle
    if not math.isfinite(value):
        raise BadReading(f"'{text.strip()}' is not one number. Type for example {example}.")
    return _possible(value, text, unit, example)


def _possible(value: float, text: str, unit: str, example: str) -> float:
    if value and not LEAST <= abs(value) <= MOST:
        raise BadReading(f"'{text.strip()}' cannot be an amount in {unit}. Type for example {example}.")
    return value
