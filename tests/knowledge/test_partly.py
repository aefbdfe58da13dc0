"""A file with mistakes of form: what its other parts mean is told as well, and nothing that only follows from the mistake."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from faultodds.errors import KnowledgeError
from faultodds.files.knowledge_files import find, read_bytes
from faultodds.knowledge.loading import from_mapping
from toys import raw_toy

Raw = dict[str, Any]
DRYER = tomllib.loads(read_bytes(find("gas_dryer")).decode())
SOUND = {"toy": raw_toy(), "dryer": DRYER}
# Every so many places: the shipped file has thousands.
STEP = {"toy": 1, "dryer": 29}


def places(raw: Any, above: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Every table, list and value of a file."""
    inside = raw.items() if isinstance(raw, dict) else enumerate(raw) if isinstance(raw, list) else ()
    for key, below in inside:
        yield (*above, key)
        yield from places(below, (*above, key))


def at(raw: Any, place: tuple[Any, ...]) -> Any:
    """What stands at a place."""
    for part in place:
        raw = raw[part]
    return raw


def spoilt(sound: Raw, place: tuple[Any, ...], how: str) -> Raw:
    """A copy with one place taken out, under another key, or of another type."""
    raw = copy.deepcopy(sound)
    holder: Any = raw
    for part in place[:-1]:
        holder = holder[part]
    if how == "type":
        holder[place[-1]] = 7 if isinstance(holder[place[-1]], str | dict | list) else ["x"]
    elif isinstance(holder, dict):
        value = holder.pop(place[-1])
        if how == "key":
            holder[f"zz_{place[-1]}"] = value
    return raw


def problems(raw: Raw) -> list[str]:
    try:
        from_mapping(raw, "a.toml")
    except KnowledgeError as error:
        return list(error.problems)
    return []


def of_form(problem: str) -> bool:
    """A mistake of form, by the words that only those have."""
    return re.search(r": (this key is |found .*; write [^{])", problem) is not None


@pytest.mark.parametrize("name", SOUND)
@pytest.mark.parametrize("how", ["type", "gone", "key"])
def test_a_mistake_of_form_in_a_sound_file_is_all_that_is_told(name: str, how: str) -> None:
    """At every place in turn: where the form is wrong, nothing is said of what the file means."""
    tried = 0
    for place in list(places(SOUND[name]))[:: STEP[name]]:
        found = problems(spoilt(SOUND[name], place, how))
        if any(map(of_form, found)):
            tried += 1
            assert [each for each in found if not of_form(each)] == [], (place, how)
    assert tried > 12


@pytest.mark.parametrize("name", SOUND)
@pytest.mark.parametrize("how", [str, bool])
def test_a_number_is_a_number_in_every_place(name: str, how: type) -> None:
    """In quotes, or as true or false, it is refused: a slip that would count as 1 is none that anybody sees."""
    numbers = [
        place for place in places(SOUND[name]) if type(at(SOUND[name], place)) in (int, float) and "causes" not in place
    ]
    assert len(numbers) > 30
    for place in numbers[:: STEP[name]]:
        raw = copy.deepcopy(SOUND[name])
        at(raw, place[:-1])[place[-1]] = how(at(raw, place))
        (told,) = [each for each in problems(raw) if of_form(each)]
        assert told.startswith(".".join(map(str, place)) + ": found "), place


SENSE = {
    "costs/labour_rate": (-1, "costs.labour_rate: found -1"),
    "costs/verify": ("nothing", "costs.verify: there is no check called 'nothing'"),
    "check/fuse_test/links/fuse.open": (1.5, "check.fuse_test.links.fuse.open: found 1.5"),
    "component/pump/modes/weak/share": (-3.0, "component.pump.modes.weak.share: found -3.0"),
    "repair/new_pump/success": (2.0, "repair.new_pump.success: found 2.0"),
}
FORM = {
    "component/pump/modes/dead/share": ("many", "component.pump.modes.dead.share: found 'many'; write a number"),
    "check/listen/minutes": ("long", "check.listen.minutes: found 'long'; write a number"),
    "costs/callback": ([], "costs.callback: found []; write a number"),
    "costs/hourly": (3, "costs.hourly: this key is not known"),
    "symptom/slow/zz": (3, "symptom.slow.zz: this key is not known"),
}


@pytest.mark.parametrize("form", FORM)
@pytest.mark.parametrize("sense", SENSE)
def test_form_and_sense_are_told_together(form: str, sense: str) -> None:
    """A number in words in one place, one that cannot be in another: both in one message, also in one record."""
    raw = raw_toy()
    for path, (value, _) in ((form, FORM[form]), (sense, SENSE[sense])):
        holder: Any = raw
        for part in path.split("/")[:-1]:
            holder = holder[part]
        holder[path.split("/")[-1]] = value
    found = problems(raw)
    for _, told in (FORM[form], SENSE[sense]):
        assert any(each.startswith(told) for each in found), (told, found)
    assert len(found) == 2


def test_what_others_rest_on_keeps_the_sense_for_later() -> None:
    """Outcomes that cannot be read: whether a link names one of them is not asked."""
    raw = raw_toy()
    raw["check"]["listen"]["outcomes"] = "normal or weak"
    raw["costs"]["verify"] = "nothing"
    assert [each for each in problems(raw) if not of_form(each)] == []
