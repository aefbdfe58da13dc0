"""The four technicians of Harbour Lane Appliance Service (invented)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .errors import pick


@dataclass(frozen=True)
class Technician:
    """How a technician works.

    skill : 0 to 1, how seldom a reading is called wrongly. pace : minutes over the usual minutes.
    writes : share of the checks done that end up in the log. guesses : readiness to change a part untested.
    order : the checks in the order this technician does them, as far as the machine has the parts.
    """

    skill: float
    pace: float
    writes: float
    guesses: float
    order: tuple[str, ...]


_AIR_FIRST = (
    "lint_screen_look",
    "hood_flap",
    "duct_off_run",
    "burner_watch",
    "transition_look",
    "exhaust_cycling",
    "static_pressure",
    "blower_turn",
    "lint_path_look",
    "fuse_continuity",
    "high_limit_continuity",
    "coil_ohms",
    "igniter_ohms",
    "flame_sensor_continuity",
    "seal_test",
    "thermistor_ohms",
    "cycling_bench_heat",
    "sensor_bar_test",
    "load_questions",
    "gas_cock_look",
    "belt_rollers_look",
    "harness_look",
    "timer_contacts",
    "centrifugal_contacts",
    "cycling_continuity",
    "relay_output",
    "meter_clock",
)
_METER_FIRST = (
    "burner_watch",
    "fuse_continuity",
    "igniter_ohms",
    "coil_ohms",
    "flame_sensor_continuity",
    "high_limit_continuity",
    "cycling_continuity",
    "thermistor_ohms",
    "lint_screen_look",
    "hood_flap",
    "hood_air_speed",
    "blower_turn",
    "transition_look",
    "lint_path_look",
    "timer_contacts",
    "relay_output",
    "centrifugal_contacts",
    "coil_ohms_hot",
    "seal_test",
    "harness_look",
    "cycling_bench_heat",
    "manifold_pressure",
    "belt_rollers_look",
    "load_questions",
)
_TALKS_FIRST = (
    "load_questions",
    "drum_warm",
    "lint_screen_look",
    "hood_flap",
    "duct_look",
    "glow_look",
    "gas_cock_look",
    "diagnostic_codes",
    "burner_watch",
    "transition_look",
    "static_pressure",
    "spun_load_weight",
    "level_check",
    "sensor_bar_test",
    "fuse_continuity",
    "igniter_ohms",
    "coil_ohms",
    "coil_ohms_hot",
    "blower_turn",
    "seal_test",
    "high_limit_continuity",
    "cycling_bench_heat",
    "thermistor_ohms",
    "manifold_pressure",
    "meter_clock",
    "lint_path_look",
    "belt_rollers_look",
    "harness_look",
    "cycling_continuity",
    "flame_sensor_continuity",
    "relay_output",
    "timer_contacts",
    "centrifugal_contacts",
)
_HURRIED = (
    "lint_screen_look",
    "burner_watch",
    "igniter_ohms",
    "coil_ohms",
    "fuse_continuity",
    "hood_flap",
    "cycling_continuity",
    "thermistor_ohms",
    "blower_turn",
    "belt_rollers_look",
)

TECHNICIANS: Mapping[str, Technician] = {
    "T1": Technician(0.95, 1.00, 0.92, 0.08, _TALKS_FIRST),
    "T2": Technician(0.85, 0.90, 0.75, 0.20, _AIR_FIRST),
    "T3": Technician(0.75, 1.10, 0.60, 0.25, _METER_FIRST),
    "T4": Technician(0.50, 0.75, 0.38, 0.55, _HURRIED),
}


def technician(name: str) -> Technician:
    """Return a technician by id; `UnknownNameError` for any other name."""
    return TECHNICIANS[pick("technician", name, TECHNICIANS)]
