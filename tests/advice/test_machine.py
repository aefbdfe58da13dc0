"""Machine states: safe order, shared access, what is owed."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from faultodds.advice.machine import CLOSED_UP, MachineStates, State
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge, Work

PANELS = {"front_open", "rear_open"}
SHUT_OFF = {"unplugged", "gas_shut"}
WALKS = 10_000


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return load("gas_dryer")


def _walk_safely(start: State, moves: list[tuple[str, bool]], what: str) -> set[str]:
    """Replay moves knowing only the safety rules: no panel comes off or goes back with power or gas on."""
    state = set(start)
    for item, opens in moves:
        if item in PANELS:
            assert state >= SHUT_OFF, f"{what}: {item} moved with {SHUT_OFF - state} not done"
        if item == "duct_off" or item in PANELS:
            assert item != "rear_open" or "pulled_out" in state, f"{what}: rear panel reached against the wall"
        if opens:
            state.add(item)
        else:
            state.discard(item)
    return state


def test_no_way_is_unsafe_over_ten_thousand_random_states(dryer: Knowledge) -> None:
    """From any state reached by any work, the way to any other work keeps power and gas off wherever a hand goes in."""
    machine = MachineStates(dryer)
    rng = np.random.default_rng(7)
    jobs: list[tuple[str, Work]] = [*dryer.check.items(), *dryer.repair.items()]
    state: State = CLOSED_UP
    for _ in range(WALKS):
        name, work = jobs[int(rng.integers(len(jobs)))]
        way = machine.to_work(state, work)
        after = _walk_safely(state, [(m.item, m.opens) for m in way.moves], name)
        assert after == way.after
        inside = set(work.access) & PANELS
        if inside and not work.running:
            assert after >= SHUT_OFF, f"{name}: hands inside with power or gas on"
        if work.running:
            assert not after & SHUT_OFF, f"{name}: cannot run"
            assert not (after & PANELS) or (work.energised and work.qualified), f"{name}: runs with a panel off"
        assert not after & set(work.closed), f"{name}: needs {work.closed} closed"
        state = way.after


def test_energised_work_is_for_qualified_people_and_says_so(dryer: Knowledge) -> None:
    """Every check that runs the machine with a panel off is marked, and carries a caution about live parts."""
    machine = MachineStates(dryer)
    for name, check in dryer.check.items():
        if check.running and machine.to_work(CLOSED_UP, check).after & PANELS:
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
        _walk_safely(state, [(m.item, m.opens) for m in way.moves], "closing up")
        assert way.after == CLOSED_UP
        assert way.charged >= -1e-9


def test_the_verification_run_is_made_as_the_customer_will_use_it(dryer: Knowledge) -> None:
    """Before the run the duct is back on and the dryer pushed back."""
    machine = MachineStates(dryer)
    way = machine.to_work(frozenset({"pulled_out", "duct_off"}), dryer.check["verification_run"])
    assert way.after == CLOSED_UP
    assert [m.item for m in way.moves] == ["duct_off", "pulled_out"]
