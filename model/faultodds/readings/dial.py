"""A gas meter's dial, timed: "84 s per half foot" -> Btu/h."""

from __future__ import annotations

import re

from faultodds.errors import BadReading
from faultodds.readings.numbers import NUMBER, neat, number
from faultodds.readings.parse import Quantity, not_read, plain
from faultodds.readings.specs import ReadingSpec
from faultodds.readings.spoken import EXAMPLES
from faultodds.readings.sums_gas import clocked_input

# -------------------------------------------------------------------------------------------------

_HEATING = re.compile(
    rf"(?:\bat|@|\bx)\s*({NUMBER})\s*btu(?:\s*(?:/|per)\s*(?:a\s+)?(?:cu\.?|cubic)?\s*(?:ft|foot))?\b", re.I
)
_BTU = re.compile(rf"({NUMBER})\s*(k?)\s*btu\s*(?:/|per)?\s*(?:h|hr|hour)", re.I)
_FLOW = re.compile(rf"({NUMBER})\s*(?:cfh|(?:cu\.?|cubic)\s*(?:ft|feet|foot)\s*(?:/|per|an)\s*(?:h|hr|hour))\b", re.I)
_CLOCK = re.compile(r"\b(\d+):(\d\d)\b")
_MINUTES = re.compile(rf"({NUMBER})\s*(?:minutes?|mins?\.?|m)(?![a-z0-9³])\s*(?:and\s*)?", re.I)
_SECONDS = re.compile(rf"({NUMBER})\s*(?:seconds?|secs?\.?|s)(?![a-z])", re.I)
_TURNS = re.compile(rf"({NUMBER}|one|two|three|four|five)\s*(?:turns?|revs?|revolutions?)\b", re.I)
_WORDS = {
    "half": 0.5,
    "quarter": 0.25,
    "one": 1.0,
    "two": 2.0,
    "three": 3.0,
    "four": 4.0,
    "five": 5.0,
    "a": 1.0,
    "": 1.0,
}
_VOLUME = re.compile(
    rf"(half|quarter|one|two|five|{NUMBER}|)(?:\s*-?\s*(?:a\s+|of\s+a\s+)?)"
    r"(cu(?:bic)?\.?\s*(?:ft|foot|feet)\.?|ft3|ft³|cf|foot|feet|ft\.?|m3|m³|litres?|liters?|dm3|l)(?![a-z])",
    re.I,
)
_CUBIC_FEET = {"m": 35.3146667, "l": 0.0353146667, "d": 0.0353146667}
_FILLER = re.compile(
    r"\b(?:per|for|in|a|an|the|dial|of|on|each|every|turn|hand|test|full|one|to|go|round|took|takes)\b|[,/;-]|\.(?!\d)",
    re.I,
)
_STILL = re.compile(
    r"(?:dial|hand|meter|it)?\s*(?:does not|doesn't|did not|didn't|not|no)\s*"
    r"(?:move|moving|movement|turn|turning|flow)"
    r"|(?:dial |hand |meter )?(?:stopped|still|stands still)",
    re.I,
)


def btu_per_hour(text: str, spec: ReadingSpec) -> Quantity:
    """Heat input, Btu/h, from a phrase such as "84 s per half foot", "62 cu ft/h" or "22000 Btu/h".

    Raises `BadReading` when the seconds or the dial are missing, or something else is in the phrase.
    """
    typed = plain(text)
    if _STILL.fullmatch(typed) or typed == "0":
        return Quantity(0.0, 0.0)
    if match := _BTU.fullmatch(typed):
        value = number(match[1]) * (1000.0 if match[2] else 1.0)
        return _sound_input(value, text, spec)
    heat, typed = _heating_value(typed, spec)
    if match := _FLOW.fullmatch(typed.strip(" ,")):
        return _sound_input(number(match[1]) * heat, text, spec)
    return _sound_input(_clocked(typed, text, spec, heat), text, spec)


def _heating_value(typed: str, spec: ReadingSpec) -> tuple[float, str]:
    match = _HEATING.search(typed)
    if match is None:
        return spec.heating_value, typed
    value = number(match[1])
    if not 300 <= value <= 3500:
        raise BadReading(
            f"{match[1]} Btu a cubic foot is not a fuel gas (300 to 3,500: natural about 1,030, "
            "propane about 2,500). "
            "Take the figure from the gas bill and type for example 84 s per half foot at 1030 Btu."
        )
    return value, typed[: match.start()] + typed[match.end() :]


def _clocked(typed: str, text: str, spec: ReadingSpec, heat: float) -> float:
    turns, typed = _turns(typed)
    seconds, typed = _seconds(typed)
    feet, typed = _cubic_feet(typed)
    left = _FILLER.sub(" ", typed).strip()
    if left and re.fullmatch(NUMBER, left):
        asked = f"{left} s or {left} min" if seconds is None else f"{left} cu ft or {left} turns"
        raise BadReading(f"{left} what? {asked}? Type for example {EXAMPLES['dial']}.")
    if left:
        raise not_read(text, spec, f"'{left}' is not part of it")
    if seconds is None:
        raise not_read(text, spec, "how many seconds is missing")
    if feet is None:
        raise not_read(text, spec, "which dial is missing (half foot, 1 cu ft, 2 cu ft)")
    if seconds <= 0 or feet <= 0:
        raise not_read(text, spec, "the seconds and the dial must be more than nothing")
    return clocked_input(turns * feet, seconds, heat)


def _turns(typed: str) -> tuple[float, str]:
    match = _TURNS.search(typed)
    if match is None:
        return 1.0, typed
    return _value(match[1]), typed[: match.start()] + " " + typed[match.end() :]


def _seconds(typed: str) -> tuple[float | None, str]:
    total: float | None = None
    if match := _CLOCK.search(typed):
        return 60.0 * int(match[1]) + int(match[2]), typed[: match.start()] + " " + typed[match.end() :]
    for pattern, each in ((_MINUTES, 60.0), (_SECONDS, 1.0)):
        if match := pattern.search(typed):
            total = (total or 0.0) + each * number(match[1])
            typed = typed[: match.start()] + " " + typed[match.end() :]
    return total, typed


def _cubic_feet(typed: str) -> tuple[float | None, str]:
    match = _VOLUME.search(typed)
    if match is None:
        return None, typed
    feet = _value(match[1]) * _CUBIC_FEET.get(match[2][0].casefold(), 1.0)
    return feet, typed[: match.start()] + " " + typed[match.end() :]


def _value(typed: str) -> float:
    word = typed.casefold()
    return _WORDS[word] if word in _WORDS else number(typed)


def _sound_input(value: float, text: str, spec: ReadingSpec) -> Quantity:
    if not 0 <= value <= 500_000:
        raise BadReading(
            f"'{text.strip()}' would be {neat(value)} Btu/h: no household meter passes that. "
            f"Check the dial and the seconds, and type for example {EXAMPLES['dial']}."
        )
    return Quantity(value, value)
