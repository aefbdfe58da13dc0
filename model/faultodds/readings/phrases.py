"""Readings said in a phrase: wet and dry weights, a slope, a time, and a thermostat heated on the bench."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from faultodds.errors import BadReading
from faultodds.readings.numbers import NUMBER, neat, number
from faultodds.readings.parse import Quantity, not_read, plain, quantity
from faultodds.readings.specs import ReadingSpec
from faultodds.readings.spoken import EXAMPLES
from faultodds.readings.units import convert, shown, unit_named

# --- water left in a spun load
# ------------------------------------------------------------------------------------------

_MASS = r"(?:lbs?|pounds?|kgs?|g|oz|ounces?)?"
_WET_DRY = re.compile(rf"wet\s*:?\s*({NUMBER})\s*({_MASS})[\s,/]*(?:and\s+)?dry\s*:?\s*({NUMBER})\s*({_MASS})", re.I)
_WET_AFTER = re.compile(rf"({NUMBER})\s*({_MASS})\s*wet[\s,/]*(?:and\s+)?({NUMBER})\s*({_MASS})\s*dry", re.I)
_OVER = re.compile(rf"({NUMBER})\s*({_MASS})\s*/\s*({NUMBER})\s*({_MASS})", re.I)


def retained(text: str, spec: ReadingSpec) -> Quantity:
    """Water held, percent of the dry weight: "58 %", or two weights, wet first ("13.3/8.5 lb").

    Raises `BadReading` when the wet load weighs less than the dry one, or one weight has another unit.
    """
    typed = plain(text)
    slashed = re.sub(r"(\d)\s*/\s*(\d)", r"\1 / \2", typed)
    for pattern in (_WET_DRY, _WET_AFTER, _OVER):
        if match := pattern.fullmatch(slashed):
            return _of_weights(match, text, spec)
    if re.fullmatch(NUMBER, typed) and 0 < number(typed) < 5:
        raise BadReading(
            f"{typed} what? {typed} % of the dry weight, or the wet weight over the dry one? "
            f"Type {typed} % or {neat((number(typed) - 1) * 100)} %."
            if number(typed) > 1
            else f"{typed} what? Type {typed} %, or {neat(number(typed) * 100)} % of the dry weight."
        )
    return quantity(text, spec)


def _of_weights(match: re.Match[str], text: str, spec: ReadingSpec) -> Quantity:
    wet, wet_unit, dry, dry_unit = match.groups()
    if wet_unit and dry_unit and wet_unit.casefold().rstrip("s") != dry_unit.casefold().rstrip("s"):
        raise not_read(text, spec, "the two weights must be in one unit")
    if number(dry) <= 0:
        raise not_read(text, spec, "the dry weight must be more than nothing")
    percent = (number(wet) / number(dry) - 1) * 100
    if percent < 0:
        raise BadReading(
            f"'{text.strip()}': a wet load of {wet} weighs less than the dry one of {dry}. "
            "Type the wet weight first, for example wet 13.3 lb dry 8.5 lb."
        )
    if percent > 400:
        raise not_read(text, spec, f"{neat(percent)} % of the dry weight is more water than cloth holds")
    return Quantity(percent, percent)


# --- a slope, a time
# ----------------------------------------------------------------------------------------------------

_SLOPE = re.compile(
    rf"({NUMBER})\s*(?:in\.?|inch(?:es)?|\")\s*(?:per|in|a|/|over)\s*(?:a\s+)?({NUMBER})?\s*(?:ft\.?|foot|feet|')",
    re.I,
)
_METRIC_SLOPE = re.compile(rf"({NUMBER})\s*mm\s*(?:per|in|a|/|over)\s*(?:a\s+)?({NUMBER})?\s*m(?:et(?:re|er)s?)?", re.I)


def slope(text: str, spec: ReadingSpec) -> Quantity:
    """An angle, degrees: "1.5 deg", or a rise on a run: "1/4 in per ft", "10 mm per m"."""
    typed = plain(text)
    for pattern, run in ((_SLOPE, 12.0), (_METRIC_SLOPE, 1000.0)):
        if match := pattern.fullmatch(typed):
            over = run * (number(match[2]) if match[2] else 1.0)
            if over <= 0 or number(match[1]) < 0:
                raise not_read(text, spec, "a rise and a run are more than nothing")
            degrees = math.degrees(math.atan(number(match[1]) / over))
            return Quantity(degrees, degrees)
    return quantity(text, spec)


_HOURS = re.compile(r"(\d+)\s*(?:h|hr|hrs|hours?)\s*(?:and\s*)?(\d{1,2})\s*(?:m|min|mins|minutes?)?", re.I)


def minutes(text: str, spec: ReadingSpec) -> Quantity:
    """A time, minutes: "48 min", "1:20" or "1 h 20"."""
    typed = plain(text)
    if match := re.fullmatch(r"(\d+):(\d\d)", typed) or _HOURS.fullmatch(typed):
        typed = f"{60 * int(match[1]) + int(match[2])} min"
    return quantity(typed, spec)


# --- a thermostat heated on the bench
# -----------------------------------------------------------------------------------

_RATED = re.compile(
    rf"[,;/(]?\s*(?:it is |and )?rat(?:ed|ing)\s*(?:at|is|of|:|=)?\s*L?\s*({NUMBER})\s*([^\d\s,;)]*)\s*\)?",
    re.I,
)
_STAYED = re.compile(
    r"^(?:still |stays? |stayed )?closed (?:at|to|up to|by)\s*"
    r"|^(?:never|not|did not|didn't) open(?:ed)? (?:at|to|up to|by)\s*",
    re.I,
)
_OPENED = re.compile(r"^(?:opened|opens?|clicked|clicks?|cuts? out|tripped|trips?)\b(?: at)?\s*", re.I)


@dataclass(frozen=True, slots=True)
class BenchHeat:
    """When a thermostat opened on the bench, and its rating, both in the spec's unit."""

    opened: Quantity
    rated: float


