"""Raw readings in a log, with nobody there to ask."""

from __future__ import annotations

import pytest

from faultodds.joblog.metered import dial_in, read_metered, usual_dial, usual_room, usual_unit
from faultodds.knowledge.schema import Knowledge

HALF = {"dial": "half ft"}
RATED = {"rated": "155F"}
LONE = {"lone_winding": "stands for the set"}


@pytest.mark.parametrize(
    ("check", "text", "given", "expected"),
    [
        ("igniter_ohms", "OL", {}, "open"),
        ("igniter_ohms", "218.5", {}, "normal"),
        ("igniter_ohms", "1.15k", {}, "open"),
        ("static_pressure", "0.14 wc", {}, "normal"),
        ("static_pressure", "480 Pa", {}, "very_high"),
        ("static_pressure", "480", {}, "very_high"),
        ("meter_clock", "84", HALF, "normal"),
        ("meter_clock", "84s/half ft", {}, "normal"),
        ("meter_clock", "0", HALF, "none"),
        ("cycling_bench_heat", "100 F", RATED, "opens_low"),
        ("thermistor_ohms", "11.9k", {"room": "70F"}, "on_chart"),
        ("spun_load_weight", "0.45", {"bare": "share"}, "normal"),
        ("exhaust_cycling", "65", {"unit": "F"}, "no_heat"),
        ("coil_ohms", "1.15k", LONE, "good"),
        ("coil_ohms", "OL", LONE, "off"),
        ("coil_ohms", "1.15", LONE, "good"),
    ],
)
def test_readings_are_judged(dryer: Knowledge, check: str, text: str, given: dict[str, str], expected: str) -> None:
    """A reading in any common hand favours the outcome that a person would read out of it."""
    from faultodds.joblog.clean import weights

    cell = read_metered(dryer, check, text, given).cell
    assert cell is not None
    found = weights(cell)
    assert max(found, key=found.__getitem__) == expected


@pytest.mark.parametrize(
    ("check", "text"),
    [
        ("igniter_ohms", "99999"),
        ("igniter_ohms", "-40"),
        ("exhaust_cycling", "1550 F"),
        ("exhaust_cycling", "-40"),
        ("static_pressure", "-3.5"),
        ("static_pressure", "1.1M"),
        ("hood_air_speed", "12345"),
    ],
)
def test_what_no_instrument_shows_is_impossible(dryer: Knowledge, check: str, text: str) -> None:
    """Numbers below nought, made-up ones and units of something else are left out, and said to be impossible."""
    found = read_metered(dryer, check, text, {})
    assert (found.cell, found.impossible) == (None, True)
    assert found.problem


def test_a_dial_that_is_not_named_is_not_guessed_at(dryer: Knowledge) -> None:
    """Seconds without a dial say nothing of the gas burnt."""
    found = read_metered(dryer, "meter_clock", "84 s", {})
    assert (found.cell, found.impossible) == (None, False)
    assert "which dial is missing" in found.problem
    assert dial_in("84s/half ft") == "half ft"
    assert dial_in("84 s") is None


def test_the_column_tells_its_unit_and_its_room(dryer: Knowledge) -> None:
    """Bare temperatures are in the unit that makes most of them plausible; the middle thermistor reading sets the room."""
    spec = dryer.reading["exhaust_cycling"]
    assert usual_unit(["160", "155", "65", "150 F"], spec) == "F"
    assert usual_unit(["68", "71", "66"], spec) == "C"
    thermistor = dryer.reading["thermistor_ohms"]
    assert usual_room(["12488"] * 30 + ["2000"] * 5, thermistor) == "68F"
    assert usual_room(["12488"] * 3, thermistor) is None


def test_the_column_tells_its_dial(dryer: Knowledge) -> None:
    """Named in a cell, or the only one that makes the middle reading a dryer's burner; with too few readings, none."""
    spec = dryer.reading["meter_clock"]
    assert usual_dial(dryer, ["84 s", "86", "300 s", "168s/1 ft"], spec) == "1 ft"
    assert usual_dial(dryer, ["84 s", "86", "82", "88 sec", "300"], spec) == "half ft"
    assert usual_dial(dryer, ["168 s", "172", "165", "171", "400"], spec) == "1 ft"
    assert usual_dial(dryer, ["84 s", "86"], spec) is None
    assert usual_dial(dryer, ["9", "8", "7", "9", "8"], spec) is None
