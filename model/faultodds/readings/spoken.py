"""Words, examples and outer limits of readings."""

from __future__ import annotations

OPEN_WORDS = frozenset(
    [
        "ol",
        "o.l",
        "o.l.",
        "0l",
        "0.l",
        ".ol",
        "open",
        "infinite",
        "infinity",
        "inf",
        "∞",
        "overload",
        "open circuit",
        "no reading",
        "out of range",
        "over limit",
        "over range",
    ]
)
SHORT_WORDS = frozenset(["short", "shorted", "dead short", "short circuit"])
BEEP_WORDS = frozenset(["beep", "beeps", "it beeps", "buzz", "buzzes", "tone", "continuity", "closed", "rings"])
SILENT_WORDS = frozenset(
    [
        "no beep",
        "no tone",
        "silent",
        "no continuity",
        "does not beep",
        "doesn't beep",
        "no buzz",
        "nothing",
        "no",
    ]
)

EXAMPLES = {
    "resistance": "1.15k, 560 ohm or OL",
    "continuity": "beeps, no beep, 0.4 ohm or OL",
    "windings": "1.2k/1.35k/560",
    "thermistor": "11.2k at 72F",
    "temperature": "142F or 61C",
    "bench_heat": "opened at 141F, rated 155F",
    "voltage": "118 V",
    "current": "3.4 A",
    "pressure": "0.6 in wc or 150 Pa",
    "air_speed": "1150 fpm, 5.8 m/s or 120 cfm",
    "dial": "84 s per half foot",
    "moisture": "58 %, or wet 13.3 lb dry 8.5 lb",
    "angle": "1.5 deg or 1/4 in per ft",
    "time": "48 min or 1:20",
    "concentration": "12 ppm or 0",
}

# What no honest reading leaves, by unit.
LIMITS = {
    "ohm": (0.0, 1e9),
    "F": (-60.0, 1000.0),
    "C": (-50.0, 540.0),
    "V": (0.0, 1000.0),
    "A": (0.0, 100.0),
    "inwc": (0.0, 60.0),
    "Pa": (0.0, 15000.0),
    "mbar": (0.0, 150.0),
    "fpm": (0.0, 12000.0),
    "m/s": (0.0, 60.0),
    "btu_h": (0.0, 500000.0),
    "percent": (0.0, 400.0),
    "deg": (0.0, 90.0),
    "min": (0.0, 1440.0),
    "ppm": (0.0, 1e6),
}

BELOW_ZERO = {
    "pressure": "Swap the two hoses on the manometer, or zero it, and read again.",
    "voltage": "Set the meter to AC volts and read again.",
    "air_speed": "Turn the vane to face the draught and read again.",
    "concentration": "Zero the meter outdoors and read again.",
}
