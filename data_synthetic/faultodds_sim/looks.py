"""Checks by eye, ear, hand and question. Signature and rules as in `checks.py`."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from .instruments import Reading, View, blur, look
from .machines import thermistor_dead
from .psychro import Array


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
    """By feel of air and heat with the duct off; a machine without heat shows no change worth a call."""
    gain = blur(v.bench.cfm / v.used.cfm, rng, skill, 0.12)
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


def burner_watch(v: View, rng: Generator, skill: Array) -> Reading:
    """Through the sight hole for three cycles, duct as it is; a missed glow reads as none."""
    r = v.used
    lit = r.flame_min > 0.7
    misses = rng.random(len(v.m)) < 0.08 * (1.3 - skill)
    glow = (r.glow_s > 5.0) & ~misses
    short = lit & ((r.early_trips >= 3) | (r.late_duty < 0.62))
    fails = lit & (((r.duds >= 2) & (r.first_dud_min < 22.0)) | ((r.late_duty < 0.2) & (r.early_trips < 3)))
    return look(v, ~lit & ~glow, ~lit & glow, fails, short & ~fails)


def blower_turn(v: View, rng: Generator, skill: Array) -> Reading:
    """Wheel held while the drum is turned by hand."""
    return look(v, blur(v.m.wheel_grip, rng, skill, 0.06) < 0.82, blur(v.m.wheel_clean, rng, skill, 0.08) < 0.6)


def lint_path_look(v: View, rng: Generator, skill: Array) -> Reading:
    """Lint in the chute and the blower housing."""
    return look(v, blur(v.m.path_lint, rng, skill, 0.09) > 0.52)


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
