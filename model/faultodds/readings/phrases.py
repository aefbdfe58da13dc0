"""Readings that are said in a phrase: seconds for a dial, wet and dry weights, a thermostat on the bench."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from faultodds.errors import BadReading
from faultodds.readings.numbers import NUMBER, neat, number
from faultodds.readings.parse import EXAMPLES, Quantity, in_unit, not_read, plain, quantity
from faultodds.readings.specs import ReadingSpec
from faultodds.readings.units import convert, shown, unit_named

# --- a gas meter's dial -------------------------------------------------------------------------------------------------

_HEATING = re.compile(rf"(?:\bat|@|\bx)\s*({NUMBER})\s*btu(?:\s*(?:/|per)\s*(?:a\s+)?(?:cu\.?|cubic)?\s*(?:ft|foot))?\b", re.I)
_BTU = re.compile(rf"({NUMBER})\s*(k?)btu\s*(?:/|per)?\s*(?:h|hr|hour)", re.I)
_FLOW = re.compile(rf"({NUMBER})\s*(?:cfh|(?:cu\.?|cubic)\s*(?:ft|feet|foot)\s*(?:/|per|an)\s*(?:h|hr|hour))\b", re.I)
_CLOCK = re.compile(r"\b(\d+):(\d\d)\b")
_MINUTES = re.compile(rf"({NUMBER})\s*(?:minutes?|mins?\.?|m)(?![a-z0-9³])\s*(?:and\s*)?", re.I)
_SECONDS = re.compile(rf"({NUMBER})\s*(?:seconds?|secs?\.?|s)(?![a-z])", re.I)
_TURNS = re.compile(rf"({NUMBER}|one|two|three|four|five)\s*(?:turns?|revs?|revolutions?)\b", re.I)
_WORDS = {"half": 0.5, "quarter": 0.25, "one": 1.0, "two": 2.0, "three": 3.0, "four": 4.0, "five": 5.0, "a": 1.0, "": 1.0}
_VOLUME = re.compile(
    rf"(half|quarter|one|two|five|{NUMBER}|)(?:\s*-?\s*(?:a\s+|of\s+a\s+)?)"
    r"(cu(?:bic)?\.?\s*(?:ft|foot|feet)\.?|ft3|ft³|cf|foot|feet|ft\.?|m3|m³|litres?|liters?|dm3|l)(?![a-z])",
    re.I,
)
_CUBIC_FEET = {"m": 35.3146667, "l": 0.0353146667, "d": 0.0353146667}
_FILLER = re.compile(r"\b(?:per|for|in|a|an|the|dial|of|on|each|every|turn|hand|test|full|one|to|go|round|took|takes)\b|[,/.;-]", re.I)
_STILL = re.compile(
    r"(?:dial|hand|meter|it)?\s*(?:does not|doesn't|did not|didn't|not|no)\s*(?:move|moving|movement|turn|turning|flow)"
    r"|(?:dial |hand |meter )?(?:stopped|still|stands still)",
    re.I,
)


def btu_per_hour(text: str, spec: ReadingSpec, fuel: str | None = None) -> Quantity:
    """Heat input, Btu/h, from a phrase such as "84 s per half foot", "62 cu ft/h" or "22000 Btu/h".

    Raises `BadReading` when the seconds or the dial are missing, or something else is in the phrase.
    """
    typed = plain(text)
    if _STILL.fullmatch(typed) or typed == "0":
        return Quantity(0.0, 0.0)
    if match := _BTU.fullmatch(typed):
        value = number(match[1]) * (1000.0 if match[2] else 1.0)
        return _sound_input(value, text, spec)
    heat, typed = _heating_value(typed, spec, fuel)
    if match := _FLOW.fullmatch(typed.strip(" ,")):
        return _sound_input(number(match[1]) * heat, text, spec)
    return _sound_input(_clocked(typed, text, spec, heat), text, spec)


def _heating_value(typed: str, spec: ReadingSpec, fuel: str | None) -> tuple[float, str]:
    match = _HEATING.search(typed)
    if match is None:
        return spec.heat_content(fuel), typed
    value = number(match[1])
    if not 300 <= value <= 3500:
        raise BadReading(
            f"{match[1]} Btu a cubic foot is not a fuel gas (300 to 3,500: natural about 1,030, propane about 2,500). "
            "Take the figure from the gas bill and type for example 84 s per half foot at 1030 Btu."
        )
    return value, typed[: match.start()] + typed[match.end() :]


def _clocked(typed: str, text: str, spec: ReadingSpec, heat: float) -> float:
    from faultodds.readings.sums import clocked_input

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


# --- water left in a spun load ------------------------------------------------------------------------------------------

_MASS = r"(?:lbs?|pounds?|kgs?|g|oz|ounces?)?"
_WET_DRY = re.compile(rf"wet\s*:?\s*({NUMBER})\s*({_MASS})[\s,/]*(?:and\s+)?dry\s*:?\s*({NUMBER})\s*({_MASS})", re.I)
_WET_AFTER = re.compile(rf"({NUMBER})\s*({_MASS})\s*wet[\s,/]*(?:and\s+)?({NUMBER})\s*({_MASS})\s*dry", re.I)
_OVER = re.compile(rf"({NUMBER})\s*({_MASS})\s*/\s*({NUMBER})\s*({_MASS})", re.I)
_SLASHED = re.compile(r"(\d+)\s*/\s*(\d+)(?!\d)(.*)")


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
            else f"{typed} what? Type {typed} %, or {neat(number(typed) * 100)} % for a share of the dry weight."
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


# --- a slope, a time ----------------------------------------------------------------------------------------------------

_SLOPE = re.compile(
    rf"({NUMBER})\s*(?:in\.?|inch(?:es)?|\")\s*(?:per|in|a|/|over)\s*(?:a\s+)?({NUMBER})?\s*(?:ft\.?|foot|feet|')", re.I
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


# --- a thermostat heated on the bench -----------------------------------------------------------------------------------

_RATED = re.compile(rf"[,;/(]?\s*(?:it is |and )?rat(?:ed|ing)\s*(?:at|is|of|:|=)?\s*L?\s*({NUMBER})\s*([^\d\s,;)]*)\s*\)?", re.I)
_STAYED = re.compile(
    r"^(?:still |stays? |stayed )?closed (?:at|to|up to|by)\s*|^(?:never|not|did not|didn't) open(?:ed)? (?:at|to|up to|by)\s*", re.I
)
_OPENED = re.compile(r"^(?:opens?|opened|clicks?|clicked|cuts? out|trips?|tripped)(?: at)?\s*", re.I)


@dataclass(frozen=True, slots=True)
class BenchHeat:
    """When a thermostat opened on the bench, and the rating it was judged against, both in the spec's unit."""

    opened: Quantity
    rated: float


