"""One simulated service call: what policies play against."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from faultodds_sim.call import BLOCK, Observation, SimCall, calls
from faultodds_sim.errors import SimError, UnknownNameError
from faultodds_sim.facts import EQUIPMENT, FACTS
from faultodds_sim.faults import MODE_NEEDS, MODES
from faultodds_sim.names import CHECKS, NOTHING, SYMPTOMS, UNLISTED
from faultodds_sim.repairs import CURES


@lru_cache(maxsize=1)
def _calls() -> tuple[SimCall, ...]:
    return tuple(calls(160, seed=4))


def _fresh() -> list[SimCall]:
    for call in _calls():
        call.reset()
    return list(_calls())


def test_a_call_speaks_the_agreed_words() -> None:
    """Facts, equipment, complaint and modes hold only agreed names; what is unknown is left out."""
    for call in _fresh():
        assert all(value in FACTS[name] for name, value in call.facts.items())
        assert set(call.equipment) == set(EQUIPMENT)
        assert all(value in SYMPTOMS[name] for name, value in call.complaint.items())
        assert call.true_modes <= set(MODES)
        assert call.main_cause in call.true_modes
    assert any(len(call.facts) < len(FACTS) for call in _calls())
    assert any(len(call.true_modes) > 1 for call in _calls())


def test_modes_fit_the_equipment() -> None:
    """No machine has a fault in a part that it does not have, and one component has one mode."""
    for call in _calls():
        for mode in call.true_modes:
            field, value = MODE_NEEDS.get(mode, ("", 0.0))
            if field == "board":
                assert call.equipment["control"] == ("board" if value else "timer")
            if field == "auto":
                assert call.equipment["auto_dry"] == "yes"
        parts = [mode.split(".")[0] for mode in call.true_modes]
        assert len(parts) == len(set(parts))


def test_the_same_call_whatever_the_number() -> None:
    """Call 3 of seed 4 is the same when 4 or 160 are asked for, and another seed gives others."""
    few = list(calls(4, seed=4))
    many = _fresh()
    for a, b in zip(few, many, strict=False):
        assert (a.facts, a.complaint, a.true_modes, a.number) == (
            b.facts,
            b.complaint,
            b.true_modes,
            b.number,
        )
        assert a.check("hood_flap") == b.check("hood_flap")
    other = [call.true_modes for call in calls(4, seed=5)]
    assert other != [call.true_modes for call in few]
    assert BLOCK >= 160


@settings(max_examples=30, deadline=None)
@given(number=st.integers(0, 159), order=st.permutations(sorted(CHECKS)))
def test_results_do_not_depend_on_the_order(number: int, order: list[str]) -> None:
    """What a check shows depends on the call, the check and how often it was done, not on what was asked
    before.
    """
    call = _calls()[number]

    def results(names: list[str]) -> dict[str, Observation]:
        call.reset()
        return {name: call.check(name) for name in names if call.possible(name)}

    assert results(order) == results(sorted(CHECKS))


def test_a_second_look_is_a_new_one() -> None:
    """Doing a metered check again gives a new reading, the same ones each time the call is played."""
    call = _fresh()[0]
    first = [call.check("igniter_ohms").value for _ in range(3)]
    call.reset()
    assert [call.check("igniter_ohms").value for _ in range(3)] == first
    assert len(set(first)) == 3


def test_observations_are_complete() -> None:
    """Outcome from the check's list, unit and text as typed, a value exactly when there is a unit."""
    for call in _fresh()[:40]:
        for name in filter(call.possible, CHECKS):
            seen = call.check(name)
            assert seen.outcome in CHECKS[name]
            assert seen.text
            assert (seen.value is None) == (seen.unit == "")
            assert 40 < (seen.ambient_f or 0) < 100


def test_repairs_change_the_machine() -> None:
    """A machine with a fault does not work; with all its faults cured, nearly all do, and few come back."""
    works, back, total = 0, 0, 0
    for call in _fresh():
        if {NOTHING, UNLISTED} & call.true_modes:
            continue
        total += 1
        for mode in sorted(call.true_modes):
            call.repair(CURES[mode][-1])
        works += call.works()
        back += call.comes_back()
    assert total > 140
    assert works / total > 0.9
    assert back / total < 0.12


