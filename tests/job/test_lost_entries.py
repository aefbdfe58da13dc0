"""What was typed is neither taken for something else nor lost; the lines are in `lost_entries.toml`."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from faultodds.belief import Appliance
from faultodds.job import sayings

LINES = tomllib.loads(Path(__file__).with_name("lost_entries.toml").read_text("utf-8"))


def taken(dryer: Appliance, line: str) -> set[str]:
    """What is entered of a line: kinds, names, and NAME=VALUE."""
    said = [s for s in sayings.understand(dryer.knowledge, line) if s.kind in ("finding", "fact", "repair", "machine")]
    return {text for s in said for text in (s.kind, s.name, f"{s.name}={s.value.strip()}")}


@pytest.mark.parametrize("family", ["house_fuse", "other_work"])
def test_nothing_is_taken_for_what_it_is_not(dryer: Appliance, family: str) -> None:
    """A fuse of the house is none of the dryer's; earlier work is none of this call's, and is kept."""
    never = set(LINES[family]["never"])
    assert [line for line in LINES[family]["lines"] if taken(dryer, line) & never] == []


def test_earlier_work_is_kept_as_a_remark(dryer: Appliance) -> None:
    """And it is said that it counts for nothing else."""
    kinds = {line: {s.kind for s in sayings.understand(dryer.knowledge, line)} for line in LINES["other_work"]["lines"]}
    assert {line for line, kind in kinds.items() if kind != {"noted"}} == set()


def test_a_house_fuse_is_asked_about(dryer: Appliance) -> None:
    """In nearly any words: none of them is taken, and most are put back as the question which fuse."""
    asked = [
        line
        for line in LINES["house_fuse"]["lines"]
        if any(s.kind == "ask" and "fuse" in s.name for s in sayings.understand(dryer.knowledge, line))
    ]
    assert len(asked) >= 15, sorted(set(LINES["house_fuse"]["lines"]) - set(asked))


@pytest.mark.parametrize("family", ["no_gas", "found_shut"])
def test_what_is_told_of_the_gas_is_taken(dryer: Appliance, family: str) -> None:
    """In other words than those it was made with."""
    want = LINES[family]["takes"]
    lost = [line for line in LINES[family]["lines"] if want not in taken(dryer, line)]
    assert lost == []
    assert [line for line in LINES[family]["lines"] if "machine" in taken(dryer, line)] == []


def test_what_was_understood_still_is(dryer: Appliance) -> None:
    """The words beside them."""
    assert [line for line, want in LINES["calm"]["takes_each"] if want not in taken(dryer, line)] == []


def test_no_state_of_a_line_is_dropped(dryer: Appliance) -> None:
    """What is not read of it is named or asked about, or nothing is taken."""
    for line in LINES["states"]["lines"]:
        said = sayings.understand(dryer.knowledge, line)
        assert not said or any(s.kind in ("unread", "ask") for s in said), line
