"""What is really wrong for the customer, and what the customer says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.random import Generator

from .instruments import View
from .machines import drum_turn, inlet_share
from .names import SYMPTOMS
from .psychro import Array, Codes, Flags
from .runs import Run

UNTOLD = -1
SLOW_RATIO = 1.3
DAMP = 0.09


class Troubles(NamedTuple):
    """What a customer has a right to complain of, each an array of N."""

    slow: Flags
    no_heat: Flags
    auto: Flags
    hot: Flags
    humid: Flags
    lint: Flags
    noise: Flags
    still: Flags

    def any(self) -> Flags:
        """Whether there is any."""
        return np.asarray(np.logical_or.reduce(self), bool)


def time_ratio(used: Run, normal_min: Array) -> Array:
    """Drying time over the house's normal one (infinite when it never gets dry)."""
    return used.dry_min / normal_min


def auto_early(v: View) -> Flags:
    """The sensor ends the cycle with the clothes damp."""
    return (v.m.auto > 0.5) & (np.nan_to_num(v.used.auto_moisture, nan=0.0) > DAMP)


def auto_never(v: View) -> Flags:
    """The clothes are dry and the sensor goes on."""
    return (v.m.auto > 0.5) & np.isfinite(v.used.dry_min) & (v.used.auto_stop_min > v.used.dry_min + 15.0)


def troubles(v: View, normal_min: Array) -> Troubles:
    """Judge N machines by their physics in the customer's own use."""
    m, r = v.m, v.used
    turning = drum_turn(m) > 0.05
    return Troubles(
        slow=time_ratio(r, normal_min) > SLOW_RATIO,
        no_heat=r.flame_min < 3.0,
        auto=(m.uses_auto > 0.5) & (auto_early(v) | auto_never(v)),
        hot=(r.peak_exhaust_c > 80.5) & (r.hood_cfm > 25.0),
        humid=inlet_share(m) > 0.15,
        lint=(m.screen_tear > 0.25) | (m.transition_gap > 0.3),
        noise=(m.drag > 0.5) | (m.tilt_deg > 2.5) | (m.drum_speed < 0.55),
        still=~turning,
    )


def truth(v: View, normal_min: Array) -> dict[str, Codes]:
    """Symptom codes that a perfect observer would report."""
    m, r = v.m, v.used
    t = troubles(v, normal_min)
    ratio = time_ratio(r, normal_min)
    none = r.flame_min < 3.0
    lit_glow = (r.duds >= 2) & (r.glow_s > 20.0)
    cools = ~none & ((r.late_duty < 0.6 * r.early_duty) | (r.late_duty < 0.5))
    stop = np.where(m.uses_auto > 0.5, np.nan_to_num(r.auto_moisture, nan=0.0), r.timed_moisture)
    damp = np.where(np.isfinite(r.dry_min) & (m.uses_auto > 0.5), auto_early(v), stop > DAMP)
    hot = (r.timed_cloth_c > 33.0) & ~none
    flags: dict[str, Flags] = {
        "cabinet_hot": t.hot | (r.peak_limit_c > 118.0) | ((inlet_share(m) > 0.2) & ~none),
        "auto_stops_early": auto_early(v),
        "auto_never_stops": auto_never(v),
        "timed_ok_auto_not": t.auto & ~t.slow & ~t.no_heat,
        "room_humid": t.humid,
        "lint_around": t.lint,
        "weak_puff": r.hood_cfm < 60.0,
        "burning_smell": (m.path_lint > 0.72) | (m.drag > 0.75),
        "drum_still": t.still,
        "code_airflow": (m.board > 0.5) & (r.early_trips > 3),
        "code_sensor": (m.board > 0.5) & (np.abs(np.log(m.thermistor_ratio)) > 1.0),
        "code_ignition": (m.board > 0.5) & none & (r.duds > 3),
    }
    noise = np.select([m.tilt_deg > 2.5, m.drum_speed < 0.6, (m.drag > 0.45) | (m.wheel_grip < 0.6)], [1, 2, 3], 0)
    return {
        "dry_time": np.where(none | (ratio > 2.0), 2, np.where(ratio > SLOW_RATIO, 1, 0)),
        "heat": np.where(none, 2, np.where(cools, 1, 0)),
        "glow": np.where(lit_glow, 1, np.where(none & (r.glow_s < 5.0), 2, 0)),
        "clothes": np.where(damp, np.where(hot, 1, 2), 0),
        "noise": noise.astype(np.intp),
        **{name: f.astype(np.intp) for name, f in flags.items()},
    }


