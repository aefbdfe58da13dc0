"""Which machine a row of a log is about: a shop that mends several keeps them in one log."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from functools import cache, lru_cache
from typing import Final, Literal

from faultodds.joblog.stems import REMEMBERED, key, tokens, trade
from faultodds.knowledge import Knowledge


def which(knowledge: Knowledge, text: str) -> Literal["mine", "other"] | None:
    """Whether a text names the appliance of the knowledge file or another machine; None when it names neither."""
    return _which(knowledge.appliance.id, text)


@lru_cache(REMEMBERED)
def _which(appliance: str, text: str) -> Literal["mine", "other"] | None:
    words = set(tokens(text, whole=True))
    kinds: tuple[Literal["other", "mine"], ...] = ("other", "mine")
    for kind in kinds:
        for phrase in trade(appliance).get("machine", {}).get(kind, []):
            if set(tokens(phrase, whole=True)) <= words:
                return kind
    return None


ROWS_TOLD: Final = 5


class Kin:
    """Rows about a machine of the same name that the file is not about, an electric dryer among gas ones: left out where a fact
    or the work says so, kept where there is only a hint of it, or the facts say otherwise; both are counted."""

    def __init__(self, knowledge: Knowledge, place: Callable[[int], str]) -> None:
        """`place` says where a row is to be found (`Source.place`)."""
        self._place = place
        self._words = trade(knowledge.appliance.id).get("kin", {})
        self._left: list[int] = []
        self._kept: list[int] = []

    def is_one(self, number: int, facts: Mapping[str, str], texts: Iterable[str]) -> bool:
        """Whether a row is to be left out; `facts` are the cells of its facts, `texts` those of findings, work and notes."""
        if not self._words:
            return False
        asked = self._words["facts"]
        said = [key(facts[name]) in {key(each) for each in asked[name]} for name in asked if facts.get(name)]
        told = [_speaks(tuple(self._words["told"]), text) for text in texts if text]
        hints = [_speaks(tuple(self._words["hints"]), text) for text in texts if text]
        if any(said) or (any(told) and not said):
            self._left.append(number)
            return True
        if any(told) or any(hints):
            self._kept.append(number)
        return False

    def alarms(self) -> list[str]:
        """What is to be said of such rows, and how they were treated."""
        called = self._words.get("called", "")
        found = []
        if self._left:
            found.append(f"{self._rows(self._left, called)}: left out, nothing is learned from them.")
        if self._kept:
            found.append(f"{self._rows(self._kept, called, 'may be')}: kept, and read as all others. Look at them.")
        return found

    def _rows(self, numbers: list[int], called: str, verb: str = "") -> str:
        n = len(numbers)
        listed = ", ".join(map(self._place, numbers[:ROWS_TOLD])) + (", ..." if n > ROWS_TOLD else "")
        rows, be = ("1 row", "is") if n == 1 else (f"{n:,} rows", "are")
        return f"{rows} {verb or be} about {called} ({listed})"


@lru_cache(REMEMBERED)
def _speaks(patterns: tuple[str, ...], text: str) -> bool:
    """Whether a text has one of the patterns, not denied: "no element"."""
    return any(not _NO.search(text[: match.start()]) for match in _any(patterns).finditer(text))


@cache
def _any(patterns: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile("|".join(patterns), re.I)


_NO: Final = re.compile(r"\b(?:no|not|isn'?t|without|never)\W+(?:an? |the )?$", re.I)
