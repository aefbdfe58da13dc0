"""The simulator's physics against sources outside the project.

Each test names its source and how it was seen: S the source text or an official copy, 2 a second-hand
copy that names it, M from memory, C computed from an S or 2 figure, D derived and confirmed by brute
force.
"""

from __future__ import annotations

import numpy as np
import pytest

from faultodds_sim import ducts, gas, psychro
from faultodds_sim.airflow import air_speed, velocity_pressure
from faultodds_sim.checks import copper
from faultodds_sim.faults import make
from faultodds_sim.households import draw_houses, sound_machines
from faultodds_sim.machines import Machines, typical
from faultodds_sim.runs import as_used, federal_test
from faultodds_sim.simulation import simulate
from faultodds_sim.thermistor import CHART, chart_ohm, steinhart_hart

LB, KWH_PER_BTU = 0.45359237, 1.0 / 3412.142
MIN_CEF = 3.30
TEST_WATER_LB, TEST_LATENT_KWH = 4.690, 1.449
FLOOR_MIN = 13.5


def test_duct_fittings() -> None:
    """Equivalent length of 4 in fittings. IRC Table M1502.4.5.1 (the number moves by edition), S."""
    assert ducts.FITTING_FT == {"mitred_90": 5.0, "radius_6_90": 1.75}


def test_the_burner_and_the_meter_agree() -> None:
    """Clocking the simulated burner gives its input back. National Fuel Gas Code procedure, 2."""
    kw, fuel = np.array([6.45, 6.0, 3.0]), np.array([0.0, 1.0, 0.0])
    seconds = gas.dial_seconds(kw, fuel, 0.5)
    btuh = 3600.0 * 0.5 / seconds * gas.BTU_PER_CUFT[fuel.astype(int)]
    assert btuh * KWH_PER_BTU == pytest.approx(kw)


def test_altitude() -> None:
    """No change to 2,000 ft; 22,000 Btu/h is 17,600 at 5,000 ft. NFPA 54 text in UMC 2009 App. B, S."""
    assert gas.altitude_factor(2000.0) == 1.0
    assert 22000.0 * gas.altitude_factor(5000.0) == pytest.approx(17600.0)
    high = typical(1)
    high.altitude_ft[:] = 5000.0
    kw = gas.burner_kw(high.orifice_in, high.manifold_wc, high.fuel, high.altitude_ft, high.burner_fouled)
    assert float(kw[0]) / KWH_PER_BTU == pytest.approx(17600.0, rel=1e-6)


@pytest.mark.parametrize(
    ("drill_in", "inches", "cuft_h"),
    [
        (0.0135, 3.5, 0.516),
        (0.0200, 3.5, 1.133),
        (0.0200, 4.0, 1.211),
        (0.0280, 3.5, 2.220),
        (0.0390, 3.5, 4.307),
    ],
)
def test_orifice_flow(drill_in: float, inches: float, cuft_h: float) -> None:
    """Q = 1658.5 K A sqrt(p/sg), K .90, sg .60, drills #80 #76 #70 #61, within .2 %. Plumbing 3e App. 2, S.

    The number 76 drill passes 1.133 cu ft/h at 3.5 in w.c.; 1.211 is its figure at 4.0. Drill diameters M.
    """
    assert gas.orifice_flow(drill_in, inches, 0.60, 0.90) == pytest.approx(cuft_h, rel=2e-3)


def test_heat_content() -> None:
    """Natural gas 1,039 Btu/cu ft (US EIA 2021, S), propane about 2,500 (DOE representative value, 2)."""
    assert gas.BTU_PER_CUFT.tolist() == [1039.0, 2500.0]


def test_moist_air_example() -> None:
    """100 F dry bulb, W .00523: RH .13, h 29.80 Btu/lb, v 14.22 cu ft/lb at 14.696 psi.

    ASHRAE Fundamentals, S.
    """
    t_c, ratio = np.array([(100.0 - 32.0) / 1.8]), np.array([0.00523])
    pressure = np.array([psychro.STANDARD_PA])
    saturated = psychro.humidity_ratio(t_c, np.array([1.0]), pressure)
    vapour = ratio / (0.621945 + ratio) * pressure
    assert float((vapour / psychro.saturation_pressure(t_c))[0]) == pytest.approx(0.13, abs=0.005)
    assert float(saturated[0]) > 0.04
    btu_lb = psychro.enthalpy(t_c, ratio) / 2.326 + 0.240 * 32.0  # from 0 C to 0 F as the zero of dry air
    assert float(btu_lb[0]) == pytest.approx(29.80, abs=0.15)


def _federal_run() -> tuple[float, float]:
    """Minutes, and kWh of gas and motor, for a typical sound machine on the federal test load."""
    machine = typical(1)
    minutes = float(simulate(machine, federal_test(machine), 5.0).dry_min[0])
    run = simulate(machine, federal_test(machine, np.ceil(minutes * 12.0) / 12.0), 5.0)
    return minutes, float(run.gas_kwh[0] + run.motor_kwh[0])


def test_water_in_the_test_load() -> None:
    """8.45 lb from 57.5 % to 2 % is 4.690 lb of water, 1.449 kWh. Moisture figures M, sums C."""
    assert pytest.approx(TEST_WATER_LB, abs=1e-3) == 8.45 * (0.575 - 0.02)
    machine = typical(1)
    run = simulate(machine, federal_test(machine, 30.0), 5.0)
    assert float(run.water_removed_kg[0]) / LB >= TEST_WATER_LB


