"""A check's name first, then what it showed; a word for the check that is asked or advised; nothing typed is dropped."""

from __future__ import annotations

from pathlib import Path

import pytest

from calls import SAFE, STRAIGHT_ON, bench, looked_at


def shown(data: Path, *lines: str) -> dict[str, str]:
    """What counts as found after these lines at the prompt of a call without a complaint."""
    bench(data, *STRAIGHT_ON, *lines, "leave")
    with looked_at(data) as visit:
        return {p.finding.name: p.finding.outcome or p.finding.raw for p in visit.job.findings}


@pytest.mark.parametrize(
    ("line", "name", "value"),
    [
        ("glow look no glow", "glow_look", "no_glow"),
        ("glow look it glows and no flame", "glow_look", "glow_no_flame"),
        ("burner watch glow no flame", "burner_watch", "glow_no_flame"),
        ("over back look crushed", "over_back_look", "crushed"),
        ("gas cock look open", "gas_cock_look", "open"),
        ("coil ohms hot off", "coil_ohms_hot", "off"),
        ("outlet voltage 121", "outlet_voltage", "121"),
        ("outlet voltage 112 v", "outlet_voltage", "112 v"),
        ("igniter ohms 63", "igniter_ohms", "63"),
    ],
)
def test_a_checks_name_first_is_that_check(line: str, name: str, value: str, tmp_path: Path) -> None:
    """Whatever else the words behind it may stand for."""
    assert shown(tmp_path, line, "yes") == {name: value}


def test_a_checks_name_with_words_that_are_not_understood_is_asked_about(tmp_path: Path) -> None:
    """Nothing is noted of another symptom or check instead."""
    assert shown(tmp_path, "glow look it glows and no flame then") == {}


@pytest.mark.parametrize("line", ["gas cock open", "cock is open", "the gas cock is in line with the pipe"])
def test_a_word_for_the_look_that_is_asked_is_what_it_showed(line: str, tmp_path: Path) -> None:
    """And no state of the machine."""
    ended = bench(tmp_path, *STRAIGHT_ON, "ask gas_cock_look", line, "leave")
    with looked_at(tmp_path) as visit:
        assert [(p.finding.name, p.finding.outcome) for p in visit.job.findings] == [("gas_cock_look", "open")]
    assert "Noted: gas on" not in ended.out


def test_with_the_gas_shut_by_us_an_open_cock_is_the_machines_state(tmp_path: Path) -> None:
    """Then it tells nothing of how it was found."""
    assert shown(tmp_path, "unplugged, gas off", "gas cock open") == {}
    with looked_at(tmp_path) as visit:
        assert "gas_shut" not in visit.state


@pytest.mark.parametrize("line", ["heat=none 3", "3 heat=none", "heat=none, 3 dry_time=longer"])
def test_numbers_and_pairs_may_stand_on_one_line_of_the_complaint(line: str, tmp_path: Path) -> None:
    """As the prompt says."""
    bench(tmp_path, *SAFE, "done", line, "", "leave")
    with looked_at(tmp_path) as visit:
        named = {p.finding.name for p in visit.job.findings}
        third = [*visit.knowledge.symptom][2]
    assert "heat" in named
    assert third in named or third == "glow"


def test_of_several_readings_of_which_one_is_taken_the_others_are_told(tmp_path: Path) -> None:
    """What is judged is the hottest; the other is kept, and said to tell nothing."""
    ended = bench(tmp_path, *STRAIGHT_ON, "exhaust temp 150f cycling 118", "leave")
    assert "118 stays on record" in " ".join(ended.out.split())
    with looked_at(tmp_path) as visit:
        assert [p.finding.raw for p in visit.job.findings] == ["118-150 F"]


@pytest.mark.parametrize(
    ("line", "name", "reason"),
    [
        ("skip clean_duct duct man comes friday", "clean_duct", "duct man comes friday"),
        ("skip static_pressure static gauge lent out", "static_pressure", "static gauge lent out"),
        ("skip clean duct sweep booked", "clean_duct", "sweep booked"),
    ],
)
def test_the_reason_of_a_skip_is_kept_in_full(line: str, name: str, reason: str, tmp_path: Path) -> None:
    """Words that would fit the name as well are the reason's, where the name stood before them."""
    bench(tmp_path, *STRAIGHT_ON, line, "leave")
    with looked_at(tmp_path) as visit:
        assert visit.job.skipped[name] == reason


@pytest.mark.parametrize(
    "line", ["plug out gas off front off", "cord out gas cock shut front panel off", "gas shut unplugged front off"]
)
def test_states_without_commas_are_taken_one_by_one(line: str, tmp_path: Path) -> None:
    """Each is a thing and its state."""
    bench(tmp_path, *STRAIGHT_ON, line, "leave")
    with looked_at(tmp_path) as visit:
        assert {"unplugged", "gas_shut", "front_open"} <= visit.state


def test_work_told_again_while_the_machine_is_asked_about_is_stored_once(tmp_path: Path) -> None:
    """It was said once more, not done once more."""
    bench(tmp_path, *STRAIGHT_ON, "vent cleaned by cleaner", "vent cleaned by cleaner", "yes", "leave")
    with looked_at(tmp_path) as visit:
        assert visit.job.repairs == ("clean_duct",)


def test_a_second_run_with_nothing_done_between_stands_beside_the_first(tmp_path: Path) -> None:
    """A good run is no correction of a slow one."""
    ended = bench(
        tmp_path, *STRAIGHT_ON, "repair clean_duct", "yes", "verify 55 min", "yes", "verify 26 min", "keep", "leave"
    )
    with looked_at(tmp_path) as visit:
        runs = [p.finding for p in visit.job.findings if p.finding.name == visit.knowledge.costs.verify]
        assert [run.take for run in runs] == [0, 1]
    assert "stands beside" in ended.out


def test_a_run_with_no_repair_on_record_says_so(tmp_path: Path) -> None:
    """What was done may not have been entered."""
    ended = bench(tmp_path, *STRAIGHT_ON, "verify no heat", "leave")
    assert "No repair is on record" in " ".join(ended.out.split())
