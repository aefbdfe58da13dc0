"""The invented shop: who calls, why, and what its technicians make of it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from faultodds_sim.cases import Cases, draw_cases, modes_left
from faultodds_sim.findings import NONE, REPAIR_NAMES, TECH_NAMES
from faultodds_sim.hazards import CODE, MODE_NAMES, yearly_rates
from faultodds_sim.households import draw_houses, month_of
from faultodds_sim.jobs import chunk_size, chunks
from faultodds_sim.names import NOTHING
from faultodds_sim.runs import Run
from faultodds_sim.shop import DT, MINUTES, Visit, assign, visit
from faultodds_sim.technicians import TECHNICIANS, technician

#: Shares in per cent of slow-dry and no-heat calls: first guesses (common practice, no source).
FIRST_GUESSES = {
    "duct": 22.0,
    "hood": 4.0,
    "transition": 5.6,
    "lint_screen": 5.0,
    "lint_path": 3.0,
    "blower": 3.5,
    "coils": 12.0,
    "igniter": 6.0,
    "moisture_sensor": 3.8,
    "drum_seals": 2.5,
    "use": 4.3,
    "washer": 3.0,
    "flame_sensor": 2.7,
}


@lru_cache(maxsize=1)
def _town() -> tuple[Cases, Visit]:
    rng = np.random.default_rng(21)
    cases = draw_cases(2500, rng, DT, MINUTES)
    return cases, visit(cases, assign(cases, rng), rng)


@pytest.mark.parametrize("component", sorted(FIRST_GUESSES))
def test_shares_are_in_the_trade_s_ballpark(component: str) -> None:
    """Each larger component's share of main causes is within a factor of two of the first guess (common
    practice, no source).
    """
    cases, _ = _town()
    component_of = np.array([name.split(".")[0] for name in MODE_NAMES])
    share = 100.0 * np.mean(component_of[cases.main] == component)
    assert FIRST_GUESSES[component] / 2.0 < share < FIRST_GUESSES[component] * 2.0


def test_neglect_and_age_bring_faults() -> None:
    """Lint faults grow with time since cleaning, ignition faults with age; a machine without a board has
    no board fault.
    """
    rng = np.random.default_rng(3)
    houses = draw_houses(4000, rng)
    rates = yearly_rates(houses)
    duct, coils, board = (
        rates[CODE["duct.nearly_blocked"]],
        rates[CODE["coils.drop_out_hot"]],
        rates[CODE["board.heat_relay_open"]],
    )
    long, old = houses.months_since_clean > 36.0, houses.age > 12.0
    assert duct[long].mean() > 2.0 * duct[~long].mean()
    assert coils[old].mean() > 1.5 * coils[~old].mean()
    assert np.all(board[~houses.board] == 0.0)
    assert np.all(rates >= 0.0)


def test_restriction_brings_on_blown_fuses() -> None:
    """A thermal fuse is open several times as often when the duct is nearly blocked as when the coils are
    bad.
    """
    cases, _ = _town()
    fuse = cases.present[CODE["thermal_fuse.open"]]
    blocked, coils = cases.main == CODE["duct.nearly_blocked"], cases.main == CODE["coils.drop_out_hot"]
    assert fuse[blocked].mean() > 4.0 * max(fuse[coils].mean(), 0.01)


def test_seasons() -> None:
    """Nests and flaps are a matter of spring; month follows from the day after 3 January 2022."""
    assert month_of(np.array([0, 28, 29, 364, 365])).tolist() == [0, 0, 1, 0, 0]
    rng = np.random.default_rng(3)
    houses = draw_houses(5000, rng)
    hood = yearly_rates(houses)[CODE["hood.blocked"]]
    spring = (houses.month >= 2) & (houses.month <= 5)
    assert hood[spring].mean() > 1.5 * hood[~spring].mean()


def test_technicians_differ_in_result() -> None:
    """The skilled technician leaves more machines working than the hurried one, and writes more down."""
    _, done = _town()
    works = {name: done.works[done.tech == i].mean() for i, name in enumerate(TECH_NAMES)}
    assert works["T1"] > works["T4"] + 0.08
    assert technician("T1").writes > technician("T4").writes
    checks = {name: done.done[:, done.tech == i].sum(axis=0).mean() for i, name in enumerate(TECH_NAMES)}
    assert checks["T4"] < checks["T1"]
    assert len(TECHNICIANS) == 4


def test_the_shop_is_neither_perfect_nor_hopeless() -> None:
    """First visits leave half to nine tenths working; a twentieth to two fifths come back; some parts are
    guesses.
    """
    cases, done = _town()
    assert 0.5 < done.works.mean() < 0.9
    assert 0.05 < (done.back_days <= 30.0).mean() < 0.4
    good_igniter = ~cases.present[CODE["igniter.open"]]
    changed = (done.repairs == REPAIR_NAMES.index("igniter")).any(axis=0)
    assert (changed & good_igniter).sum() > 5  # parts replaced on a guess
    assert ((done.repairs == NONE).all(axis=0)).sum() > 5


def test_cured_modes_are_gone() -> None:
    """After a visit that leaves a machine as it was when sound, no mode is left in it."""
    cases, done = _town()
    left = modes_left(done.after, cases.sound, cases.present)
    as_new = (done.after.data == cases.sound.data).all(axis=0)
    real = cases.main != CODE[NOTHING]
    assert as_new[real].sum() > 500
    left[CODE[NOTHING]] = False
    assert not left[:, as_new].any()
    assert np.all(left <= cases.present)


def test_everybody_who_calls_has_a_reason() -> None:
    """Every caller but those with nothing wrong has a slow, cold or otherwise troublesome machine."""
    cases, _ = _town()
    slow = cases.used.dry_min > 1.1 * cases.normal_min
    assert slow.mean() > 0.8
    nothing = cases.main == CODE[NOTHING]
    assert 0.003 < nothing.mean() < 0.05
    assert np.all(cases.used.dry_min[nothing] < 1.31 * cases.normal_min[nothing])
    assert isinstance(cases.used, Run)


def test_chunks_are_made_of_one_seed() -> None:
    """The same jobs and seed give the same chunks; callbacks point at first visits, later and within 30
    days.
    """
    first, second = next(chunks(200, 5))
    again, _ = next(chunks(200, 5))
    assert np.array_equal(first.visit.value, again.visit.value, equal_nan=True)
    assert np.all(second.day > first.day[second.first])
    assert np.all(second.day <= first.day[second.first] + 30.0)
    assert len(second) > 5
    assert chunk_size(10) == 64
    assert chunk_size(10**6) == 8192
