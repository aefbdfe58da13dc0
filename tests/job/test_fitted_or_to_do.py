""" "Fit new coils" may be told of work that was done or is to be: asked, and a word answers. A part on order is kept as a
remark, and is no work done."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.job import Store
from said import becomes

FIT = {
    "fit new igniter": "igniter", "install new coils": "coil_set", "replace thermal fuse": "thermal_fuse",
    "change the belt": "belt_idler",
    "swap the igniter": "igniter", "fit a new timer": "timer", "install a thermistor": "thermistor",
    "replace the drum seals": "drum_seals",
    "change out the flame sensor": "flame_sensor", "swap rollers": "rollers", "fit new door seal": "door_seal",
    "replace gas valve": "gas_valve", "replace the motor": "motor", "fit cycling thermostat": "cycling_thermostat",
    "replace board": "board", "fitting new coils": "coil_set", "replacing the igniter": "igniter",
    "installing a new belt": "belt_idler",
    "change the thermal fuse": "thermal_fuse", "swap coils": "coil_set", "fit motor fuse": "motor_fuse",
}  # fmt: skip
PLANNED = (
    "need to fit new coils", "will replace the igniter", "fit new coils tomorrow", "going to swap the belt",
    "should replace the fuse",
    "gonna change the igniter", "wants to replace the motor", "fit new igniter next visit", "have to install a new timer",
    "recommend replace the drum seals", "had to order a board", "need to order an igniter", "ordering a flame sensor",
    "should order coils", "rollers tomorrow", "will order a belt tomorrow", "need coils ordered", "want the igniter ordered",
)  # fmt: skip
ORDERED = (
    "igniter on order, back monday", "ordered new coils", "belt is on order", "timer backordered",
    "gas valve on backorder, 2 weeks",
    "thermistor ordered, second visit friday", "coils ordered will be here tuesday",
    "drum seals on order, will come back", "ordered thermal fuse from supply house",
    "rollers ordered", "motor is back ordered", "new igniter on order", "ordered a door seal",
    "fuse ordered, customer knows", "on order: igniter", "belt and idler ordered",
)  # fmt: skip


@pytest.mark.parametrize(("line", "work"), FIT.items())
def test_an_order_or_a_report_is_asked_about(line: str, work: str, dryer: Appliance, store: Store) -> None:
    """Nothing is entered before that is plain; then it is the work that was named."""
    entered, told = becomes(dryer, store, line)
    assert entered == [] and "still to do" in told, (entered, told)
    for yes in ("fitted", "done", "yes", "its in"):
        assert f"repair={work}" in becomes(dryer, store, line, answers=[yes])[0]
    for no in ("still to do", "no", "not yet"):
        assert becomes(dryer, store, line, answers=[no])[0] == []


@pytest.mark.parametrize("line", [*PLANNED, *ORDERED])
def test_a_plan_is_no_work_done(line: str, dryer: Appliance, store: Store) -> None:
    """Nor does a yes behind it make it so."""
    entered, told = becomes(dryer, store, line, answers=["yes"])
    assert not [each for each in entered if each.startswith("repair=")] and told


def test_a_part_on_order_is_kept(dryer: Appliance, store: Store) -> None:
    """As a remark, word for word: what is to be brought on the second visit."""
    kept = [line for line in ORDERED if becomes(dryer, store, line)[0] == [f"note: {line}"]]
    assert len(kept) >= len(ORDERED) * 3 // 4, {*ORDERED} - {*kept}
