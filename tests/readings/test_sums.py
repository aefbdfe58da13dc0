"""The trade's sums beyond their published values: turned round, at their edges, and their refusals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from faultodds.errors import BadReading
from faultodds.readings import sums_air, sums_gas, sums_heat


@given(st.floats(1000, 100_000), st.sampled_from([0.5, 1.0, 2.0]), st.floats(900, 2600))
def test_clocking_turned_round(btu_h: float, dial: float, heat: float) -> None:
    """Seconds for an input, clocked, give the input back."""
    assert sums_gas.clocked_input(dial, sums_gas.seconds_for_input(btu_h, dial, heat), heat) == pytest.approx(btu_h)


@given(st.floats(0, 3000), st.floats(3, 8))
def test_flow_and_speed_turned_round(cfm: float, inches: float) -> None:
    """cfm to ft/min and back."""
    assert sums_air.air_flow(sums_air.air_speed(cfm, inches), inches) == pytest.approx(cfm)


@given(st.floats(5, 2000), st.floats(-20, 60), st.floats(-20, 120))
def test_copper_turned_round(ohms: float, cold: float, hot: float) -> None:
    """The temperature worked out from a warm winding's resistance is the temperature that gave it."""
    assert sums_heat.copper_temperature(ohms, cold, sums_heat.copper_ohms(ohms, cold, hot)) == pytest.approx(
        hot, abs=1e-6
    )


@given(st.floats(-20, 110), st.floats(0.1, 10))
def test_thermistor_falls(t_c: float, warmer: float) -> None:
    """Resistance falls as temperature rises."""
    assert sums_heat.ntc_ohms(t_c + warmer) < sums_heat.ntc_ohms(t_c)


@given(st.floats(0, 50))
def test_chart_between_rows(t_c: float) -> None:
    """A chart with a row each 10 C, read between its rows, is within 0.1 % of the curve it was made from."""
    chart = [(float(t), sums_heat.ntc_ohms(t)) for t in range(0, 60, 10)]
    assert sums_heat.chart_ohms(chart, t_c) == pytest.approx(sums_heat.ntc_ohms(t_c), rel=1e-3)


def test_altitude_starts_at_two_thousand_feet() -> None:
    """No derate to 2,000 ft; just above, the whole 8 % from sea level comes at once."""
    assert sums_gas.input_at_altitude(22_000, 2000) == 22_000
    assert sums_gas.input_at_altitude(22_000, 2001) == pytest.approx(22_000 * (1 - 0.04 * 2.001))


def test_duct_in_hand() -> None:
    """A duct under the limit has length in hand; the maker's own limit replaces the table's."""
    assert sums_air.duct_length(14, [(10, 90)] * 3).over == pytest.approx(-16.5)
    assert sums_air.duct_length(36, [], limit=64).over == pytest.approx(-28)


REFUSALS = [
    (
        lambda: sums_air.elbow_feet(7, 90),
        "no elbow of 7 in radius and 90 degrees: radius 0 (mitred), 6, 8 or 10 in",
    ),
    (lambda: sums_air.duct_length(-1, []), "A straight run of -1 ft is outside 0 to 500 ft."),
    (lambda: sums_air.duct_length(math.nan, []), "outside 0 to 500 ft"),
    (lambda: sums_gas.clocked_input(0.5, 0), "the time is 0 s: it must be a number above 0."),
    (lambda: sums_gas.clocked_input(math.inf, 5), "the dial is inf cu ft"),
    (
        lambda: sums_gas.input_at_altitude(22_000, 40_000),
        "An altitude of 40000 ft is outside -1,500 to 15,000 ft.",
    ),
    (lambda: sums_gas.orifice_flow(0, 3.5), "the hole is 0 in"),
    (lambda: sums_gas.co_action(-1), "A CO reading of -1 ppm is not one."),
    (lambda: sums_air.duct_area(-4), "the duct diameter is -4 in"),
    (lambda: sums_heat.ntc_ohms(-300), "-300 C is not a temperature."),
    (lambda: sums_heat.water_in_load(8, 2, 57), "Drying from 2 % to 57 % is not drying"),
    (lambda: sums_heat.chart_ohms([(0, 3e4), (50, 3e3)], 70), "70 C (158 F) is outside the chart (32 to 122 F)."),
    (lambda: sums_heat.copper_temperature(0, 20, 5), "the cold resistance is 0 ohm"),
]


@pytest.mark.parametrize(("call", "said"), REFUSALS)
def test_refusals(call: object, said: str) -> None:
    """A sum that cannot be done says what was given and what to give."""
    with pytest.raises(BadReading) as caught:
        call()  # type: ignore[operator]
    assert said in str(caught.value)
