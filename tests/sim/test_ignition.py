"""Igniter, flame sensor and valves, second by second."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from numpy.typing import NDArray

from faultodds_sim.faults import make
from faultodds_sim.ignition import (
    LIGHTS_C,
    RISE_S,
    SENSOR_LAG_S,
    final_igniter_c,
    glows,
    igniter_volts,
    seconds_to_flame,
)
from faultodds_sim.machines import Machines, typical
from faultodds_sim.psychro import Array
from faultodds_sim.runs import as_used
from faultodds_sim.simulation import simulate


class Attempt(NamedTuple):
    """Traces of shape (seconds, N)."""

    igniter_c: Array
    sensor_open: NDArray[np.bool_]
    flame: NDArray[np.bool_]


def attempt(m: Machines, seconds: int) -> Attempt:
    """Run one call for heat second by second, with gas there and coils that pull in."""
    final, hot = final_igniter_c(m), m.room_c.copy()
    seen_for = np.zeros(len(m))
    flame = np.zeros(len(m), bool)
    rows: list[tuple[Array, NDArray[np.bool_], NDArray[np.bool_]]] = []
    for _ in range(seconds):
        sensor = (seen_for > SENSOR_LAG_S) | flame
        flame = flame | (sensor & (hot > LIGHTS_C))
        target = np.where(sensor, m.room_c, final)  # an open sensor takes the igniter out of the circuit
        hot = hot + (target - hot) * (1.0 - np.exp(-1.0 / RISE_S))
        seen_for = np.where(
            hot > np.maximum(m.sensor_opens_c, LIGHTS_C), seen_for + 1.0, np.maximum(seen_for - 0.5, 0.0)
        )
        rows.append((hot.copy(), sensor, flame.copy()))
    return Attempt(*(np.array(column) for column in zip(*rows, strict=True)))


def _flame_second(mode: str, severity: float) -> float:
    """Second in which the flame comes in the second-by-second run; infinite when it never does."""
    flame = attempt(make(typical(1), mode, severity), 120).flame[:, 0]
    return float(np.argmax(flame) + 1) if flame.any() else np.inf


def test_sound_sequence() -> None:
    """A sound machine glows, its sensor opens, then the flame comes, within about a minute, and stays."""
    run = attempt(typical(1), 120)
    hot, opened, lit = (int(np.argmax(x[:, 0])) for x in (run.igniter_c > 700.0, run.sensor_open, run.flame))
    assert 5 < hot < opened <= lit < 60
    assert run.flame[lit:, 0].all()
    assert run.igniter_c[-1, 0] < 200.0  # an open sensor takes the igniter out of the circuit


@settings(max_examples=40, deadline=None)
@given(severity=st.floats(0.0, 0.5), ohm=st.floats(70.0, 320.0))
def test_solved_delay_agrees_with_the_seconds(severity: float, ohm: float) -> None:
    """The solved delay of the dryer's steps is that of the second-by-second run, within two seconds."""
    m = make(typical(1), "flame_sensor.stuck_closed", severity)
    m.igniter_ohm[:] = m.igniter_rated_ohm[:] = ohm
    flame = attempt(m, 200).flame[:, 0]
    seconds = float(seconds_to_flame(m)[0])
    if flame.any():
        assert seconds == pytest.approx(float(np.argmax(flame) + 1), abs=2.0)
    else:
        assert seconds > 150.0


@pytest.mark.parametrize(
    ("mode", "glow", "flame"),
    [
        ("nothing_wrong", True, True),
        ("igniter.open", False, False),
        ("flame_sensor.open", False, False),
        ("flame_sensor.stuck_closed", True, False),
        ("thermal_fuse.open", False, False),
        ("high_limit.open", False, False),
        ("timer.contacts_burnt", False, False),
        ("motor.centrifugal_contacts", False, False),
        ("coils.open", True, False),
        ("gas_supply.shut", True, False),
    ],
)
def test_what_is_seen_through_the_sight_hole(mode: str, glow: bool, flame: bool) -> None:
    """Sensor stuck closed: glow and no gas.

    Igniter or sensor open: never a glow (common practice, no source).
    """
    m = make(typical(1), mode, 1.0)
    run = simulate(m, as_used(m, 15.0), 5.0)
    assert (float(run.glow_s[0]) > 5.0) == glow
    assert (float(run.flame_min[0]) > 1.0) == flame


def test_coils_that_drop_out_hot_light_first() -> None:
    """Coils that drop out hot light at first, then glow without flame; sound ones never do (common
    practice).
    """
    weak, sound = make(typical(1), "coils.drop_out_hot", 0.8), typical(1)
    bad, good = (simulate(m, as_used(m, 60.0), 5.0, trace=True) for m in (weak, sound))
    flame = bad.trace["flame"][:, 0] > 0.5
    first_dud = int(float(bad.first_dud_min[0]) * 12.0)
    assert flame[: first_dud - 6].sum() > 24  # over two minutes of flame before the first dud
    assert flame[first_dud:].mean() < 0.3
    assert bad.duds[0] > 3
    assert bad.glow_s[0] > 60.0
    assert good.duds[0] == 0


@settings(max_examples=30, deadline=None)
@given(
    severity=st.floats(0.0, 1.0),
    mode=st.sampled_from(["timer.contacts_burnt", "wiring.loose_connector", "igniter.open"]),
)
def test_more_resistance_never_lights_sooner(severity: float, mode: str) -> None:
    """Resistance in the heat circuit lowers the igniter's voltage or heat, and never hastens the flame."""
    worse, sound = make(typical(1), mode, severity), typical(1)
    assert float(final_igniter_c(worse)[0]) <= float(final_igniter_c(sound)[0]) + 1e-6
    assert float(seconds_to_flame(worse)[0]) >= float(seconds_to_flame(sound)[0]) - 1e-6
    if mode != "igniter.open":
        assert float(igniter_volts(worse)[0]) <= float(igniter_volts(sound)[0]) + 1e-9


def test_intermediate_severities_are_intermediate() -> None:
    """A sensor that opens late delays the flame; one that opens far too late never lets it come."""
    delays = [_flame_second("flame_sensor.stuck_closed", s) for s in (0.0, 0.3, 0.4, 0.6)]
    assert delays[0] < delays[1] < delays[2]
    assert np.isinf(delays[3])
    assert bool(glows(make(typical(1), "flame_sensor.stuck_closed", 0.6))[0])
