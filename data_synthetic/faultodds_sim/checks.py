"""What each check shows, and what a technician makes of it.

A check reads the physics (parameters, runs), adds the instrument's error and the technician's, and calls an
outcome by rules of thumb (common practice, no source). Every function takes a `View` of N machines, a numpy
Generator and the technician's skill (N, 0 to 1), and returns `Reading`: value (N, NaN for a look) and outcome
code (N).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.random import Generator

from . import looks
from .airflow import air_speed
from .gas import MANIFOLD_WC, dial_seconds
from .ignition import LINE_VOLTS, circuit_ohms
from .instruments import OL, Check, Reading, View, blur, contact, look, metered, ohms, to_f
from .machines import OPEN, Machines, can_call, gas_at_manifold, gas_input_kw, thermistor_dead
from .names import CHECK_NEEDS, CHECKS
from .psychro import Array, Flags
from .thermistor import NOMINAL_OHM, chart_ohm


def hood_air_speed(v: View, rng: Generator, skill: Array) -> Reading:
    """Anemometer at the hood (ft/min), 5 % and where it is held."""
    speed = np.maximum(metered(blur(air_speed(v.used.hood_cfm), rng, skill, 60.0), rng, 0.05, 20.0), 0.0)
    return Reading(speed, np.where(speed < 560.0, 2, np.where(speed < 1080.0, 1, 0)))


def static_pressure(v: View, rng: Generator, skill: Array) -> Reading:
    """Manometer at the dryer's outlet (in w.c.), 3 %."""
    value = np.maximum(metered(v.used.outlet_wc, rng, 0.03, 0.015), 0.0)
    code = np.select([value > 1.35, value > 0.85, value < 0.16], [3, 2, 1], 0)
    return Reading(value, code.astype(np.intp))


def exhaust_cycling(v: View, rng: Generator, skill: Array) -> Reading:
    """Thermometer (F) in a port at the outlet: where the heat cuts off, or the highest reached when it never does."""
    never = np.isnan(v.bench.cutoff_c)
    value = metered(to_f(np.where(never, v.bench.peak_exhaust_c, v.bench.cutoff_c)), rng, 0.0, 2.0)
    cold = (v.bench.flame_min < 1.0) | (never & (value < 105.0))
    rated = to_f(v.m.cycling_rated_c)
    code = np.select([cold, value > rated + 15.0, ~never & (value < rated - 20.0)], [3, 2, 1], 0)
    return Reading(value, code.astype(np.intp))


#: Water in a spun load, percent of its dry weight, from which on it is left too wet (common practice, no source).
TOO_WET = 80.0


def spun_load_weight(v: View, rng: Generator, skill: Array) -> Reading:
    """Water in a spun load, percent of its dry weight, from a bathroom or hook scale."""
    value = 100.0 * np.maximum(metered(v.m.moisture, rng, 0.06, 0.04), 0.0)
    return Reading(value, (value > TOO_WET).astype(np.intp))


def meter_clock(v: View, rng: Generator, skill: Array) -> Reading:
    """Seconds for one turn of the half-foot dial with only the dryer burning."""
    burning = v.used.flame_min > 1.0
    seconds = dial_seconds(np.where(burning, gas_input_kw(v.m), 0.0), v.m.fuel, 0.5)
    value = metered(seconds, rng, 0.03, 1.0)
    usual = dial_seconds(np.full(len(v.m), 6.45), v.m.fuel, 0.5)
    return Reading(value, np.select([value > 8.0 * usual, value > 1.25 * usual, value < 0.83 * usual], [3, 1, 2], 0))


def igniter_ohms(v: View, rng: Generator, skill: Array) -> Reading:
    """Igniter resistance, cold (ohm)."""
    value = ohms(v.m.igniter_ohm, rng)
    return Reading(value, np.select([value > 1500.0, value > 370.0], [2, 1], 0))


