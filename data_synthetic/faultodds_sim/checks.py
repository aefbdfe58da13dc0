"""What each check shows, and what a technician makes of it.

A check reads the physics (parameters, runs), adds the instrument's error and the technician's, and calls an outcome by
rules of thumb (common practice, no source). Every function takes a `View` of N machines, a numpy Generator and
the technician's skill (N, 0 to 1), and returns `Reading`: value (N, NaN for a look) and outcome code (N).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from .airflow import air_speed
from .drum import simulate
from .gas import MANIFOLD_WC, burner_kw, dial_seconds
from .ignition import LINE_VOLTS, circuit_ohms
from .machines import OPEN, UP_TO_SPEED, Machines, shaft_speed
from .names import CHECKS
from .psychro import Array
from .runs import Run, as_used, bench, verification
from .thermistor import NOMINAL_OHM, chart_ohm

Codes = NDArray[np.intp]
OL = np.inf  # over the meter's range


@dataclass
class View:
    """N machines and how they run: as the customer uses them, on the technician's bench run, and when verified."""

    m: Machines
    used: Run
    bench: Run
    verified: Run


class Reading(NamedTuple):
    """Value (N, NaN when there is none) and outcome code (N) of one check."""

    value: Array
    code: Codes


Check = Callable[[View, Generator, Array], Reading]


def view(m: Machines, dt: float = 20.0) -> View:
    """Run N machines in the three ways that checks look at."""
    return View(m, simulate(m, as_used(m), dt), simulate(m, bench(m), dt), simulate(m, verification(m), dt))


def to_f(t_c: Array) -> Array:
    """Degrees F."""
    return t_c * 1.8 + 32.0


def _look(v: View, *rules: Array) -> Reading:
    """Code of the last rule (N, bool) that holds, counted from 1; 0 when none does."""
    code = np.zeros(len(v.m), np.intp)
    for number, rule in enumerate(rules, start=1):
        code = np.where(rule, number, code)
    return Reading(np.full(len(v.m), np.nan), code)


def _blur(x: Array, rng: Generator, skill: Array, spread: float) -> Array:
    """A quantity judged by eye or hand; the less skill, the wider."""
    return x + rng.normal(size=len(x)) * spread * (1.6 - skill)


def _metered(x: Array, rng: Generator, relative: float, least: float) -> Array:
    """A quantity read off an instrument with a rated error; infinite stays infinite."""
    return x * (1.0 + relative * rng.normal(size=len(x))) + least * rng.normal(size=len(x))


def _ohms(x: Array, rng: Generator) -> Array:
    """A meter's reading (ohm), with lead resistance left in, OL above 20 M."""
    read = np.maximum(_metered(x, rng, 0.006, 0.08), 0.0)
    return np.where(x > 2e7, OL, read)


def _contact(field: str, bad_ohm: float) -> Check:
    """A continuity check of one switch: closed (0) or open (1)."""
    def check(v: View, rng: Generator, skill: Array) -> Reading:
        value = _ohms(getattr(v.m, field), rng)
        return Reading(value, (value > bad_ohm).astype(np.intp))
    return check


def lint_screen_look(v: View, rng: Generator, skill: Array) -> Reading:
    film = _blur(v.m.screen_film, rng, skill, 0.10)
    return _look(v, film > 0.45, _blur(v.m.screen_tear, rng, skill, 0.05) > 0.2)


def hood_flap(v: View, rng: Generator, skill: Array) -> Reading:
    felt = _blur(v.used.hood_cfm * v.m.flap_loose, rng, skill, 11.0)
    return _look(v, felt < 88.0, felt < 32.0)


def hood_air_speed(v: View, rng: Generator, skill: Array) -> Reading:
    speed = np.maximum(_metered(_blur(air_speed(v.used.hood_cfm), rng, skill, 60.0), rng, 0.05, 20.0), 0.0)
    return Reading(speed, np.where(speed < 560.0, 2, np.where(speed < 1080.0, 1, 0)))


def transition_look(v: View, rng: Generator, skill: Array) -> Reading:
    return _look(v, _blur(v.m.transition_crush, rng, skill, 0.10) > 0.48, _blur(v.m.transition_gap, rng, skill, 0.06) > 0.25)


def duct_off_run(v: View, rng: Generator, skill: Array) -> Reading:
    """By feel of air and heat with the duct off; a machine without heat shows no change worth a call."""
    gain = _blur(v.bench.cfm / v.used.cfm, rng, skill, 0.12)
    cold = v.bench.flame_min < 1.0
    return _look(v, (gain > 1.5) & ~(cold & (rng.random(len(v.m)) < 0.7)))


