"""Readings and the trade's sums against sources outside the project.

Each test names its source and how it was seen: S the source text or an official copy, 2 a second-hand copy
that names it, M from memory, C computed from an S or 2 figure.
"""

from __future__ import annotations

import math

import pytest

from faultodds.readings import sums_air, sums_gas, sums_heat
from faultodds.readings.bands import standard_uncertainty
from faultodds.readings.judging import judge
from faultodds.readings.meter import meter_half_width, meter_uncertainty
from faultodds.readings.specs import ReadingSpec


@pytest.mark.parametrize(
    ("radius", "angle", "feet"),
    [
        (0, 45, 2.5),
        (0, 90, 5.0),
        (6, 45, 1.0),
        (6, 90, 1.75),
        (8, 45, 1.0),
        (8, 90, 19 / 12),
        (10, 45, 0.75),
        (10, 90, 1.5),
    ],
)
def test_duct_fittings(radius: int, angle: int, feet: float) -> None:
    """Equivalent length of 4 in fittings. IRC Table M1502.4.5.1 (number moves by edition), S."""
    assert sums_air.elbow_feet(radius, angle) == pytest.approx(feet)


def test_duct_sums() -> None:
    """24 + 2x5 + 2.5 = 36.5 ft, over by 1.5; 14 + 3x1.5 = 18.5. Arithmetic on the IRC table, C."""
    long = sums_air.duct_length(24, [(0, 90), (0, 90), (0, 45)])
    assert (long.feet, long.over) == pytest.approx((36.5, 1.5))
    assert sums_air.duct_length(14, [(10, 90)] * 3).feet == pytest.approx(18.5)
    assert sums_air.DUCT_LIMIT_FEET == 35


def test_clocking_the_meter() -> None:
    """Btu/h = 3600 x dial / seconds x heating value. National Fuel Gas Code procedure, 2."""
    assert sums_gas.clocked_input(0.5, 22, 1000) == pytest.approx(81_818, abs=0.5)
    assert sums_gas.clocked_flow(0.5, 29) == pytest.approx(62.07, abs=0.005)
    assert sums_gas.clocked_input(1, 140, 1030) == pytest.approx(26_486, abs=0.5)
    assert sums_gas.clocked_input(1, 140, 2516) == pytest.approx(64_697, abs=0.5)


def test_clocking_from_typed_text() -> None:
    """The same figures from what a technician types. National Fuel Gas Code procedure, 2."""
    spec = ReadingSpec(kind="dial", unit="btu_h", bands={"any": [[0, "OL"]]})
    typed = {
        "22 s per half foot at 1000 Btu": 81_818,
        "140 s per cu ft": 26_486,
        "140 s per cu ft at 2516 Btu": 64_697,
    }
    for text, expected in typed.items():
        assert judge(spec, ["any"], text).value == pytest.approx(expected, abs=0.5)


def test_altitude() -> None:
    """4 % per 1,000 ft above sea level, over 2,000 ft only. NFPA 54 text in UMC 2009 App. B, S."""
    assert sums_gas.input_at_altitude(22_000, 2000) == 22_000
    assert sums_gas.input_at_altitude(22_000, 5000) == pytest.approx(17_600)


# Drill number: diameter in inches, as the textbook's own table lists them.
DRILLS = {80: 0.0135, 76: 0.0200, 70: 0.0280, 61: 0.0390}


@pytest.mark.parametrize(
    ("drill", "inwc", "gravity", "cu_ft_h"),
    [
        (80, 3.5, 0.60, 0.516),
        (76, 3.5, 0.60, 1.133),
        (70, 3.5, 0.60, 2.220),
        (61, 3.5, 0.60, 4.307),
        (76, 4.0, 0.60, 1.211),
        (80, 11.0, 1.50, 0.579),
        (76, 10.0, 1.50, 1.211),
        (70, 11.0, 1.50, 2.489),
    ],
)
def test_orifice(drill: int, inwc: float, gravity: float, cu_ft_h: float) -> None:
    """Q = 1658.5 K A sqrt(p/sg), K .90, within .2 %. BCcampus open textbook Plumbing 3e, Appendix 2, S.

    The number 76 drill at 3.5 in w.c. is 1.133 in that table; 1.211 stands in its 4.0 column, and for
    propane at 10.
    """
    assert sums_gas.orifice_flow(DRILLS[drill], inwc, gravity) == pytest.approx(cu_ft_h, rel=2e-3)


