"""What a technician types of the supply: volts, and a breaker that was found tripped."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.job import Store
from said import becomes


@pytest.mark.parametrize(
    "line",
    [
        "outlet_voltage=168",
        "outlet_voltage=131",
        "outlet_voltage 142 V",
        "outlet voltage 133",
        "outlet_voltage=130.5 v",
        "outlet_voltage=104 v",
        "outlet_voltage 101 V",
        "outlet voltage 99",
        "outlet_voltage=low",
        "outlet_voltage=94-118",
    ],
)
def test_more_volts_than_a_sound_supply_has_stop_and_fewer(line: str, dryer: Appliance, store: Store) -> None:
    """A neutral that may be lost: nobody is asked to type it as another number."""
    assert becomes(dryer, store, line)[0] == ["stop"]


@pytest.mark.parametrize(
    "line",
    [
        "outlet_voltage=118 V",
        "outlet_voltage=129",
        "outlet_voltage=109 v",
        "outlet_voltage=normal",
        "outlet_voltage=119, 2 readings",
        "outlet_voltage=168 mV",
        "dry_time=140",
    ],
)
def test_what_a_sound_supply_has_does_not(line: str, dryer: Appliance, store: Store) -> None:
    """Nor does a number of something else."""
    assert becomes(dryer, store, line)[0] != ["stop"]


FOUND_TRIPPED = (
    "breaker was tripped when i got here, reset it, holds", "breaker half tripped", "breaker was halfway",
    "breaker sitting in the middle", "found breaker tripped, flipped it back, ok now",
    "the gfci was tripped, pushed it in, stays in", "rcd had tripped, reset and it holds",
    "breaker tripped on arrival, put it back on", "afci tripped, reset once", "breaker handle half way",
    "breaker in the middle position", "gfi was popped, reset it", "breaker partly tripped",
    "her breaker was tripped so i reset it", "main breaker half off", "customer reset the tripped breaker",
    "reset a tripped breaker", "breaker between on and off", "found the rcd tripped, it holds now",
    "breaker tripped before i came, back on now", "breaker not fully on",
)  # fmt: skip


@pytest.mark.parametrize("line", FOUND_TRIPPED)
def test_a_breaker_that_was_found_tripped_is_asked_about(line: str, dryer: Appliance, store: Store) -> None:
    """It had a cause: that it holds now is not taken for all well, and no state of the machine is taken from it."""
    entered, told = becomes(dryer, store, line)
    assert entered == []
    assert "trips again" in told, told


@pytest.mark.parametrize(
    "line", ["breaker off", "turned the breaker off", "limit tripped at 250", "unplugged", "thermal fuse tripped"]
)
def test_what_is_no_tripped_breaker_is_not(line: str, dryer: Appliance, store: Store) -> None:
    """They share its words."""
    assert "trips again" not in becomes(dryer, store, line)[1]
