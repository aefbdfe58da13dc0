"""Soft band edges, against numerical integration and as invariants."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.readings.bands import chance_below, segments, shares, standard_uncertainty
from faultodds.readings.specs import ReadingSpec

LINE = segments({"low": [[0, 10]], "mid": [[10, 20]], "high": [[20, "OL"]]}, None, 0.0)


def spec(**given_fields: float) -> ReadingSpec:
    """A voltage spec with the given edges and meter."""
    return ReadingSpec(kind="voltage", unit="V", **given_fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(("low", "high", "u"), [(4.0, 4.0, 1.5), (3.0, 9.0, 0.7), (8.0, 14.0, 3.0), (0.0, 30.0, 0.01)])
def test_chance_below_is_the_integral(low: float, high: float, u: float) -> None:
    """The chance below an edge is the blurred rectangle's integral, here a sum of normals on a fine grid."""
    grid = np.linspace(low, high, 4001) if high > low else np.array([low])
    steps = (grid[:-1] + grid[1:]) / 2 if high > low else grid
    expected = np.mean([0.5 * math.erfc(-(7.5 - x) / u / math.sqrt(2)) for x in steps])
    assert chance_below(7.5, low, high, u) == pytest.approx(expected, abs=1e-4)


def test_gaps_go_to_otherwise() -> None:
    """What no band covers belongs to `otherwise`, and the line is covered once from end to end."""
    line = segments({"good": [[88, 112]], "gone": [[0, 10], [500, "OL"]]}, "off", 0.0)
    assert [name for _, _, name in line] == ["gone", "off", "good", "off", "gone"]
    assert line[0][0] == -math.inf
    assert line[-1][1] == math.inf
    assert all(a[1] == b[0] for a, b in pairwise(line))


def test_sharp_edges() -> None:
    """With a perfect meter and sharp edges, a reading on an edge belongs above it."""
    assert shares(spec(), LINE, 10.0, 10.0, 0.0) == {"low": 0.0, "mid": 1.0, "high": 0.0}
    assert shares(spec(), LINE, 9.999, 9.999, 0.0)["low"] == 1.0


def test_meter_and_edge_add_in_quadrature() -> None:
    """Meter u and edge t / sqrt 3 add as squares: 3 and 4 give 5."""
    soft = spec(edge=4 * math.sqrt(3))
    expected = 0.5 * math.erfc((10 - 5 - 10) / 5 / math.sqrt(2))
    assert 1 - shares(soft, LINE, 15.0, 15.0, 3.0)["low"] == pytest.approx(expected)
    assert standard_uncertainty(4 * math.sqrt(3)) == pytest.approx(4)


@given(
    st.floats(-1e6, 1e6),
    st.floats(0, 1e5),
    st.floats(0, 1e4),
    st.floats(0, 100),
    st.floats(0, 0.49),
)
def test_shares_sum_to_one(low: float, width: float, u: float, edge: float, fraction: float) -> None:
    """Shares are chances: in 0 to 1, summing to 1, never NaN, for any reading, meter and edges."""
    found = shares(spec(edge=edge, edge_fraction=fraction), LINE, low, low + width, u)
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-9)
    assert all(0.0 <= share <= 1.0 for share in found.values())


@given(st.floats(0, 1e6), st.floats(0, 1e6), st.floats(0.0, 5.0), st.booleans())
def test_open_ended_shares_sum_to_one(low: float, edge: float, u: float, upward: bool) -> None:
    """ "Over" and "under" readings too."""
    ends = (low, math.inf) if upward else (-math.inf, low)
    found = shares(spec(edge=edge), LINE, *ends, u)
    assert sum(found.values()) == pytest.approx(1.0)
    assert all(0.0 <= share <= 1.0 for share in found.values())


@given(st.floats(0, 40), st.floats(0, 10), st.floats(0, 5), st.floats(0, 5))
def test_higher_reads_higher(value: float, more: float, u: float, edge: float) -> None:
    """A higher reading never makes the lowest outcome more likely, nor the highest less."""
    one, other = (shares(spec(edge=edge), LINE, x, x, u) for x in (value, value + more))
    assert other["low"] <= one["low"] + 1e-12
    assert other["high"] >= one["high"] - 1e-12
