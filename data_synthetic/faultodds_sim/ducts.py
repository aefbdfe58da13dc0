"""Dryer exhaust ducts: what an elbow counts for, and how rough the materials are.

Source of the fittings: IRC Table M1502.4.5.1 (the number moves by edition), 4 in round duct.
"""

from __future__ import annotations

from collections.abc import Mapping

DIAMETER_FT = 4.0 / 12.0

#: Equivalent feet of one fitting in a 4 in duct.
FITTING_FT: Mapping[str, float] = {
    "mitred_90": 5.0,
    "radius_6_90": 1.75,
}

#: Darcy friction factor by vent material, lint-free (common practice: foil is two to three times rigid pipe).
FRICTION: Mapping[str, float] = {"rigid": 0.021, "semi_rigid": 0.030, "foil": 0.050}
