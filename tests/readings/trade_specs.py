"""The reading specs that these tests judge against, loaded as a knowledge file would be."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from faultodds.readings.judging import Judgement, judge
from faultodds.readings.specs import ReadingSpec

OUTCOMES: dict[str, list[str]] = {
    "igniter_ohms": ["normal", "open"],
    "coil_ohms": ["good", "off"],
    "coil_ohms_hot": ["good", "off"],
    "flame_sensor_continuity": ["closed", "open"],
    "fuse_continuity": ["closed", "open"],
    "high_limit_continuity": ["closed", "open"],
    "cycling_continuity": ["closed", "open"],
    "cycling_bench_heat": ["good", "opens_low", "stays_closed"],
    "thermistor_ohms": ["on_chart", "off_chart", "open_or_shorted"],
    "static_pressure": ["normal", "low", "high", "very_high"],
    "hood_air_speed": ["good", "low", "very_low"],
    "exhaust_cycling": ["normal", "cuts_off_cool", "runs_hot", "no_heat"],
    "meter_clock": ["normal", "low", "none"],
    "spun_load_weight": ["normal", "wet"],
    "manifold_pressure": ["normal", "low"],
    "burner_voltage": ["present", "missing"],
    "relay_output": ["closes", "stays_open"],
    "timer_contacts": ["good", "burnt"],
    "centrifugal_contacts": ["good", "open"],
    "level_check": ["level", "off"],
    "verification_run": ["dry_in_time", "slow", "no_heat"],
}


def _load() -> dict[str, ReadingSpec]:
    raw = tomllib.loads(Path(__file__).with_name("trade_specs.toml").read_text(encoding="utf-8"))
    return TypeAdapter(dict[str, ReadingSpec]).validate_python(raw["reading"])


SPECS = _load()


def read(check: str, text: str, **given: Any) -> Judgement:
    """The judgement of one raw reading of a check."""
    return judge(SPECS[check], OUTCOMES[check], text, **given)
