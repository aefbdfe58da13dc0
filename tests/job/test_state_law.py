"""The law of states: how the machine is (off, shut, out) is noted from a line only when nothing that is left of it unread speaks
of the machine being live, lit, hot, wet, moving, sparking, tripping, smelling or measured. Else it is asked, or stops.

The lines are made of tables that the program does not see. What is told as a finding is read, and beside it a state is noted.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from faultodds.belief import Appliance
from faultodds.job import Store, said, sayings
from said import becomes

SAFE = (
    "power off", "unplugged", "breaker off", "plug out", "gas off", "gas shut off", "cock closed off", "plug and gas off",
    "cord out", "pulled the plug", "unplugged and gas off", "mains off", "pulled out",
)  # fmt: skip
ALIVE = (
    "cabinet humming", "something is still running", "lead buzzes", "zqx is warm", "floor is wet", "casing wet",
    "tub dripping", "wires warm", "block reads 64 v", "frame 90 volts", "manifold 3 in wc", "tester lit",
    "neon glows", "bracket hot", "kind of hot", "motor keeps turning", "drum keeps spinning",
    "blower still spins", "bit of a crackle", "fan still blowing", "still ticks over", "it sizzles",
    "pilot burning", "flames left", "gauge reads 3", "amps on the lead", "current on the frame", "charged up",
    "clamp shows 4 amps", "it is powered by the other leg", "socket fizzing", "hissy", "whiffy", "trips",
    "went pop", "flashes", "sparky", "steam off it", "water in it", "pressure on it",
)  # fmt: skip
STRUCK = ("popped", "crackled", "it sparked", "flashed", "tripped out", "zapped", "whiffy", "fizzed", "went bang")
LIVE = ("plugged in", "power on", "plugged back in", "breaker on", "gas on")
WAYS = (
    "{s}, {a}",
    "{s} but {a}",
    "{a} after {s}",
    "{s} and {a}",
    "{a}, {s}",
    "{s} {a}",
    "{s} yet {a}",
    "{a} with {s}",
    "{s}; {a}",
)
READ = ("fuse open", "igniter 60 ohm", "lint screen clean", "duct clear", "coils good", "hood flap strong")


def broken(dryer: Appliance, store: Store, seed: int) -> Iterator[str]:
    """Where a state was noted beside what speaks of life."""
    pick = random.Random(seed)
    clear = pick.random() < 0.75
    state, beside = pick.choice(SAFE if clear else LIVE), pick.choice(ALIVE if clear else STRUCK)
    line = pick.choice(WAYS).format(s=state, a=beside)
    entered, told = becomes(dryer, store, line)
    noted = [each for each in entered if each.partition(":")[0] in dryer.knowledge.access]
    if noted or not (entered or told.strip()):
        yield f"{line!r}: {entered} {told[:160]}"


@settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 2**32))
def test_no_state_is_noted_beside_what_speaks_of_life(dryer: Appliance, store: Store, seed: int) -> None:
    """The law, on made lines."""
    assert [*broken(dryer, store, seed)] == []


def test_the_law_sees_a_planted_mistake(dryer: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader that overlooks what is left of the line breaks it."""
    monkeypatch.setattr(said, "alive", lambda *given: "")
    assert any([*broken(dryer, store, seed)] for seed in range(200))


def test_the_law_sees_a_rest_that_nobody_looked_at(
    dryer: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where only the rest of a line is asked about."""
    monkeypatch.setattr(sayings, "_tells_of_life", lambda *given: False)
    assert any([*broken(dryer, store, seed)] for seed in range(200))


@pytest.mark.parametrize("state", ["unplugged", "plug out", "gas off", "cord out"])
@pytest.mark.parametrize("way", ["{s}, {a}", "{a}, {s}"])
def test_beside_what_is_read_a_state_is_noted(state: str, way: str, dryer: Appliance, store: Store) -> None:
    """Nothing is left of such a line, so nothing is asked."""
    for beside in (*READ, "no sparks", "0 V"):
        told = becomes(dryer, store, way.format(s=state, a=beside))[1]
        assert "Noted: gas shut" in told or "Noted: unplugged" in told, (beside, told)


@pytest.mark.parametrize(
    "line",
    [
        "unplugged, nephew plugged it again",
        "plug out but it went back in",
        "gas off, landlord turned it back on",
        "plug out, plugs in again",
    ],
)
def test_what_came_on_again_is_not_noted_as_off(line: str, dryer: Appliance, store: Store) -> None:
    """A state that somebody undid, told in the same breath, is asked about."""
    assert not [word for word in becomes(dryer, store, line)[0] if word in ("unplugged: yes", "gas_shut: yes")]
