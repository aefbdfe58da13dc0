"""What a heading says of the work under it: done, or planned only ("Parts on order"), or either ("Parts used / ordered")."""

from __future__ import annotations

import re
from typing import Final, Literal

from faultodds.joblog.stems import tokens, vocabulary

WHY: Final = "work that was offered, ordered or declined, not done: no repair is taken from it"
_AND: Final = re.compile(r"[^\w\s'-]+|\b(?:or|and)\b", re.I)


def tells(heading: str) -> Literal["done", "planned", "either"]:
    """What a heading says; where it names several things, of all of them together."""
    parts = [_part(text) for text in _AND.split(heading) if text.strip()]
    found = {each for told in parts for each in told}
    return "either" if len(found) > 1 else "planned" if "planned" in found else "done"


def _part(text: str) -> set[str]:
    """What one of the things that a heading names is of: plans, where it says so; work done, where it says so or says no plan."""
    rest = f" {' '.join(tokens(text, whole=True))} "
    told = set()
    for phrase in sorted(
        (" ".join(tokens(each, whole=True)) for each in vocabulary()["not_done"]["headings"]), key=len
    )[::-1]:
        if f" {phrase} " in rest:
            told, rest = {"planned"}, rest.replace(f" {phrase} ", " ")
    done = any(f" {' '.join(tokens(each, whole=True))} " in rest for each in vocabulary()["not_done"]["done"])
    return told | {"done"} if done or not told else told
