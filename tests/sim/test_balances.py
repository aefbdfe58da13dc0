"""Energy and water are neither made nor lost; moist air agrees with psychrolib."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from faultodds_sim import psychro
from faultodds_sim.dryer import CP_CLOTH, DRUM_KJ_K
from faultodds_sim.faults import make
from faultodds_sim.machines import Machines, stack, typical
from faultodds_sim.runs import Run, Scenario, as_used, bench, federal_test
from faultodds_sim.simulation import simulate

CP_WATER = 4.186


def _several() -> Machines:
    """Sound, blocked, leaking, overloaded, loose transition, weak gas, coils that drop out."""
    modes = [
        ("nothing_wrong", 0.0),
        ("duct.nearly_blocked", 0.3),
        ("drum_seals.worn", 0.8),
        ("use.overloaded", 0.8),
        ("transition.come_off", 0.8),
        ("gas_supply.low_pressure", 0.6),
        ("coils.drop_out_hot", 0.8),
        ("motor.weak", 0.9),
    ]
    return stack([make(typical(1), mode, severity) for mode, severity in modes])


def _stored_kj(m: Machines, s: Scenario, run: Run) -> np.ndarray:
    """Heat (kJ) put into cloth, drum and the water left, above 0 C, over the run."""
    dry = s.load_kg * CP_CLOTH + DRUM_KJ_K
    before = (dry + s.load_kg * s.moisture * CP_WATER) * m.room_c
    after = (dry + s.load_kg * run.end_moisture * CP_WATER) * run.trace["cloth_c"][-1]
    return np.asarray(after - before)


@pytest.mark.parametrize("dt", [5.0, 20.0, 30.0])
@pytest.mark.parametrize("kind", [as_used, bench, federal_test])
def test_energy_balance_closes(kind: object, dt: float) -> None:
    """Gas and air in equal air out, losses and what is stored, within 1 % of the gas (a balance; no
    source needed).
    """
    m = _several()
    s = kind(m, 40.0)  # type: ignore[operator]
    run = simulate(m, s, dt, ledger=True, trace=True)
    book = run.ledger
    assert book is not None
    gap = book.gas_kj + book.air_in_kj - book.air_out_kj - book.lost_kj - _stored_kj(m, s, run)
    assert np.all(book.gas_kj > 100.0)
    assert np.all(np.abs(gap) < 0.01 * book.gas_kj), gap / book.gas_kj


@pytest.mark.parametrize("dt", [5.0, 20.0, 30.0])
def test_water_balance_closes(dt: float) -> None:
    """Water in with the air, burnt from gas and taken from the cloth leaves with the exhaust, within 1 %."""
    m = _several()
    s = as_used(m, 40.0)
    run = simulate(m, s, dt, ledger=True)
    book = run.ledger
    assert book is not None
    cloth = s.load_kg * (s.moisture - run.end_moisture)
    gap = book.water_in_kg + book.water_burnt_kg + cloth - book.water_out_kg
    assert np.all(np.abs(gap) < 0.01 * cloth), gap / cloth
    assert run.water_removed_kg == pytest.approx(cloth)


def test_a_lost_term_would_be_seen() -> None:
    """The balance is tight enough to notice that the cabinet losses were left out."""
    m = typical(1)
    s = as_used(m, 40.0)
    run = simulate(m, s, 20.0, ledger=True, trace=True)
    book = run.ledger
    assert book is not None
    gap = book.gas_kj + book.air_in_kj - book.air_out_kj - _stored_kj(m, s, run)
    assert abs(float(gap[0])) > 0.02 * float(book.gas_kj[0])


@pytest.fixture(autouse=True)
def _si_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("t_c", [-5.0, 10.3, 23.9, 38.7, 61.2, 95.1, 140.4])
def test_moist_air_agrees_with_psychrolib(t_c: float) -> None:
    """Saturation pressure, ratio and enthalpy agree with psychrolib's scalar calls within .05 %."""
    t, p = np.array([t_c]), np.array([psychro.STANDARD_PA])
    assert psychro.saturation_pressure(t)[0] == pytest.approx(psychrolib.GetSatVapPres(t_c), rel=5e-4)
    if t_c < 90.0:
        assert psychro.saturation_ratio(t, p)[0] == pytest.approx(psychrolib.GetSatHumRatio(t_c, 101325.0), rel=2e-3)
    ratio = psychro.humidity_ratio(np.array([min(t_c, 60.0)]), np.array([0.5]), p)
    want = psychrolib.GetHumRatioFromRelHum(min(t_c, 60.0), 0.5, 101325.0)
    assert ratio[0] == pytest.approx(want, rel=1e-3)
    enthalpy = psychro.enthalpy(t, np.array([0.02]))
    assert enthalpy[0] == pytest.approx(psychrolib.GetMoistAirEnthalpy(t_c, 0.02) / 1000.0, rel=5e-4)
    assert psychro.temperature(enthalpy, np.array([0.02]))[0] == pytest.approx(t_c, abs=1e-9)


def test_pressure_at_altitude_agrees_with_psychrolib() -> None:
    """Standard pressure at 0, 1,000 and 5,000 ft agrees with psychrolib within .05 %."""
    for feet in (0.0, 1000.0, 5000.0):
        want = psychrolib.GetStandardAtmPressure(feet * 0.3048)
        assert float(psychro.pressure_at(np.array(feet))) == pytest.approx(want, rel=5e-4)
