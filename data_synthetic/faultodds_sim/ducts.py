"""Equivalent length of a dryer exhaust duct, by the fittings table of the residential code.

Source of the fittings: IRC Table M1502.4.5.1 (the number moves by edition), 4 in round duct, limit 35 ft.
"""

from __future__ import annotations

from collections.abc import Mapping

from .errors import pick

LIMIT_FT = 35.0
DIAMETER_FT = 4.0 / 12.0

#: Equivalent feet of one fitting in a 4 in duct.
FITTING_FT: Mapping[str, float] = {
    "mitred_45": 2.5,
    "mitred_90": 5.0,
    "radius_6_45": 1.0,
    "radius_6_90": 1.75,
    "radius_8_45": 1.0,
    "radius_8_90": 19.0 / 12.0,
    "radius_10_45": 0.75,
    "radius_10_90": 1.5,
}

#: Darcy friction factor by vent material, lint-free (common practice: foil is two to three times rigid pipe).
FRICTION: Mapping[str, float] = {"rigid": 0.021, "semi_rigid": 0.030, "foil": 0.050}


def equivalent_length(straight_ft: float, fittings: Mapping[str, int]) -> float:
    """Return the equivalent length (ft) of `straight_ft` of duct with `fittings` (name -> how many).

    Raises `UnknownNameError` for a fitting that the table does not have.
    """
    return straight_ft + sum(n * FITTING_FT[pick("fitting", name, FITTING_FT)] for name, n in fittings.items())


def over_limit(equivalent_ft: float) -> float:
    """Return by how many feet the duct is over the code's 35 ft (0 when it is not)."""
    return max(0.0, equivalent_ft - LIMIT_FT)
