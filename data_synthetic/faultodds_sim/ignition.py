"""From the call for heat to flame: the igniter, the flame sensor and the second valve.

Current runs through the heat circuit, the flame sensor and the igniter. The igniter's heat opens the radiant
sensor, that sends the current through the second valve's coil, gas comes, and the flame holds the sensor
open. Each lag is of first order, and solved; the tests run the same model second by second.
"""

from __future__ import annotations

import numpy as np

from .machines import Machines
from .psychro import Array, Flags

LINE_VOLTS = 120.0
GLOW_C = 700.0  # glowing, to the eye
LIGHTS_C = 760.0  # hot enough to light gas
HOT_C, RISE_S, SENSOR_LAG_S = 1150.0, 14.0, 9.0


def circuit_ohms(m: Machines) -> Array:
    """Series resistance (ohm) between line and igniter: safety devices, contacts, connector and flame
    sensor.
    """
    control = np.where(m.board > 0.5, m.relay_ohm, m.cycling_ohm + m.timer_ohm)
    return control + m.centrifugal_ohm + m.connector_ohm + m.limit_ohm + m.fuse_ohm + m.sensor_ohm


def igniter_volts(m: Machines) -> Array:
    """Voltage across the igniter at the start of an attempt."""
    return m.line_volts * m.igniter_ohm / (m.igniter_ohm + circuit_ohms(m))


def final_igniter_c(m: Machines) -> Array:
    """Temperature (C) at which the igniter would settle; a cracked one has high resistance and stays cold."""
    power = np.square(igniter_volts(m) / LINE_VOLTS) * m.igniter_rated_ohm / m.igniter_ohm
    return m.room_c + HOT_C * power


def seconds_to_flame(m: Machines) -> Array:
    """Seconds from the call for heat until the second valve is told to open; infinite when that never
    comes.
    """
    rise = final_igniter_c(m) - m.room_c
    need = np.maximum(m.sensor_opens_c, LIGHTS_C) - m.room_c
    with np.errstate(divide="ignore", invalid="ignore"):
        heating = -RISE_S * np.log(1.0 - need / rise)
    return np.where(rise > need, heating + SENSOR_LAG_S, np.inf)


def glows(m: Machines) -> Flags:
    """Whether the igniter would be seen to glow when heat is called."""
    return np.asarray(final_igniter_c(m) > GLOW_C)