def test_time_of_the_federal_test_load() -> None:
    """A sound machine takes longer than the 13.5 min floor and less than the 80 min limit of ENERGY STAR
    (M, C; 2).
    """
    minutes, _ = _federal_run()
    assert FLOOR_MIN < minutes < 80.0
    assert 18.0 < minutes < 45.0


def test_no_sound_machine_beats_the_floor() -> None:
    """No sound machine of the invented town dries the federal load under 13.5 min at up to 22,000 Btu/h.

    M, C.
    """
    rng = np.random.default_rng(5)
    machines = sound_machines(draw_houses(300, rng), rng)
    minutes = simulate(machines, federal_test(machines, 60.0), 20.0).dry_min
    assert float(minutes.min()) > FLOOR_MIN


def test_efficiency_at_the_minimum_factor() -> None:
    """At the minimum gas CEF of 3.30 lb/kWh a cycle is 2.561 kWh (10 CFR 430, S) and 57 % efficient (C)."""
    cycle_kwh = 8.45 / MIN_CEF
    assert cycle_kwh == pytest.approx(2.561, abs=1e-3)
    assert TEST_LATENT_KWH / cycle_kwh == pytest.approx(0.57, abs=0.005)
    _, kwh = _federal_run()
    assert TEST_LATENT_KWH / kwh == pytest.approx(0.57, abs=0.04)


def test_thermistor_chart() -> None:
    """NTC 10k, B25/85 3977: 32,555 10,000 3,605 1,070 677 ohm at 0 25 50 85 100 C.

    Generic component data sheet, 2.
    """
    for t_c, ohm in CHART:
        assert float(chart_ohm(np.array(t_c))) == pytest.approx(ohm, rel=0.002)
    kelvin = 1.0 / (25.0 + 273.15)
    beta_at_zero = 10000.0 * np.exp(3977.0 * (1.0 / 273.15 - kelvin))
    assert beta_at_zero / 32555.0 == pytest.approx(1.04, abs=0.01)  # plain beta is 4 % off at 0 C


def test_steinhart_hart_fit() -> None:
    """(5 C, 25k) (25 C, 10k) (45 C, 4k) -> 2.108508173e-3 7.979204727e-5 6.535076315e-7.

    Published calculator example, 2.
    """
    fit = steinhart_hart(((5.0, 25000.0), (25.0, 10000.0), (45.0, 4000.0)))
    assert fit == pytest.approx([2.108508173e-3, 7.979204727e-5, 6.535076315e-7], rel=1e-6)


def test_copper_winding() -> None:
    """R2/R1 = (234.5+T2)/(234.5+T1): 20 -> 100 C is 1.3143; 80 ohm at 20 C reads 100 at 83.63 C.

    IEC/UL method, S.
    """
    assert float(copper(np.array(1.0), np.array(100.0))) == pytest.approx(1.3143, abs=1e-4)
    assert float(copper(np.array(80.0), np.array(83.63))) == pytest.approx(100.0, abs=0.01)


@pytest.mark.parametrize(("cfm", "speed", "inches"), [(100, 1146, 0.082), (150, 1719, 0.184), (200, 2292, 0.328)])
def test_air_speed_and_velocity_pressure(cfm: float, speed: float, inches: float) -> None:
    """4 in duct: 100/150/200 cfm are 1,146/1,719/2,292 ft/min and .082/.184/.328 in w.c. Standard air, C."""
    flow = np.array(float(cfm))
    assert float(air_speed(flow)) == pytest.approx(speed, abs=0.6)
    assert float(velocity_pressure(air_speed(flow))) == pytest.approx(inches, abs=6e-4)


def _with(mode: str, severity: float) -> Machines:
    return make(typical(1), mode, severity)


@pytest.mark.parametrize("mode", ["duct.partly_blocked", "duct.nearly_blocked", "lint_screen.coated", "hood.blocked"])
def test_blocked_air_dries_longer_and_leaves_damp(mode: str) -> None:
    """Longer time, or damp at the end, goes with a blocked screen or duct. US CPSC dryer safety alert, 2."""
    sound, blocked = typical(1), _with(mode, 0.9)
    normal, slow = (simulate(m, as_used(m), 10.0) for m in (sound, blocked))
    assert slow.dry_min[0] > 1.3 * normal.dry_min[0]
    assert slow.timed_moisture[0] > normal.timed_moisture[0]


def test_operating_thermostat_runs_hotter() -> None:
    """Hotter than normal goes with the operating thermostat, and not with a blocked duct.

    US CPSC alert, 2.
    """
    sound, stuck, blocked = (
        typical(1),
        _with("cycling_thermostat.stuck_closed", 0.9),
        _with("duct.partly_blocked", 0.9),
    )
    runs = [simulate(m, as_used(m), 10.0) for m in (sound, stuck, blocked)]
    normal_c, stuck_c, blocked_c = (float(run.peak_exhaust_c[0]) for run in runs)
    assert stuck_c > normal_c + 8.0
    assert blocked_c < stuck_c
    assert float(runs[1].dry_min[0]) < 1.1 * float(runs[0].dry_min[0])
