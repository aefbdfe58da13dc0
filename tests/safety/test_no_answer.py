"""What is no answer at a question about danger, and what an alarm takes that came of a line typed in the wrong place."""

from __future__ import annotations

from pathlib import Path

import pytest

from calls import SAFE, STRAIGHT_ON, bench
from cli.test_bench import text_of
from faultodds.job.clearing import only_mistyped
from faultodds.safety import answers, hear, may_answer
from faultodds.safety.danger import own_title

# Written before the code: lines of a call that say nothing of danger.
UNREAD = (
    "back again, same trouble", "callback from tuesday", "hood flap strong now", "board model, rigid duct", "done", "qwer",
    "close gone, came back", "reopened for mrs, still takes two goes", "9 years old", "timer", "lint screen clean", "hm",
    "finish", "started on the front", "new coils went in", "runs lovely for ten min", "front panel off", "propane model",
)  # fmt: skip
# Answers, however unclear, and words of danger: these stop as ever.
ANSWERS = (
    "not sure", "dunno, no idea", "maybe", "she said something", "no nose", "no meter", "it pongs a bit", "alarm is chirping",
    "the neighbour said it did", "didnt ask", "funny in the garage", "kid felt faint", "couldnt say", "could be",
)  # fmt: skip


@pytest.mark.parametrize("line", UNREAD)
def test_a_line_that_says_nothing_of_danger_is_asked_again_and_is_no_alarm(line: str, tmp_path: Path) -> None:
    """At the first question of a new call and on going on, as often as need be; nothing goes on without a plain no."""
    new = bench(tmp_path, line, line, line, *SAFE, "done", "heat none")
    assert new.code == 0 and "STOP." not in new.out, new.out
    again = bench(tmp_path, line, line, line, "no", "leave", options=["1"])
    assert again.code == 0 and "STOP." not in again.out, again.out
    left = bench(tmp_path, line, line, options=["1"])
    assert "STOP." not in left.out and "FAULT ODDS" not in left.out


@pytest.mark.parametrize("line", ANSWERS)
def test_a_doubt_or_a_word_of_danger_twice_stops(line: str, tmp_path: Path) -> None:
    """As ever."""
    assert may_answer(line)
    bench(tmp_path, *STRAIGHT_ON, "heat none")
    assert bench(tmp_path, line, line, "no", options=["1"]).code == 3


def test_a_planted_mistake_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """A list without the words of danger takes some of those answers for none."""
    monkeypatch.setitem(answers.the_rules().denial, "speaks", answers.the_rules().denial["no_alarm"])
    assert not all(may_answer(line) for line in ANSWERS)


MISTYPED = (
    "typed in the wrong place, nobody reported anything", "no to all, that was meant for another line",
    "false alarm, nothing reported",
    "none of them, i typed at the wrong prompt", "my typo, no danger of any sort", "wrong line, no gas no smoke nobody ill",
)  # fmt: skip
NOT_MISTYPED = (
    "typed in the wrong place", "nobody reported anything", "false alarm i think, nothing now", "wrong prompt, only a bit of gas",
    "typed wrong, nothing but a whiff", "false alarm, the smell went", "wrong place, nobody was sure", "no",
)  # fmt: skip


def test_what_says_that_a_line_was_mistyped() -> None:
    """It says so, and says plainly that there was nothing."""
    assert all(only_mistyped(each) for each in MISTYPED)
    assert not any(only_mistyped(each) for each in NOT_MISTYPED)


@pytest.mark.parametrize("remark", MISTYPED)
def test_a_stop_without_a_word_of_danger_is_taken_back_by_such_a_line(remark: str, tmp_path: Path) -> None:
    """A stop with one takes its proofs as ever, whatever was typed in between."""
    bench(tmp_path, *STRAIGHT_ON, "heat none")
    assert bench(tmp_path, "no meter", "no meter", options=["1"]).code == 3
    back = bench(tmp_path, remark, "no", "leave", options=["1"])
    assert back.code == 0 and "stays stopped" not in text_of(back), back.out
    assert "FAULT ODDS" in back.out
    for told in ("yes", "i smell gas", "smoke from the lint slot", "a bit", "not sure"):
        data = tmp_path / told.replace(" ", "_")
        bench(data, *STRAIGHT_ON, "heat none")
        assert bench(data, told, told, options=["1"]).code == 3
        refused = bench(data, remark, options=["1"])
        assert "stays stopped" in text_of(refused) and "FAULT ODDS" not in refused.out, (told, refused.out)


def test_a_danger_told_of_earlier_on_the_job_takes_its_proofs(tmp_path: Path) -> None:
    """Also when it was cleared: such a job is not taken lightly."""
    bench(tmp_path, *STRAIGHT_ON, "heat none")
    bench(tmp_path, "i smell gas", options=["1"])
    told = "gas supplier: every gas joint soap tested with the gas on, no bubbles"
    cleared = bench(tmp_path, f"safe {told}", "no", "leave", options=["1"])
    assert "FAULT ODDS" in cleared.out, cleared.out
    assert bench(tmp_path, "no meter", "no meter", options=["1"]).code == 3
    assert "stays stopped" in text_of(bench(tmp_path, MISTYPED[0], options=["1"]))


def test_a_refusal_that_is_repeated_is_short(tmp_path: Path) -> None:
    """The wall was read once."""
    bench(tmp_path, *STRAIGHT_ON, "heat none")
    bench(tmp_path, "i smell gas", options=["1"])
    ended = text_of(bench(tmp_path, "its all fine now", "its good now i say", options=["1"]))
    first, _, second = ended.partition("its good now i say")
    assert "such as" in first
    assert "such as" not in second and "stays stopped" in second


@pytest.mark.parametrize(
    "line",
    [
        "wiff of gas",
        "wiffs of gas behind it",
        "gas wif",
        "a wif of gas",
        "gas whif at the cock",
        "faint gas",
        "slight gas",
    ],
)
def test_a_little_gas_in_any_spelling_is_gas(line: str) -> None:
    """And has the steps of gas: no switch is touched."""
    heard = hear(line)
    assert heard is not None and heard.hazard == "gas"
    assert hear("the wife is fine") is None and hear("her wifi is slow") is None


@pytest.mark.parametrize(
    ("line", "hazard"),
    [
        ("downstairs lady phoned about the co alarm", "co"), ("tenant complained re her CO alarm", "co"),
        ("sparks flew from the outlet", "fire"), ("a spark at the plug", "fire"), ("spark out of the socket just now", "fire"),
    ],
)  # fmt: skip
def test_what_a_neighbour_rings_about_and_sparks_at_a_plug_stop(line: str, hazard: str) -> None:
    """However short they are told."""
    heard = hear(line)
    assert heard is not None and heard.hazard == hazard


@pytest.mark.parametrize(
    "line", ["tenant smokes", "the owner smokes indoors", "customer phoned about the dryer", "new spark plug"]
)
def test_what_is_no_danger_does_not_stop(line: str) -> None:
    """A smoker is none; a dryer that smokes is."""
    assert hear(line) is None
    assert hear("it smokes") is not None and hear("cust says it smokes") is not None


@pytest.mark.parametrize(
    "line", ["vents into the basement", "exhaust blowing into the laundry room", "venting into the attic"]
)
def test_an_exhaust_that_blows_indoors_is_told_as_what_it_is(line: str) -> None:
    """Carbon monoxide and fresh air; there is no bypass to take out."""
    own = own_title(hear(line))
    assert own is not None and "carbon monoxide" in own.title and "Windows" in " ".join(own.steps)
