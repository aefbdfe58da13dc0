"""Questions on the screens: `ask` before the visit, and bare answers in a guided call."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from calls import SAFE, bench, looked_at
from faultodds.advice import question_of
from run_cli import faultodds

# A slow dryer whose machine is known, and its heat: what is asked next is the air at the hood.
SLOW = ("control=timer", "done", "dry_time=longer", "")


def test_ask_says_what_to_ask_and_what_each_answer_would_mean() -> None:
    ran = faultodds("ask", "--found", "heat=none")
    assert ran.code == 0
    assert "ASK BEFORE THE VISIT" in ran.out
    assert "control=timer" in ran.out
    told = json.loads(faultodds("ask", "--found", "heat=none", "--top", "2", "--json").out)
    assert len(told["ask"]) == 2
    for question in told["ask"]:
        assert sum(a["chance"] for a in question["answers"]) == pytest.approx(1.0, abs=1e-4)
        assert question["worth"] > 0
        assert all(a["first"] for a in question["answers"] if a["chance"] > 0)
    assert "Then first: " in ran.out


def test_where_both_answers_lead_to_the_same_it_is_said_what_differs() -> None:
    """A dial timer or a board comes to the same first check; the timer and the board are what it parts."""
    said = faultodds("ask", "--found", "heat=cools_off", "--top", "1").text
    assert "Whatever the answer, the same comes first" in said
    later = said.partition("comes later: ")[2]
    assert "after timer, cycling thermostat" in later and "after board, " in later
    told = json.loads(faultodds("ask", "--found", "heat=cools_off", "--top", "1", "--json").out)["ask"][0]["answers"]
    assert len({a["parts_off"] for a in told}) == 2


def test_ask_for_a_load_says_what_to_load_after_each_answer() -> None:
    ran = faultodds("ask", "--found", "heat=none", "--shelf", "3")
    assert "Does the drum stand still" in ran.out
    assert "Then load: igniter, " in ran.out
    assert "Then first" not in ran.out
    told = json.loads(faultodds("ask", "--found", "heat=none", "--shelf", "3", "--top", "1", "--json").out)
    assert told["limit"] == {"budget": None, "shelf": 3}
    assert "belt_idler" in {a["answer"]: a["load"] for a in told["ask"][0]["answers"]}["yes"]
    assert "such as --budget 200" in faultodds("ask", "--budget", "-3").err
    assert "no answer would change what to load" in faultodds("ask", "--found", "heat=none", "--shelf", "0").out


def test_next_puts_the_question_before_the_checks() -> None:
    ran = faultodds("next", "--found", "heat=none")
    assert "DO NEXT: ASK. Dial timer, or electronic board?" in ran.out
    assert "skip control" in ran.out
    skipped = faultodds("next", "--found", "heat=none", "--skip", "control")
    assert "Dial timer, or electronic board?" not in skipped.out


@pytest.mark.parametrize(
    ("line", "becomes"), [("no", "no"), ("nope", "no"), ("Yes", "yes"), ("yep", "yes"), ("weak_puff=yes", "yes")]
)
def test_a_bare_answer_goes_to_the_question_on_the_screen(tmp_path: Path, line: str, becomes: str) -> None:
    """And is told back with its name, so that a no is never taken for its opposite."""
    ended = bench(tmp_path, *SAFE, *SLOW, line)
    assert "ASK. Does the customer find the air at the outdoor hood weak?" in ended.out
    assert f"weak_puff = {becomes}" in ended.out
    with looked_at(tmp_path) as visit:
        assert {p.finding.name: p.finding.outcome for p in visit.job.findings}["weak_puff"] == becomes


@pytest.mark.parametrize("line", ["yes", "no", "some", "cold", "yes no heat", "yes it does"])
def test_what_may_be_an_answer_and_is_none_is_asked_again(tmp_path: Path, line: str) -> None:
    """At "Is there heat?": nothing is noted, of heat or of anything else, and the answers are named."""
    ended = bench(tmp_path, *SAFE, "control=board", "auto_dry=yes", "done", "room_humid=yes", "", line)
    assert "ASK. Is there heat?" in ended.out
    assert "Answer normal: heats; cools_off" in " ".join(ended.out.split())
    with looked_at(tmp_path) as visit:
        assert [p.finding.name for p in visit.job.findings] == ["room_humid"]


def test_other_things_are_still_heard_while_something_is_asked(tmp_path: Path) -> None:
    ended = bench(
        tmp_path, *SAFE, "control=board", "auto_dry=yes", "done", "", "no heat", "no manometer", "hood flap weak"
    )
    assert ended.code == 0
    with looked_at(tmp_path) as visit:
        assert {(p.finding.name, p.finding.outcome) for p in visit.job.findings} == {
            ("heat", "none"),
            ("hood_flap", "weak"),
        }
        assert "manifold_pressure" in visit.job.skipped


@pytest.mark.parametrize("line", ["dunno", "not sure", "skip", "skip weak_puff"])
def test_what_nobody_knows_is_not_asked_again(tmp_path: Path, line: str) -> None:
    ended = bench(tmp_path, *SAFE, *SLOW, line, "why", "how")
    assert ended.code == 0
    with looked_at(tmp_path) as visit:
        assert "weak_puff" in visit.job.skipped
        assert visit.now.advice.name != "weak_puff"
        assert "weak_puff" not in {q.question.name for q in visit.now.advice.questions}


@pytest.mark.parametrize("line", ["couldnt reach fuse", "havent checked the coils yet", "igniter might be weak"])
def test_doubt_of_something_else_is_no_answer(tmp_path: Path, line: str) -> None:
    bench(tmp_path, *SAFE, *SLOW, line)
    with looked_at(tmp_path) as visit:
        assert visit.now.advice.name == "weak_puff"
        assert "weak_puff" not in visit.job.skipped


def test_every_answer_is_taken_bare(tmp_path: Path) -> None:
    """Whatever is asked: for each answer of the question on the screen, the bare word is that answer."""
    bench(tmp_path, *SAFE, "done", "heat=none", "")
    with looked_at(tmp_path) as visit:
        name = visit.now.advice.name
        answers = list(question_of(visit.knowledge, name).answers)
    for answer in answers:
        ended = bench(tmp_path, "no", answer, "undo", options=["1"])
        assert f"{name} = {answer}" in ended.out


def test_ask_says_first_what_is_not_used_until_the_visit() -> None:
    """With a yellow flame or a burning smell the customer is told so on the telephone; a slow dryer may be used."""
    for found in ("flame_colour=yellow", "burning_smell=yes"):
        told = faultodds("ask", "--found", found, "--top", "1").out
        assert "UNTIL THE VISIT: it is not used" in told
        assert "Nothing is switched on, opened or touched" in told
    assert "UNTIL THE VISIT" not in faultodds("ask", "--found", "dry_time=longer", "--top", "1").out
    hot = " ".join(faultodds("ask", "--found", "cabinet_hot=yes", "--top", "1").out.split())
    assert "better not used: perhaps cabinet or laundry very hot (cabinet_hot)" in hot
