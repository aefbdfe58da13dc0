"""Machine states: safe order, shared access, what is owed."""

from __future__ import annotations

import itertools

import pytest

from faultodds.advice.advisor import advise
from faultodds.advice.doing import action
from faultodds.advice.machine import CLOSED_UP, MachineStates
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence
from faultodds.belief.posterior import infer
from faultodds.knowledge.fitted import fitted, kinds
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge

PANELS = {"front_open", "lower_open", "rear_open"}
LOWER = {"lower_panel": "yes"}


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
    moved = ["unplugged", "gas_shut", "duct_off", "gas_shut", "pulled_out", "unplugged"]
    assert [m.item for m in way.moves] == moved


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


def test_a_lower_panel_is_the_way_in_where_there_is_one(dryer: Knowledge) -> None:
    """Two minutes of panel and four of plug and cock, in place of nineteen by the front; other work still goes by the front."""
    machine, lower = MachineStates(dryer), fitted(dryer, LOWER)
    for name in ("igniter_ohms", "coil_ohms", "flame_sensor_continuity"):
        assert machine.to_work(CLOSED_UP, lower.check[name]).charged == pytest.approx(6.0), name
        assert machine.to_work(CLOSED_UP, dryer.check[name]).charged == pytest.approx(19.0), name
    assert machine.to_work(CLOSED_UP, lower.check["blower_turn"]).charged == pytest.approx(19.0)
    assert fitted(dryer, {"lower_panel": "no"}) is fitted(dryer, {}) is dryer


def test_with_the_front_off_nobody_opens_the_lower_panel(dryer: Knowledge) -> None:
    """What is behind the lower panel is open when the front is off, before or for other work done with it, live work too."""
    machine, lower = MachineStates(dryer), fitted(dryer, LOWER)
    inside = machine.to_work(CLOSED_UP, lower.check["blower_turn"]).after
    assert machine.to_work(inside, lower.check["igniter_ohms"]).moves == ()
    assert machine.way(CLOSED_UP, {"lower_open", "front_open"}) == machine.way(CLOSED_UP, {"front_open"})
    live = machine.to_work(inside, lower.check["burner_voltage"])
    assert {m.item for m in live.moves} == {"unplugged", "gas_shut"} and live.after == inside
    behind = machine.to_work(CLOSED_UP, lower.check["igniter_ohms"]).after
    assert [m.item for m in machine.to_work(behind, lower.check["blower_turn"]).moves] == ["front_open"]


def test_not_knowing_the_machine_is_never_the_cheaper(dryer: Knowledge) -> None:
    """From a closed machine the general way costs at least what each kind of machine's own does: what is told can only help."""
    machine, cheaper = MachineStates(dryer), 0
    for kind in kinds(dryer):
        for name, work in {**kind.check, **kind.repair}.items():
            general = dryer.check.get(name) or dryer.repair[name]
            own, usual = (machine.to_work(CLOSED_UP, w).charged for w in (work, general))
            assert own <= usual, name
            cheaper += own < usual
    assert cheaper >= 13


@pytest.fixture(scope="module")
def appliance() -> Appliance:
    """The shipped gas dryer, compiled."""
    return open_appliance("gas_dryer", revision="file")


def test_price_and_steps_follow_what_is_told_of_the_machine(appliance: Appliance) -> None:
    """The fact changes no odds; the price of a check behind the panel, and its steps, are those of the machine at hand."""
    told: dict[str, tuple[float, list[str], dict[str, float]]] = {}
    for value in ("", "no", "yes"):
        facts = {"lower_panel": value} if value else {}
        belief = infer(appliance.suspects, Evidence(facts))
        price = next(c.price for c in advise(appliance, belief).checks if c.name == "igniter_ohms")
        how = action(appliance.fitted(facts), "igniter_ohms")
        assert how.price.way == price.way and how.price.cost == pytest.approx(price.cost)
        told[value] = price.minutes, how.steps, {o.name: o.probability for o in belief.fault_odds()}
    assert told[""][:2] == told["no"][:2]
    assert told["yes"][0] == pytest.approx(told["no"][0] - 13)
    steps = appliance.knowledge.access["lower_open"]
    assert steps.open_step in told["yes"][1] and steps.open_step not in told["no"][1]
    assert told["yes"][2] == pytest.approx(told["no"][2])


def test_what_runs_first_is_priced_as_closing_running_and_opening(appliance: Appliance) -> None:
    """From an open machine a hot reading costs the closing and the opening again, and its steps say so in that order."""
    for facts, there_and_back in (({}, 19.0), (LOWER, 6.0)):
        k = appliance.fitted(facts).knowledge
        machine, panel = MachineStates(k), k.check["coil_ohms"].access[0]
        inside = machine.to_work(CLOSED_UP, k.check["coil_ohms"]).after
        hot = action(appliance.fitted(facts), "coil_ohms_hot", inside)
        assert hot.price.minutes == pytest.approx(there_and_back + k.check["coil_ohms_hot"].minutes)
        run, shut, again = k.check["coil_ohms_hot"].run_first[0], k.access[panel].close_step, k.access[panel].open_step
        assert hot.steps.index(shut) < hot.steps.index(run) < hot.steps.index(again) < len(hot.steps) - 1
