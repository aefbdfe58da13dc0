"""`faultodds job`: the same call step by step, for scripts."""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from calls import command, looked_at
from faultodds.job.store import Store


def job(data: Path, *arguments: str) -> Any:
    """The object that a `job` command prints with --json."""
    ended = command("job", *arguments, "--data", str(data), "--json")
    assert ended.code == 0, ended.err
    assert ended.err == ""
    return json.loads(ended.out)


def said(data: Path, *arguments: str) -> str:
    """What a `job` command prints, on one line."""
    ended = command("job", *arguments, "--data", str(data))
    assert ended.code == 0, ended.err
    return " ".join(ended.out.split())


def test_a_call_from_new_to_closed(tmp_path: Path) -> None:
    """Each step prints the job's number and what was saved; the story at the end has them all in order."""
    assert said(tmp_path, "new", "--title", "slow dryer", "--found", "heat=none").startswith("Job 1 is started.")
    said(tmp_path, "fact", "1", "control=timer", "age=to_8")
    said(tmp_path, "skip", "1", "hood_flap", "--reason", "no ladder")
    assert "Says: open" in said(tmp_path, "find", "1", "--reading", "igniter_ohms=OL", "--minutes", "3")
    assert f"verify 1 --data {tmp_path} OUTCOME" in said(tmp_path, "fix", "1", "igniter", "--minutes", "20")
    said(tmp_path, "verify", "1", "26 min")
    said(tmp_path, "note", "1", "customer", "pleased")
    assert "Put the machine back" not in said(tmp_path, "close", "1", "gone")
    story = said(tmp_path, "show", "1")
    texts = [
        "slow dryer",
        "before any repair",
        "heat = none",
        "control = timer",
        "skip hood_flap (no ladder)",
        "unplugged, gas cock shut",
        'igniter_ohms = open (read "OL") [3 min]',
        "repair igniter [20 min]",
        "after 1 repair",
        'verification_run = dry_in_time (read "26 min")',
        "note: customer pleased",
        "closed: fault gone",
    ]
    places = [story.index(text) for text in texts]
    assert places == sorted(places)


def test_a_state_of_the_machine_is_said_in_words(tmp_path: Path) -> None:
    """Power on, never "unplugged: no": in what was saved, in the list, in the story, and taken back."""
    said(tmp_path, "new")
    said(tmp_path, "state", "1", "--open", "unplugged")
    saved = said(tmp_path, "state", "1", "--shut", "unplugged")
    assert saved.count("plugged in") == 2 and "unplugged: plugged in" in saved
    assert re.search(r":\d\d unplugged \d\d:\d\d plugged in", said(tmp_path, "show", "1"))
    assert "taken back: plugged in" in said(tmp_path, "undo", "1")


def test_every_command_prints_one_json_object(tmp_path: Path) -> None:
    """With --json there is one object and nothing else, with the job's number in it."""
    assert job(tmp_path, "new", "--found", "dry_time=longer")["job"] == "1"
    assert job(tmp_path, "fact", "1", "control=board")["facts"] == {"control": "board"}
    found = job(tmp_path, "find", "1", "thermistor_ohms=9.2k at 72F")
    assert [s["kind"] for s in found["saved"]] == ["machine_state", "finding"]
    assert found["readings"][0]["verdict"] == "reads_low"
    assert found["clash"] is None
    assert job(tmp_path, "skip", "1", "hood_flap", "--reason", "dark")["skipped"] == {"hood_flap": "dark"}
    assert job(tmp_path, "state", "1", "--open", "front_open")["open"] == [
        "front_open",
        "gas_shut",
        "pulled_out",
        "rear_open",
        "unplugged",
    ]
    assert job(tmp_path, "note", "1", "hello")["notes"] == ["hello"]
    assert job(tmp_path, "fix", "1", "thermistor")["repairs"] == ["thermistor"]
    assert job(tmp_path, "verify", "1", "dry_in_time")["saved"][-1]["stage"] == 1
    advice = job(tmp_path, "next", "1")
    assert {"job", "advice", "checks", "repairs", "faults", "reminders"} <= set(advice)
    assert job(tmp_path, "close", "1", "referred")["outcome"] == "referred"
    assert job(tmp_path, "undo", "1")["taken_back"] == ["closed: handed over"]
    shown = job(tmp_path, "show", "1")
    assert shown["steps"][0]["name"] == "dry_time"
    assert shown["undone"][0]["text"] == "closed: handed over"
    assert [j["job"] for j in job(tmp_path, "list")["jobs"]] == ["1"]


