"""An igniter that reads near nothing is asked about once, for the leads may touch; said to be shorted, it is no good."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.job import Store
from said import becomes

SHORTED = (
    "igniter shorted", "ignitor is shorted", "igniter_ohms shorted", "igniter_ohms=shorted", "igniter_ohms dead short",
    "igniter ohms still shorted", "igniter_ohms shorted twice", "igniter_ohms short circuit", "igniter_ohms=short",
    "igniter_ohms = dead shorted",
)  # fmt: skip
NEAR_NOTHING = (
    "igniter 0 ohms", "igniter_ohms 0 ohm", "igniter reads 2 ohms", "igniter_ohms 0.4 ohm", "igniter_ohms=1 ohm", "igniter 5 ohm",
    "ignitor 0.0 ohm", "igniter_ohms 3 ohm", "igniter_ohms=0.1 ohm", "igniter 12 ohms",
)  # fmt: skip


@pytest.mark.parametrize("line", SHORTED)
def test_a_shorted_igniter_is_no_good(line: str, dryer: Appliance, store: Store) -> None:
    """It counts with the open ones: the part is the same."""
    assert becomes(dryer, store, line)[0][:1] == ["igniter_ohms=open"]


@pytest.mark.parametrize("line", NEAR_NOTHING)
def test_near_nothing_is_asked_about_and_answered_in_a_word(line: str, dryer: Appliance, store: Store) -> None:
    """Never good, and never noted before the leads were looked at."""
    entered, told = becomes(dryer, store, line)
    assert entered == [] and "leads touch" in told and "shorted" in told
    assert becomes(dryer, store, line, answers=["shorted"])[0][:1] == ["igniter_ohms=open"]


@pytest.mark.parametrize(
    "line", ["igniter not shorted", "igniter_ohms 70 ohm", "igniter isnt shorted", "igniter maybe shorted"]
)
def test_what_is_no_short_is_not(line: str, dryer: Appliance, store: Store) -> None:
    """A denial, a doubt, a good one."""
    assert "igniter_ohms=open" not in becomes(dryer, store, line)[0]
