"""Sums on heat: thermistors, warm copper, the water in a load and the least time to dry it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from faultodds.errors import BadReading
from faultodds.readings.sums_gas import positive

KELVIN = 273.15

# Copper's resistance falls to nothing, on a straight line, at -234.5 C (IEC and UL winding-resistance
# method).
COPPER_ZERO_C = 234.5

BTU_PER_KWH = 3412.14163


def celsius(fahrenheit: float) -> float:
    """Degrees C from degrees F."""
    return (fahrenheit - 32.0) / 1.8


def fahrenheit(celsius: float) -> float:
    """Degrees F from degrees C."""
    return celsius * 1.8 + 32.0


def _kelvin(celsius: float) -> float:
    if not (math.isfinite(celsius) and celsius > -KELVIN):
        raise BadReading(f"{celsius:g} C is not a temperature. Type it in C, above -273.")
    return celsius + KELVIN


# Four-term fit ln(R/R25) = A + B/T + C/T^2 + D/T^3 of a generic 10 k part, B25/85 3977 K (generic component
# data sheet, second-hand copy).
NTC_10K = (-14.6337, 4791.842, -115334.0, -3.730535e6)


def ntc_ohms(t_c: float, r25: float = 10_000.0, terms: Sequence[float] = NTC_10K) -> float:
    """Resistance, ohm, at `t_c` by the four-term fit R25 exp(A + B/T + C/T^2 + D/T^3), T in kelvin."""
    t = _kelvin(t_c)
    a, b, c, d = terms
    return positive(r25, "R25", "ohm") * math.exp(a + b / t + c / t**2 + d / t**3)


def chart_ohms(chart: Sequence[tuple[float, float]], t_c: float) -> float:
    """Resistance, ohm, off a chart of (C, ohm) rows at `t_c`: ln R is straight in 1/T between two rows.

    Raises `BadReading` more than 5 C outside the chart.
    """
    rows = sorted(chart)
    if not rows[0][0] - 5 <= t_c <= rows[-1][0] + 5:
        raise BadReading(
            f"{t_c:.0f} C ({fahrenheit(t_c):.0f} F) is outside the chart ({fahrenheit(rows[0][0]):.0f} to "
            f"{fahrenheit(rows[-1][0]):.0f} F). "
            "Let the part come to room temperature, or type the room's own temperature."
        )
    at = next((i for i in range(1, len(rows) - 1) if t_c <= rows[i][0]), len(rows) - 1)
    (t0, r0), (t1, r1) = rows[at - 1], rows[at]
    x0, x1, x = (1 / _kelvin(t) for t in (t0, t1, t_c))
    share = (x - x0) / (x1 - x0)
    return math.exp(math.log(r0) * (1 - share) + math.log(r1) * share)


def copper_temperature(cold_ohms: float, cold_c: float, hot_ohms: float) -> float:
    """Temperature of a warm copper winding, C: R2/R1 = (234.5+T2) / (234.5+T1) (IEC, UL method)."""
    ratio = positive(hot_ohms, "the hot resistance", "ohm") / positive(cold_ohms, "the cold resistance", "ohm")
    found = ratio * (COPPER_ZERO_C + cold_c) - COPPER_ZERO_C
    if not -100 <= found <= 500:
        raise BadReading(
            f"{hot_ohms:g} ohm hot and {cold_ohms:g} ohm cold are not of one winding: that is {found:.0f} C. Type both again."
        )
    return found


def copper_ohms(cold_ohms: float, cold_c: float, hot_c: float) -> float:
    """Resistance of a copper winding at `hot_c`, ohm, from its cold reading; the same rule turned round."""
    return positive(cold_ohms, "the cold resistance", "ohm") * (COPPER_ZERO_C + hot_c) / (COPPER_ZERO_C + cold_c)


def water_in_load(dry_lb: float, start_percent: float, end_percent: float) -> float:
    """Water to be driven off, lb: dry weight x (start - end) / 100, both in percent of the dry weight."""
    if not 0 <= end_percent < start_percent <= 400:
        raise BadReading(
            f"Drying from {start_percent:g} % to {end_percent:g} % is not drying: the start must be "
            "wetter than the end, 0 to 400 %. Type for example 57.5 and 2."
        )
    return positive(dry_lb, "the dry weight", "lb") * (start_percent - end_percent) / 100


# Latent heat of water near 85 F, Btu/lb (steam tables, from memory); heat before that, and in cloth and
# metal, is extra.
LATENT_BTU_PER_LB = 1054.0


def drying_heat(water_lb: float, latent: float = LATENT_BTU_PER_LB) -> float:
    """Least heat to drive off the water, kWh."""
    return positive(water_lb, "the water", "lb") * positive(latent, "the latent heat", "Btu/lb") / BTU_PER_KWH


def drying_floor(water_lb: float, btu_h: float = 22_000.0, latent: float = LATENT_BTU_PER_LB) -> float:
    """Minutes that no dryer of this input can beat: the water's latent heat over the burner's whole output.

    A real cycle takes two to three times as long; a cycle *below* the floor means that the load was drier
    than assumed.
    """
    return drying_heat(water_lb, latent) * BTU_PER_KWH / positive(btu_h, "the input", "Btu/h") * 60