def test_heat_content() -> None:
    """Natural gas 1,039 Btu/cu ft (US EIA, 2021), S; propane about 2,500 (DOE representative values), 2."""
    assert sums_gas.HEAT_CONTENT == {"natural": 1039.0, "propane": 2500.0}


def test_water_and_time_floor() -> None:
    """8.45 lb (10 CFR 430 App. D2) from 57.5 % to 2 %: 4.690 lb, 1.449 kWh, 13.5 min at 22,000 Btu/h.

    Moisture figures and the latent heat are from memory (M); the rest is computed (C).
    """
    water = sums_heat.water_in_load(8.45, 57.5, 2)
    assert water == pytest.approx(4.690, abs=5e-4)
    assert sums_heat.drying_heat(water) == pytest.approx(1.449, abs=5e-4)
    assert sums_heat.drying_floor(water) == pytest.approx(13.5, abs=0.05)


@pytest.mark.parametrize(("t_c", "ohms"), [(0, 32_555), (25, 10_000), (50, 3_605), (85, 1_070), (100, 677)])
def test_ntc_chart(t_c: float, ohms: float) -> None:
    """A 10 k NTC with B25/85 3977, by the four-term fit within .2 %. Generic component data sheet, 2."""
    assert sums_heat.ntc_ohms(t_c) == pytest.approx(ohms, rel=2e-3)


def test_copper_winding() -> None:
    """80 ohm at 20 C, 100 hot -> 83.63 C; 20 to 100 C is 1.3143. IEC/UL resistance method, S."""
    assert sums_heat.copper_temperature(80, 20, 100) == pytest.approx(83.63, abs=0.006)
    assert sums_heat.copper_ohms(1.0, 20, 100) == pytest.approx(1.3143, abs=5e-5)


def test_meter_accuracy() -> None:
    """Percent of reading plus counts of the last digit. Meter data sheets, S; u = a / sqrt 3, JCGM 100, M."""
    mains = ReadingSpec(kind="voltage", unit="V", accuracy=1.0, counts=3, resolution=0.1)
    assert meter_half_width(mains, 120.0) == pytest.approx(1.5)
    assert meter_uncertainty(mains, 120.0) == pytest.approx(1.5 / math.sqrt(3))
    bench = ReadingSpec(kind="voltage", unit="V", accuracy=0.08, counts=2, resolution=0.001)
    half = meter_half_width(bench, 2.0)
    assert (2.0 - half, 2.0 + half) == pytest.approx((1.9964, 2.0036))
    assert standard_uncertainty(3.0) == pytest.approx(3.0 / math.sqrt(3))


@pytest.mark.parametrize(("cfm", "fpm", "inwc"), [(100, 1146, 0.082), (150, 1719, 0.184), (200, 2292, 0.328)])
def test_air_speed(cfm: float, fpm: float, inwc: float) -> None:
    """4 in duct: speed, and velocity pressure (V/4005)^2. Standard air, C."""
    speed = sums_air.air_speed(cfm, 4)
    assert speed == pytest.approx(fpm, abs=0.5)
    assert sums_air.velocity_pressure(speed) == pytest.approx(inwc, abs=6e-4)


def test_co_gates() -> None:
    """35 ppm: stop work; 200 ppm: leave. NIOSH recommended exposure limit, S."""
    assert [sums_gas.co_action(ppm) for ppm in (0, 34.9, 35, 199.9, 200, 1000)] == [
        "carry on",
        "carry on",
        "stop",
        "stop",
        "leave",
        "leave",
    ]