def test_faulty_machines_do_not_work_and_most_customers_come_back() -> None:
    """Before any repair most machines do not work, apart from those with nothing wrong."""
    faulty = [call for call in _fresh() if NOTHING not in call.true_modes]
    assert np.mean([call.works() for call in faulty]) < 0.05
    assert np.mean([call.comes_back() for call in faulty]) > 0.8
    fine = [call for call in _fresh() if NOTHING in call.true_modes]
    assert all(call.works() for call in fine)


def test_a_wrong_part_changes_nothing() -> None:
    """Changing a sound part leaves modes, readings and verdict as they were."""
    call = next(c for c in _fresh() if c.true_modes == {"duct.partly_blocked"})
    before = call.check("static_pressure")
    call.reset()
    call.repair("igniter")
    assert call.modes_left == {"duct.partly_blocked"}
    assert call.check("static_pressure") == before
    assert not call.works()
    assert call.repairs_done == ["igniter"]


def test_the_fuse_blows_again_in_a_blocked_duct() -> None:
    """A fuse changed without clearing the duct that blew it leaves a customer who comes back; clearing it
    does not.
    """
    pair = {"duct.nearly_blocked", "thermal_fuse.open"}
    blown = [call for call in calls(600, seed=9) if call.true_modes == pair]
    assert blown
    for call in blown:
        call.repair("thermal_fuse")
        assert not call.works()
    cleared = []
    for call in blown:
        call.repair("clean_duct")
        cleared.append(call.works())
    assert np.mean(cleared) > 0.7


def test_verification_and_works_mostly_agree() -> None:
    """The wet load after a full cure is dry in time for nearly all; before it, for few of the heat and
    air faults.
    """
    dry = []
    for call in _fresh():
        for mode in sorted(call.true_modes):
            for repair in CURES.get(mode, ())[-1:]:
                call.repair(repair)
        dry.append(call.verify() == "dry_in_time")
    assert np.mean(dry) > 0.88
    cold = [c.verify() for c in _fresh() if c.complaint.get("heat") == "none" and not c.works()]
    assert np.mean([outcome == "dry_in_time" for outcome in cold]) < 0.25


def test_technicians_differ() -> None:
    """The best technician of the shop calls fewer outcomes differently from a perfect one than the worst."""

    def differing(who: str) -> int:
        count = 0
        for call in _fresh()[:60]:
            names = [name for name in CHECKS if call.possible(name)]
            theirs = [call.check(name, who).outcome for name in names]
            call.reset()
            count += sum(a != call.check(name, 1.0).outcome for a, name in zip(theirs, names, strict=True))
        return count

    assert differing("T1") < differing("T4")


def test_own_random_numbers_can_be_used() -> None:
    """With a generator of the caller's, readings come from it."""
    call = _fresh()[0]
    one = call.check("igniter_ohms", rng=np.random.default_rng(1)).value
    two = call.check("igniter_ohms", rng=np.random.default_rng(1)).value
    assert one == two


def test_bad_input_is_refused() -> None:
    """Strange checks, repairs, technicians and numbers are named, with the nearest valid name."""
    call = _fresh()[0]
    with pytest.raises(UnknownNameError) as check_error:
        call.check("coil_ohm")
    assert str(check_error.value) == "unknown check 'coil_ohm'; did you mean 'coil_ohms'?"
    with pytest.raises(UnknownNameError) as repair_error:
        call.repair("clean_ducts")
    assert str(repair_error.value) == "unknown repair 'clean_ducts'; did you mean 'clean_duct'?"
    with pytest.raises(UnknownNameError, match="unknown technician 'T9'; try one of: T1, T2, T3, T4"):
        call.check("hood_flap", "T9")
    with pytest.raises(SimError, match="cannot make -1 calls; give a number of 0 or more"):
        next(calls(-1))
    timer = next(c for c in _calls() if c.equipment["control"] == "timer")
    with pytest.raises(SimError) as fit_error:
        timer.check("thermistor_ohms")
    assert str(fit_error.value) == (
        "check 'thermistor_ohms' does not fit this machine: its control is 'timer'; ask `possible` first"
    )


def test_after_a_repair_the_technician_looks_and_is_seldom_wrong() -> None:
    """A customer who says of a cool machine that it is hot says so before anybody came; afterwards somebody feels the cabinet."""
    wrong = [call for call in calls(1500, 21) if call.mistaken().get("cabinet_hot") == "no"]
    assert len(wrong) > 5
    for call in wrong:
        call.repair("level")
    assert sum(call.ask("cabinet_hot") == "yes" for call in wrong) <= 1
