"""Odds as people say them; nothing denied or half said is taken."""

from __future__ import annotations

import pytest

from faultodds.calibration import said
from faultodds.errors import FaultoddsError


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("igniter 60 coils 30", [("igniter", 0.6), ("coils", 0.3)]),
        ("duct likely, belt 1 in 10", [("duct", 0.7), ("belt", 0.1)]),
        ("thermal_fuse 40%, the motor 5 %", [("thermal_fuse", 0.4), ("motor", 0.05)]),
        ("60 igniter, 30 coils", [("igniter", 0.6), ("coils", 0.3)]),
        ("lint screen very likely and hood unlikely", [("lint screen", 0.85), ("hood", 0.1)]),
        ("vent .4; hood 0.3", [("vent", 0.4), ("hood", 0.3)]),
        ("gas valve 3 out of 4", [("gas valve", 0.75)]),
        ("nothing wrong 20", [("nothing wrong", 0.2)]),
        ("igniter: 61.5 %", [("igniter", 0.615)]),
        ("duct 1/4, belt 3 of 4", [("duct", 0.25), ("belt", 0.75)]),
        ("1/2 duct", [("duct", 0.5)]),
        ("transition almost certain, duct very unlikely", [("transition", 0.95), ("duct", 0.03)]),
        ("coils probably, igniter possibly", [("coils", 0.7), ("igniter", 0.3)]),
        ("rollers probable, belt possible", [("rollers", 0.7), ("belt", 0.3)]),
        ("surely the board", [("board", 0.95)]),
        ("I'd say the igniter most likely, the belt around 10", [("igniter", 0.7), ("belt", 0.1)]),
        ("coils 50/50 igniter fifty-fifty", [("coils", 0.5), ("igniter", 0.5)]),
        ("duct likely, lint inside 1 in 4?", [("duct", 0.7), ("lint inside", 0.25)]),
        ("duct likely? belt 1 in 4 - coils maybe", [("duct", 0.7), ("belt", 0.25), ("coils", 0.3)]),
        ("half duct; a quarter coils", [("duct", 0.5), ("coils", 0.25)]),
        ("duct a 1 in 3 chance then belt 10%", [("duct", 1 / 3), ("belt", 0.1)]),
        ("high limit 3 to 1", [("high limit", 0.75)]),
        ("duct 3 to 1 on, belt 4:1 against", [("duct", 0.75), ("belt", 0.2)]),
        ("duct 60 to 40; belt 1 to 3", [("duct", 0.6), ("belt", 0.25)]),
        ("no, my odds: duct 90", [("duct", 0.9)]),
        ("now duct 60, high limit 30", [("duct", 0.6), ("high limit", 0.3)]),
        ("No idea.", []),
        ("I don't know", []),
    ],
)
def test_what_is_said(line: str, meant: list[tuple[str, float]]) -> None:
    """Names with their chances, in either order, coarse or fine."""
    found, unclear = said(line)
    assert not unclear
    assert [name for name, _ in found] == [name for name, _ in meant]
    assert [p for _, p in found] == pytest.approx([p for _, p in meant])


@pytest.mark.parametrize("apart", [", ", "; ", " and ", " then ", " - ", "? "])
@pytest.mark.parametrize("unclear", ["not the belt", "belt", "belt 140", "belt isnt likely", "belt 30 30"])
def test_what_is_clear_is_kept(apart: str, unclear: str) -> None:
    """What is not is asked about by itself, wherever it stands."""
    behind = f"{unclear}{apart}duct likely" if apart.strip() not in ("and", "then") else ""
    for line in filter(None, (f"duct likely{apart}{unclear}", behind)):
        found, asked = said(line)
        assert found == [("duct", 0.7)] and len(asked) == 1 and ("belt" in asked[0] or "30" in asked[0])


@pytest.mark.parametrize(
    "line",
    [
        "igniter",
        "60",
        "duct 30 30",
        "not the igniter 60",
        "igniter isn't likely",
        "duct 140",
        "belt 3 in 2",
        "duct 70/30",
        "duct 0/4",
        "igniter 60 to 70",
        "igniter 5 to 10 %",
        "igniter 0 to 0",
        "no igniter 5",
        "duct 3.5/10",
        "no idea igniter 60",
        "not likely duct",
    ],
)
def test_what_is_asked_about(line: str) -> None:
    """Half a saying, a denial and what is no chance are refused with an example."""
    with pytest.raises(FaultoddsError, match="igniter"):
        said(line)
