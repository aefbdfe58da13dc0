"""The units a technician types, and how they turn into the unit a check is read in.

Common spellings and decimal prefixes are a table here; every other conversion goes through pint, which is
only loaded then (it takes about a third of a second).
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any

from faultodds.errors import BadReading

if TYPE_CHECKING:
    from faultodds.readings.specs import ReadingSpec

# Spelling (folded: no blanks, no dots, lower case) -> the unit's own name.
SPELLINGS: dict[str, dict[str, str]] = {
    "ohm": dict.fromkeys(("ohm", "ohms", "r", "ω"), "ohm")
    | dict.fromkeys(("k", "kohm", "kohms", "kω", "kr", "kiloohm", "kilohm", "kilohms"), "kohm")
    | dict.fromkeys(("meg", "megohm", "megohms", "megaohm", "megω", "m", "mohm", "mohms", "mω"), "Mohm")
    | dict.fromkeys(("milliohm", "milliohms"), "mohm"),
    "temperature": dict.fromkeys(("f", "degf", "°f", "fahrenheit", "deg", "degrees", "°"), "F")
    | dict.fromkeys(("c", "degc", "°c", "celsius", "centigrade"), "C"),
    "voltage": dict.fromkeys(("v", "vac", "vdc", "volt", "volts"), "V")
    | dict.fromkeys(("mv", "millivolt", "millivolts"), "mV"),
    "current": dict.fromkeys(("a", "amp", "amps", "aac", "ampere", "amperes"), "A")
    | dict.fromkeys(("ma", "milliamp", "milliamps"), "mA"),
    "pressure": dict.fromkeys(
        ("inwc", "inwg", "inwater", "inh2o", '"wc', '"wg', "wc", "wg", "iwc", "inch", "in", "inches", '"'),
        "inwc",
    )
    | {"incheswc": "inwc", "incheswater": "inwc", "inchwc": "inwc", "incheswatercolumn": "inwc"}
    | {"inofwater": "inwc", "inchesofwater": "inwc", '"ofwater': "inwc", "inchofwater": "inwc"}
    | {"inwatercolumn": "inwc", '"w': "inwc", '"watercolumn': "inwc", '"h2o': "inwc"}
    | dict.fromkeys(("pa", "pascal", "pascals"), "Pa")
    | dict.fromkeys(("kpa",), "kPa")
    | dict.fromkeys(("mbar", "mb", "millibar", "millibars", "hpa"), "mbar")
    | dict.fromkeys(("psi",), "psi")
    | dict.fromkeys(("mmwc", "mmh2o"), "mmwc"),
    "air_speed": dict.fromkeys(("fpm", "ft/min", "ftmin", "feet/min", "feetperminute", "ft/m"), "fpm")
    | dict.fromkeys(("m/s", "ms", "mps", "metres/s", "meters/s"), "m/s")
    | dict.fromkeys(("cfm", "cuft/min", "ft3/min"), "cfm")
    | dict.fromkeys(("mph",), "mph")
    | dict.fromkeys(("km/h", "kmh", "kph"), "km/h"),
    "moisture": dict.fromkeys(("%", "percent", "pct"), "percent"),
    "angle": dict.fromkeys(("deg", "degree", "degrees", "°"), "deg"),
    "time": dict.fromkeys(("min", "mins", "minute", "minutes"), "min")
    | dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "h")
    | dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
    "concentration": dict.fromkeys(("ppm", "partspermillion", "ppmco", "ppmofco", "co"), "ppm"),
    "dial": dict.fromkeys(("btu/h", "btuh", "btu/hr", "btu"), "btu_h"),
}

FAMILY = {
    "resistance": "ohm",
    "continuity": "ohm",
    "windings": "ohm",
    "thermistor": "ohm",
    "bench_heat": "temperature",
}

# Own units of a family, with the factor to its first; whatever is not here is pint's business.
DECIMAL = {"ohm": 1.0, "kohm": 1e3, "Mohm": 1e6, "mohm": 1e-3}

PINT_NAMES = {
    "F": "degF",
    "C": "degC",
    "inwc": "inch_of_water",
    "mmwc": "millimetre_of_water",
    "fpm": "foot/minute",
    "m/s": "meter/second",
    "mph": "mile/hour",
    "km/h": "km/hour",
    "V": "volt",
    "mV": "millivolt",
    "A": "ampere",
    "mA": "milliampere",
    "Pa": "pascal",
    "kPa": "kilopascal",
    "mbar": "millibar",
    "psi": "psi",
    "min": "minute",
    "h": "hour",
    "s": "second",
}

# What people call each unit, and what they type for it.
SHOWN = {
    "ohm": "ohm",
    "kohm": "k",
    "Mohm": "M",
    "mohm": "milliohm",
    "inwc": "in wc",
    "percent": "%",
    "btu_h": "Btu/h",
}

# A bare number is most often meant in one of these.
RIVALS = {
    "ohm": ("ohm", "kohm"),
    "F": ("F", "C"),
    "C": ("C", "F"),
    "inwc": ("inwc", "Pa"),
    "fpm": ("fpm", "m/s", "cfm"),
    "V": ("V", "mV"),
    "A": ("A", "mA"),
    "min": ("min", "h"),
}


def family_of(kind: str) -> str:
    """The family of units that a kind of reading is typed in."""
    return FAMILY.get(kind, kind)


def fold(text: str) -> str:
    """A unit as typed, reduced to what tells it apart: no blanks or dots, one ohm sign, one prime."""
    text = text.replace("\u2126", "Ω").replace("\u2033", '"').replace("''", '"').replace("”", '"').replace("º", "°")
    return re.sub(r"[\s.]+|(?<=[a-z])-(?=[a-z])", "", text.casefold())


def unit_named(typed: str, kind: str) -> str | None:
    """The unit that `typed` spells for a kind of reading, or None when there is none."""
    return SPELLINGS[family_of(kind)].get(fold(typed))


def shown(unit: str) -> str:
    """A unit in the words of the trade."""
    return SHOWN.get(unit, unit)


def is_small_m(typed: str, kind: str) -> bool:
    """Whether `typed` is a small m for ohms: milli by the book, millions in haste, so it is asked."""
    return family_of(kind) == "ohm" and re.fullmatch(r"m(?:ohms?|[Ωω\u2126])?", typed.strip()) is not None


def known_units(kind: str) -> str:
    """The units a kind of reading may be typed in, for a message."""
    if kind == "dial":
        return "s or min for a dial of so many cu ft, cu ft/h, Btu/h"
    return ", ".join(dict.fromkeys(shown(unit) for unit in SPELLINGS[family_of(kind)].values()))


@cache
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry()
    # Conventional water (NIST SP 811); pint's own names for these changed between versions.
    registry.define("inch_of_water = 249.0889 pascal")
    registry.define("millimetre_of_water = 9.80665 pascal")
    return registry


def convert(value: float, unit: str, spec: ReadingSpec) -> float:
    """`value` in `unit`, in the unit of `spec`.

    Raises `BadReading` when the two do not measure the same thing.
    """
    target = spec.unit
    if unit == target or math.isinf(value):
        return value
    if unit in DECIMAL and target in DECIMAL:
        return value * DECIMAL[unit] / DECIMAL[target]
    if unit == "cfm":
        return convert(_fpm_of_cfm(value, spec.duct_inches), "fpm", spec)
    return convert_plain(value, unit, target)


def convert_plain(value: float, unit: str, target: str) -> float:
    """`value` in `unit`, in `target`, both names of this module; through pint."""
    if unit == target:
        return value
    if unit not in PINT_NAMES or target not in PINT_NAMES:
        raise BadReading(f"{shown(unit)} cannot be turned into {shown(target)}: type the reading in {shown(target)}.")
    registry = _registry()
    return float(registry.Quantity(value, PINT_NAMES[unit]).to(PINT_NAMES[target]).magnitude)


def _fpm_of_cfm(cfm: float, inches: float) -> float:
    from faultodds.readings.sums_air import air_speed

    return air_speed(cfm, inches)