def test_next_advises_as_the_guided_call_does(tmp_path: Path) -> None:
    """`job next` gives the advice, its steps and cautions for a stored job."""
    job(tmp_path, "new", "--found", "dry_time=longer")
    with looked_at(tmp_path) as visit:
        advice = visit.now.advice
    text = said(tmp_path, "next", "1")
    assert "DO NEXT: ASK" in text
    assert advice.name in text
    assert job(tmp_path, "next", "1")["advice"]["name"] == advice.name


def test_undo_takes_back_a_finding_with_the_opening_it_brought(tmp_path: Path) -> None:
    """After undo the answer is the earlier one exactly, and the file still keeps the step."""
    job(tmp_path, "new", "--found", "heat=none")
    before = job(tmp_path, "next", "1")
    job(tmp_path, "find", "1", "igniter_ohms=120 ohm")
    assert job(tmp_path, "next", "1") != before
    assert len(job(tmp_path, "undo", "1")["taken_back"]) == 2
    assert job(tmp_path, "next", "1") == before
    assert len(job(tmp_path, "show", "1")["undone"]) == 2


def test_a_state_entered_by_hand_outlives_the_undo_of_a_check(tmp_path: Path) -> None:
    """Only the opening that came with the check goes with it."""
    job(tmp_path, "new")
    job(tmp_path, "state", "1", "--open", "unplugged")
    job(tmp_path, "find", "1", "igniter_ohms=120 ohm")
    assert job(tmp_path, "undo", "1")["open"] == ["unplugged"]


def test_an_older_finding_is_taken_back_by_its_name(tmp_path: Path) -> None:
    """Only that one goes, and the job keeps that it was."""
    job(tmp_path, "new", "--found", "heat=none")
    job(tmp_path, "find", "1", "igniter_ohms=120 ohm")
    job(tmp_path, "find", "1", "hood_flap=weak")
    without = job(tmp_path, "undo", "1", "ig oh")
    assert without["taken_back"] == ['igniter_ohms = normal (read "120 ohm")']
    assert [s["name"] for s in without["steps"] if s["kind"] == "finding"] == ["heat", "hood_flap"]
    assert [s["kind"] for s in without["undone"]] == ["finding"]
    ended = command("job", "undo", "1", "igniter_ohms", "--data", str(tmp_path))
    assert "there is no entry called 'igniter_ohms'." in ended.err


def test_what_does_not_fit_is_saved_and_said_loudly(tmp_path: Path) -> None:
    """With the older one it contradicts, and what to type; the scripts find it in the object."""
    job(tmp_path, "new", "--found", "heat=none", "--found", "fuse_continuity=open")
    text = said(tmp_path, "find", "1", "verification_run=dry_in_time")
    assert "!! verification_run = dry_in_time does not fit what was found before: fuse_continuity = open" in text
    assert f"faultodds job undo 1 --data {tmp_path} verification_run or fuse_continuity" in text
    job(tmp_path, "undo", "1")
    (odd,) = job(tmp_path, "find", "1", "verification_run=dry_in_time")["misfits"]
    assert odd["finding"] == "verification_run"
    assert 0.005 < odd["chance"] < 0.02
    assert "fuse_continuity" in odd["against"]
    assert job(tmp_path, "find", "1", "hood_flap=weak")["misfits"] == []


def test_minutes_of_several_at_once_count_once(tmp_path: Path) -> None:
    """For repairs and for findings."""
    job(tmp_path, "new", "--found", "heat=none")
    assert job(tmp_path, "fix", "1", "igniter", "flame_sensor", "--minutes", "30")["minutes"] == 30
    assert job(tmp_path, "find", "1", "hood_flap=weak", "level_check=level", "--minutes", "5")["minutes"] == 35


