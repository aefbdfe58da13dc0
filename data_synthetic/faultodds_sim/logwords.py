"""How the technicians of the invented shop write things down: words, abbreviations, units, slips of the
pen.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

#: check -> words for its outcomes, in the order of `names.CHECKS`; several spellings each.
LOOK_WORDS: Mapping[str, Sequence[Sequence[str]]] = {
    "lint_screen_look": (
        ("clean", "ok", "clear"),
        ("coated", "film", "water beads", "filmy"),
        ("torn", "hole", "ripped"),
    ),
    "hood_flap": (("strong", "good", "ok"), ("weak", "wk", "weak puff"), ("none", "no air", "shut")),
    "transition_look": (
        ("ok", "sound", "good"),
        ("crushed", "kinked", "smashed"),
        ("off", "came off", "loose"),
    ),
    "duct_off_run": (("same", "no chg", "no change"), ("better", "much better", "big diff")),
    "load_questions": (
        ("ok", "normal loads", "fine"),
        ("overloads", "stuffed", "2 loads in 1"),
        ("eco cycle", "low heat", "delicates"),
    ),
    "sensor_bar_test": (("ok", "good", "clean"), ("filmy", "coated", "waxy"), ("dead", "no response", "n/r")),
    "diagnostic_codes": (
        ("none", "no codes", "0"),
        ("airflow", "AF", "vent code"),
        ("sensor", "temp snsr", "TH"),
        ("ignition", "IGN", "no flame"),
    ),
    "burner_watch": (
        ("cycles ok", "ok", "3 cycles"),
        ("no call", "no click no glow", "nothing clicks"),
        ("no glow", "clicks no glow", "no ign"),
        ("glow stays on", "glows + glows", "stays on glow"),
        ("glow no flame", "glows then out", "glo/no fl"),
        ("lights then quits", "1 cycle then out", "drops out"),
        ("short cycles", "cuts out quick", "on/off"),
        ("burns on", "flame stays on", "wont go out"),
    ),
    "drum_warm": (("warm", "heats", "drum warm"), ("lukewarm", "barely warm"), ("cold", "stone cold", "no heat")),
    "glow_look": (
        ("lights", "lights ok", "flame"),
        ("no call", "no click", "nothing"),
        ("no glow", "clicks no glow"),
        ("glow stays on", "stays on glow"),
        ("glow no flame", "glows then out"),
    ),
    "hand_turn": (("free", "ok"), ("loose", "spins loose"), ("stiff", "drags")),
    "over_back_look": (("sound", "ok"), ("crushed", "kinked"), ("off", "came off")),
    "lint_slot_look": (("clear", "ok"), ("packed", "full of lint")),
    "duct_look": (
        ("clear", "ok", "clean"),
        ("lint", "linty", "full of lint"),
        ("nest", "bird nest", "screen clogged"),
        ("shared", "shared duct", "booster fan"),
    ),
    "door_seal_look": (("grips", "ok"), ("loose", "gap")),
    "plate_look": (("matches", "ok"), ("wrong fuel", "lp plate")),
    "co_room": (("0", "ok"), ("some", "20 ppm"), ("high", "80 ppm")),
    "air_opening_look": (("enough", "ok"), ("short", "no louvres")),
    "flame_sensor_hot": (("opens", "ok"), ("stays closed", "stuck")),
    "blower_turn": (
        ("tight", "ok", "good"),
        ("slips", "hub gone", "stripped"),
        ("clogged", "packed", "lint on wheel"),
    ),
    "lint_path_look": (
        ("clear", "ok", "clean"),
        ("packed", "full of lint", "plugged"),
        ("seal torn", "housing seal", "housing leaks"),
    ),
    "belt_rollers_look": (
        ("ok", "good", "belt ok"),
        ("belt slips", "slipping", "glazed"),
        ("belt broke", "broken belt", "off"),
        ("rollers drag", "rollers bad", "drags"),
    ),
    "seal_test": (("grips", "ok", "good"), ("loose", "gap", "worn")),
    "harness_look": (("ok", "good", "sound"), ("burnt plug", "burnt", "loose term")),
    "other_appliances": (
        ("stove ok", "ok", "others work"),
        ("weak", "low flame stove", "low"),
        ("dead", "no gas", "out"),
    ),
    "gas_cock_look": (("open", "on", "cock open"), ("shut", "was off", "closed")),
    "level_check": (("level", "ok", "lvl ok"), ("off level", "rocks", "out of lvl")),
    "relay_output": (
        ("relay ok", "closes", "relay closes"),
        ("relay dead", "no output", "rly open"),
        ("stuck on", "relay welded"),
    ),
}
SWITCH_WORDS: Sequence[Sequence[str]] = (("ok", "closed", "cont", "0.2"), ("OL", "open", "bad", "no cont"))
VERIFY_WORDS: Sequence[Sequence[str]] = (
    ("dry", "ok 25m", "pass", "dry 25min"),
    ("still damp", "slow", "damp"),
    ("no heat", "cold", "nh"),
)
#: A normal finding by technician: written out, "ok", or left blank more or less often (shares of blank).
BLANK_WHEN_FINE = (0.08, 0.30, 0.55, 0.80)

COMPLAINT_WORDS: Mapping[str, Sequence[Sequence[str]]] = {
    "dry_time": (
        ("drys ok",),
        ("takes long", "long dry time", "2 cycles", "slow dry"),
        ("takes 3 cycles", "takes forever", "over 2 hrs", "not drying"),
    ),
    "heat": (
        ("has heat",),
        ("heats then goes cold", "heat quits", "warm at first"),
        ("no heat", "NH", "blows cold", "no ht"),
    ),
    "glow": (("sees flame",), ("sees glow no flame", "glows"), ("no glow",)),
    "clothes": (("",), ("hot but damp", "clothes hot + damp"), ("damp and cool", "wet clothes", "cold damp")),
    "noise": (("",), ("thump", "thumping"), ("squeal", "squeeks"), ("rattle", "noisy")),
    "cabinet_hot": (("",), ("top hot to touch", "laundry rm hot", "cabinet hot")),
    "auto_stops_early": (("",), ("auto quits early", "sensor dry stops w/ damp clothes")),
    "auto_never_stops": (("",), ("auto never stops", "runs on and on on auto")),
    "timed_ok_auto_not": (("",), ("timed ok auto not", "timed works")),
    "room_humid": (("",), ("room steamy", "window wet", "humid")),
    "lint_around": (("",), ("lint everywhere", "lint behind dryer", "linty clothes")),
    "weak_puff": (("good air outside",), ("weak air outside", "hardly any air at vent")),
    "burning_smell": (("",), ("burnt smell", "burning smell")),
    "drum_still": (("",), ("drum not turning", "wont tumble")),
    "code_airflow": (("",), ("airflow code", "vent code")),
    "code_sensor": (("",), ("sensor code", "temp code")),
    "code_ignition": (("",), ("ign code",)),
}

PART_WORDS: Mapping[str, Sequence[str]] = {
    "clean_duct": ("cleaned vent", "vent clng", "cln duct"),
    "shorten_duct": ("advised reroute",),
    "clear_hood": ("cleared hood", "new hood", "hood clnd"),
    "new_transition": ("new transition", "trans duct 4in"),
    "refit_transition": ("refit duct", "reclamped duct"),
    "lint_screen_wash": ("washed screen",),
    "lint_screen_new": ("lint screen", "new screen"),
    "clean_lint_path": ("cln cabinet", "cleaned lint path"),
    "blower_wheel": ("blower whl", "blower wheel"),
    "housing_seal": ("housing seal", "blower seal"),
    "coil_set": ("coil set", "coils", "gas coils"),
    "igniter": ("igniter", "ignitor", "IGN"),
    "flame_sensor": ("flame sens", "radiant sensor"),
    "gas_valve": ("gas valve",),
    "open_cock": ("opened cock",),
    "gas_supplier": ("ref gas co", "referred gas supplier"),
    "burner_clean": ("cln burner",),
    "orifice_kit": ("orifice kit",),
    "high_limit_kit": ("hi limit kit", "HL + TCO kit"),
    "thermal_fuse": ("t-fuse", "thermal fuse", "TF"),
    "motor_fuse": ("motor fuse", "motor t-fuse"),
    "cycling_thermostat": ("cyc tstat", "cycling stat"),
    "thermistor": ("thermistor", "therm"),
    "board": ("board", "ctrl bd"),
    "timer": ("timer",),
    "motor": ("motor",),
    "electrician": ("ref electrician", "outlet to electrician"),
    "belt_idler": ("belt + idler", "belt"),
    "rollers": ("rollers",),
    "drum_seals": ("drum seals", "felt"),
    "door_seal": ("door seal", "new door seal"),
    "sensor_clean": ("cln bars", "cleaned sensor"),
    "sensor_bars": ("sensor bars",),
    "level": ("leveled",),
    "connector": ("connector", "repaired plug"),
    "advise_use": ("advised cust", "showed cust use"),
    "louvred_door": ("advised louver door",),
}
#: repair -> (labour minutes, part price in USD): the invented shop's price list, first guesses.
PRICE_LIST: Mapping[str, tuple[int, int]] = {
    "clean_duct": (45, 0),
    "shorten_duct": (15, 0),
    "clear_hood": (20, 25),
    "new_transition": (20, 22),
    "refit_transition": (12, 0),
    "lint_screen_wash": (3, 0),
    "lint_screen_new": (3, 20),
    "clean_lint_path": (30, 0),
    "blower_wheel": (35, 38),
    "housing_seal": (25, 14),
    "coil_set": (20, 34),
    "igniter": (20, 36),
    "flame_sensor": (15, 22),
    "gas_valve": (45, 120),
    "open_cock": (1, 0),
    "gas_supplier": (5, 0),
    "burner_clean": (30, 0),
    "orifice_kit": (30, 35),
    "high_limit_kit": (20, 30),
    "thermal_fuse": (15, 14),
    "motor_fuse": (15, 18),
    "cycling_thermostat": (20, 28),
    "thermistor": (15, 24),
    "board": (25, 170),
    "timer": (30, 130),
    "motor": (60, 150),
    "electrician": (5, 0),
    "belt_idler": (35, 30),
    "rollers": (45, 45),
    "drum_seals": (50, 45),
    "door_seal": (15, 25),
    "sensor_clean": (5, 0),
    "sensor_bars": (25, 40),
    "level": (5, 0),
    "connector": (20, 8),
    "advise_use": (5, 0),
    "louvred_door": (5, 0),
}
LABOUR_AN_HOUR, TRIP_MINUTES = 95.0, 22.0


def _ohm(value: float, style: int) -> str:
    """Ohms in four hands: 1150, 1.15k, 1.15 K, 1150 ohm."""
    if not math.isfinite(value) or value > 2e7:
        return ("OL", "OL", "open", "inf")[style]
    if value >= 1000.0:
        return (f"{value:.0f}", f"{value / 1000.0:.2f}k", f"{value / 1000.0:.2f} K", f"{value:.0f} ohm")[style]
    return (f"{value:.0f}", f"{value:.0f}", f"{value:.1f}", f"{value:.0f} ohm")[style]


def _degrees(value: float, style: int) -> str:
    if not math.isfinite(value):
        return ("never opened", "no open", "n/o", "")[style]
    return (f"{value:.0f} F", f"{value:.0f}", f"{(value - 32.0) / 1.8:.0f}C", f"{value:.0f}F")[style]


def _seconds(value: float, style: int) -> str:
    if not math.isfinite(value):
        return ("no movement", "0", "none", "-")[style]
    return (f"{value:.0f} s", f"{value:.0f}", f"{value:.0f}s/half ft", f"{value:.0f} sec")[style]


#: check -> how its number is written in the four technicians' hands.
NUMBERS: Mapping[str, Callable[[float, int], str]] = {
    "hood_air_speed": lambda v, s: (
        f"{v:.0f}",
        f"{v:.0f} fpm",
        f"{v * 0.00508:.1f} m/s",
        f"{v / 100.0:.0f}00",
    )[s],
    "static_pressure": lambda v, s: (f"{v:.2f}", f"{v:.2f} wc", f"{v * 249.089:.0f} Pa", f'{v:.1f}"')[s],
    "exhaust_cycling": _degrees,
    "cycling_bench_heat": _degrees,
    "meter_clock": _seconds,
    "spun_load_weight": lambda v, s: (f"{v:.0f}%", f"{v:.0f}", f"{v / 100.0:.2f}", f"{v:.0f} pct")[s],
    "igniter_ohms": _ohm,
    "coil_ohms": _ohm,
    "coil_ohms_hot": _ohm,
    "thermistor_ohms": _ohm,
    "outlet_voltage": lambda v, s: (f"{v:.0f}", f"{v:.0f}V", f"{v:.1f} vac", f"{v:.0f}")[s],
    "burner_voltage": lambda v, s: (f"{v:.1f}", f"{v:.0f}V", f"{v:.0f} vac", f"{v:.0f}")[s],
    "manifold_pressure": lambda v, s: (f"{v:.1f}", f"{v:.1f} wc", f"{v * 249.089:.0f} Pa", f'{v:.1f}"')[s],
}
#: What lands in a cell when the pen or the meter's range slips.
IMPOSSIBLE = ("-3.5", "99999", "1550 F", "0.115", "12345", "-40", "999", "1.1M")
TYPO_PAIRS = (
    ("ok", "okk"),
    ("vent", "vetn"),
    ("dry", "dyr"),
    ("clean", "claen"),
    ("heat", "haet"),
    ("coil", "ciol"),
    ("igniter", "ignter"),
    ("damp", "dmap"),
    ("lint", "lnit"),
    ("weak", "weka"),
)


def mistype(text: str, which: int) -> str:
    """Return the text with one slip of the fingers, if a word for it is there."""
    for step in range(len(TYPO_PAIRS)):
        right, wrong = TYPO_PAIRS[(which + step) % len(TYPO_PAIRS)]
        if right in text:
            return text.replace(right, wrong, 1)
    return text