def static_pressure(v: View, rng: Generator, skill: Array) -> Reading:
    value = np.maximum(_metered(v.used.outlet_wc, rng, 0.03, 0.015), 0.0)
    code = np.select([value > 1.35, value > 0.85, value < 0.16], [3, 2, 1], 0)
    return Reading(value, code.astype(np.intp))


def exhaust_cycling(v: View, rng: Generator, skill: Array) -> Reading:
    """Thermometer (F) at the outlet, duct off: where the heat cuts off, or the highest reached when it never does."""
    never = np.isnan(v.bench.cutoff_c)
    value = _metered(to_f(np.where(never, v.bench.peak_exhaust_c, v.bench.cutoff_c)), rng, 0.0, 2.0)
    cold = (v.bench.flame_min < 1.0) | (never & (value < 105.0))
    code = np.select([cold, value > 178.0, ~never & (value < 134.0)], [3, 2, 1], 0)
    return Reading(value, code.astype(np.intp))


def load_questions(v: View, rng: Generator, skill: Array) -> Reading:
    """What the customer says to good questions; some would not admit to a stuffed drum."""
    shy = rng.random(len(v.m)) < 0.22 - 0.1 * skill
    told = _blur(v.m.load_kg, rng, skill, 0.7)
    return _look(v, (told > 5.9) & ~shy, (v.m.low_heat > 0.45) & ~shy)


def level_check(v: View, rng: Generator, skill: Array) -> Reading:
    value = np.abs(_blur(v.m.tilt_deg, rng, skill, 0.3))
    return Reading(value, (value > 1.6).astype(np.intp))


def spun_load_weight(v: View, rng: Generator, skill: Array) -> Reading:
    """Water in a spun load, percent of its dry weight, from a bathroom or hook scale."""
    value = 100.0 * np.maximum(_metered(v.m.moisture, rng, 0.06, 0.04), 0.0)
    return Reading(value, (value > 80.0).astype(np.intp))


def meter_clock(v: View, rng: Generator, skill: Array) -> Reading:
    """Seconds for one turn of the half-foot dial with only the dryer burning."""
    kw = burner_kw(v.m.orifice_in, v.m.manifold_wc * v.m.cock_open * v.m.house_gas, v.m.fuel, v.m.altitude_ft, v.m.burner_fouled)
    burning = v.used.flame_min > 1.0
    seconds = dial_seconds(np.where(burning, kw, 0.0), v.m.fuel, 0.5)
    value = _metered(seconds, rng, 0.03, 1.0)
    usual = dial_seconds(np.full(len(v.m), 6.45), v.m.fuel, 0.5)
    return Reading(value, np.where(value > 8.0 * usual, 2, np.where(value > 1.25 * usual, 1, 0)))


def other_appliances(v: View, rng: Generator, skill: Array) -> Reading:
    gas = _blur(v.m.house_gas, rng, skill, 0.08)
    return _look(v, gas < 0.62, gas < 0.12)


def gas_cock_look(v: View, rng: Generator, skill: Array) -> Reading:
    return _look(v, (v.m.cock_open < 0.5) & (rng.random(len(v.m)) > 0.03 * (1.5 - skill)))


def sensor_bar_test(v: View, rng: Generator, skill: Array) -> Reading:
    seen = _blur(v.m.bar_contact, rng, skill, 0.09)
    return _look(v, seen < 0.55, (v.m.bar_contact < 0.06) | (v.m.bar_short > 0.3))


def diagnostic_codes(v: View, rng: Generator, skill: Array) -> Reading:
    """Codes that a board keeps; half of them have been wiped or were never set."""
    kept = rng.random((3, len(v.m)))
    sensor = (np.abs(np.log(v.m.thermistor_ratio)) > 0.75) & (kept[0] < 0.9)
    flow = (v.used.early_trips > 3) & (kept[1] < 0.6)
    ignition = (v.used.flame_min < 1.0) & (np.abs(np.log(v.m.thermistor_ratio)) < 3.0) & (kept[2] < 0.6)
    return _look(v, flow, sensor, ignition & ~sensor)


