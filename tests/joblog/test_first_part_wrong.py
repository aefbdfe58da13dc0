"""A wrong part and then the right one in a cell, and a part that is fine beside one that was put right: written before the code."""

from __future__ import annotations

import itertools

import pytest

from faultodds.joblog.cells import CellReader
from faultodds.joblog.clean import FAILED, REPAIRS
from faultodds.joblog.mapping import Column
from faultodds.knowledge import Knowledge

IN_ORDER = [  # the cell, what was fitted in order, what of it did not hold
    ("tried a new igniter, still no heat, put in coils, good", "igniter;coil_set", "igniter"),
    ("tried replacing thermal fuse - no change - new igniter, heats", "thermal_fuse;igniter", "thermal_fuse"),
    ("replaced igniter first, same problem, then new coils", "igniter;coil_set", "igniter"),
    ("fitted coils, did nothing, then fitted igniter, all good", "coil_set;igniter", "coil_set"),
    ("renewed igniter no good so renewed coils", "igniter;coil_set", "igniter"),
    ("new belt, got nothing, new motor fitted - runs", "belt_idler;motor", "belt_idler"),
    ("changed thermal fuse, no joy, then igniter - heats", "thermal_fuse;igniter", "thermal_fuse"),
]
BESIDE = [  # the cell, what alone was put right
    ("duct not clogged, belt snapped - changed", "belt_idler"),
    ("igniter not cracked, coils open - renewed", "coil_set"),
    ("no lint in vent, blower wheel stripped - fitted new", "blower_wheel"),
    ("belt not worn, blower wheel broken, replaced", "blower_wheel"),
    ("vent fine, igniter broken - renewed", "igniter"),
    ("not the belt, igniter open - changed", "igniter"),
]
NO_WORK = [
    "duct not clogged, belt not snapped - changed",
    "belt not snapped or igniter changed",
    "igniter not changed, coils not open",
    "tried to get a new igniter, still no heat",
    "duct not clogged, igniter open - to be changed",
    "duct not clogged, igniter open, customer declined",
    "belt not worn, igniter open - ordered",
]


@pytest.mark.parametrize("kind", ["repairs", "notes"])
def test_the_first_part_did_not_hold_and_the_second_did(kind: str, dryer: Knowledge) -> None:
    """In columns of work and of notes."""
    reader = CellReader(Column("", kind), dryer)  # type: ignore[arg-type]
    for text, fitted, failed in IN_ORDER:
        said = reader.read(text).said
        assert [value for name, value in said if name in (REPAIRS, FAILED)] == [fitted, failed], text


@pytest.mark.parametrize("joint", [", ", " - ", "; "])
def test_whatever_the_parts_and_words(joint: str, dryer: Knowledge) -> None:
    """The law over made cells: of two parts with a run between that still shows the fault, the first failed, and it alone."""
    parts = {"igniter": "igniter", "coils": "coil_set", "thermal fuse": "thermal_fuse", "drum rollers": "rollers"}
    runs = (
        "no change",
        "still the same",
        "did nothing",
        "no better",
        "same fault",
        "didn't help",
        "still no good",
        "was no use",
    )
    reader = CellReader(Column("", "repairs"), dryer)
    for (one, two), run, work in itertools.product(
        itertools.permutations(parts, 2), runs, ("new", "replaced", "tried new")
    ):
        text = f"{work} {one}{joint}{run}{joint}then new {two}{joint}ok"
        said = dict(reader.read(text).said)
        assert (said.get(REPAIRS), said.get(FAILED)) == (f"{parts[one]};{parts[two]}", parts[one]), text


@pytest.mark.parametrize("kind", ["repairs", "notes"])
def test_a_part_that_is_fine_hides_no_work_on_the_next(kind: str, dryer: Knowledge) -> None:
    """ "X not blocked, Y broken - replaced" is work on Y and none on X."""
    reader = CellReader(Column("", kind), dryer)  # type: ignore[arg-type]
    for text, fitted in BESIDE:
        assert [v for name, v in reader.read(text).said if name in (REPAIRS, FAILED)] == [fitted], text


@pytest.mark.parametrize("kind", ["repairs", "notes"])
def test_what_was_not_done_is_no_work(kind: str, dryer: Knowledge) -> None:
    """Denied of both, put off, or one of two."""
    reader = CellReader(Column("", kind), dryer)  # type: ignore[arg-type]
    assert [text for text in NO_WORK if any(n in (REPAIRS, FAILED) for n, _ in reader.read(text).said)] == []


RUN_ON = (
    ("belt ok rollers flat - replaced", "rollers"), ("igniter good fuse open - replaced", "thermal_fuse"),
    ("coils fine igniter cracked, new one fitted", "igniter"), ("fuse ok igniter broken replaced", "igniter"),
    ("motor ok belt snapped - changed", "belt_idler"), ("igniter ok coils bad - renewed", "coil_set"),
    ("belt fine motor seized, replaced", "motor"), ("rollers good belt worn - swapped", "belt_idler"),
    ("thermal fuse ok igniter open, replaced igniter", "igniter"), ("motor good rollers worn - new rollers", "rollers"),
)  # fmt: skip


def test_a_part_that_is_fine_is_not_replaced_for_want_of_a_comma(dryer: Knowledge) -> None:
    """What is worked on is the part that is found bad, or it is asked; the good one never."""
    reader = CellReader(Column("", "repairs"), dryer)
    told = {text: [v for name, v in reader.read(text).said if name in (REPAIRS, FAILED)] for text, _ in RUN_ON}
    assert {text for text, part in RUN_ON if told[text] not in ([part], [])} == set()
    assert sum(told[text] == [part] for text, part in RUN_ON) >= 9
