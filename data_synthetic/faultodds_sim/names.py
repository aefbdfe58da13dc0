"""The simulator's vocabulary: modes, repairs, symptoms and checks, each with its outcomes (the first is the
normal one).
"""

from __future__ import annotations

from collections.abc import Mapping

#: What no part explains: the customer is mistaken, or the cause is not on anybody's list.
NOTHING, UNLISTED = "nothing_wrong", "unlisted"

SYMPTOMS: Mapping[str, tuple[str, ...]] = {
    "dry_time": ("normal", "longer", "over_twice"),
    "heat": ("normal", "cools_off", "none"),
    "glow": ("normal", "glow_no_flame", "no_glow"),
    "clothes": ("dry", "hot_damp", "cool_damp"),
    "noise": ("none", "thump", "squeal", "rattle"),
    **dict.fromkeys(
        (
            "cabinet_hot",
            "auto_stops_early",
            "auto_never_stops",
            "timed_ok_auto_not",
            "room_humid",
            "lint_around",
            "weak_puff",
            "burning_smell",
            "drum_still",
            "code_airflow",
            "code_sensor",
            "code_ignition",
        ),
        ("no", "yes"),
    ),
}

CHECKS: Mapping[str, tuple[str, ...]] = {
    "lint_screen_look": ("clean", "coated", "torn"),
    "hood_flap": ("strong", "weak", "none"),
    "hood_air_speed": ("good", "low", "very_low"),
    "transition_look": ("sound", "crushed", "off"),
    "duct_off_run": ("no_change", "much_better"),
    "static_pressure": ("normal", "low", "high", "very_high"),
    "exhaust_cycling": ("normal", "cuts_off_cool", "runs_hot", "no_heat"),
    "load_questions": ("fine", "overloaded", "low_heat"),
    "level_check": ("level", "off"),
    "spun_load_weight": ("normal", "wet"),
    "meter_clock": ("normal", "low", "high", "none"),
    "other_appliances": ("work", "weak", "dead"),
    "gas_cock_look": ("open", "shut"),
    "sensor_bar_test": ("good", "coated", "dead"),
    "diagnostic_codes": ("none", "airflow", "sensor", "ignition"),
    "burner_watch": (
        "cycles",
        "no_call",
        "no_glow",
        "glow_stays",
        "glow_no_flame",
        "lights_then_fails",
        "short_cycles",
        "burns_on",
    ),
    "blower_turn": ("tight", "slips", "clogged"),
    "lint_path_look": ("clear", "packed", "seal"),
    "belt_rollers_look": ("good", "slipping", "broken", "dragging"),
    "seal_test": ("grips", "loose"),
    "igniter_ohms": ("normal", "high", "open"),
    "coil_ohms": ("good", "off"),
    "coil_ohms_hot": ("good", "off"),
    "flame_sensor_continuity": ("closed", "open"),
    "fuse_continuity": ("closed", "open"),
    "high_limit_continuity": ("closed", "open"),
    "cycling_continuity": ("closed", "open"),
    "cycling_bench_heat": ("good", "opens_low", "stays_closed"),
    "thermistor_ohms": ("on_chart", "reads_low", "reads_high", "open_or_shorted"),
    "timer_contacts": ("good", "burnt"),
    "centrifugal_contacts": ("good", "open"),
    "harness_look": ("sound", "burnt"),
    "burner_voltage": ("present", "missing"),
    "relay_output": ("closes", "stays_open", "stays_closed"),
    "manifold_pressure": ("normal", "low", "high"),
    "verification_run": ("dry_in_time", "slow", "no_heat"),
    "drum_warm": ("warm", "lukewarm", "cold"),
    "glow_look": ("lights", "no_call", "no_glow", "glow_stays", "glow_no_flame"),
    "hand_turn": ("free", "loose", "stiff"),
    "over_back_look": ("sound", "crushed", "off"),
    "lint_slot_look": ("clear", "packed"),
    "duct_look": ("clear", "lint", "nest", "shared"),
    "door_seal_look": ("grips", "loose"),
    "plate_look": ("matches", "other"),
    "co_room": ("none", "some", "high"),
    "flame_sensor_hot": ("opens", "stays_closed"),
    "motor_fuse_continuity": ("closed", "open"),
    "outlet_voltage": ("normal", "low"),
    "air_opening_look": ("enough", "short"),
}

#: What a check needs of the machine: the control it has, an auto-dry sensor, a gas meter.
CHECK_NEEDS: Mapping[str, tuple[str, str]] = {
    "cycling_continuity": ("control", "timer"),
    "cycling_bench_heat": ("control", "timer"),
    "timer_contacts": ("control", "timer"),
    "thermistor_ohms": ("control", "board"),
    "relay_output": ("control", "board"),
    "diagnostic_codes": ("control", "board"),
    "sensor_bar_test": ("auto_dry", "yes"),
    "level_check": ("auto_dry", "yes"),
    "meter_clock": ("gas_meter", "yes"),
}
