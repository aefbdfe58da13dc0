"""Sums on the air side: equivalent length of an exhaust duct, air speed, velocity pressure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from faultodds.errors import BadReading
from faultodds.readings.sums_gas import positive

# Feet of straight duct that one 4 in elbow stands for, by bend radius in inches (0: mitred) and angle.
# Source: IRC Table M1502.4.5.1 (its number moves by edition).
ELBOW_FEET: dict[tuple[int, int], float] = {
    (0, 45): 2.5,
    (0, 90): 5.0,
    (6, 45): 1.0,
    (6, 90): 1.75,
    (8, 45): 1.0,
    (8, 90): 19 / 12,
    (10, 45): 0.75,
    (10, 90): 1.5,
}

# Source: IRC M1502 (limit on equivalent length where the maker gives none).
DUCT_LIMIT_FEET = 35.0

# Speed, ft/min, whose pressure is one inch of water in standard air (0.075 lb/cu ft).
STANDARD_AIR = 4005.0


@dataclass(frozen=True, slots=True)
class DuctLength:
    """Equivalent length of a duct, and how far it is over the limit (negative: feet in hand)."""

    feet: float
    limit: float

    @property
    def over(self) -> float:
        """Feet over the limit; negative when there is length in hand."""
        return self.feet - self.limit


def elbow_feet(radius: int, angle: int) -> float:
    """Feet of straight 4 in duct that one elbow stands for (IRC Table M1502.4.5.1).

    `radius` in inches is 0 (mitred), 6, 8 or 10; `angle` in degrees is 45 or 90. Raises `BadReading` for
    others.
    """
    if (radius, angle) not in ELBOW_FEET:
        raise BadReading(
            f"The table has no elbow of {radius} in radius and {angle} degrees: radius 0 (mitred), 6, 8 "
            "or 10 in, angle 45 or 90. Type the nearest smaller radius, which counts for more feet."
        )
    return ELBOW_FEET[radius, angle]


def duct_length(straight_feet: float, elbows: Sequence[tuple[int, int]], limit: float = DUCT_LIMIT_FEET) -> DuctLength:
    """Equivalent length, feet: the straight runs plus each (radius, angle) elbow.

    Source: IRC M1502.4.5.1. The maker's own limit, where given, is passed as `limit`.
    """
    if not (math.isfinite(straight_feet) and 0 <= straight_feet <= 500):
        raise BadReading(
            f"A straight run of {straight_feet:g} ft is outside 0 to 500 ft. Type the sum of the runs in feet."
        )
    feet = straight_feet + sum(elbow_feet(radius, angle) for radius, angle in elbows)
    return DuctLength(feet, positive(limit, "the limit", "ft"))


def duct_area(inches: float) -> float:
    """Area of a round duct, square feet, from its diameter in inches."""
    return math.pi / 4 * (positive(inches, "the duct diameter", "in") / 12) ** 2


def air_speed(cfm: float, inches: float = 4.0) -> float:
    """Mean air speed, ft/min, of `cfm` in a round duct of `inches` diameter: flow over area."""
    return cfm / duct_area(inches)


def air_flow(fpm: float, inches: float = 4.0) -> float:
    """Air flow, cfm, at a mean speed of `fpm` in a round duct of `inches` diameter."""
    return fpm * duct_area(inches)


def velocity_pressure(fpm: float) -> float:
    """Velocity pressure, in w.c., of standard air: (V / 4005)^2."""
    return (fpm / STANDARD_AIR) ** 2
