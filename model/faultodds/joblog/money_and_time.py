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
    "minutes": {
        **dict.fromkeys(("", "min", "mins", "minute", "minutes", "m"), 1.0),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 60.0),
    },
}
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")
_HOURS_AND = re.compile(r"(\d{1,2})\s*h(?:rs?|ours?)?\s*(\d{1,2})\s*(?:m|min|mins|minutes)?", re.I)
_TIMES = re.compile(r"(?:x\s*(\d+(?:\.\d+)?)|(\d+(?:\.\d+)?)\s*(?:x|times))(?:\s*(?:normal|as long|longer))?", re.I)
LONGEST_JOB: Final = 24 * 60.0
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
def minutes(text: str) -> float | None:
    """Minutes on a job from "140 min", "2.25 h", "1:20", "1h 20"; None when it is none or longer than a day."""
    typed = text.strip()
    if match := _CLOCK.fullmatch(typed) or _HOURS_AND.fullmatch(typed):
        return 60.0 * int(match[1]) + int(match[2])
    found = amount(typed, "minutes")
    return found if found is not None and 0 <= found <= LONGEST_JOB else None


@lru_cache(REMEMBERED)
def money(text: str) -> float | None:
    """An amount of money from "$1,240.50", "303", "USD 40"; None when it is none or beyond any repair bill."""
    typed = re.sub(r"^(?:[$£€]|usd|gbp|eur|cad)\s*|\s*(?:[$£€]|usd|gbp|eur|cad|dollars)$", "", text.strip(), flags=re.I)
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
