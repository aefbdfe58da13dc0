"""Work of another day is none of this call, and is not said to be undone; whose fault it is tells of no codes."""

from __future__ import annotations

from faultodds.job import sayings
from faultodds.knowledge.loading import load

EARLIER = (
    "we changed fuse mon", "swapped coils fri", "installed thermal fuse monday",
    "replaced igniter on sat, dead again thurs",
    "customers son changed the fuse sunday",
    "fitted new igniter last thursday",
    "changed coils on wednesday", "he replaced the belt sat",
)  # fmt: skip
STILL = (
    "fit coils friday",
    "will replace igniter mon",
    "new igniter tuesday",
    "replaced coils",
    "replaced fuse, back on friday",
)
FAULT = ("not our fault, cust overloads", "dryer not at fault, hood is clogged", "not my fault", "nobodys fault")


def test_work_of_another_day_is_a_remark() -> None:
    """Neither done on this call nor undone; and a plan, or work of today, is no remark."""
    dryer = load("gas_dryer")
    told = {line: {(s.kind, s.name[:12]) for s in sayings.understand(dryer, line)} for line in (*EARLIER, *STILL)}
    assert {line for line in EARLIER if told[line] != {("noted", "Earlier work")}} == set()
    assert {line for line in STILL if ("noted", "Earlier work") in told[line]} == set()
    assert ("repair", "coil_set") in told["replaced coils"]


def test_whose_fault_it_is_is_no_code() -> None:
    """What else such a line tells is taken."""
    dryer = load("gas_dryer")
    said = {line: [(s.name, s.value) for s in sayings.understand(dryer, line) if s.kind == "finding"] for line in FAULT}
    assert not any(name == "diagnostic_codes" for each in said.values() for name, _ in each)
    assert ("load_questions", "overloaded") in said[FAULT[0]] and ("duct_look", "lint") in said[FAULT[1]]
    codes = sayings.understand(dryer, "no fault codes")
    assert [(s.name, s.value) for s in codes] == [("diagnostic_codes", "none")]