def burner_watch(v: View, rng: Generator, skill: Array) -> Reading:
    """Through the sight hole for three cycles, duct as it is; a missed glow reads as none."""
    r = v.used
    lit = r.flame_min > 0.7
    misses = rng.random(len(v.m)) < 0.08 * (1.3 - skill)
    glow = (r.glow_s > 5.0) & ~misses
    short = lit & ((r.early_trips >= 3) | (r.late_duty < 0.62))
    fails = lit & (((r.duds >= 2) & (r.first_dud_min < 22.0)) | ((r.late_duty < 0.2) & (r.early_trips < 3)))
    return _look(v, ~lit & ~glow, ~lit & glow, fails, short & ~fails)


def blower_turn(v: View, rng: Generator, skill: Array) -> Reading:
    return _look(v, _blur(v.m.wheel_grip, rng, skill, 0.06) < 0.82, _blur(v.m.wheel_clean, rng, skill, 0.08) < 0.6)


def lint_path_look(v: View, rng: Generator, skill: Array) -> Reading:
    return _look(v, _blur(v.m.path_lint, rng, skill, 0.09) > 0.52)


def belt_rollers_look(v: View, rng: Generator, skill: Array) -> Reading:
    drag = _blur(v.m.drag, rng, skill, 0.10) > 0.42
    slips = _blur(v.m.drum_speed, rng, skill, 0.07) < 0.78
    code = np.select([v.m.drum_speed < 0.05, slips, drag], [2, 1, 3], 0)
    return Reading(np.full(len(v.m), np.nan), code.astype(np.intp))


def seal_test(v: View, rng: Generator, skill: Array) -> Reading:
    return _look(v, _blur(v.m.seal_leak, rng, skill, 0.06) > 0.27)


def igniter_ohms(v: View, rng: Generator, skill: Array) -> Reading:
    value = _ohms(v.m.igniter_ohm, rng)
    return Reading(value, (value > 1500.0).astype(np.intp))


COIL_BANDS = np.array([[1000.0, 1300.0], [1300.0, 1400.0], [500.0, 600.0]])


def copper(ohm_20: Array, t_c: Array) -> Array:
    """Resistance of a copper winding at `t_c` (C); source: IEC/UL resistance method, (234.5+T2)/(234.5+T1)."""
    return ohm_20 * (234.5 + t_c) / (234.5 + 20.0)


def _windings(v: View, rng: Generator, t_c: Array, lost: Array) -> Reading:
    """Read every winding at `t_c`; value is the one furthest off its band, or the two-terminal one when all are good."""
    cold = np.stack([v.m.coil_two_ohm, v.m.coil_mid_ohm, v.m.coil_far_ohm])
    which = np.minimum((v.m.quirk * 3.0).astype(int), 2)
    at_heat = copper(cold, t_c) * np.where(lost & (np.arange(3)[:, None] == which), 1e6, 1.0)
    read = np.stack([_ohms(row, rng) for row in at_heat])
    scale = copper(np.ones_like(t_c), t_c) / copper(np.ones_like(t_c), np.full_like(t_c, 21.0))
    low, high = COIL_BANDS[:, :1] * 0.96 * scale, COIL_BANDS[:, 1:] * 1.05 * scale
    with np.errstate(invalid="ignore"):
        off = np.maximum(low / np.maximum(read, 1e-3), read / high)
    worst = np.where((off > 1.0).any(axis=0), np.argmax(off, axis=0), 0)
    return Reading(read[worst, np.arange(len(v.m))], (off > 1.0).any(axis=0).astype(np.intp))


def coil_ohms(v: View, rng: Generator, skill: Array) -> Reading:
    return _windings(v, rng, v.m.room_c + 2.0 * rng.random(len(v.m)), np.zeros(len(v.m), bool))


def coil_ohms_hot(v: View, rng: Generator, skill: Array) -> Reading:
    """Right after the heat drops out; by the time the leads are on, the coils have cooled somewhat."""
    hot = np.maximum(v.used.peak_coil_c - rng.uniform(1.0, 11.0 - 5.0 * skill, len(v.m)), v.m.room_c)
    return _windings(v, rng, hot, (v.m.coil_drop_c < hot) & (v.m.coil_drop_c > 0.0))


def cycling_bench_heat(v: View, rng: Generator, skill: Array) -> Reading:
    """Opening temperature (F) of the cycling thermostat in a warmed cup or air stream; infinite when it never opened."""
    opens = _metered(to_f(v.m.cycling_open_c), rng, 0.0, 3.0)
    rated = to_f(v.m.cycling_rated_c)
    value = np.where(opens > 210.0, OL, opens)
    return Reading(value, np.where(value < rated - 14.0, 1, np.where(value > rated + 16.0, 2, 0)))