def test_a_damaged_job_is_named_and_stops_no_other(tmp_path: Path) -> None:
    """The list goes on without it; asked for, it says what is left to do; the others are shown and written as ever."""
    for title in ("first", "second"):
        job(tmp_path, "new", "--title", title)
    with closing(sqlite3.connect(tmp_path / "jobs.sqlite")) as raw, raw:
        raw.execute("INSERT INTO steps VALUES (1, 1, 'yesterday', 'note', '{', NULL)")
    listed = said(tmp_path, "list")
    assert "!! Job 1 in" in listed
    assert "was set aside; every other job can be used as before" in listed
    assert [j["title"] for j in job(tmp_path, "list")["jobs"]] == ["second"]
    assert list(job(tmp_path, "list")["damaged"]) == ["1"]
    refused = command("job", "show", "1", "--data", str(tmp_path))
    assert (refused.code, "start it anew: faultodds bench" in " ".join(refused.err.split())) == (2, True)
    assert job(tmp_path, "note", "2", "still here")["notes"] == ["still here"]


@pytest.mark.parametrize(
    ("fact", "repair", "words"),
    [
        ("control=timer", "board", "'board' is for a machine with electronic board"),
        ("control=timer", "thermistor", "(control=timer). One of the two is wrong: correct the fact (control=board)"),
        ("control=board", "cycling_thermostat", "'cycling_thermostat' is for a machine with timer"),
        ("auto_dry=no", "sensor_clean", "'sensor_clean' is for a machine with"),
    ],
)
def test_no_work_on_a_part_that_the_machine_cannot_have(tmp_path: Path, fact: str, repair: str, words: str) -> None:
    """Refused with both ways out, together with all that was entered with it; and the fact is refused after the repair."""
    job(tmp_path, "new", "--fact", fact)
    ended = command("job", "fix", "1", "igniter", repair, "--data", str(tmp_path))
    assert ended.code == 2
    assert words in " ".join(ended.err.split())
    assert job(tmp_path, "show", "1")["stage"] == 0
    job(tmp_path, "new")
    job(tmp_path, "fix", "2", repair)
    assert command("job", "fact", "2", fact, "--data", str(tmp_path)).code == 2


def test_no_day_to_come_and_no_second_callback(tmp_path: Path) -> None:
    """A complaint comes back on a day that has been, to a job that was closed."""
    job(tmp_path, "new")
    job(tmp_path, "close", "1", "gone", "--note", "screen was out")
    assert "closed: fault gone (screen was out)" in said(tmp_path, "show", "1")
    late = command("job", "close", "1", "came_back", "--on", "2999-12-31", "--data", str(tmp_path))
    assert "2999-12-31 is still to come; today is" in " ".join(late.err.split())
    today = str(date.today())
    assert job(tmp_path, "close", "1", "came_back", "--on", today)["visit"] == 2
    twice = command("job", "close", "1", "came_back", "--on", today, "--data", str(tmp_path))
    assert f"job 1 is open: the complaint came back on {today}, and it has not been closed since." in " ".join(
        twice.err.split()
    )
    unsaid = command("job", "close", "1", "gone", "--data", str(tmp_path))
    assert "so why is the complaint gone?" in " ".join(unsaid.err.split())


def test_a_tool_that_is_not_there_is_one_entry(tmp_path: Path) -> None:
    """Everything that needs it goes, and one undo brings it back."""
    job(tmp_path, "new", "--found", "heat=none")
    skipped = job(tmp_path, "missing", "1", "multimeter")["skipped"]
    assert {"igniter_ohms", "outlet_voltage", "motor_fuse_continuity"} <= set(skipped)
    job(tmp_path, "undo", "1")
    assert job(tmp_path, "show", "1")["skipped"] == {}


def test_all_of_a_command_is_entered_or_none(tmp_path: Path) -> None:
    """One bad name among several leaves the job as it was."""
    job(tmp_path, "new")
    for arguments in (
        ["find", "1", "heat=none", "hood_flap=stong"],
        ["find", "1", "heat=none", "--reading", "igniter_ohms=1.15"],
        ["fact", "1", "control=board", "age=ancient"],
        ["fix", "1", "igniter", "warp_core"],
    ):
        assert command("job", *arguments, "--data", str(tmp_path)).code == 2
        with Store.open(tmp_path) as store:
            assert store.get("1").steps == ()


def test_a_bad_start_leaves_no_job(tmp_path: Path) -> None:
    """`job new` with a name that there is not starts nothing."""
    ended = command("job", "new", "--found", "heat=nonne", "--data", str(tmp_path))
    assert ended.code == 2
    with Store.open(tmp_path) as store:
        assert store.list() == ()