def bench_heat(text: str, spec: ReadingSpec) -> BenchHeat:
    """ "opened at 141F, rated 155F", "141/155F" or "still closed at 180F, rated 155F".

    Raises `BadReading` when the rating is missing or is none that such a thermostat has.
    """
    typed = plain(text)
    rating = _RATED.search(typed)
    if rating is None and (match := re.fullmatch(r"(\d[\d.]*)\s*(\D*?)\s*/\s*(\d[\d.]*)\s*(\D*)", typed)):
        typed, shared = f"{match[1]} {match[2] or match[4]}", match[2] or match[4]
        rated = _rating(match[3], match[4] or shared, text, spec)
    elif rating is not None:
        typed = (typed[: rating.start()] + " " + typed[rating.end() :]).strip(" ,;")
        rated = _rating(rating[1], rating[2] or _unit_in(typed), text, spec)
    else:
        low, high = spec.rated_range or (135.0, 165.0)
        raise BadReading(
            f"'{text.strip()}' does not say what the thermostat is rated at "
            f"({neat(low)} to {neat(high)} {spec.unit}, "
            f"printed on its side). Type for example {EXAMPLES['bench_heat']}."
        )
    return BenchHeat(_opening(typed, text, spec), rated)


def _unit_in(typed: str) -> str:
    match = re.search(r"\d\s*(°?\s*[FC])\b", typed, re.I)
    return match[1] if match else ""


def _opening(typed: str, text: str, spec: ReadingSpec) -> Quantity:
    if stayed := _STAYED.match(typed):
        at = quantity(typed[stayed.end() :], spec)
        return Quantity(at.low, math.inf)
    opened = _OPENED.sub("", typed)
    if not re.search(r"\d", opened):
        raise not_read(text, spec, "the temperature at which it opened is missing")
    return quantity(opened, spec)


def _rating(digits: str, unit: str, text: str, spec: ReadingSpec) -> float:
    low, high = spec.rated_range or (-math.inf, math.inf)
    value = number(digits)
    named = unit_named(unit, spec.kind) if unit else spec.unit
    if named is None:
        raise not_read(text, spec, f"'{unit}' is not a unit of it")
    in_own = convert(value, named, spec)
    if low <= in_own <= high:
        return in_own
    raise BadReading(
        f"A rating of {digits} {shown(named)} is outside {neat(low)} to {neat(high)} {spec.unit}. "
        f"Read it off the side of the thermostat and type for example {EXAMPLES['bench_heat']}."
    )
