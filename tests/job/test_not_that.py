"""Words that stand for something near what the program has a name for, and not for it: a lifting flame, the gas connector, a
valve that is not the dryer's. Every phrase was written before the words that hear it."""

from __future__ import annotations

import contextlib

import pytest

from faultodds.belief import Appliance
from faultodds.errors import FaultoddsError
from faultodds.job import OpenJob, Store
from said import becomes

LIFTING = [
    "flames are lifting clear of the burner",
    "burner flame hovers off the ports",
    "the flame keeps lifting and its noisy",
    "flame jumps off the burner tube",
    "blue flame but it lifts off",
    "flame is blue, lifted off the end of the tube",
    "flame pushed off the burner",
    "flame not touching the burner",
]
FLOATING = ["flame is floating about", "flames float around in there", "soft floating flame"]
YELLOW = ["flame yellow and lifting", "lazy yellow flame floating", "flames lift and they are orange"]
FLEX = [
    "flex squashed",
    "the flex got pinched behind the dryer",
    "flexi bent flat",
    "flex not kinked",
    "flex ok",
    "flex came off",
    "put a new flex on",
    "refitted the flex",
    "flex hose smashed",
]
DUCT_FLEX = {
    "foil flex kinked": "transition_look=crushed",
    "flex duct squashed flat": "transition_look=crushed",
    "vent flex pinched": "transition_look=crushed",
    "exhaust flex came off": "transition_look=off",
}
OTHER_VALVE = [
    "gas turned off at the meter",
    "gas is closed at the main",
    "meter valve was shut",
    "somebody shut the gas at the street",
    "tank valve closed",
    "gas shut off at the cylinder",
    "bottle valve off",
    "shut the gas off at the regulator",
    "gas back on at the meter",
]


@pytest.mark.parametrize("line", LIFTING)
def test_a_lifting_flame_is_kept_as_a_remark_and_is_no_colour(line: str, dryer: Appliance, store: Store) -> None:
    """It means too much air or gas pressure, for which there is no outcome; what to do is said."""
    entered, told = becomes(dryer, store, line)
    assert entered == [f"note: {line}"]
    assert "remark" in told and "manifold_pressure" in told


@pytest.mark.parametrize("line", FLOATING)
def test_a_floating_flame_is_asked_about(line: str, dryer: Appliance, store: Store) -> None:
    """It is said of one that lifts and of one that starves for air."""
    entered, told = becomes(dryer, store, line)
    assert entered == []
    assert told.startswith("?  ") and "flame_colour=yellow" in told


@pytest.mark.parametrize("line", YELLOW)
def test_a_yellow_flame_stops_whatever_else_it_does(line: str, dryer: Appliance, store: Store) -> None:
    """What makes carbon monoxide is never less than that."""
    assert "flame_colour=yellow" in becomes(dryer, store, line)[0]


@pytest.mark.parametrize("line", FLEX)
def test_a_flex_may_be_the_duct_or_the_gas_connector(line: str, dryer: Appliance, store: Store) -> None:
    """Which it is, is asked, whatever is said of it."""
    entered, told = becomes(dryer, store, line)
    assert entered == []
    assert told.startswith("?  ") and "duct" in told and "gas connector" in told


@pytest.mark.parametrize(("line", "shown"), DUCT_FLEX.items())
def test_a_flex_that_is_called_the_ducts_is_the_duct(line: str, shown: str, dryer: Appliance, store: Store) -> None:
    """Where the line says which, nothing is asked."""
    assert becomes(dryer, store, line)[0] == [shown]


@pytest.mark.parametrize("line", ["gas flex bent flat", "the gas flex is pinched behind it"])
def test_a_gas_flex_that_is_kinked_stops(line: str, dryer: Appliance, store: Store) -> None:
    """That is the gas connector, damaged."""
    assert becomes(dryer, store, line)[0] == ["stop"]


@pytest.mark.parametrize(
    ("note", "refused"),
    [
        ("gas left closed at the meter", True),
        ("heats now, flame lifts a little off the burner", True),
        ("gas turned back on at the meter, dried a load", False),
    ],
)
def test_nobody_leaves_it_so_unseen(note: str, refused: bool, dryer: Appliance, store: Store) -> None:
    """As the reason why a complaint is gone it is refused, but for a valve that is open again."""
    visit = OpenJob.start(store, dryer)
    visit.find("heat", "none")
    with pytest.raises(FaultoddsError) if refused else contextlib.nullcontext():
        visit.close("gone", note=note)


@pytest.mark.parametrize("line", OTHER_VALVE)
def test_another_valve_is_not_the_dryers_cock(line: str, dryer: Appliance, store: Store) -> None:
    """What was said is kept; how the cock stands is not told by it, one way or the other."""
    entered, told = becomes(dryer, store, line)
    assert entered == [f"note: {line}"]
    assert "other_appliances=dead" in told and "gas off" in told
