"""Checks by eye, ear, hand and question. Signature and rules as in `checks.py`."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from .airflow import working_point
from .gas import orifice_for
from .ignition import circuit_ohms
from .instruments import Reading, View, blur, look
from .machines import OPEN, can_call, gas_input_kw, inlet_share, leak_share, thermistor_dead
from .psychro import Array, Codes, Flags


def lint_screen_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Film that water beads on, or a hole."""
    film = blur(v.m.screen_film, rng, skill, 0.10)
    return look(v, film > 0.45, blur(v.m.screen_tear, rng, skill, 0.05) > 0.2)


def hood_flap(v: View, rng: Generator, skill: Array) -> Reading:
    """Draught at the hood by hand and eye; wind and a heavy flap deceive."""
    felt = blur(v.used.hood_cfm * v.m.flap_loose, rng, skill, 11.0)
    return look(v, felt < 88.0, felt < 32.0)


def transition_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Kinks and gaps behind the dryer."""
    return look(
        v,
        blur(v.m.transition_crush, rng, skill, 0.10) > 0.48,
        blur(v.m.transition_gap, rng, skill, 0.06) > 0.25,
    )


def duct_off_run(v: View, rng: Generator, skill: Array) -> Reading:
    """By feel of the air with the duct off; a machine without heat shows no change worth a call."""
    gain = blur(working_point(v.m, duct_on=False).cfm / v.used.cfm, rng, skill, 0.12)
    cold = v.bench.flame_min < 1.0
    return look(v, (gain > 1.5) & ~(cold & (rng.random(len(v.m)) < 0.7)))


def load_questions(v: View, rng: Generator, skill: Array) -> Reading:
    """What the customer says to good questions; some would not admit to a stuffed drum."""
    shy = rng.random(len(v.m)) < 0.22 - 0.1 * skill
    told = blur(v.m.load_kg, rng, skill, 0.7)
    return look(v, (told > 5.9) & ~shy, (v.m.low_heat > 0.45) & ~shy)


def level_check(v: View, rng: Generator, skill: Array) -> Reading:
    """Bubble level on the top (degrees)."""
    value = np.abs(blur(v.m.tilt_deg, rng, skill, 0.3))
    return Reading(value, (value > 1.6).astype(np.intp))


def other_appliances(v: View, rng: Generator, skill: Array) -> Reading:
    """Whether the stove or heater has its usual flame."""
    gas = blur(v.m.house_gas, rng, skill, 0.08)
    return look(v, gas < 0.62, gas < 0.12)


def gas_cock_look(v: View, rng: Generator, skill: Array) -> Reading:
    """The handle across the pipe; now and then overlooked."""
    return look(v, (v.m.cock_open < 0.5) & (rng.random(len(v.m)) > 0.03 * (1.5 - skill)))


def sensor_bar_test(v: View, rng: Generator, skill: Array) -> Reading:
    """Bars wiped with a wet finger or bridged in the diagnostic mode."""
    seen = blur(v.m.bar_contact, rng, skill, 0.09)
    return look(v, seen < 0.55, (v.m.bar_contact < 0.06) | (v.m.bar_short > 0.3))


def diagnostic_codes(v: View, rng: Generator, skill: Array) -> Reading:
    """Codes that a board keeps; half of them have been wiped or were never set."""
    kept = rng.random((3, len(v.m)))
    sensor = (np.abs(np.log(v.m.thermistor_ratio)) > 0.75) & (kept[0] < 0.9)
    flow = (v.used.early_trips > 3) & (kept[1] < 0.6)
    ignition = (v.used.flame_min < 1.0) & ~thermistor_dead(v.m) & (kept[2] < 0.6)
    return look(v, flow, sensor, ignition & ~sensor)


def _dark(v: View, rng: Generator, skill: Array, lit: Flags) -> Codes:
    """How a burner that does not light looks: 0 it lights, 1 no call, 2 no glow, 3 the glow stays, 4 it goes out.

    A call is heard as a click, which some miss; a glow that a technician misses is none.
    """
    n = len(v.m)
    upstream = circuit_ohms(v.m) - v.m.sensor_ohm
    called = can_call(v.m) & (v.m.connector_heat_c > v.m.room_c) & (upstream < 0.1 * OPEN)
    hears = np.where(called, rng.random(n) < 0.70 + 0.2 * skill, rng.random(n) < 0.15)
    glow = (v.used.glow_s > 5.0) & ~(rng.random(n) < 0.08 * (1.3 - skill))
    goes_out = (v.used.duds > 0) ^ (rng.random(n) < 0.12 * (1.4 - skill))
    return np.select([lit, glow & goes_out, glow, hears], [0, 4, 3, 2], 1).astype(np.intp)


def burner_watch(v: View, rng: Generator, skill: Array) -> Reading:
    """Through the sight hole for three cycles, duct as it is, and the control turned off at the end."""
    r = v.used
    lit = r.flame_min > 0.7
    short = lit & ((r.early_trips >= 3) | (r.late_duty < 0.62))
    fails = lit & (((r.duds >= 2) & (r.first_dud_min < 22.0)) | ((r.late_duty < 0.2) & (r.early_trips < 3)))
    dark = _dark(v, rng, skill, lit)
    code = np.select([lit & (v.m.valve_open > 0.5), fails, short], [7, 5, 6], dark)
    return Reading(np.full(len(v.m), np.nan), code.astype(np.intp))


def glow_look(v: View, rng: Generator, skill: Array) -> Reading:
    """The first call for heat, from start to flame or not."""
    lit = (v.used.flame_min > 0.3) & (v.used.first_dud_min > 3.0)
    return Reading(np.full(len(v.m), np.nan), _dark(v, rng, skill, lit))


def drum_warm(v: View, rng: Generator, skill: Array) -> Reading:
    """Hand on a towel after a few minutes: the heat that has gone through the drum, against a usual burner's."""
    heat = v.used.early_duty * gas_input_kw(v.m) / 6.3 * (1.0 - leak_share(v.m)) / 0.93
    felt = blur(heat, rng, skill, 0.07)
    return look(v, felt < 0.45, felt < 0.13)


