"""Air through the machine: the blower's curve against everything in its way.

All resistances are pressure drops in in w.c. at 100 cfm of standard air and grow with the square of the flow,
so the working point has a closed form. Standard air throughout: 4 in duct, velocity pressure (V/4005)^2.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .ducts import DIAMETER_FT
from .machines import Machines, shaft_speed
from .psychro import Array

DUCT_SQFT = np.pi / 4.0 * DIAMETER_FT**2
TRANSITION_FT, TRANSITION_FRICTION = 6.0, 0.035
HOOD_K, OPENING_K = 1.5, 2.8
MIN_CFM = 3.0  # a stopped wheel still lets a little warm air rise through


class Air(NamedTuple):
    """Flow and pressure, each an array of N: blower cfm, cfm at the hood, static in w.c.

    at the dryer's outlet.
    """

    cfm: Array
    hood_cfm: Array
    outlet_wc: Array


def air_speed(cfm: Array) -> Array:
    """Air speed (ft/min) in a clean 4 in duct."""
    return cfm / DUCT_SQFT


def velocity_pressure(speed_fpm: Array) -> Array:
    """Velocity pressure (in w.c.) of standard air at `speed_fpm` (ft/min)."""
    return np.square(speed_fpm / 4005.0)


_VP_100 = float(velocity_pressure(air_speed(np.array(100.0))))


def _choked(resistance: Array, closed: Array) -> Array:
    """Resistance of a passage once a part of its area is closed (drop grows as area to the -2.5)."""
    return resistance / np.power(np.maximum(1.0 - closed, 0.02), 2.5)


def inside_resistance(m: Machines) -> Array:
    """Room opening, drum, lint screen and lint path (in w.c. at 100 cfm)."""
    opening = OPENING_K * velocity_pressure(100.0 / (m.opening_sqin / 144.0))
    screen = _choked(np.full(len(m), 0.07), m.screen_film) * (1.0 - 0.8 * m.screen_tear)
    return opening + m.drum_r + screen + _choked(np.full(len(m), 0.05), m.path_lint)


def outside_resistance(m: Machines) -> tuple[Array, Array]:
    """Transition, duct and hood: (in w.c. at 100 cfm, share of the air that gets as far as the hood)."""
    transition = _choked(
        np.full(len(m), TRANSITION_FRICTION * TRANSITION_FT / DIAMETER_FT * _VP_100), m.transition_crush
    )
    duct = _choked(m.duct_friction * m.duct_ft / DIAMETER_FT * _VP_100, m.duct_lint)
    hood = _choked(np.full(len(m), HOOD_K * _VP_100), m.hood_closed)
    down_duct = 1.0 / np.sqrt(transition + duct + hood)
    through_gap = m.transition_gap / np.sqrt(0.06)
    return 1.0 / np.square(down_duct + through_gap), down_duct / (down_duct + through_gap)


def working_point(m: Machines, duct_on: bool = True) -> Air:
    """Return the air of N machines, with the duct fitted or taken off at the dryer's outlet."""
    speed = shaft_speed(m) * m.wheel_grip
    head = m.blower_wc * m.wheel_clean * np.square(speed)
    slope = m.blower_wc * np.square(100.0 / m.blower_cfm) / np.square(m.wheel_clean)
    outside, share = outside_resistance(m)
    if not duct_on:
        outside, share = np.full(len(m), 0.02), np.zeros(len(m))
    cfm = 100.0 * np.sqrt(head / (slope + inside_resistance(m) + outside))
    return Air(np.maximum(cfm, MIN_CFM), cfm * share, outside * np.square(cfm / 100.0))
