"""What findings make the shop's technicians do: rules of the trade (common practice, no source), by name and
by code.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .names import CHECKS
from .psychro import Codes, Flags
from .repairs import REPAIRS
from .technicians import TECHNICIANS

CHECK_NAMES = tuple(CHECKS)
CHECK_CODE = {name: i for i, name in enumerate(CHECK_NAMES)}
REPAIR_NAMES = tuple(REPAIRS)
REPAIR_CODE = {name: i for i, name in enumerate(REPAIR_NAMES)}
TECH_NAMES = tuple(TECHNICIANS)
NONE = -1

#: What a finding makes a technician do, by check and outcome.
POINTS_TO: Mapping[tuple[str, str], str] = {
    ("lint_screen_look", "coated"): "lint_screen_wash",
    ("lint_screen_look", "torn"): "lint_screen_new",
    ("transition_look", "crushed"): "new_transition",
    ("transition_look", "off"): "refit_transition",
    ("load_questions", "overloaded"): "advise_use",
    ("load_questions", "low_heat"): "advise_use",
    ("spun_load_weight", "wet"): "advise_use",
    ("level_check", "off"): "level",
    ("gas_cock_look", "shut"): "open_cock",
    ("other_appliances", "weak"): "gas_supplier",
    ("manifold_pressure", "low"): "gas_supplier",
    ("manifold_pressure", "high"): "gas_valve",
    ("meter_clock", "high"): "gas_valve",
    ("meter_clock", "low"): "burner_clean",
    ("sensor_bar_test", "coated"): "sensor_clean",
    ("sensor_bar_test", "dead"): "sensor_bars",
    ("diagnostic_codes", "sensor"): "thermistor",
    ("burner_watch", "glow_stays"): "flame_sensor",
    ("burner_watch", "glow_no_flame"): "coil_set",
    ("burner_watch", "burns_on"): "gas_valve",
    ("glow_look", "glow_stays"): "flame_sensor",
    ("glow_look", "glow_no_flame"): "coil_set",
    ("hand_turn", "loose"): "belt_idler",
    ("hand_turn", "stiff"): "rollers",
    ("over_back_look", "crushed"): "new_transition",
    ("over_back_look", "off"): "refit_transition",
    ("lint_slot_look", "packed"): "clean_lint_path",
    ("duct_look", "lint"): "clean_duct",
    ("duct_look", "nest"): "clear_hood",
    ("duct_look", "shared"): "shorten_duct",
    ("door_seal_look", "loose"): "door_seal",
    ("plate_look", "other"): "orifice_kit",
    ("air_opening_look", "short"): "louvred_door",
    ("flame_sensor_hot", "stays_closed"): "flame_sensor",
    ("motor_fuse_continuity", "open"): "motor_fuse",
    ("outlet_voltage", "low"): "electrician",
    ("burner_watch", "lights_then_fails"): "coil_set",
    ("blower_turn", "slips"): "blower_wheel",
    ("blower_turn", "clogged"): "blower_wheel",
    ("lint_path_look", "packed"): "clean_lint_path",
    ("lint_path_look", "seal"): "housing_seal",
    ("belt_rollers_look", "slipping"): "belt_idler",
    ("belt_rollers_look", "broken"): "belt_idler",
    ("belt_rollers_look", "dragging"): "rollers",
    ("seal_test", "loose"): "drum_seals",
    ("igniter_ohms", "high"): "igniter",
    ("igniter_ohms", "open"): "igniter",
    ("coil_ohms", "off"): "coil_set",
    ("coil_ohms_hot", "off"): "coil_set",
    ("flame_sensor_continuity", "open"): "flame_sensor",
    ("fuse_continuity", "open"): "thermal_fuse",
    ("high_limit_continuity", "open"): "high_limit_kit",
    ("cycling_continuity", "open"): "cycling_thermostat",
    ("cycling_bench_heat", "opens_low"): "cycling_thermostat",
    ("cycling_bench_heat", "stays_closed"): "cycling_thermostat",
    ("thermistor_ohms", "reads_low"): "thermistor",
    ("thermistor_ohms", "reads_high"): "thermistor",
    ("thermistor_ohms", "open_or_shorted"): "thermistor",
    ("timer_contacts", "burnt"): "timer",
    ("centrifugal_contacts", "open"): "motor",
    ("harness_look", "burnt"): "connector",
    ("relay_output", "stays_open"): "board",
    ("relay_output", "stays_closed"): "board",
    ("exhaust_cycling", "runs_hot"): "cycling_thermostat",
}
#: Findings that say "not enough air" without saying where.
AIR_BAD = {
    ("hood_flap", "weak"),
    ("hood_flap", "none"),
    ("hood_air_speed", "low"),
    ("hood_air_speed", "very_low"),
    ("duct_off_run", "much_better"),
    ("static_pressure", "high"),
    ("static_pressure", "very_high"),
    ("burner_watch", "short_cycles"),
    ("diagnostic_codes", "airflow"),
}
AIR_REPAIRS = frozenset(
    {
        "lint_screen_wash",
        "lint_screen_new",
        "new_transition",
        "refit_transition",
        "blower_wheel",
        "clean_lint_path",
        "drum_seals",
    }
)
#: What is changed on a guess, with and without heat.
GUESSES = {
    True: ("coil_set", "igniter", "thermal_fuse", "flame_sensor", "high_limit_kit"),
    False: ("clean_duct", "coil_set", "cycling_thermostat", "thermistor", "lint_screen_wash"),
}


def _tables() -> tuple[Codes, Flags]:
    """POINTS_TO and AIR_BAD as arrays by check and outcome code."""
    widest = max(len(outcomes) for outcomes in CHECKS.values())
    points, air = np.full((len(CHECKS), widest), NONE, np.intp), np.zeros((len(CHECKS), widest), bool)
    for (check, outcome), repair in POINTS_TO.items():
        points[CHECK_CODE[check], CHECKS[check].index(outcome)] = REPAIR_CODE[repair]
    for check, outcome in AIR_BAD:
        air[CHECK_CODE[check], CHECKS[check].index(outcome)] = True
    return points, air


POINTS, AIR = _tables()
IS_AIR = np.array([name in AIR_REPAIRS for name in REPAIR_NAMES])