def hand_turn(v: View, rng: Generator, skill: Array) -> Reading:
    """Drum turned a whole turn by hand."""
    stiff = blur(v.m.drag, rng, skill, 0.16) > 0.52
    loose = blur(v.m.drum_speed, rng, skill, 0.13) < 0.40
    code = np.select([loose, stiff], [1, 2], 0)
    return Reading(np.full(len(v.m), np.nan), code.astype(np.intp))


def over_back_look(v: View, rng: Generator, skill: Array) -> Reading:
    """From above with lamp and mirror: part of the duct is out of sight."""
    seen = rng.random(len(v.m)) < 0.62 + 0.2 * skill
    return look(
        v,
        (blur(v.m.transition_crush, rng, skill, 0.11) > 0.52) & seen,
        (blur(v.m.transition_gap, rng, skill, 0.08) > 0.30) & seen,
    )


def lint_slot_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Down the slot of the screen: the far end of the path is round a corner."""
    return look(v, blur(v.m.path_lint, rng, skill, 0.14) > 0.58)


def duct_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Into the hood with a lamp: lint, a nest or a screen, a second duct where it is in sight."""
    return look(
        v,
        blur(v.m.duct_lint, rng, skill, 0.12) > 0.52,
        blur(v.m.hood_closed, rng, skill, 0.10) > 0.46,
        (v.m.duct_shared > 0.3) & (rng.random(len(v.m)) < 0.4 + 0.25 * skill),
    )


def door_seal_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Paper strip in the door."""
    return look(v, blur(v.m.door_gap, rng, skill, 0.06) > 0.2)


def air_opening_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Free opening of the room judged by eye and tape, often a quarter off."""
    return look(v, blur(np.log(v.m.opening_sqin / 100.0), rng, skill, 0.25) < np.log(0.7))


def plate_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Whether the label is that of the fuel in the house; labels get lost."""
    usual = np.where(v.m.fuel > 0.5, orifice_for(21500.0, 1), orifice_for(21500.0, 0))
    other = np.abs(v.m.orifice_in / usual - 1.0) > 0.2
    n = len(v.m)
    return look(v, np.where(other, rng.random(n) < 0.5 + 0.3 * skill, rng.random(n) < 0.025))


def co_room(v: View, rng: Generator, skill: Array) -> Reading:
    """CO meter in the room: what the burner makes, and how much of the exhaust comes back."""
    m = v.m
    rich = np.maximum(gas_input_kw(m) / 6.45 - 1.15, 0.0)
    made = 30.0 + 900.0 * rich + 500.0 * np.maximum(m.burner_fouled - 0.3, 0.0)
    back = 0.01 + 0.4 * inlet_share(m) + 0.05 * m.duct_shared
    ppm = np.where(v.used.flame_min > 1.0, made * back, 0.0) + np.abs(rng.normal(size=len(m))) * 2.5
    return look(v, ppm > 9.0, ppm > 35.0)


def blower_turn(v: View, rng: Generator, skill: Array) -> Reading:
    """Wheel held while the drum is turned by hand."""
    return look(v, blur(v.m.wheel_grip, rng, skill, 0.06) < 0.82, blur(v.m.wheel_clean, rng, skill, 0.08) < 0.6)


def lint_path_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Lint in the chute and the blower housing, and the housing's seal."""
    return look(v, blur(v.m.path_lint, rng, skill, 0.09) > 0.52, blur(v.m.housing_gap, rng, skill, 0.07) > 0.24)


def belt_rollers_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Belt and rollers by eye and by turning the drum."""
    drag = blur(v.m.drag, rng, skill, 0.10) > 0.42
    slips = blur(v.m.drum_speed, rng, skill, 0.07) < 0.78
    code = np.select([v.m.drum_speed < 0.05, slips, drag], [2, 1, 3], 0)
    return Reading(np.full(len(v.m), np.nan), code.astype(np.intp))


def seal_test(v: View, rng: Generator, skill: Array) -> Reading:
    """Paper strip or lamp at the drum seals."""
    return look(v, blur(v.m.seal_leak, rng, skill, 0.06) > 0.27)


def harness_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Heat leaves marks at a bad joint, but not always where one looks."""
    bad = (v.m.connector_ohm > 1.5) | (v.m.connector_heat_c < 60.0)
    return look(v, np.where(bad, rng.random(len(v.m)) < 0.78 + 0.18 * skill, rng.random(len(v.m)) < 0.02))
