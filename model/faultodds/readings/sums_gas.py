"""Sums on the gas side: clocking a meter, altitude, orifices, CO limits.

Common practice for hands that are licensed for it; the maker's rating plate and the local code come first.
"""

from __future__ import annotations

import math
from typing import Literal

from faultodds.errors import BadReading

# Heat content, Btu per cubic foot. Natural: US average 1,039 in 2021 (US EIA). Propane: about 2,500 (DOE
# representative values). The gas bill comes before both.
HEAT_CONTENT = {"natural": 1039.0, "propane": 2500.0}

# Carbon monoxide, ppm: stop work and ventilate at 35 (NIOSH recommended exposure limit, 8 hours); leave at
# 200 (NIOSH ceiling).
CO_STOP_PPM = 35.0
CO_LEAVE_PPM = 200.0


def positive(value: float, name: str, unit: str) -> float:
    """`value` when it is a real number above zero; raises `BadReading` that names what was asked for."""
    if not (math.isfinite(value) and value > 0):
        raise BadReading(f"{name} is {value:g} {unit}: it must be a number above 0. Type it again in {unit}.")
    return value


def clocked_flow(dial_cu_ft: float, seconds: float) -> float:
    """Gas flow, cubic feet an hour: 3600 x dial / seconds that it takes.

    Source: the meter-clocking procedure of the National Fuel Gas Code (second-hand copy).
    """
    return 3600.0 * positive(dial_cu_ft, "the dial", "cu ft") / positive(seconds, "the time", "s")


def clocked_input(dial_cu_ft: float, seconds: float, heating_value: float = 1030.0) -> float:
    """Heat input, Btu/h: flow x heating value (Btu per cubic foot). Source as `clocked_flow`."""
    return clocked_flow(dial_cu_ft, seconds) * positive(heating_value, "the heating value", "Btu/cu ft")


def seconds_for_input(btu_h: float, dial_cu_ft: float, heating_value: float = 1030.0) -> float:
    """Seconds that the dial should take at a rated input: `clocked_input` turned round."""
    rate = positive(btu_h, "the input", "Btu/h") / positive(heating_value, "the heating value", "Btu/cu ft")
    return 3600.0 * positive(dial_cu_ft, "the dial", "cu ft") / rate


def input_at_altitude(btu_h: float, feet: float) -> float:
    """Rated input after the altitude derate, Btu/h.

    None to 2,000 ft; above that, 4 % for each 1,000 ft above *sea level*.

    Source: NFPA 54 text in UMC 2009 Appendix B. The maker's own instructions come first.
    """
    if not -1500 <= feet <= 15000:
        raise BadReading(
            f"An altitude of {feet:g} ft is outside -1,500 to 15,000 ft. Type it in feet, for example 5000."
        )
    rated = positive(btu_h, "the input", "Btu/h")
    return rated if feet <= 2000 else rated * (1.0 - 0.04 * feet / 1000.0)


def orifice_flow(drill_inches: float, pressure_inwc: float, gravity: float = 0.60, k: float = 0.90) -> float:
    """Gas through an orifice, cubic feet an hour: 1658.5 K A sqrt(p / sg).

    `drill_inches` is the hole's diameter, A its area in square inches, p in inches of water, sg the
    specific gravity against air, K the discharge coefficient. Source: BCcampus open textbook Plumbing 3e,
    Appendix 2.
    """
    area = math.pi / 4 * positive(drill_inches, "the hole", "in") ** 2
    head = positive(pressure_inwc, "the pressure", "in w.c.") / positive(gravity, "the specific gravity", "(air 1)")
    return 1658.5 * positive(k, "the discharge coefficient", "(about 0.9)") * area * math.sqrt(head)


def co_action(ppm: float) -> Literal["carry on", "stop", "leave"]:
    """What a carbon monoxide reading asks for: stop work at 35 ppm, leave at 200 ppm.

    Source: NIOSH recommended exposure limit and ceiling. A lower local limit, an alarm, or a headache comes
    first.
    """
    if not (math.isfinite(ppm) and ppm >= 0):
        raise BadReading(f"A CO reading of {ppm:g} ppm is not one. Zero the meter outdoors and type the ppm it shows.")
    return "leave" if ppm >= CO_LEAVE_PPM else "stop" if ppm >= CO_STOP_PPM else "carry on"
