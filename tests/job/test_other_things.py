"""What is said of another appliance's hose, belt or filter sets nothing of the dryer; and what stands behind a state is not lost.
Every phrase was written before the words that hear it."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.job import Store
from faultodds.job.steps import Note
from said import becomes, heard_from

OTHERS = (
    "hose on the washing machine is fine", "washers drain hose kinked", "the belt on her washer is broken",
    "furnace belt squeals", "fridge fuse blown", "filter in the air conditioner packed", "bath fan duct is clear",
    "kitchen hood vent full of lint", "water heater vent is clear", "dishwasher hose good", "washer motor shot",
    "replaced the washer belt", "washer door seal torn", "freezer cord out", "boiler thermostat open", "oven igniter 60 ohm",
    "oven door seal loose", "furnace blower wheel loose", "stove gas valve coils open", "washer timer contacts burnt",
    "cleaned the furnace filter", "water heater thermocouple open", "washer plug out",
    "unplugged the washer", "washer is unplugged", "fridge power off", "the range hood flap stays shut", "washer front panel off",
    "furnace gas off", "shut the gas to the water heater", "washer drum spins free", "bathroom vent weak air",
    "furnace flame sensor open", "washer breaker off", "the freezer has a bad thermistor",
)  # fmt: skip
STILL_READ = {
    "clothes come out of the washer dripping": "wet_from_washer=yes",
    "range and water heater work": "other_appliances=work",
    "furnace and stove dead": "other_appliances=dead",
    "bath fan tees into the duct": "duct_look=shared",
    "lint screen clean": "lint_screen_look=clean",
    "drum belt broken": "belt_rollers_look=broken",
    "transition hose good": "transition_look=sound",
    "hood flap weak, furnace next to it": "hood_flap=weak",
}
TAILS = (
    "gas on but no gas coming through", "cock is open but no gas getting to it", "opened the gas but nothing coming out",
    "gas is on, no gas at the burner", "gas on but none coming thru", "cock open, still no gas", "gas back on but no gas flowing",
    "plugged in but no juice", "power on but no power at the outlet", "gas cock open yet no gas", "turned the gas on but no gas",
    "breaker on but nothing", "gas on, nothing at the burner", "cock open but no gas to the dryer", "plugged in, completely dead",
    "opened the cock but no gas going thru it", "gas on but no gas here", "power back on but dead",
    "gas opened but no gas comes out",
    "cock opened, no gas yet",
)  # fmt: skip
SHORT = (
    "front off but on", "front on but off", "gas off but on", "plug out but in", "power on but off", "gas on but off",
    "rear off but on", "duct off but on",
)  # fmt: skip


@pytest.mark.parametrize("line", OTHERS)
def test_another_appliances_part_is_none_of_the_dryers(line: str, dryer: Appliance, store: Store) -> None:
    """It is kept as a remark, or asked about; nothing of it is taken for the dryer's."""
    steps, _, told = heard_from(dryer, store, line)
    assert all(isinstance(step, Note) for step in steps), steps
    assert told


def test_what_may_let_exhaust_in_is_heard_all_the_same(dryer: Appliance, store: Store) -> None:
    """A duct of a bath fan may be joined to the dryer's: that is never put aside as another appliance's."""
    assert "duct_look=shared" in becomes(dryer, store, "vent of the bathroom fan crushed")[0]


@pytest.mark.parametrize(("line", "shown"), STILL_READ.items())
def test_what_is_said_of_the_others_for_the_dryers_sake_is_read(
    line: str, shown: str, dryer: Appliance, store: Store
) -> None:
    """Load from the washer, gas at the stove, a shared duct; and the dryer's own."""
    assert shown in becomes(dryer, store, line)[0]


@pytest.mark.parametrize("line", TAILS)
def test_what_stands_behind_a_state_is_asked_about(line: str, dryer: Appliance, store: Store) -> None:
    """A cock that is open and no gas behind it: the second is what counts."""
    told = becomes(dryer, store, line)[1]
    assert "?  " in told or "!! " in told or "does_nothing" in told or "Not understood" in told, told


@pytest.mark.parametrize("line", SHORT)
def test_two_states_of_one_thing_are_asked_about(line: str, dryer: Appliance, store: Store) -> None:
    """Which one is so now."""
    entered, told = becomes(dryer, store, line, ready=("unplugged", "gas_shut"))
    assert entered == [] and told