def flame_sensor_hot(v: View, rng: Generator, skill: Array) -> Reading:
    """The sensor before a strong heater, as hot as a good igniter makes it: does it open?"""
    return look(v, blur(v.m.sensor_opens_c, rng, skill, 30.0) > 1010.0)


def outlet_voltage(v: View, rng: Generator, skill: Array) -> Reading:
    """Volts at the outlet with the machine running."""
    value = np.maximum(metered(v.m.line_volts, rng, 0.01, 0.5), 0.0)
    return Reading(value, (value < 107.0).astype(np.intp))


COIL_BANDS = np.array([[1000.0, 1300.0], [1300.0, 1400.0], [500.0, 600.0]])


def copper(ohm_20: Array, t_c: Array) -> Array:
    """Resistance of a copper winding at `t_c` (C); source: IEC/UL resistance method,
    (234.5+T2)/(234.5+T1).
    """
    return ohm_20 * (234.5 + t_c) / (234.5 + 20.0)


def _windings(v: View, rng: Generator, t_c: Array, lost: Flags) -> Reading:
    """Read every winding at `t_c`; value is the one furthest off its band, or the two-terminal one when all
    are good.
    """
    cold = np.stack([v.m.coil_two_ohm, v.m.coil_mid_ohm, v.m.coil_far_ohm])
    which = np.minimum((v.m.quirk * 3.0).astype(int), 2)
    at_heat = copper(cold, t_c) * np.where(lost & (np.arange(3)[:, None] == which), 1e6, 1.0)
    read = np.stack([ohms(row, rng) for row in at_heat])
    scale = copper(np.ones_like(t_c), t_c) / copper(np.ones_like(t_c), np.full_like(t_c, 21.0))
    low, high = COIL_BANDS[:, :1] * 0.96 * scale, COIL_BANDS[:, 1:] * 1.05 * scale
    with np.errstate(invalid="ignore"):
        off = np.maximum(low / np.maximum(read, 1e-3), read / high)
    worst = np.where((off > 1.0).any(axis=0), np.argmax(off, axis=0), 0)
    return Reading(read[worst, np.arange(len(v.m))], np.asarray((off > 1.0).any(axis=0), np.intp))


def coil_ohms(v: View, rng: Generator, skill: Array) -> Reading:
    """Every winding at room temperature (ohm)."""
    return _windings(v, rng, v.m.room_c + 2.0 * rng.random(len(v.m)), np.zeros(len(v.m), bool))


def coil_ohms_hot(v: View, rng: Generator, skill: Array) -> Reading:
    """Right after the heat drops out; by the time the leads are on, the coils have cooled somewhat."""
    hot = np.maximum(v.used.peak_coil_c - rng.uniform(1.0, 11.0 - 5.0 * skill, len(v.m)), v.m.room_c)
    return _windings(v, rng, hot, (v.m.coil_drop_c < hot) & (v.m.coil_drop_c > 0.0))


def cycling_bench_heat(v: View, rng: Generator, skill: Array) -> Reading:
    """Opening temperature (F) of the cycling thermostat in a warmed cup or air stream; infinite when it never
    opened.
    """
    opens = metered(to_f(v.m.cycling_open_c), rng, 0.0, 3.0)
    rated = to_f(v.m.cycling_rated_c)
    value = np.where(opens > 210.0, OL, opens)
    return Reading(value, np.where(value < rated - 14.0, 1, np.where(value > rated + 16.0, 2, 0)))


def thermistor_ohms(v: View, rng: Generator, skill: Array) -> Reading:
    """Thermistor against its chart at the room's temperature (ohm)."""
    scale = v.m.thermistor_ratio * v.m.thermistor_ohm / NOMINAL_OHM
    value = ohms(chart_ohm(v.m.room_c + rng.normal(size=len(v.m)) * 0.6) * scale, rng)
    away = np.log(np.maximum(value, 1e-3) / chart_ohm(v.m.room_c))
    return Reading(value, np.select([np.abs(away) > 2.3, away < -0.13, away > 0.13], [3, 1, 2], 0))


