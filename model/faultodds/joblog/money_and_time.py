"""Numbers in a log that are no meter readings: ages, lengths, minutes, money, "2x"."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from faultodds.joblog.stems import REMEMBERED

_NUMBER = re.compile(r"(?<![\d.])(\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?|\.\d+)")
_ABOUT = re.compile(r"^(?:~|≈|about|abt|approx\.?|ca\.?|around|maybe|\+/-|over|under|<|>|or so)\s*", re.I)

UNITS: Final[Mapping[str, Mapping[str, float]]] = {
    "ft": {
        **dict.fromkeys(("", "ft", "foot", "feet", "'", "lf"), 1.0),
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 3.28084),
        **dict.fromkeys(("in", "inch", "inches", '"'), 1 / 12),
        **dict.fromkeys(("yd", "yds", "yard", "yards"), 3.0),
    },
    "months": {
        **dict.fromkeys(("", "mo", "mos", "month", "months", "mth", "mths"), 1.0),
        **dict.fromkeys(("y", "yr", "yrs", "year", "years"), 12.0),
        **dict.fromkeys(("wk", "wks", "week", "weeks"), 12 / 52.18),
        **dict.fromkeys(("d", "day", "days"), 12 / 365.25),
    },
    "years": {
        **dict.fromkeys(("", "y", "yr", "yrs", "year", "years"), 1.0),
        **dict.fromkeys(("mo", "mos", "month", "months"), 1 / 12),
    },
    "a week": {
        **dict.fromkeys(("", "wk", "week", "weekly", "loads", "ld", "lds", "x", "x/wk", "loads/wk", "times"), 1.0),
        **dict.fromkeys(("day", "daily", "d", "loads/day"), 7.0),
        **dict.fromkeys(("mo", "month"), 12 / 52.18),
    },
    "hours": {
        **dict.fromkeys(("", "h", "hr", "hrs", "hour", "hours"), 1.0),
        **dict.fromkeys(("min", "mins", "minute", "minutes", "m"), 1 / 60),
    },
    "minutes": {
        **dict.fromkeys(("", "min", "mins", "minute", "minutes", "m"), 1.0),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 60.0),
    },
}
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::00)?\s*(?:h|hrs?|hours?)?", re.I)
_HOURS_AND = re.compile(r"(\d{1,2})\s*h(?:rs?|ours?)?\.?,?\s*(?:and\s*)?(\d{1,2})\s*(?:m|min|mins|minutes)?", re.I)
_ISO = re.compile(r"PT(?:(\d{1,2})H)?(?:(\d{1,3})M)?", re.I)
_FRACTION = re.compile(
    r"(?:(?P<half>half)(?: an?| of an)?|(?P<and>(?:an? )?(?:1 )?hour and a half)"
    r"|(?:(?P<n>\d{1,2})[ -])?(?P<top>\d)/(?P<bottom>[2-9]))"
    r"\s*(?P<unit>h|hrs?|hours?|min|mins|minutes)?",
    re.I,
)
_DAY_TIME = r"(?P<h{0}>\d{{1,2}}):?(?P<m{0}>\d\d)?\s*(?P<p{0}>[ap]\.?m?\.?)?"
_FROM_TO = re.compile(rf"{_DAY_TIME.format(1)}\s*(?:-|to|\u2013)\s*{_DAY_TIME.format(2)}", re.I)
_FREE = re.compile(r"(?:no charge|n/c|nc|warranty|waived)\b", re.I)
_PAID = re.compile(r"\s*\b(?:cash|card|check|cheque|chk|cc|visa|paid|net|incl?\.? tax)\b\.?", re.I)
_TIMES = re.compile(r"(?:x\s*(\d+(?:\.\d+)?)|(\d+(?:\.\d+)?)\s*(?:x|times))(?:\s*(?:normal|as long|longer))?", re.I)
LONGEST_JOB: Final = 24 * 60.0
LONG_VISIT: Final = 8 * 60.0
"""Minutes beyond a working day, which hardly a visit takes. Common practice, no source."""
DEAREST: Final = 20_000.0


@lru_cache(REMEMBERED)
def amount(text: str, unit: str) -> float | None:
    """One number in `unit` (a key of UNITS) from "abt 32ft", "7y", "9/wk", "2.0 m"; None when it is none."""
    typed = _ABOUT.sub("", text.strip()).strip()
    found = _NUMBER.match(typed)
    if found is None:
        return None
    rest = re.sub(r"^[\s/-]*(?:per|a|each)?\s*", "", typed[found.end() :]).strip(" .+").casefold()
    rest = re.sub(r"\s*(?:old|ago|long|or so|total|eq\.?|equiv\.?)$", "", rest)
    factor = UNITS[unit].get(rest)
    return None if factor is None else float(found[1].replace(",", "")) * factor


@lru_cache(REMEMBERED)
def minutes(text: str, unit: str = "minutes") -> float | None:
    """Minutes on a job from "140 min", "2.25 h", "1:20", "1 hr 15 min", "1 1/2", "9:30a - 10:15a"; a bare number is in `unit`.

    None when it is none, when it may be two things ("30-40 min"), or longer than a day.
    """
    typed = re.sub(r"^(\d+),(\d\d?)\b(?!,)", r"\1.\2", _ABOUT.sub("", text.strip()).rstrip(" .+"))
    typed = re.sub(r"^an? (?=hour|hr)", "1 ", typed, flags=re.I)
    if match := _FROM_TO.fullmatch(typed):
        return _between(match)
    if match := _CLOCK.fullmatch(typed) or _HOURS_AND.fullmatch(typed) or _ISO.fullmatch(typed):
        found: float | None = 60.0 * int(match[1] or 0) + int(match[2] or 0)
    elif match := _FRACTION.fullmatch(typed):
        found = _whole(match) * (60.0 if match["and"] else _per(match["unit"], unit))
    else:
        found = amount(typed, unit)
        found = found * 60.0 if found is not None and unit == "hours" else found
    return found if found is not None and 0 <= found <= LONGEST_JOB else None


def _whole(match: re.Match[str]) -> float:
    if match["half"]:
        return 0.5
    if match["and"]:
        return 1.5
    return float(match["n"] or 0) + float(match["top"]) / float(match["bottom"])


def _per(said: str | None, unit: str) -> float:
    return 60.0 if (said or unit).startswith("h") or (not said and unit == "hours") else 1.0


def _between(match: re.Match[str]) -> float | None:
    """Minutes from one time of day to another; times without a colon or an a.m. are no times of day but a range of something."""
    start, end = (_of_day(match[f"h{n}"], match[f"m{n}"], match[f"p{n}"]) for n in (1, 2))
    if start is None or end is None:
        return None
    spent = (end - start) % (12 * 60) if end < start else end - start
    return float(spent) if 0 < spent <= LONGEST_JOB / 2 else None


def _of_day(hours: str, minutes_: str | None, half: str | None) -> int | None:
    if minutes_ is None and half is None:
        return None
    hour, minute = int(hours), int(minutes_ or 0)
    if hour > 23 or minute > 59:
        return None
    return 60 * (hour % 12 + 12 if half and half[0] in "pP" else hour % 12 if half else hour) + minute


@lru_cache(REMEMBERED)
def money(text: str) -> float | None:
    """An amount of money from "$1,240.50", "303", "USD 40", "75,00 €", "185.00 cash", "no charge"; None when it is none or
    beyond any repair bill."""
    if _FREE.match(text.strip()):
        return 0.0
    typed = re.sub(
        r"^(?:[$£€]|usd|gbp|eur|cad)\s*|\s*(?:[$£€]|usd|gbp|eur|cad|dollars)$",
        "",
        _PAID.sub("", text.strip()),
        flags=re.I,
    )
    typed = re.sub(r"(?<=\d),(?=\d\d$)", ".", typed)
    if not _NUMBER.fullmatch(typed):
        return None
    value = float(typed.replace(",", ""))
    return value if value <= DEAREST else None


@lru_cache(REMEMBERED)
def times_normal(text: str) -> float | None:
    """How many times as long as normal, from "2x", "x2", "1.5 times"; None when it is none."""
    match = _TIMES.fullmatch(text.strip())
    return float(match[1] or match[2]) if match else None


# --- a number as a value of a fact whose values are spans ----------------------------------------------------------

_EDGE = re.compile(r"(to|under|over)_(\d+)")


def spans(values: Mapping[str, str]) -> dict[str, tuple[float, float, bool]] | None:
    """Values named `to_8`, `under_12`, `over_13` as spans (low, high, whether high belongs); None for other facts.

    Each begins where the one before ends.
    """
    found: dict[str, tuple[float, float, bool]] = {}
    low = -1.0
    for name in values:
        match = _EDGE.fullmatch(name)
        if match is None:
            return None
        edge = float(match[2])
        found[name] = (low, float("inf") if match[1] == "over" else edge, match[1] != "under")
        low = edge
    return found


def span_of(value: float, known: Mapping[str, tuple[float, float, bool]]) -> str | None:
    """The name of the span that a number falls in."""
    for name, (_, high, belongs) in known.items():
        if value < high or (belongs and value == high):
            return name
    return None


def unit_of(titles: Mapping[str, str]) -> str:
    """The unit that the words of a fact's values speak of; numbers alone count something a week."""
    said = " ".join(titles.values()).casefold()
    for word, unit in (("ft", "ft"), ("month", "months"), ("year", "years")):
        if word in said:
            return unit
    return "a week"