@pytest.mark.parametrize("found", ["gas_smell=yes", "gas_smel=yes", "co_alarm=perhaps", "fire_signs=1"])
def test_a_stop_sign_stops_with_exit_3_and_is_kept(tmp_path: Path, found: str) -> None:
    """Nothing is computed; the job notes why."""
    job(tmp_path, "new")
    ended = command("job", "find", "1", "heat=none", found, "--data", str(tmp_path))
    assert ended.code == 3
    assert "STOP." in ended.out
    with Store.open(tmp_path) as store:
        stopped = store.get("1").stopped
        assert stopped is not None
        assert stopped.text.startswith("STOP.")
        assert store.get("1").findings == ()


@pytest.mark.parametrize(
    "argv",
    [
        ("note", "1", "rotten eggs by the dryer"),
        ("find", "1", "hood_flap=strong, and i feel sick"),
        ("find", "1", "heat=none", "--reading", "burner_voltage=sparks at the plug"),
        ("fact", "1", "age=leak at the union"),
        ("fix", "1", "coils, bubbles at the flare"),
        ("verify", "1", "45 min, a bit of smoke"),
        ("skip", "1", "hood_flap", "--reason", "co alarm going off"),
        ("close", "1", "gone", "--note", "customer has headaches"),
        ("state", "1", "--open", "gas leak"),
    ],
)
def test_danger_is_heard_in_every_command_and_the_job_stands_still(tmp_path: Path, argv: tuple[str, ...]) -> None:
    """Nothing goes on, and nothing is advised, until somebody says that it is safe."""
    job(tmp_path, "new", "--found", "heat=none")
    data = ("--data", str(tmp_path))
    ended = command("job", *argv, *data)
    assert (ended.code, ended.out.partition(".")[0]) == (3, "STOP")
    for line in (("find", "1", "hood_flap=weak"), ("next", "1"), ("close", "1", "gone"), ("undo", "1")):
        assert command("job", *line, *data).code == 3, line
    shown = command("job", "show", "1", *data)
    assert (shown.code, shown.out.partition(".")[0]) == (3, "STOP")
    assert "STOPPED" in command("job", "list", *data).out
    assert command("job", "close", "1", "referred", *data).code == 0
    assert command("job", "undo", "1", *data).code == 0
    how = "licensed fitter: joints tested tight, cord tested good, co meter reads 0"
    assert job(tmp_path, "safe", "1", "--note", how)["saved"][0]["text"] == f"safe again: {how}"
    assert command("job", "next", "1", *data).code == 0


def test_a_title_that_tells_of_danger_starts_no_job(tmp_path: Path) -> None:
    """There is nothing to go on with yet."""
    assert command("job", "new", "--title", "no heat + smell of gas", "--data", str(tmp_path)).code == 3
    with Store.open(tmp_path) as store:
        assert store.list() == ()


def test_safe_on_a_job_that_is_not_stopped_says_so(tmp_path: Path) -> None:
    """It is no harm, and no entry."""
    job(tmp_path, "new")
    ended = command("job", "safe", "1", "--data", str(tmp_path))
    assert ended.code == 2
    assert "is not stopped" in ended.err


def test_a_denied_stop_sign_is_no_finding(tmp_path: Path) -> None:
    """`gas_smell=no` lets the rest through."""
    assert [s["text"] for s in job(tmp_path, "new", "--found", "gas_smell=no", "--found", "heat=none")["saved"]] == [
        "heat = none"
    ]


def test_a_reading_may_take_the_rooms_temperature_as_an_option(tmp_path: Path) -> None:
    """What the reading depends on is kept with it."""
    job(tmp_path, "new")
    found = job(tmp_path, "find", "1", "thermistor_ohms=9.2k", "--ambient", "72F")
    assert found["saved"][-1]["raw"] == "9.2k at 72F"


def test_a_fact_that_contradicts_a_check_is_refused(tmp_path: Path) -> None:
    """A machine whose thermistor was measured has a board."""
    job(tmp_path, "new", "--found", "thermistor_ohms=on_chart")
    ended = command("job", "fact", "1", "control=timer", "--data", str(tmp_path))
    assert ended.code == 2
    assert "One of the two is wrong: correct the fact (control=board)" in " ".join(ended.err.split())
    assert job(tmp_path, "show", "1")["facts"] == {}


