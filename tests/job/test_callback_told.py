"""A callback told in a line of a new job: kept word for word, with how the earlier job is gone on with; no work of this call."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.job import Store
from said import becomes

TOLD = (
    "callback, put an igniter in last month and its out again", "call back. swapped the fuse 2 weeks ago, dead again",
    "callback - cleaned the vent in march, slow again", "return call, replaced belt last visit, squeals",
    "callback on the coils i did",
    "its a callback, we changed the thermostat last week", "callback: new igniter tuesday, no glow",
    "recall, did the rollers yesterday",
    "callback did coils friday still nothing", "call back on my own job, replaced sensor ten days ago",
    "callback, fitted coils last time",
    "warranty callback, new motor 3 weeks ago", "callback, i did the seals", "callback replaced thermal fuse monday, blown again",
    "return visit, did the igniter last week no heat", "callback, cleaned lint path last week",
    "go back, changed the timer on friday",
    "callback from last week, swapped the board", "callback, done the belt a month ago",
    "customer called back, did the coils last week",
)  # fmt: skip


@pytest.mark.parametrize("line", TOLD)
def test_a_callback_is_kept_and_the_earlier_job_named(line: str, dryer: Appliance, store: Store) -> None:
    """Work of the last call is none of this one, and nothing of the line is lost."""
    entered, told = becomes(dryer, store, line)
    assert f"note: {line}" in entered and not [each for each in entered if each.startswith("repair=")], entered
    assert "faultodds bench" in told


@pytest.mark.parametrize("line", ["replaced the igniter", "customer will call back", "no heat", "callback"])
def test_what_tells_of_no_earlier_work_is_not_one(line: str, dryer: Appliance, store: Store) -> None:
    """Work of now, a plan, a complaint."""
    assert "faultodds bench NUMBER" not in becomes(dryer, store, line)[1]
