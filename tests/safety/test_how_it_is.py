"""How the machine is, as it is told in a call: whole or asked about, in pieces, never by an "ok", never otherwise at the end."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench, looked_at
from faultodds.job import clearing, hearing, sayings
from faultodds.knowledge import Knowledge
from faultodds.knowledge.loading import load
from faultodds.safety import hazard_of

HALVES = ("unplugged", "gas shut", "unplugged gas shut", "plug out, gas off", "plug pulled", "gas off")
PANELS = (
    "panels open",
    "cabinet open",
    "its apart already",
    "covers off",
    "opened her up",
    "front hanging off",
    "panels already off",
)


def _half_taken(knowledge: Knowledge) -> list[str]:
    """Lines that tell of open panels, of which only the rest was taken."""
    lines = [f"{a}{j}{b}" for h, p, j in product(HALVES, PANELS, (" ", ", ", " and ")) for a, b in ((h, p), (p, h))]
    taken = {line: sayings.understand(knowledge, line) for line in lines}
    return [line for line, said in taken.items() if said and {s.kind for s in said} <= {"machine", "unread"}
            and not any((s.name, s.value) == ("front", "off") for s in said)]  # fmt: skip


def test_panels_that_are_open_are_not_lost_beside_the_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """All of the state is taken, or it is asked. Planted: what is left of a line is not looked at."""
    dryer = load("gas_dryer")
    assert _half_taken(dryer) == []
    monkeypatch.setattr(hearing, "left_of_machine", lambda *_: False)
    assert _half_taken(dryer)


def test_thoughts_parted_by_a_semicolon_or_a_strange_word_stay_two() -> None:
    """Nobody looked into the duct."""
    dryer = load("gas_dryer")
    for line in ("air at hood zz; lint qq clean", "air at hood gd; lint scrn clean"):
        assert all(s.name != "duct_look" for s in sayings.understand(dryer, line)), line


def test_the_question_names_everything_and_takes_pieces(tmp_path: Path) -> None:
    """What was said first still counts when the rest comes; what is left is asked for."""
    lines = (
        "heat=none",
        "unplugged, gas off",
        "repair coil_set",
        "closed front n top",
        "plugged in",
        "gas on",
        "leave",
    )
    out = bench(tmp_path, *STRAIGHT_ON, *lines).out
    assert "plugged in, gas cock open, top and front panel on" in " ".join(out.split())
    assert "So far: top and front panel on. And: plugged in, gas cock open?" in " ".join(out.split())
    with looked_at(tmp_path) as visit:
        assert visit.state == set() and not visit.job.unsettled


def test_ok_is_no_yes(tmp_path: Path) -> None:
    """It may only say that somebody has heard; what was shut off stays so, and the call is left unsettled."""
    lines = (
        "heat=none",
        "front off, unplugged, gas off",
        "repair igniter",
        "front on, plugged in, gas on?",
        *["ok"] * 4,
    )
    out = bench(tmp_path, *STRAIGHT_ON, *lines, *["ok"] * 4).out
    assert "How the machine is was not settled" in " ".join(out.split())
    with looked_at(tmp_path) as visit:
        assert "gas_shut" in visit.state and visit.job.unsettled


def test_work_inside_a_machine_that_nobody_told_of_is_asked_about(tmp_path: Path) -> None:
    """It was opened and closed up again without a word."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", "repair gas_valve", "yes", "leave").out
    assert "Is the machine like this now: closed up, ready to run (plugged in" in " ".join(out.split())


@pytest.mark.parametrize(
    "note",
    [
        "gas on front off, kid in the house",
        "couldnt find it, left front off and unplugged, gas on",
        "for another day; front off",
        "no time, pulled out and unplugged",
    ],
)
@pytest.mark.parametrize("how", ["gone", "referred"])
def test_no_call_ends_on_another_state_than_is_on_record(tmp_path: Path, how: str, note: str) -> None:
    """It is said first how the machine is."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", f"close {how} {note}", "leave").out
    assert "but the machine is taken to be" in " ".join(out.split())
    with looked_at(tmp_path) as visit:
        assert not visit.job.is_closed


@pytest.mark.parametrize(
    "line",
    [
        "im not qualified",
        "not a gas fitter",
        "no gas ticket",
        "no live work",
        "im just the helper, not allowed to do gas",
    ],
)
def test_who_is_not_qualified_says_so(tmp_path: Path, line: str) -> None:
    """Nothing for qualified people is offered from then on, and none is taken unasked."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", line, "manifold_pressure=2 in wc", "nobody", "checks", "leave").out
    assert "Which qualified person did it?" in out
    with looked_at(tmp_path) as visit:
        assert not visit.situation.qualified
        assert not any(visit.knowledge.check[c.name].qualified for c in visit.now.advice.checks)
        assert not any(p.finding.name == "manifold_pressure" for p in visit.job.findings)


@pytest.mark.parametrize(
    ("line", "warned"),
    [
        ("plug back in i think", True),
        ("dont know if the kid plugged it back in", True),
        ("cust just plugged it in!", True),
        ("not sure bout the plug", True),
        ("helper says plug is in!", True),
        ("hood is hmm weird", False),
    ],
)
def test_a_doubt_whether_an_open_machine_is_on_is_warned_about(tmp_path: Path, line: str, warned: bool) -> None:
    """Nothing is noted of it, but the first thing is hands off, and to shut it off."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", "front off, unplugged, gas off", line, "leave").out
    assert ("If that may be on: hands off." in " ".join(out.split())) == warned


def test_states_that_are_run_together_are_each_taken() -> None:
    """None of them is dropped."""
    taken = sayings.understand(load("gas_dryer"), "front off unplugged gas off")
    assert [(each.kind, each.name) for each in taken] == [
        ("machine", "front"),
        ("machine", "power"),
        ("machine", "gas"),
    ]


@pytest.mark.parametrize(
    ("sign", "remark", "proof"),
    [
        ("co_alarm", "me: co 0 ppm after 15 min, dryer running, windows shut", True),
        ("co_alarm", "me: co 0 ppm in laundry room, dryer running 15 min", True),
        ("co_alarm", "me: co 0 ppm in the truck, dryer running 15 min", False),
        ("co_alarm", "should read 0 ppm w dryer running 15 min", False),
        ("co_alarm", "should read 0 ppm w dryer running 15 min, windows shut", False),
        ("co_alarm", "me: co 0 ppm after 15 min running, all windows open", False),
        ("gas_smell", "me: soaped both joints, no bubbles", True),
        ("gas_smell", "me: soaped 1 of 2 joints, no bubbles", False),
        ("gas_smell", "son soaped union w gas on, no bubbles he says", False),
    ],
)
def test_what_shows_that_it_is_safe(sign: str, remark: str, proof: bool) -> None:
    """Measured here, of all of it, by the one who says so."""
    stop = load("gas_dryer").stop[sign]
    assert (not clearing.lacking(remark, hazard_of(sign, stop.title), stop)) == proof
