"""What the customer and the rating plate tell at intake, in words; some of it unknown, some of it wrong."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.random import Generator

from .households import Houses
from .psychro import Array, Codes, Flags

UNKNOWN = -1

FACTS: Mapping[str, tuple[str, ...]] = {
    "vent_material": ("rigid", "semi_rigid", "foil"),
    "vent_length": ("to_10", "to_25", "to_35", "over_35"),
    "duct_cleaned": ("under_12", "to_36", "over_36"),
    "loads_per_week": ("to_3", "to_7", "over_7"),
    "age": ("to_3", "to_8", "to_13", "over_13"),
    "fuel": ("natural", "propane"),
    "place": ("open_room", "closet"),
    "opened_before": ("no", "yes"),
    "onset": ("sudden", "crept_up"),
    "after": ("neither", "move", "service_visit"),
}
EQUIPMENT: Mapping[str, tuple[str, ...]] = {
    "control": ("timer", "board"),
    "auto_dry": ("no", "yes"),
    "gas_meter": ("no", "yes"),
    "coil_layout": ("single_block", "two_coils_two_three_terminal"),
    "lower_panel": ("no", "yes"),
}
#: Chance that nobody knows, and that what is told is wrong.
_VAGUE: Mapping[str, tuple[float, float]] = {
    "vent_material": (0.10, 0.05),
    "vent_length": (0.22, 0.12),
    "duct_cleaned": (0.18, 0.12),
    "loads_per_week": (0.06, 0.10),
    "age": (0.14, 0.08),
    "fuel": (0.02, 0.005),
    "place": (0.01, 0.01),
    "opened_before": (0.20, 0.08),
    "onset": (0.10, 0.14),
    "after": (0.05, 0.03),
}


def true_facts(h: Houses, sudden: Flags) -> Mapping[str, Codes]:
    """Codes of the facts as they are, each an array of N."""
    cut = np.digitize
    return {
        "vent_material": h.material,
        "vent_length": cut(h.duct_ft, [10.0, 25.0, 35.0], right=True),
        "duct_cleaned": cut(h.months_since_clean, [12.0, 36.0]),
        "loads_per_week": cut(h.loads, [3.5, 7.5]),
        "age": cut(h.age, [4.0, 9.0, 14.0]),
        "fuel": h.propane.astype(np.intp),
        "place": h.closet.astype(np.intp),
        "opened_before": h.opened.astype(np.intp),
        "onset": (~sudden).astype(np.intp),
        "after": h.after,
    }


def told_facts(h: Houses, sudden: Flags, rng: Generator) -> Mapping[str, Codes]:
    """Codes of the facts as told; `UNKNOWN` where nobody knows."""
    told = {}
    for name, codes in true_facts(h, sudden).items():
        vague, wrong = _VAGUE[name]
        slip = rng.random(len(h)) < wrong * (1.6 - h.candour)
        near = np.clip(codes + rng.choice([-1, 1], len(h)), 0, len(FACTS[name]) - 1)
        told[name] = np.where(rng.random(len(h)) < vague, UNKNOWN, np.where(slip, near, codes))
    return told


def equipment(h: Houses) -> Mapping[str, Codes]:
    """Codes of the equipment, read off the machine."""
    return {
        "control": h.board.astype(np.intp),
        "auto_dry": h.auto.astype(np.intp),
        "gas_meter": (~h.propane).astype(np.intp),
        "coil_layout": h.two_coils.astype(np.intp),
        "lower_panel": h.lower_panel.astype(np.intp),
    }


def words(table: Mapping[str, tuple[str, ...]], codes: Mapping[str, Array | Codes], row: int) -> dict[str, str]:
    """Turn one machine's codes into words, leaving out what is unknown."""
    return {name: table[name][int(code[row])] for name, code in codes.items() if int(code[row]) != UNKNOWN}
