"""Machine states: safe order, shared access, what is owed."""

from __future__ import annotations

import itertools

import pytest

from faultodds.advice.machine import CLOSED_UP, MachineStates
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge

PANELS = {"front_open", "rear_open"}


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return load("gas_dryer")


def test_energised_work_is_for_qualified_people_and_says_so(dryer: Knowledge) -> None:
    """Every check that runs the machine with a panel off is marked, and carries a caution about live parts."""
    machine = MachineStates(dryer)
    for name, check in dryer.check.items():
        if check.running and {m.item for m in machine.to_work(CLOSED_UP, check).moves} & PANELS:
            covers = {hazard for c in check.cautions for hazard in dryer.caution[c].covers}
            assert check.qualified and "energised" in covers, name


def test_access_is_paid_once(dryer: Knowledge) -> None:
    """Two checks behind the same panel cost the opening and closing once."""
    machine = MachineStates(dryer)
    first, second = dryer.check["igniter_ohms"], dryer.check["coil_ohms"]
    way = machine.to_work(CLOSED_UP, first)
    assert way.charged == pytest.approx(1 + 1 + 8 + 1 + 1 + 7)
    assert machine.to_work(way.after, second).charged == 0.0


def test_closing_up_pays_what_is_owed_and_ends_closed(dryer: Knowledge) -> None:
    """From every state that any two jobs lead to, closing up ends with everything back and costs only what was owed."""
    machine = MachineStates(dryer)
    jobs = [*dryer.check.values(), *dryer.repair.values()]
    for a, b in itertools.product(jobs, jobs):
        state = machine.to_work(machine.to_work(CLOSED_UP, a).after, b).after
        way = machine.closing_up(state)
        assert way.after == CLOSED_UP
        assert way.charged >= -1e-9


def test_the_verification_run_is_made_as_the_customer_will_use_it(dryer: Knowledge) -> None:
    """Before the run the duct is back on and the dryer pushed back."""
    machine = MachineStates(dryer)
    way = machine.to_work(frozenset({"pulled_out", "duct_off"}), dryer.check["verification_run"])
    assert way.after == CLOSED_UP
    assert [m.item for m in way.moves] == ["duct_off", "pulled_out"]


def test_live_work_is_priced_with_its_shutting_off_twice(dryer: Knowledge) -> None:
    """Power and gas come on for the reading and go off again: the way takes those minutes, and leaves the machine dead."""
    machine = MachineStates(dryer)
    dead = machine.to_work(CLOSED_UP, dryer.check["igniter_ohms"])
    live = machine.to_work(CLOSED_UP, dryer.check["burner_voltage"])
    assert live.minutes == pytest.approx(dead.minutes + 4)
    assert live.after == dead.after == {"unplugged", "gas_shut", "front_open"}


def test_what_runs_first_runs_closed_up(dryer: Knowledge) -> None:
    """Coils are measured hot after a run with the panel on: from an open machine that is closing up, running and opening again."""
    machine, hot = MachineStates(dryer), dryer.check["coil_ohms_hot"]
    inside = machine.to_work(CLOSED_UP, dryer.check["coil_ohms"]).after
    moves = [(m.item, m.opens) for m in machine.to_work(inside, hot).moves]
    assert moves[:3] == [("front_open", False), ("gas_shut", False), ("unplugged", False)]
    assert moves[3:] == [("unplugged", True), ("gas_shut", True), ("front_open", True)]
