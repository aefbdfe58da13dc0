"""Technicians of a log: a code that the mapping lists, or one of ours in the order they come; names that are nearly one."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from itertools import combinations
from typing import Final

from faultodds.joblog.lexicon import slips_in
from faultodds.joblog.personal import is_code

MOST_NAMES: Final = 200
SHORTEST: Final = 5
"""Names shorter than this are never taken for spellings of one."""


class Technicians:
    """The codes that technicians are kept by. `listed` maps what is written to the code in the mapping."""

    def __init__(self, heading: str, listed: Mapping[str, str], place: Callable[[int], str]) -> None:
        """`place` says where a row is to be found (`Source.place`)."""
        self._heading, self._place = heading, place
        self._listed = {same(written): code for written, code in listed.items()}
        self.ours: dict[str, tuple[str, int]] = {}

    def code(self, text: str, number: int) -> str | None:
        """The code of what stands in row `number`. "Poe, M." and "M. Poe" are one, "t1" and "T1" as well."""
        if not text:
            return None
        name = same(text)
        if name in self._listed:
            return self._listed[name]
        return self.ours.setdefault(name, (f"tech_{len(self.ours) + 1}", number))[0]

    def knows(self, text: str) -> bool:
        """Whether the mapping lists what is written."""
        return same(text) in self._listed

    def alarms(self) -> list[str]:
        """Pairs of names that may be two spellings of one: told by their rows, since names are not kept."""
        names = [name for name in self.ours if not is_code(name) and len(name) >= SHORTEST]
        pairs = combinations(names[:MOST_NAMES], 2)
        return [
            f"{self._told(a)} and {self._told(b)} are written nearly alike: one person? They count as two. If they are one, give "
            f"both spellings one code in the words of column '{self._heading}' in the mapping."
            for a, b in pairs
            if _are_alike(a, b)
        ]

    def _told(self, name: str) -> str:
        code, number = self.ours[name]
        return f"{code} ({self._place(number)})"


def same(text: str) -> str:
    """What two ways of writing one name have in common."""
    return " ".join(sorted(re.findall(r"[^\W_]+", text.casefold())))


def _are_alike(one: str, other: str) -> bool:
    """Whether two names begin alike and differ by slips, or in an initial for a name: "d vale", "dunstan vale"."""
    from rapidfuzz.distance import OSA

    first, second = one.split(), other.split()
    if len(first) != len(second) or any(a[0] != b[0] for a, b in zip(first, second, strict=True)):
        return False
    initials = [a for a, b in zip(first, second, strict=True) if a != b and min(len(a), len(b)) == 1]
    if initials:
        return len(first) > 1 and sum(a != b for a, b in zip(first, second, strict=True)) == 1
    return OSA.distance(one, other) <= slips_in(min(one, other, key=len))