def test_again_counts_beside_the_first(tmp_path: Path) -> None:
    """A deliberate re-measurement is a second piece of evidence."""
    job(tmp_path, "new", "--found", "hood_flap=weak")
    job(tmp_path, "find", "1", "hood_flap=weak", "--again")
    with looked_at(tmp_path) as visit:
        assert len(visit.now.belief.evidence.seen) == 2
    job(tmp_path, "find", "1", "hood_flap=none")
    with looked_at(tmp_path) as visit:
        assert sorted(p.finding.take for p in visit.job.findings) == [0, 1]


def test_list_can_be_narrowed(tmp_path: Path) -> None:
    """Open and closed jobs, the newest first."""
    for title in ("first", "second", "third"):
        job(tmp_path, "new", "--title", title)
    job(tmp_path, "close", "2", "referred")
    assert [j["title"] for j in job(tmp_path, "list")["jobs"]] == ["third", "second", "first"]
    assert [j["title"] for j in job(tmp_path, "list", "--closed")["jobs"]] == ["second"]
    assert [j["title"] for j in job(tmp_path, "list", "--open", "--limit", "1")["jobs"]] == ["third"]
    assert "2 " in said(tmp_path, "list", "--closed")
    assert said(tmp_path / "other", "list").startswith("No jobs yet.")


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        (["find", "9", "heat=none"], "there is no job called '9'."),
        (["find", "1"], "nothing to enter. Type for example: faultodds job find 7 hood_flap=weak"),
        (["find", "1", "heat"], "write NAME=VALUE"),
        (["find", "1", "heat=nonne"], "there is no outcome of 'heat' called 'nonne'. Did you mean 'none'?"),
        (["find", "1", "igniter_ohms=1.15"], "1.15 ohm or 1.15 k?"),
        (["find", "1", "thermistor_ohms=9.2k"], "Add the room's temperature, for example --ambient 72F."),
        (["fact", "1", "control=bord"], "Did you mean 'board'?"),
        (["fix", "1", "coilset"], "there is no repair called 'coilset'. Did you mean 'coil_set'?"),
        (["verify", "1", "dray"], "'dray' cannot be read as a time reading"),
        (["skip", "1", "bananas"], "there is no check, repair or question called 'bananas'."),
        (["close", "1", "finished"], "there is no outcome of a job called 'finished'."),
        (["close", "1", "came_back"], "came_back needs the day the complaint came back."),
        (["close", "1", "came_back", "--on", "soon"], "'soon' is not a day. Type it as YYYY-MM-DD"),
        (["state", "1", "--open", "sesame"], "there is no access item called 'sesame'."),
        (["undo", "1"], "job 1 has nothing to undo."),
        (["note", "1", " "], "a note needs some text."),
        (["show", "one"], "there is no job called 'one'."),
        (["findd", "1"], "findd"),
        (["find", "1", "heat=none", "--minutes", "-3"], "-3"),
    ],
)
def test_bad_input_is_answered_with_what_to_type(tmp_path: Path, arguments: list[str], text: str) -> None:
    """Exit 2, a message that says what was found and what to type, and no traceback."""
    job(tmp_path, "new")
    ended = command("job", *arguments, "--data", str(tmp_path))
    assert ended.code == 2
    assert text in " ".join(ended.err.split())
    assert "Traceback" not in ended.err


def test_what_is_said_of_runs_is_in_the_json_too(tmp_path: Path) -> None:
    """A script is told what a person reads: that no repair is on record, that two runs count, what was replaced."""
    job(tmp_path, "new", "--found", "heat=none")
    first = job(tmp_path, "verify", "1", "44 min")
    assert ["No repair is on record" in text for text in first["runs"]] == [True]
    job(tmp_path, "fix", "1", "coil_set")
    assert job(tmp_path, "verify", "1", "25 min")["runs"] == []
    (twice,) = job(tmp_path, "verify", "1", "28 min")["runs"]
    assert "both count" in twice and "faultodds job undo 1" in twice
    said = " ".join(command("job", "verify", "1", "27 min", "--data", str(tmp_path)).out.split())
    again = job(tmp_path, "verify", "1", "26 min")["runs"][0]
    assert again.split(" both count")[0] in said
    assert job(tmp_path, "find", "1", "hood_flap=weak")["replaced"] == []
    (old,) = job(tmp_path, "find", "1", "hood_flap=strong")["replaced"]
    assert "hood_flap" in old and "weak" in old
