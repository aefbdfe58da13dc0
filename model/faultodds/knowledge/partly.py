"""A file with mistakes of form (types, keys), as far as it can be read: what its other parts mean is checked all the same.

What is in the wrong form, or missing, gets a stand-in. Nothing is told that may only follow from that: no mistake of sense in the
same place, nor in a record whose lists or tables are in doubt; and none at all where names or lists are in doubt that other
records rest on.
"""

from __future__ import annotations

import copy
import dataclasses
import typing
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Any

from faultodds.knowledge.rules import problems_of
from faultodds.knowledge.schema import Knowledge
from faultodds.knowledge.toml_records import UNKNOWN_KEY, Place, kind_at, place_of, records

MOST_ROUNDS = 6
"""What is missing in a stand-in for what was missing, and so on: the records are no deeper."""

_NAMES_READ_ELSEWHERE = (
    "component.*.modes.*",
    "mechanism.*.states",
    "symptom.*.outcomes",
    "check.*.outcomes",
    "context.*.values",
    "equipment.*.values",
)
_LISTS_READ_ELSEWHERE = ("caution.*.covers", "access.*.requires", "access.*.makes_safe", "repair.*.fixes")


def also_wrong(raw: Mapping[str, Any], errors: Sequence[Mapping[str, Any]]) -> list[str]:
    """What the rules say of the parts of a file that are well formed; `errors` are pydantic's."""
    mended = copy.deepcopy(dict(raw))
    doubts = {place for error in errors for place in _in_doubt(raw, error)}
    if any(_read_elsewhere(place) for place in doubts):
        return []
    for _ in range(MOST_ROUNDS):
        for error in errors:
            _mend(mended, error)
        found = records(mended, Knowledge)
        if isinstance(found, Knowledge):
            told = problems_of(found, whole=False)
            return [said for said in told if not any(_follows(said, doubt) for doubt in doubts)]
        errors = found
    return []


def _in_doubt(raw: Mapping[str, Any], error: Mapping[str, Any]) -> Iterator[Place]:
    """The place itself, for an item the list that it is in; of a key that is not known, all that it may have been meant for."""
    place = place_of(error, Knowledge)
    if error["type"] not in UNKNOWN_KEY:
        yield place[:-1] if isinstance(_down(raw, place[:-1]), list) else place
        return
    record = _down(raw, place[:-1])
    for each in dataclasses.fields(kind_at(Knowledge, place[:-1])):
        if each.name not in record:
            yield (*place[:-1], each.name)


def _read_elsewhere(place: Place) -> bool:
    """Whether other records rest on what is, or is not, at this place."""
    if any(_within(place, tuple(names.split("."))) for names in _NAMES_READ_ELSEWHERE):
        return True
    lists = [tuple(each.split(".")) for each in _LISTS_READ_ELSEWHERE]
    return any(_within(place, each) or _within(each, place) for each in lists)


def _within(above: Place, below: Place) -> bool:
    """Whether one place is the other or holds it; '*' is any name."""
    return len(above) <= len(below) and all(a == b or "*" in (a, b) for a, b in zip(above, below, strict=False))


def _follows(said: str, doubt: Place) -> bool:
    """Whether what a rule says may only follow from a place that is in doubt: a sum over the file, the place, its record."""
    head, told, _ = said.partition(": ")
    place, there = tuple(head.split(".")), tuple(".".join(doubt).split("."))
    if not told or _within(place, there) or _within(there, place):
        return True
    record = doubt[: 4 if doubt[0] == "component" else 2]
    plain = kind_at(Knowledge, doubt) in (str, float, int, bool)
    return not plain and _within(record, place)


def _down(raw: Any, place: Sequence[str]) -> Any:
    for part in place:
        raw = raw[int(part)] if isinstance(raw, list) else raw[part]
    return raw


def _mend(raw: dict[str, Any], error: Mapping[str, Any]) -> None:
    """Take out a key that is not known; put a stand-in where something is missing or in the wrong form."""
    place = place_of(error, Knowledge)
    with suppress(LookupError, ValueError, TypeError):  # it went with something that holds it
        holder, last = _down(raw, place[:-1]), place[-1]
        if error["type"] in UNKNOWN_KEY:
            del holder[last]
        elif isinstance(holder, list):
            del holder[int(last) :]  # with the rest, or other places would move
        else:
            holder[last] = _stand_in(kind_at(Knowledge, place))


def _stand_in(kind: Any) -> Any:
    """Something of the right form that says nothing."""
    origin = typing.get_origin(kind) or kind
    if origin is typing.Literal:
        return typing.get_args(kind)[0]
    return origin() if origin in (str, float, int, bool, list, dict) else {}
