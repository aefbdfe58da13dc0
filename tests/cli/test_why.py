"""Why: in the guided call and on a stored job; a question about a part is never taken for a finding."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench, command, looked_at
from faultodds.belief import FaultOdds
from faultodds.job import Tells
from faultodds.knowledge.loading import load
from faultodds_cli.bench.show import _tells
from run_cli import faultodds

COLD = (*STRAIGHT_ON, "heat none")


def _said(data: Path, line: str) -> str:
    """What the guided call answers to one line, on a dryer that stays cold, as one line."""
    ended = bench(data, *COLD, line, "leave")
    assert ended.code == 0, ended.err
    return " ".join(ended.out.rpartition(f"> {line}")[2].partition("> leave")[0].split())


def test_why_tells_the_job_at_three_lengths(tmp_path: Path) -> None:
    """A line, a paragraph with what would change one's mind; the full sum when all is asked for."""
    short = _said(tmp_path / "a", "why")
    for part in ("most of all because of heat: no heat at all (times", "Before anything was found:", "Together:"):
        assert part in short
    assert "What would change that:" in short and "HOW THE ODDS CAME ABOUT" not in short
    full = _said(tmp_path / "b", "why all")
    assert "HOW THE ODDS CAME ABOUT" in full and "odds 1 to" in full


@pytest.mark.parametrize(
    ("line", "parts"),
    [
        ("why coils", ("Gas valve coils: ", "Of the same part:", "Shown by", "Put right by:", "What it does:", "Looks like it:")),
        ("why the ignitor", ("Igniter: open or cracked:", "igniter_ohms", "!! Plug out and in sight")),
        ("why not the hood", ("Outdoor hood: flap stuck", "leads", "Against it: heat: no heat at all (divided by")),
        ("what tells coils from the igniter", ("First:", "of 20 with the first", "of 20 with the second")),
        ("why coils or igniter", ("First:",)),
        ("why hood_flap", ("if strong (",)),
        ("why 1", ("whole job then costs",)),
    ],
)  # fmt: skip
def test_why_of_a_part_a_check_and_two_parts(tmp_path: Path, line: str, parts: tuple[str, ...]) -> None:
    """Each is answered, and nothing is entered by asking."""
    said = _said(tmp_path, line)
    assert all(part in said for part in parts), said
    with looked_at(tmp_path) as visit:
        assert [p.finding.name for p in visit.job.findings] == ["heat"]


@pytest.mark.parametrize("line", ["what tells apples from wiring", "why not apples"])
def test_an_unknown_name_is_said(tmp_path: Path, line: str) -> None:
    """Of two that are to be told apart none is left out."""
    assert "apples" in (said := _said(tmp_path, line)) and "Shown by" not in said


@pytest.mark.parametrize("line", ["why flux capacitor", "why not", "why not gas", "what tells coils from"])
def test_what_is_no_part_is_asked_about_and_noted_nowhere(tmp_path: Path, line: str) -> None:
    """Never a guess, never an error of the program's own, never an entry."""
    assert "?" in _said(tmp_path, line)
    with looked_at(tmp_path) as visit:
        assert [p.finding.name for p in visit.job.findings] == ["heat"] and not visit.job.notes[1:]


def test_the_first_two_lines_answer(tmp_path: Path) -> None:
    """With cold hands: the chance and the reason stand in the first two lines, at 80 columns."""
    out = bench(tmp_path, *COLD, "why coils", "leave").out.rpartition("> why coils\n")[2]
    first = " ".join(out.splitlines()[:2])
    assert "Gas valve coils" in first and "%" in first and "because of" in first


def test_why_on_a_stored_job_and_what_danger_does(tmp_path: Path) -> None:
    """The same words; a check is sent to the guided call; danger in the question stops."""
    bench(tmp_path, *COLD, "leave")
    data = ("--data", str(tmp_path))
    assert "Together:" in faultodds("job", "why", "1", *data).text
    assert "leads" in faultodds("job", "why", "1", "not", "the", "hood", *data).text
    assert "leads" in faultodds("job", "why", "1", "not", "the", "hood", "--json", *data).answer["why"]
    check = faultodds("job", "why", "1", "hood_flap", *data)
    assert check.code == 2 and "why hood_flap" in check.said
    assert command("job", "why", "1", "i smell gas", *data).code == 3


def test_a_card_by_its_name_and_by_what_people_call_it() -> None:
    """By the full name; by a part's name where it has one fault; several are listed with what each is."""
    card = faultodds("appliance", "show", "gas_dryer", "coils.drop_out_hot")
    assert card.code == 0 and "burner_watch" in card.text and "16, and fewer than 1" in card.text
    several = faultodds("appliance", "show", "gas_dryer", "the coils")
    assert several.code == 2 and "coils.open (a winding open)" in several.said
    answer = faultodds("appliance", "show", "gas_dryer", "thermal_fuse.open", "--json").answer
    assert answer["brought_by"]["duct.nearly_blocked"] == 0.12
    assert answer["alike"][0]["parted_by"]["check"] == "fuse_continuity"


def test_odds_told_in_one_list_add_up() -> None:
    """Rounded together: what is 100 % in all is not printed as 101 %."""
    leading = (FaultOdds("igniter", "open", 0.336, 0.1), FaultOdds("thermal_fuse", "open", 0.666, 0.1))
    line = " ".join(_tells(load("gas_dryer"), Tells("none", 0.5, leading), "50 %"))
    assert sum(map(int, re.findall(r"(\d+) %", line.partition("then")[2]))) == 100


@pytest.mark.parametrize(
    "line",
    ["why timer", "why not the timer", "what tells timer from coils", "why coils from timer", "why not thermistor"],
)
def test_a_part_that_the_machine_has_not_is_said_to_be_none_of_it(tmp_path: Path, line: str) -> None:
    """In the words of a check or repair that is not for it, and nothing of chances beside them."""
    control = "timer" if "thermistor" in line else "board"
    ended = bench(tmp_path, *COLD, f"fact control={control}", line, "leave")
    said = " ".join(ended.out.rpartition(f"> {line}")[2].partition("> leave")[0].split())
    assert f"not on this machine (control is {control})" in said and "%" not in said and "of 20" not in said


def test_nothing_wrong_is_a_side_to_be_told_from_a_fault(tmp_path: Path) -> None:
    """A sound machine, beside a fault."""
    said = _said(tmp_path, "what tells nothing wrong from coils")
    assert said.startswith("Nothing wrong with the machine, or gas valve coils") and "of 20 with the first" in said


def test_a_stored_job_says_what_to_type_for_the_full_sum(tmp_path: Path) -> None:
    """The command itself, which can be typed as it stands; in the guided call its word."""
    data = ("--data", str(tmp_path / "jobs.sqlite"))
    faultodds("job", "new", "--found", "heat=none", *data)
    said = " ".join(faultodds("job", "why", "1", *data).text.split())
    assert "The full sum: faultodds job why 1 --data" in said and said.endswith(" all")