def bench_heat(text: str, spec: ReadingSpec) -> BenchHeat:
    """ "opened at 141F, rated 155F", "141/155F" or "still closed at 180F, rated 155F".

    Raises `BadReading` when the rating is missing or is none that such a thermostat has.
    """
    typed = plain(text)
    rating = _RATED.search(typed)
    if rating is None and (match := re.fullmatch(rf"(\d[\d.]*)\s*(\D*?)\s*/\s*(\d[\d.]*)\s*(\D*)", typed)):
        typed, shared = f"{match[1]} {match[2] or match[4]}", match[2] or match[4]
        rated = _rating(match[3], match[4] or shared, text, spec)
    elif rating is not None:
        typed = (typed[: rating.start()] + " " + typed[rating.end() :]).strip(" ,;")
        rated = _rating(rating[1], rating[2] or _unit_in(typed), text, spec)
    else:
        low, high = spec.rated_range or (135.0, 165.0)
        raise BadReading(
            f"'{text.strip()}' does not say what the thermostat is rated at ({neat(low)} to {neat(high)} {spec.unit}, "
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


# --- several windings at once -------------------------------------------------------------------------------------------


def split_windings(text: str) -> list[str]:
    """ "1.2k/1.35k/560", "1.2k, 1.35k, 560" or "1.2k 1.35k 560" as one text for each winding."""
    typed = plain(text)
    if re.search(r"[/;]", typed):
        parts = re.split(r"[/;]", typed)
    elif re.search(r",\s", typed):
        parts = re.split(r",\s+", typed)
    else:
        parts = re.split(r"\s+(?=[\d.]|OL\b|O\.L|0\.?L\b|open\b)|\s+and\s+", typed, flags=re.I)
    return [part.strip() for part in parts]


__all__ = [
    "BenchHeat",
    "bench_heat",
    "btu_per_hour",
    "in_unit",
    "minutes",
    "retained",
    "slope",
    "split_windings",
]
