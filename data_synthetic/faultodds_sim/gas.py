"""Gas input of the burner: orifice, pressure, fuel and altitude; and how fast the meter turns.

Sources. Orifice: Q = 1658.5 K A sqrt(p/sg) cu ft/h, BCcampus Plumbing 3e, App. 2. Altitude: NFPA 54 text in
UMC 2009 App. B. Heating values: US EIA 2021 (natural gas), DOE representative value (propane). Clocking:
National Fuel Gas Code procedure.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from .psychro import Array

KW_PER_BTUH = 1.0 / 3412.142
DISCHARGE = 0.90
#: natural, propane
GRAVITY = np.array([0.60, 1.52])
BTU_PER_CUFT = np.array([1039.0, 2500.0])
MANIFOLD_WC = np.array([3.5, 10.0])
#: Water made by burning, kg per MJ of gross heat: 2.25 kg of water and 55.5 MJ per kg of methane (CH4).
WATER_PER_MJ = 2.25 / 55.5


def orifice_flow(diameter_in: Any, pressure_wc: Any, gravity: Any, discharge: float = DISCHARGE) -> Any:
    """Gas flow (cu ft/h) through an orifice of `diameter_in` (in) at `pressure_wc` (in w.c.)."""
    area = np.pi / 4.0 * np.square(diameter_in)
    return 1658.5 * discharge * area * np.sqrt(pressure_wc / gravity)


def orifice_for(input_btuh: float, fuel: int) -> float:
    """Diameter (in) of the orifice that gives `input_btuh` at the nominal manifold pressure of `fuel` (0 or
    1).
    """
    flow = input_btuh / BTU_PER_CUFT[fuel]
    area = flow / (1658.5 * DISCHARGE * np.sqrt(MANIFOLD_WC[fuel] / GRAVITY[fuel]))
    return float(np.sqrt(area * 4.0 / np.pi))


def altitude_factor(altitude_ft: Any) -> Any:
    """Rated input factor: 1 up to 2,000 ft, above that less 4 % for each 1,000 ft above sea level."""
    high = np.asarray(altitude_ft, dtype=float)
    return np.where(high > 2000.0, 1.0 - 0.04 * high / 1000.0, 1.0)


def burner_kw(diameter_in: Array, manifold_wc: Array, fuel: Array, altitude_ft: Array, fouled: Array) -> Array:
    """Gross heat input (kW). `fouled` (0 to 1) is the part of the air way that lint has closed."""
    kind = fuel.astype(int)
    flow = orifice_flow(diameter_in, manifold_wc, GRAVITY[kind])
    kw = flow * BTU_PER_CUFT[kind] * KW_PER_BTUH * altitude_factor(altitude_ft) * (1.0 - 0.75 * fouled)
    return np.asarray(kw, dtype=float)


def dial_seconds(input_kw: Array, fuel: Array, dial_cuft: float) -> Array:
    """Seconds for one turn of the dial at this input; infinite when no gas flows."""
    btuh = input_kw / KW_PER_BTUH
    with np.errstate(divide="ignore"):
        return np.asarray(3600.0 * dial_cuft * BTU_PER_CUFT[fuel.astype(int)] / btuh, dtype=float)
