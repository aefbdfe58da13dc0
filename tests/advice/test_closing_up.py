"""What a run costs from where the machine is: closing up what is open comes before it, and is in its price."""

from __future__ import annotations

import re

import pytest

from faultodds.advice.advisor import advise
from faultodds.advice.doing import action
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import infer
from job_states import random_job_states

RUN = "verification_run"


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer", revision="file")


def test_the_price_of_a_run_holds_the_minutes_of_every_step_told_before_it(dryer: Appliance) -> None:
    """On random job states: what the moves before a run take, by the file, and the run itself; the price that is told of it is
    the same in the list and with its steps. A repair that opens nothing more costs the run, the closing up and its own work."""
    k, with_something = dryer.knowledge, 0
    for each in random_job_states(dryer, 32, 4):
        advice = advise(dryer, infer(dryer.suspects, each.evidence), each.situation)
        rate, state = k.costs.labour_rate, each.situation.state
        run = next((c for c in advice.checks if c.name == RUN), None)
        told = action(dryer, RUN, state)
        moves = [line.move for line in told.lines if line.move is not None]
        items = [(k.access[m.item].open_minutes if m.opens else k.access[m.item].close_minutes) for m in moves]
        minutes = sum(items) + k.check[RUN].minutes
        assert told.price.minutes == pytest.approx(minutes)
        if run is not None:
            assert run.price.minutes == pytest.approx(minutes)
            with_something += bool(items)
        for repair in advice.repairs:
            work = [k.repair[n] for n in (repair.name, *repair.together)]
            if all(set(w.access) <= state for w in work) and rate:
                assert repair.price.minutes >= minutes + sum(w.minutes for w in work) - 1e-9
    assert with_something >= 3


def test_the_reason_tells_the_closing_up_apart(dryer: Appliance) -> None:
    """The minutes of running, and those of closing up where there are any."""
    repaired = (repair_effect(dryer.knowledge, "igniter"),)
    evidence = Evidence({}, (WeighedFinding("heat", {"none": 1.0}),), repaired)
    belief = infer(dryer.suspects, evidence)
    opened = advise(dryer, belief, Situation(frozenset({"unplugged", "gas_shut", "front_open"})))
    shut = advise(dryer, belief)
    assert opened.name == shut.name == RUN
    assert re.search(r"25 minutes of running, after \d+ of closing up, tell", opened.why)
    assert "25 minutes of running tell" in shut.why
