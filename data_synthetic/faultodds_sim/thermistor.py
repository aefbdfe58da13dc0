"""Resistance of the 10k thermistor (B25/85 3977), by a Steinhart-Hart fit through three points of its
chart.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from .psychro import Array

#: (C, ohm), generic component data sheet.
CHART = ((0.0, 32555.0), (25.0, 10000.0), (50.0, 3605.0), (85.0, 1070.0), (100.0, 677.0))
NOMINAL_OHM = 10000.0


def steinhart_hart(points: tuple[tuple[float, float], ...]) -> Array:
    """Coefficients a, b, c of 1/T = a + b ln R + c (ln R)^3 through three points (C, ohm)."""
    logs = np.log([ohm for _, ohm in points])
    table = np.stack([np.ones(3), logs, logs**3], axis=1)
    return np.linalg.solve(table, 1.0 / (np.array([t for t, _ in points]) + 273.15))


@lru_cache(maxsize=1)
def _curve() -> tuple[Array, Array]:
    """Temperatures and log resistances of the chart's fit, to look up by temperature."""
    a, b, c = steinhart_hart((CHART[0], CHART[2], CHART[4]))
    logs = np.linspace(np.log(2e5), np.log(300.0), 400)
    return 1.0 / (a + b * logs + c * logs**3) - 273.15, logs


def chart_ohm(t_c: Array) -> Array:
    """Chart resistance (ohm) at `t_c` (C), any shape."""
    t, logs = _curve()
    return np.exp(np.interp(t_c, t, logs))
