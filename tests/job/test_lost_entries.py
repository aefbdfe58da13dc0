"""What was typed is neither taken for something else nor lost; the lines are in `lost_entries.toml`."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from faultodds.belief import Appliance
from faultodds.job import sayings, typed

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


def test_an_empty_bottle_tells_of_the_fuel_as_well(dryer: Appliance) -> None:
    """And only one of gas: what is not empty, or in doubt, or of soap tells neither."""
    of, want = LINES["bottle_empty"], {*LINES["bottle_empty"]["takes"]}
    assert [line for line in of["lines"] if not want <= taken(dryer, line)] == []
    assert [line for line in of["not"] if "other_appliances=dead" in taken(dryer, line)] == []


def test_a_fuse_that_is_told_by_its_amps_is_the_plugs(dryer: Appliance) -> None:
    """Nothing is entered, and what to do about it is said."""
    of = LINES["plug_fuse"]
    assert [line for line in of["lines"] if taken(dryer, line) & {*of["never"]}] == []
    told = {line: " ".join(s.name for s in sayings.understand(dryer.knowledge, line)) for line in of["lines"]}
    assert [line for line, name in told.items() if "fit no bigger one" not in name] == []


def test_earlier_work_is_kept_as_a_remark(dryer: Appliance) -> None:
    """And it is said that it counts for nothing else."""
    kinds = {line: {s.kind for s in sayings.understand(dryer.knowledge, line)} for line in LINES["other_work"]["lines"]}
    assert {line for line, kind in kinds.items() if kind - {"fact"} != {"noted"}} == set()


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


@pytest.mark.parametrize(
    "line", ["opened the cock", "opened the gas", "turned the gas on", "opened the gas cock", "opened the gas tap"]
)
def test_gas_opened_that_nobody_had_shut_was_found_shut(dryer: Appliance, line: str) -> None:
    """So it is asked; after a cock that was shut here it is plain."""
    k = dryer.knowledge
    said = sayings.understand(k, line)
    assert [s for s in said if s.kind == "machine"], line
    assert sayings.opened_unshut(k, said, frozenset())
    assert not sayings.opened_unshut(k, said, frozenset({"unplugged", "gas_shut"}))


@pytest.mark.parametrize(
    "line",
    [
        "gas on",
        "gas is on",
        "turned the gas back on",
        "reopened the wall valve",
        "left the gas on",
        "power on",
        "unplugged, gas off",
    ],
)
def test_gas_that_is_on_is_no_question(dryer: Appliance, line: str) -> None:
    """It only says how it stands."""
    k = dryer.knowledge
    assert not sayings.opened_unshut(k, sayings.understand(k, line), frozenset())


@pytest.mark.parametrize(
    ("pair", "value"),
    [
        ("control=dial timer", "timer"),
        ("control=timer knob", "timer"),
        ("fuel=lp", "propane"),
        ("control=timer", "timer"),
    ],
)
def test_a_value_may_be_said_in_the_words_of_the_trade(dryer: Appliance, pair: str, value: str) -> None:
    """As it may without the name."""
    ((name, said),) = typed.facts(dryer.knowledge, pair)
    assert sayings.in_words(dryer.knowledge, name, said) == value


def test_a_denied_value_is_no_value(dryer: Appliance) -> None:
    """Nor is a doubtful one."""
    for pair in ("control=not a timer", "control=no dial timer", "control=maybe dial timer"):
        ((name, said),) = typed.facts(dryer.knowledge, pair)
        assert sayings.in_words(dryer.knowledge, name, said) != "timer", pair
