"""Endings as a column of them tells them in more words than one: the customer's no, work handed on, nothing found."""

from __future__ import annotations

import re
from functools import cache

from faultodds.joblog.clean import GONE, REFERRED, UNKNOWN
from faultodds.joblog.log_words import nothing_done
from faultodds.joblog.stems import vocabulary
from faultodds.joblog.told_in_order import is_remark, nothing_found

_APART = re.compile(r"\s*[,;&+.]\s*|\s+[-/]+\s+|\s+and\s+", re.I)
_TESTED = frozenset({"tested", "checked", "test", "retested"})
_WORD = re.compile(r"[a-z]+", re.I)


def ending(appliance: str, text: str) -> str | None:
    """The ending that a text tells by itself; None when it tells none, or something else beside it."""
    if _handed_on().fullmatch(text.strip()):
        return REFERRED
    rest, times = nothing_done().subn(" ", text)
    if times and {word.casefold() for word in _WORD.findall(rest)} <= _beside():
        return UNKNOWN
    return GONE if nothing_found(text) == "" or _is_well(appliance, text) else None


def _is_well(appliance: str, text: str) -> bool:
    """Whether all that a text tells is that the repair held, or the machine does what it should: "held ok", "tested, works"."""
    parts = [part for part in _APART.split(text.strip(" .!")) if part]
    told = [part for part in parts if part.casefold() not in _TESTED]
    return bool(told) and all(
        _held().fullmatch(part) or part.casefold() in vocabulary()["ended"][GONE] or _is_remark(appliance, part)
        for part in told
    )


def _is_remark(appliance: str, part: str) -> bool:
    return " " in part and is_remark(appliance, part)  # "heat" alone is none


@cache
def _held() -> re.Pattern[str]:
    return re.compile("|".join(vocabulary()["held"]["words"]), re.I)


@cache
def _handed_on() -> re.Pattern[str]:
    return re.compile("|".join(vocabulary()["handed_on"]["words"]), re.I)


@cache
def _beside() -> frozenset[str]:
    return frozenset(vocabulary()["beside_nothing_done"]["words"])
