"""`faultodds stock` as the person who loads the van reads it."""

from __future__ import annotations

from pathlib import Path

import pytest

from run_cli import faultodds, write_toy


def test_a_call_is_loaded_for_within_a_budget() -> None:
    """The list comes first, within the money, then the chance, the minutes to plan and what stays behind."""
    ran = faultodds("stock", "--found", "heat=none", "--budget", "150")
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert lines[0] == "Known: heat=none"
    assert lines[2].startswith("TAKE ")
    assert max(map(len, lines)) <= 80
    for words in (
        "(budget $150):",
        "New igniter",
        "Finished in one visit:",
        "Plan ",
        "STAYS BEHIND",
        "telephone",
        "One visit is enough when",
    ):
        assert words in ran.text
    answer = faultodds("stock", "--found", "heat=none", "--budget", "150", "--json").answer
    assert sum(p["price"] for p in answer["take"]) == answer["price"] <= 150
    assert answer["chance_without_parts"] < answer["chance"] < answer["chance_with_every_part"]
    assert answer["most_worth"] == pytest.approx(answer["worth"], rel=1e-4)
    assert 0 < answer["minutes"]["mean"] < answer["minutes"]["four_in_five"]
    assert answer["limit"] == {"budget": 150.0, "shelf": None, "carried": []}


def test_a_van_is_judged_as_it_is() -> None:
    """`--carry` alone judges the van; with a limit it adds to it."""
    judged = faultodds("stock", "--found", "heat=none", "--carry", "igniter,coil_set", "--json").answer
    assert {p["repair"] for p in judged["take"]} == {"igniter", "coil_set"}
    added = faultodds("stock", "--found", "heat=none", "--carry", "igniter,coil_set", "--shelf", "1", "--json").answer
    assert {"igniter", "coil_set"} < {p["repair"] for p in added["take"]}
    assert added["chance"] > judged["chance"]
    assert "WITH 2 parts" in faultodds("stock", "--found", "heat=none", "--carry", "igniter,coil_set").text


def test_no_complaint_is_the_usual_mix() -> None:
    """Without a complaint the van is for a call of the usual mix, and the answer says so."""
    assert "No complaint given: this is for a call of the usual mix." in faultodds("stock", "--shelf", "2").text


def test_a_shelf_for_many_calls() -> None:
    """`--jobs` gives copies of parts, and how many of the calls are then finished."""
    ran = faultodds("stock", "--jobs", "20", "--shelf", "9")
    assert "FOR 20 CALLS of the usual mix between two restockings: 9 parts" in ran.text
    assert max(map(len, ran.out.splitlines())) <= 80
    answer = faultodds("stock", "--jobs", "20", "--shelf", "9", "--json").answer
    assert sum(c["copies"] for c in answer["take"]) == answer["count"] == 9
    assert answer["finished_without_parts"] < answer["finished"] < answer["finished_with_every_part"]


def test_the_shops_prices_decide(tmp_path: Path) -> None:
    """Who pays nothing for another visit carries nothing; who pays more for carrying carries less; both are told."""
    free, dear = tmp_path / "free.toml", tmp_path / "dear.toml"
    free.write_text("[costs]\ncallback = 0\n")
    dear.write_text("[van]\ncarrying = 0.1\n")
    nothing = faultodds("stock", "--found", "heat=none", "--shop", str(free))
    assert "TAKE NO PARTS: another visit costs nothing by these numbers" in nothing.text
    assert "Prices and minutes:" in nothing.text
    few = faultodds("stock", "--found", "heat=none", "--shop", str(dear), "--json").answer
    many = faultodds("stock", "--found", "heat=none", "--json").answer
    assert 0 < len(few["take"]) < len(many["take"])


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["--budget", "-5"], "a budget of -5: it is an amount of 0 or more"),
        (["--carry", "ignitor"], "there is no part called 'ignitor'. Did you mean 'igniter'?"),
        (["--jobs", "9", "--found", "heat=none"], "--jobs 9 is about calls of the usual mix, --found about one call."),
        (["--jobs", "0"], "0 calls between two restockings: from 1 to 500"),
        (["--technician", "T1"], "there is no shop file to look them up in"),
    ],
)
def test_what_cannot_be_meant_is_refused(argv: list[str], words: str) -> None:
    """One sentence that says what to type, and exit code 2."""
    ran = faultodds("stock", *argv)
    assert (ran.code, ran.out) == (2, "")
    assert words in ran.said


def test_a_stop_sign_stops_before_anything_is_packed() -> None:
    """A smell of gas on the telephone is no matter of parts."""
    ran = faultodds("stock", "--found", "gas_smell=yes")
    assert ran.code == 3
    assert "TAKE" not in ran.out


def test_any_appliance_can_be_stocked_for(tmp_path: Path) -> None:
    """The command knows no dryer: a small appliance of one's own gets its list too."""
    path = write_toy(tmp_path / "toy.toml")
    answer = faultodds("stock", "--appliance", str(path), "--found", "slow=yes", "--shelf", "1", "--json").answer
    assert [p["repair"] for p in answer["take"]] == ["new_pump"]


def test_where_others_come_first_nothing_is_planned_on_site() -> None:
    """No gas anywhere: the supplier is named before any part, and no visit of no minutes is planned."""
    told = " ".join(faultodds("stock", "--found", "heat=none", "--found", "other_appliances=dead").out.split())
    assert "that this is other people's work. First: Refer to the gas supplier." in told
    assert "Plan 0 minutes" not in told
    usual = faultodds("stock", "--found", "heat=none", "--fact", "control=board", "--shelf", "3").out
    assert "BEFORE ANYTHING" not in usual
    assert "faultodds ask --fact control=board --found heat=none --shelf 3" in " ".join(usual.split())