#: Chance that a technician who looks for a symptom has it wrong; common practice, no source.
LOOKED_WRONG = 0.012
#: Chance that a customer mentions a symptom when it is there, mentions its absence, and has it wrong.
_TELLS: Mapping[str, tuple[float, float, float]] = {
    "dry_time": (0.93, 0.6, 0.10),
    "heat": (0.88, 0.7, 0.07),
    "glow": (0.14, 0.05, 0.08),
    "clothes": (0.82, 0.5, 0.10),
    "noise": (0.7, 0.35, 0.03),
    "cabinet_hot": (0.5, 0.2, 0.04),
    "auto_stops_early": (0.7, 0.25, 0.04),
    "auto_never_stops": (0.7, 0.2, 0.02),
    "timed_ok_auto_not": (0.5, 0.2, 0.04),
    "room_humid": (0.5, 0.2, 0.04),
    "lint_around": (0.6, 0.2, 0.03),
    "weak_puff": (0.25, 0.12, 0.10),
    "burning_smell": (0.5, 0.35, 0.03),
    "drum_still": (0.97, 0.7, 0.004),
    "code_airflow": (0.5, 0.4, 0.01),
    "code_sensor": (0.75, 0.4, 0.01),
    "code_ignition": (0.6, 0.4, 0.01),
}


#: What makes a symptom one that this machine can have.
_ON = {
    **dict.fromkeys(("auto_stops_early", "auto_never_stops", "timed_ok_auto_not"), "auto"),
    **dict.fromkeys(("code_airflow", "code_sensor", "code_ignition"), "board"),
}


def complaint(v: View, normal_min: Array, candour: Array, rng: Generator) -> dict[str, Codes]:
    """Symptom codes as told on the phone: `UNTOLD` where not spoken of, now and then wrong."""
    n, told = len(v.m), {}
    for name, codes in truth(v, normal_min).items():
        there, absent, wrong = _TELLS[name]
        speaks = rng.random(n) < np.where(codes > 0, there, absent) * (0.65 + 0.4 * candour)
        slips = rng.random(n) < wrong * (1.7 - candour)
        other = np.mod(codes + rng.integers(1, len(SYMPTOMS[name]), n), len(SYMPTOMS[name]))
        told[name] = np.where(speaks, np.where(slips, other, codes), UNTOLD)
    for name, has in _ON.items():
        told[name] = np.where(getattr(v.m, has) > 0.5, told[name], UNTOLD)
    return _exclude(told)


def answer(v: View, normal_min: Array, name: str, rng: Generator, looked: bool = False) -> str | None:
    """What is said of a symptom of one machine when asked, now and then wrong; None where there is nothing to tell. `looked`: by
    the technician, who stands at the machine and looks for it, and not by the customer from memory.
    """
    if name not in _TELLS or (name in _ON and not bool(getattr(v.m, _ON[name])[0] > 0.5)):
        return None
    code, words = int(truth(v, normal_min)[name][0]), SYMPTOMS[name]
    if rng.random() < (LOOKED_WRONG if looked else _TELLS[name][2]):
        code = (code + int(rng.integers(1, len(words)))) % len(words)
    return words[code]


def _exclude(told: dict[str, Codes]) -> dict[str, Codes]:
    """Nobody says in one breath that the drum stops early and never stops, or dries normally and stays damp
    cold.
    """
    both = (told["auto_stops_early"] == 1) & (told["auto_never_stops"] == 1)
    told["auto_never_stops"] = np.where(both, UNTOLD, told["auto_never_stops"])
    silly = (told["dry_time"] == 0) & (told["heat"] == 2)
    told["dry_time"] = np.where(silly, UNTOLD, told["dry_time"])
    return told