def thermistor_ohms(v: View, rng: Generator, skill: Array) -> Reading:
    scale = v.m.thermistor_ratio * v.m.thermistor_ohm / NOMINAL_OHM
    value = _ohms(chart_ohm(v.m.room_c + rng.normal(size=len(v.m)) * 0.6) * scale, rng)
    away = np.abs(np.log(np.maximum(value, 1e-3) / chart_ohm(v.m.room_c)))
    return Reading(value, np.where(away > 2.3, 2, np.where(away > 0.13, 1, 0)))


def harness_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Heat leaves marks at a bad joint, but not always where one looks."""
    bad = (v.m.connector_ohm > 1.5) | (v.m.connector_heat_c < 60.0)
    return _look(v, np.where(bad, rng.random(len(v.m)) < 0.78 + 0.18 * skill, rng.random(len(v.m)) < 0.02))


def _closed(v: View) -> Array:
    """Whether the heat circuit would be closed on a cold call for heat."""
    code = (v.m.board > 0.5) & (np.abs(np.log(v.m.thermistor_ratio)) > 3.0)
    warm = v.m.connector_heat_c < v.m.room_c
    return (shaft_speed(v.m) > UP_TO_SPEED) & ~code & ~warm & (circuit_ohms(v.m) < 0.1 * OPEN)


def burner_voltage(v: View, rng: Generator, skill: Array) -> Reading:
    """Volts at the igniter's plug on a call for heat, as the load pulls it down."""
    upstream = circuit_ohms(v.m) - v.m.sensor_ohm
    volts = np.where(_closed(v) | (v.m.sensor_ohm > 1e3), LINE_VOLTS * 140.0 / (140.0 + upstream), 0.0)
    value = np.maximum(_metered(volts, rng, 0.01, 0.3), 0.0)
    return Reading(value, (value < 95.0).astype(np.intp))


def relay_output(v: View, rng: Generator, skill: Array) -> Reading:
    code = np.abs(np.log(v.m.thermistor_ratio)) > 3.0
    volts = np.where(code | (v.m.relay_ohm > 1e4), 0.0, LINE_VOLTS)
    value = np.maximum(_metered(volts, rng, 0.01, 0.3), 0.0)
    return Reading(value, (value < 60.0).astype(np.intp))


def manifold_pressure(v: View, rng: Generator, skill: Array) -> Reading:
    value = np.maximum(_metered(v.m.manifold_wc * v.m.cock_open * v.m.house_gas, rng, 0.02, 0.05), 0.0)
    return Reading(value, (value < 0.82 * MANIFOLD_WC[v.m.fuel.astype(int)]).astype(np.intp))


def verification_run(v: View, rng: Generator, skill: Array) -> Reading:
    """Water left (percent of dry weight) after the timed wet load."""
    left = 100.0 * np.maximum(_metered(v.verified.end_moisture, rng, 0.05, 0.01), 0.0)
    cold = (v.verified.flame_min < 1.5) | ((v.verified.late_duty < 0.05) & (v.verified.early_trips < 2))
    return Reading(left, np.where(cold, 2, np.where(left > 11.0, 1, 0)))


READERS: Mapping[str, Check] = {
    **{name: globals()[name] for name in CHECKS if name in globals()},
    "flame_sensor_continuity": _contact("sensor_ohm", 5.0),
    "fuse_continuity": _contact("fuse_ohm", 5.0),
    "high_limit_continuity": _contact("limit_ohm", 5.0),
    "cycling_continuity": _contact("cycling_ohm", 5.0),
    "timer_contacts": _contact("timer_ohm", 3.0),
    "centrifugal_contacts": _contact("centrifugal_ohm", 3.0),
}
#: Checks that a person reads by eye; they are called wrongly now and then whatever is there.
SLIPS: Mapping[str, float] = {name: 0.012 for name in CHECKS}


def read(name: str, v: View, rng: Generator, skill: Array) -> Reading:
    """Do one check on N machines; a careless technician now and then calls another outcome than the reading's."""
    reading = READERS[name](v, rng, skill)
    slip = rng.random(len(v.m)) < SLIPS[name] * (2.0 - 1.6 * skill)
    if not slip.any():
        return reading
    other = np.mod(reading.code + rng.integers(1, len(CHECKS[name]), len(v.m)), len(CHECKS[name]))
    return Reading(reading.value, np.where(slip, other, reading.code))
