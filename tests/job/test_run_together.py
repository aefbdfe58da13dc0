"""States of the machine that are run together, and the lights of the house: nothing that was said is lost."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from calls import STRAIGHT_ON, bench, looked_at
from faultodds.job import sayings
from faultodds.knowledge import load

LINES = tomllib.loads(Path(__file__).with_name("run_together.toml").read_text("utf-8"))["line"]


def _wrong() -> list[str]:
    """Lines of which more or less is taken than is plain, or the rest is not asked about."""
    found = []
    for each in LINES:
        said = sayings.understand(load("gas_dryer"), each["text"])
        taken = [f"{s.name}.{s.value}" for s in said if s.kind == "machine"]
        rest = not said or any(s.kind in ("ask", "unread", "doubt", "undone") for s in said)
        found += [] if taken == each["taken"] and rest != each.get("whole", False) else [each["text"]]
    return found


def test_what_is_plain_is_taken_and_the_rest_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of "unplugged gas off panel off" two are plain. Planted: the parts of a line are not looked at."""
    assert _wrong() == []
    monkeypatch.setattr(sayings, "_plain_and_asked", lambda *_: [])
    assert _wrong()


def test_it_is_noted_in_a_call(tmp_path: Path) -> None:
    """And the question stands beside it."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", "unplugged gas off panel off", "leave").out
    assert "front off, rear off" in " ".join(out.split())
    with looked_at(tmp_path) as visit:
        assert visit.state == {"unplugged", "gas_shut"}


def test_what_is_not_read_is_named(tmp_path: Path) -> None:
    """In the words it was typed in."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", "gas off back off", "leave").out
    assert "not noted: back off." in " ".join(out.split())


@pytest.mark.parametrize(
    "line",
    [
        "kitchen lights dim while it runs",
        "the house lights flicker when the motor runs",
        "lamp in the room dips when it heats",
    ],
)
def test_lights_that_dim_tell_of_the_supply(line: str) -> None:
    """Kept as a remark, with what to measure; no outcome is taken with it."""
    said: list[Any] = sayings.understand(load("gas_dryer"), line)
    assert [s.kind for s in said] == ["noted"] and "outlet_voltage" in said[0].name


@pytest.mark.parametrize(
    "line", ["igniter glows dim", "burner lights then dims", "no light in the drum", "it lights fine"]
)
def test_a_dim_igniter_tells_nothing_of_the_supply(line: str) -> None:
    """Its light is another one."""
    assert all(s.kind != "noted" for s in sayings.understand(load("gas_dryer"), line))


@pytest.mark.parametrize(
    "line", ["found the breaker tripped", "gfci was tripped", "circuit breaker had tripped", "it is dead, rcd tripped"]
)
def test_a_breaker_that_tripped_is_asked_about(line: str) -> None:
    """Once is nothing to go by; again is a stop."""
    (asked, *_) = sayings.understand(load("gas_dryer"), line)
    assert asked.kind == "ask" and "breaker trips again" in asked.name