def _closed(v: View) -> Flags:
    """Whether the heat circuit would be closed on a cold call for heat."""
    warm = v.m.connector_heat_c < v.m.room_c
    return can_call(v.m) & ~warm & (circuit_ohms(v.m) < 0.1 * OPEN)


def burner_voltage(v: View, rng: Generator, skill: Array) -> Reading:
    """Volts at the igniter's plug on a call for heat, as the load pulls it down."""
    upstream = circuit_ohms(v.m) - v.m.sensor_ohm
    volts = np.where(_closed(v) | (v.m.sensor_ohm > 1e3), v.m.line_volts * 140.0 / (140.0 + upstream), 0.0)
    value = np.maximum(metered(volts, rng, 0.01, 0.3), 0.0)
    return Reading(value, (value < 95.0).astype(np.intp))


def relay_output(v: View, rng: Generator, skill: Array) -> Reading:
    """Volts at the board's heat relay on a call for heat, and whether they go away without one."""
    volts = np.where(thermistor_dead(v.m) | (v.m.relay_ohm > 1e4), 0.0, LINE_VOLTS)
    value = np.maximum(metered(volts, rng, 0.01, 0.3), 0.0)
    return Reading(value, np.where(v.m.relay_welded > 0.5, 2, value < 60.0).astype(np.intp))


def manifold_pressure(v: View, rng: Generator, skill: Array) -> Reading:
    """Manometer at the manifold tap (in w.c.), 2 %."""
    value = np.maximum(metered(gas_at_manifold(v.m), rng, 0.02, 0.05), 0.0)
    usual = MANIFOLD_WC[v.m.fuel.astype(int)]
    return Reading(value, np.select([value < 0.82 * usual, value > 1.3 * usual], [1, 2], 0))


def verification_run(v: View, rng: Generator, skill: Array) -> Reading:
    """Water left (percent of dry weight) after the timed wet load."""
    left = 100.0 * np.maximum(metered(v.verified.end_moisture, rng, 0.05, 0.01), 0.0)
    cold = (v.verified.flame_min < 1.5) | ((v.verified.late_duty < 0.05) & (v.verified.early_trips < 2))
    return Reading(left, np.where(cold, 2, np.where(left > 11.0, 1, 0)))


READERS: Mapping[str, Check] = {
    **{name: getattr(looks, name) for name in CHECKS if hasattr(looks, name)},
    **{name: globals()[name] for name in CHECKS if name in globals()},
    "flame_sensor_continuity": contact("sensor_ohm", 5.0),
    "fuse_continuity": contact("fuse_ohm", 5.0),
    "motor_fuse_continuity": contact("motor_fuse_ohm", 5.0),
    "high_limit_continuity": contact("limit_ohm", 5.0),
    "cycling_continuity": contact("cycling_ohm", 5.0),
    "timer_contacts": contact("timer_ohm", 3.0),
    "centrifugal_contacts": contact("centrifugal_ohm", 3.0),
}
SLIP = 0.012  # chance that a middling technician calls a check wrongly, whatever it reads


def fitted(check: str, m: Machines) -> Flags:
    """Which machines have what the check looks at."""
    fact, value = CHECK_NEEDS.get(check, ("", ""))
    has = {"control": m.board > 0.5, "auto_dry": m.auto > 0.5, "gas_meter": m.fuel < 0.5}
    return has[fact] == (value != "timer") if fact else np.ones(len(m), bool)


def read(name: str, v: View, rng: Generator, skill: Array) -> Reading:
    """Do one check on N machines; a careless technician now and then calls another outcome than the
    reading's.
    """
    reading = READERS[name](v, rng, skill)
    slip = rng.random(len(v.m)) < SLIP * (2.0 - 1.6 * skill)
    if not slip.any():
        return reading
    other = np.mod(reading.code + rng.integers(1, len(CHECKS[name]), len(v.m)), len(CHECKS[name]))
    return Reading(reading.value, np.where(slip, other, reading.code))
