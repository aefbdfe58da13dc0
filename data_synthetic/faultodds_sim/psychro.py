"""Moist air for arrays: saturation tables made once by psychrolib, then looked up by numpy.

SI units: degrees C, Pa, kJ per kg of dry air, kg water per kg dry air. `tests/sim/test_balances.py` holds
every function here against psychrolib's scalar calls.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]

STANDARD_PA = 101325.0
CP_DRY, CP_VAPOUR, CP_WATER = 1.006, 1.86, 4.186  # kJ/(kg K)
LATENT_0C = 2501.0  # kJ/kg, heat of evaporation at 0 C
_STEP = 0.5
_LOW, _HIGH = -20.0, 180.0


@lru_cache(maxsize=1)
def _table() -> tuple[Array, Array]:
    """Return temperatures (C) and the saturation vapour pressures (Pa) there, by psychrolib."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    t = np.arange(_LOW, _HIGH + _STEP, _STEP)
    return t, np.array([psychrolib.GetSatVapPres(x) for x in t])


def saturation_pressure(t_c: Array) -> Array:
    """Saturation vapour pressure (Pa) at `t_c` (C, any shape), held at the ends of -20 to 180 C."""
    t, p = _table()
    return np.interp(t_c, t, p)


def saturation_ratio(t_c: Array, pressure: Array) -> Array:
    """Humidity ratio of saturated air (kg/kg) at `t_c` (C) and `pressure` (Pa).

    The vapour pressure is held under 90 % of the air pressure: near boiling the ratio has no limit.
    """
    p = np.minimum(saturation_pressure(t_c), 0.9 * pressure)
    return 0.621945 * p / (pressure - p)


def saturation_slope(t_c: Array, ratio: Array) -> Array:
    """Slope of the saturation ratio (1/K) at `t_c`, by Clausius and Clapeyron; only steadies the time
    step.
    """
    return ratio * 5423.0 / (t_c + 273.15) ** 2 * (1.0 + ratio / 0.621945)


def humidity_ratio(t_c: Array, relative: Array, pressure: Array) -> Array:
    """Humidity ratio (kg/kg) at `t_c` (C), relative humidity 0 to 1, and `pressure` (Pa)."""
    p = relative * saturation_pressure(t_c)
    return 0.621945 * p / (pressure - p)


def enthalpy(t_c: Array, ratio: Array) -> Array:
    """Enthalpy of moist air (kJ per kg dry air) at `t_c` (C) and humidity `ratio`."""
    return CP_DRY * t_c + ratio * (LATENT_0C + CP_VAPOUR * t_c)


def temperature(enthalpy_kj: Array, ratio: Array) -> Array:
    """Temperature (C) of moist air of this enthalpy (kJ per kg dry air) and humidity ratio."""
    return (enthalpy_kj - ratio * LATENT_0C) / (CP_DRY + ratio * CP_VAPOUR)


def pressure_at(altitude_ft: Array) -> Array:
    """Standard air pressure (Pa) at an altitude above sea level (ft)."""
    return STANDARD_PA * (1.0 - 6.8754e-6 * altitude_ft) ** 5.2559
