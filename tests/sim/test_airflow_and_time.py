"""Air falls and time rises with whatever is in the way; steps of any size tell the same story."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from faultodds_sim.airflow import working_point
from faultodds_sim.faults import apply, make
from faultodds_sim.households import draw_houses, sound_machines
from faultodds_sim.machines import Machines, typical
from faultodds_sim.runs import as_used, bench, verification
from faultodds_sim.simulation import simulate

BLOCKAGES = [
    "duct.partly_blocked",
    "duct.nearly_blocked",
    "duct.too_long",
    "hood.blocked",
    "transition.crushed",
    "lint_screen.coated",
    "lint_path.packed",
    "blower.hub_stripped",
    "blower.clogged",
]
GRID = np.linspace(0.0, 1.0, 15)


def _graded(mode: str, machine: Machines | None = None) -> Machines:
    """One machine at fifteen severities of a mode, side by side."""
    one = machine or typical(1)
    many = Machines(np.repeat(one.data, len(GRID), axis=1))
    apply(many, mode, GRID)
    return many


@pytest.mark.parametrize("mode", BLOCKAGES)
def test_air_falls_with_every_blockage(mode: str) -> None:
    """The worse the blockage, the less air, at every step of severity."""
    cfm = working_point(_graded(mode)).cfm
    assert np.all(np.diff(cfm) <= 1e-9)
    assert cfm[-1] < 0.75 * cfm[0]


@pytest.mark.parametrize("mode", BLOCKAGES)
def test_time_rises_with_every_blockage(mode: str) -> None:
    """The worse the blockage, the longer the load takes (a minute of grace for where a heat cycle happens
    to fall).
    """
    m = _graded(mode)
    minutes = simulate(m, as_used(m, 110.0), 10.0).dry_min
    never = np.where(np.isfinite(minutes), minutes, 1e3)
    assert np.all(np.diff(never) > -1.0), never
    assert never[-1] > 1.3 * never[0]


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    low=st.floats(0.0, 0.95),
    more=st.floats(0.01, 0.05),
    mode=st.sampled_from(BLOCKAGES[:7]),
)
def test_air_is_monotonic_in_any_house(seed: int, low: float, more: float, mode: str) -> None:
    """In any house, a little more blockage never gives more air, and never lowers the drying time by a
    heat cycle.
    """
    rng = np.random.default_rng(seed)
    one = sound_machines(draw_houses(1, rng), rng)
    pair = Machines(np.repeat(one.data, 2, axis=1))
    apply(pair, mode, np.array([low, low + more]))
    air = working_point(pair)
    assert air.cfm[1] <= air.cfm[0] + 1e-9
    minutes = simulate(pair, as_used(pair, 90.0), 20.0).dry_min
    assert minutes[1] > minutes[0] - 2.5 or np.isinf(minutes[0])


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_working_point_lies_on_both_curves(seed: int) -> None:
    """At the working point the blower's pressure equals what the resistances take, in any house with any
    blockage.
    """
    rng = np.random.default_rng(seed)
    m = sound_machines(draw_houses(4, rng), rng)
    apply(m, "duct.partly_blocked", rng.random(4))
    from faultodds_sim.airflow import inside_resistance

    air = working_point(m)
    fan = m.blower_wc - m.blower_wc * np.square(air.cfm / m.blower_cfm)
    taken = inside_resistance(m) * np.square(air.cfm / 100.0) + air.outlet_wc
    assert taken == pytest.approx(fan, rel=1e-9)


def test_duct_off_and_duct_leaks() -> None:
    """Taking the duct off gives more air and no pressure; a duct that has come off gives little air at
    the hood.
    """
    sound, off = typical(1), make(typical(1), "transition.come_off", 1.0)
    assert working_point(sound, duct_on=False).cfm > working_point(sound).cfm
    assert working_point(sound, duct_on=False).outlet_wc < 0.1 * working_point(sound).outlet_wc
    leak = working_point(off)
    assert leak.hood_cfm < 0.5 * leak.cfm


@pytest.mark.parametrize(
    "mode", ["nothing_wrong", "duct.partly_blocked", "drum_seals.worn", "cycling_thermostat.opens_low"]
)
def test_the_time_step_hardly_matters(mode: str) -> None:
    """Steps of 5 and 20 s give the same drying time within 6 %, of 5 and 30 s within 12 %."""
    m = make(typical(1), mode, 0.8)
    fine, usual, coarse = (float(simulate(m, as_used(m), dt).dry_min[0]) for dt in (5.0, 20.0, 30.0))
    assert usual == pytest.approx(fine, rel=0.06)
    assert coarse == pytest.approx(fine, rel=0.12)


def test_machines_do_not_mix() -> None:
    """A machine runs the same alone and in a batch of others."""
    rng = np.random.default_rng(1)
    m = sound_machines(draw_houses(12, rng), rng)
    apply(m, "coils.drop_out_hot", rng.random(12))
    together = simulate(m, as_used(m, 40.0), 20.0)
    for i in (0, 5, 11):
        alone = simulate(m.take(np.array([i])), as_used(m.take(np.array([i])), 40.0), 20.0)
        assert alone.gas_kwh[0] == together.gas_kwh[i]
        assert alone.dry_min[0] == together.dry_min[i]


def test_restriction_trips_the_limit_and_blows_the_fuse() -> None:
    """A sound machine trips nothing; less air trips the high limit, next to no air blows the thermal fuse
    for good.
    """
    m = _graded("duct.nearly_blocked")
    sound, runs = typical(1), simulate(m, as_used(m, 110.0), 20.0)
    quiet = simulate(sound, as_used(sound, 110.0), 20.0)
    assert quiet.limit_trips[0] == 0
    assert quiet.fuse_blew[0] == 0
    assert runs.limit_trips[0] > 5
    assert runs.fuse_blew[0] == 0
    assert runs.fuse_blew[-1] == 1
    flame = simulate(m, as_used(m, 140.0), 20.0, trace=True).trace["flame"]
    dead, alive = runs.fuse_blew > 0, runs.fuse_blew == 0
    assert flame[331:, dead].max() == 0.0  # after 110 min
    assert np.all(flame[331:, alive][:, :3].sum(axis=0) > 0.0)


def test_verification_tells_good_from_bad() -> None:
    """The timed wet load comes out dry of sound machines of any house, and damp of those short of heat or
    air.
    """
    rng = np.random.default_rng(2)
    m = sound_machines(draw_houses(100, rng), rng)
    assert (simulate(m, verification(m), 20.0).end_moisture < 0.1).mean() > 0.97
    apply(m, "burner.fouled", 0.8)
    assert (simulate(m, verification(m), 20.0).end_moisture > 0.11).mean() > 0.97


def test_bench_run_cycles_at_the_rating() -> None:
    """A sound machine's exhaust cuts off near its thermostat's rating (155 F, within 12
    F).
    """
    m = typical(1)
    cut_f = float(simulate(m, bench(m), 10.0).cutoff_c[0]) * 1.8 + 32.0
    assert abs(cut_f - 155.0) < 12.0
