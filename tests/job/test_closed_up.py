""" "Closed up" is said of the panels. Gas that is shut and a plug that is out stay so until somebody says otherwise."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.job import Store
from said import becomes

OPENED = ("unplugged", "gas_shut", "front_open")
CLOSED = (
    "closed up", "all closed up", "buttoned up", "buttoned back up", "its closed up", "closed it up", "closed back up now",
    "everything closed up", "panels are back on", "its all closed up again", "screwed back together", "put back together",
    "closed her up", "machine closed up", "dryer is closed up", "all buttoned up now", "put it back together", "its back together",
    "reassembled", "bolted back up", "closed the machine up", "panels back on", "covers on again", "everything buttoned up",
)  # fmt: skip
MORE = (
    "closed up, gas on, plugged in", "closed up and ready to run", "not closed up", "closed up?", "gonna close up",
    "closed up except the rear", "half closed up", "good to go", "almost closed up", "closed up soon",
)  # fmt: skip


@pytest.mark.parametrize("line", CLOSED)
def test_closed_up_is_said_of_the_panels(line: str, dryer: Appliance, store: Store) -> None:
    """It is noted, and what is still shut off is said."""
    entered, told = becomes(dryer, store, line, ready=OPENED)
    assert entered == ["front_open: no"], (entered, told)
    assert "unplugged" in told and "gas" in told


@pytest.mark.parametrize("line", MORE)
def test_what_says_more_or_less_is_not(line: str, dryer: Appliance, store: Store) -> None:
    """Ready to run is more; a denial, a question, a plan or a rest is less."""
    assert becomes(dryer, store, line, ready=OPENED)[0] != ["front_open: no"]
