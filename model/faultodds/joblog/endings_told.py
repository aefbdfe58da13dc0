"""Endings as a column of them tells them in more words than one: the customer's no, work handed on, nothing found."""

from __future__ import annotations

import re
from functools import cache

from faultodds.joblog.clean import GONE, REFERRED, UNKNOWN
from faultodds.joblog.log_words import nothing_done
from faultodds.joblog.stems import vocabulary
from faultodds.joblog.told_in_order import nothing_found

_WORD = re.compile(r"[a-z]+", re.I)


def ending(text: str) -> str | None:
    """The ending that a text tells by itself; None when it tells none, or something else beside it."""
    if _handed_on().fullmatch(text.strip()):
        return REFERRED
    rest, times = nothing_done().subn(" ", text)
    if times and {word.casefold() for word in _WORD.findall(rest)} <= _beside():
        return UNKNOWN
    return GONE if nothing_found(text) == "" else None


@cache
def _handed_on() -> re.Pattern[str]:
    return re.compile("|".join(vocabulary()["handed_on"]["words"]), re.I)


@cache
def _beside() -> frozenset[str]:
    return frozenset(vocabulary()["beside_nothing_done"]["words"])
