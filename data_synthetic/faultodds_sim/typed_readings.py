"""Readings as a technician would type them: "1.15k", "OL", "142 F", "38 s"."""

from __future__ import annotations

import math
from collections.abc import Mapping

#: Unit of a check's value; checks that are not here are looks.
UNITS: Mapping[str, str] = {
    "hood_air_speed": "ft/min",
    "static_pressure": "in w.c.",
    "exhaust_cycling": "F",
    "level_check": "deg",
    "spun_load_weight": "%",
    "meter_clock": "s",
    "igniter_ohms": "ohm",
    "coil_ohms": "ohm",
    "coil_ohms_hot": "ohm",
    "flame_sensor_continuity": "ohm",
    "fuse_continuity": "ohm",
    "high_limit_continuity": "ohm",
    "cycling_continuity": "ohm",
    "cycling_bench_heat": "F",
    "thermistor_ohms": "ohm",
    "timer_contacts": "ohm",
    "centrifugal_contacts": "ohm",
    "burner_voltage": "V",
    "relay_output": "V",
    "manifold_pressure": "in w.c.",
    "verification_run": "%",
    "motor_fuse_continuity": "ohm",
    "outlet_voltage": "V",
}


def ohms(value: float) -> str:
    """Resistance as read off a meter: "OL", "0.3", "148", "1.15k", "2.4M"."""
    if not math.isfinite(value) or value >= 2e7:
        return "OL"
    if value >= 1e6:
        return f"{value / 1e6:.1f}M"
    if value >= 1000.0:
        return f"{value / 1000.0:.3g}k"
    return f"{value:.1f}" if value < 10.0 else f"{value:.0f}"


def text(check: str, value: float, outcome: str) -> str:
    """The raw reading as typed; a look, or a reading that never came, is the outcome in words."""
    unit = UNITS.get(check)
    if unit is None:
        return outcome.replace("_", " ")
    if unit == "ohm":
        return ohms(value)
    if not math.isfinite(value):
        return "never" if check == "cycling_bench_heat" else "no movement"
    if unit == "in w.c.":
        return f"{value:.2f} in w.c."
    return f"{value:.1f} {unit}" if unit in ("V", "deg") else f"{value:.0f} {unit}"
