"""The guided call on a pipe: what can be typed, what is kept, what stops it."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import pytest

from calls import SAFE, STRAIGHT_ON, Ended, bench, command, looked_at
from faultodds.belief import open_appliance
from faultodds.errors import SafetyStop
from faultodds.job.steps import Danger, Finding, MachineState
from faultodds.job.store import Store
from faultodds_cli.shared.show_job import screen
from faultodds_cli.shared.talk import Talk


def findings(data: Path, job: str = "1") -> dict[str, Finding]:
    """The findings of a stored job by name."""
    with Store.open(data) as store:
        return {p.finding.name: p.finding for p in store.get(job).findings}


def last_screen(out: str) -> str:
    """What was printed from the last rule across the screen on."""
    return out[out.rindex("-" * 60) :]


def test_a_fresh_call_asks_safety_then_the_machine_then_the_complaint_then_advises(tmp_path: Path) -> None:
    """The order of a call: stop questions, equipment before context, complaint, then odds, checks and
    advice."""
    ended = bench(tmp_path, *SAFE, *[""] * 15, "1=2", "", "leave")
    out = ended.out
    places = [
        out.index(text)
        for text in (
            "Can you or the customer smell gas?",
            "Any smoke, scorched clothes or panels, or flames?",
            "Dial timer, or electronic board?",
            "Which coils sit on the gas valve?",
            "What is the vent made of",
            "Did it begin after a move or a service visit?",
            "What is wrong?",
            "FAULT ODDS",
            "CHECKS, BEST FIRST",
            "DO NEXT: ASK",
            "Job 1 is saved. Go on with: faultodds bench 1",
        )
    ]
    assert ended.code == 0
    assert places == sorted(places)
    assert findings(tmp_path)["dry_time"].outcome == "longer"


@pytest.mark.parametrize(
    ("line", "name", "outcome"),
    [
        ("hood_flap weak", "hood_flap", "weak"),
        ("hood flap weak", "hood_flap", "weak"),
        ("ig oh open", "igniter_ohms", "open"),
        ("hood_flap=2", "hood_flap", "weak"),
        ("heat none", "heat", "none"),
        ("glow no flame", "glow", "glow_no_flame"),
        ("drum still yes", "drum_still", "yes"),
        ("lint screen look coat", "lint_screen_look", "coated"),
    ],
)
def test_findings_are_taken_by_name_number_and_abbreviation(tmp_path: Path, line: str, name: str, outcome: str) -> None:
    """Names and outcomes may be shortened as long as one thing only can be meant; outcomes have numbers."""
    assert bench(tmp_path, *STRAIGHT_ON, line).code == 0
    assert findings(tmp_path)[name].outcome == outcome


def test_a_number_stands_for_the_check_on_the_screen(tmp_path: Path) -> None:
    """ "2 ..." is the second check listed."""
    bench(tmp_path, *SAFE, "done", "1=2", "done")
    with looked_at(tmp_path) as visit:
        second = visit.now.advice.telling_checks[1].name
        outcome = list(visit.knowledge.check[second].outcomes)[1]
    bench(tmp_path, "no", f"2 {outcome}", options=["1"])
    assert findings(tmp_path)[second].outcome == outcome


def test_several_symptoms_fit_on_one_line(tmp_path: Path) -> None:
    """Numbers, names and values mix; a number alone means yes."""
    bench(tmp_path, *SAFE, "done", "1=3 heat=cools off 4=2", "5", "done")
    found = findings(tmp_path)
    assert {n: f.outcome for n, f in found.items()} == {
        "dry_time": "over_twice",
        "heat": "cools_off",
        "clothes": "hot_damp",
        "cabinet_hot": "yes",
    }


def test_what_nobody_knows_of_the_machine_is_not_asked_again(tmp_path: Path) -> None:
    """Not by the screen, and not on going on; what was only left with Enter is."""
    first = bench(tmp_path, *SAFE, "unknown", "", "done", "dry_time=longer", "done", "leave")
    assert first.out.count("Dial timer, or electronic board?") == 1
    again = bench(tmp_path, "no", "done", "leave", options=["1"])
    assert "Dial timer, or electronic board?" not in again.out


def test_the_answer_shown_beside_a_symptom_is_the_last_one(tmp_path: Path) -> None:
    """After a repair it is asked anew."""
    typed = ("cabinet_hot yes", "repair clean_duct", "yes", "cabinet_hot no", "symptoms")
    shown = bench(tmp_path, *STRAIGHT_ON, *typed).out
    assert "Cabinet or laundry very hot  [no]" in shown.split("> symptoms")[1]


def test_several_facts_fit_on_one_line_and_are_not_asked_again(tmp_path: Path) -> None:
    """An answer may run ahead of the questions."""
    ended = bench(tmp_path, *SAFE, "control=board age=2 vent_material=foil", "done", "done")
    with looked_at(tmp_path) as visit:
        assert visit.job.facts == {"control": "board", "age": "to_8", "vent_material": "foil"}
    assert ended.out.count("Dial timer, or electronic board?") == 1


def test_raw_readings_are_judged_and_kept_as_typed(tmp_path: Path) -> None:
    """The judgement is shown with its band, and the raw text is stored."""
    ended = bench(tmp_path, *STRAIGHT_ON, "coil_ohms 1150/1350/560", "yes", "static 1.4 in wc", "yes")
    assert "two-terminal coil 1,000 to 1,300 ohm" in ended.out
    found = findings(tmp_path)
    assert found["coil_ohms"].raw == "1150/1350/560"
    assert found["static_pressure"].raw == "1.4 in wc"


def test_a_missing_unit_is_asked_for_and_answered_on_the_next_line(tmp_path: Path) -> None:
    """1.15 without a unit is asked about, never guessed; the answer may be the unit alone."""
    ended = bench(tmp_path, *STRAIGHT_ON, "igniter_ohms 1.15", "k")
    assert "1.15 ohm or 1.15 k?" in ended.out
    assert findings(tmp_path)["igniter_ohms"].raw == "1.15 k"


def test_a_thermistor_asks_for_the_room_and_takes_it_alone(tmp_path: Path) -> None:
    """Unit and room are asked for one after the other, and the raw reading keeps both."""
    ended = bench(tmp_path, *STRAIGHT_ON, "thermistor 9.2", "k", "72F")
    assert "room's temperature, for example 72F" in " ".join(ended.out.split())
    assert findings(tmp_path)["thermistor_ohms"].raw == "9.2 k at 72F"


def test_an_open_question_is_dropped_by_another_finding(tmp_path: Path) -> None:
    """A technician who goes on without answering is not held up, and nothing wrong is entered."""
    bench(tmp_path, *STRAIGHT_ON, "igniter_ohms 1.15", "hood_flap weak", "k")
    assert set(findings(tmp_path)) == {"hood_flap"}


def test_a_check_named_without_an_outcome_is_asked_about(tmp_path: Path) -> None:
    """The question lists the outcomes with numbers, and the number alone is an answer."""
    ended = bench(tmp_path, *STRAIGHT_ON, "hood_flap", "2")
    assert "2 weak (flap half open, weak)" in " ".join(ended.out.split())
    assert findings(tmp_path)["hood_flap"].outcome == "weak"


def test_an_unsure_finding_is_kept_as_shares(tmp_path: Path) -> None:
    """ "weak 70 / strong 30" is a likelihood."""
    bench(tmp_path, *STRAIGHT_ON, "hood_flap weak 70 / strong 30")
    assert findings(tmp_path)["hood_flap"].likelihood == {"weak": 0.7, "strong": 0.3}


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ("fix transition", "Known: transition_look, new_transition, refit_transition and"),
        ("adjust the burner", "Known: burner_watch, burner_voltage, burner_clean and"),
        ("ask burning smell", "Burning smell, no smoke: 1 no, 2 yes?"),
        ("how burning smell", "Burning smell, no smoke: 1 no, 2 yes?"),
        ("look burning smell", "Burning smell, no smoke: 1 no, 2 yes?"),
        ("clock the meter", "Clock the gas meter with only the dryer burning: what does it read?"),
        ("ask vent material", "vent_material=rigid | semi_rigid | foil"),
        ("verfy slow", "'verfy' is no word of this program. Did you mean 'verify'? Type help for all."),
        (
            "igniter_ohm5 open",
            "there is no symptom, check or repair called 'igniter_ohm5 open'. Did you mean 'igniter_ohms'?",
        ),
        ("hood low", "'hood' fits more than one symptom or check: 'hood_flap', 'hood_air_speed'."),
        ("hood_flap stong", "there is no outcome of 'hood_flap' called 'stong'. Did you mean 'strong'?"),
        ("9 weak", "there is no line 9. Known: 1 to 3."),
        ("skip zzz", "there is no check or repair called 'zzz'."),
        ("again", "again what? Type for example: again hood_flap weak."),
        ("close", "close how? Type close gone, close referred, or close came back YYYY-MM-DD."),
        ("close came back tomorrow", "'tomorrow' is not a day. Type it as YYYY-MM-DD"),
        ("close came back 2099-01-01", "2099-01-01 is still to come; today is"),
        ("close lost", "there is no outcome of a job called 'lost'."),
        ("take back coil_ohms", "there is no entry called 'coil_ohms'."),
        ("repair coil_set hood", "there is no repair called 'coil_set hood'. Did you mean 'coil_set'?"),
        (
            "close came back 2025-13-40",
            "'2025-13-40' is not a day. Type it as YYYY-MM-DD, for example 2025-03-31.",
        ),
        ("fact age", "'age': write NAME=VALUE, for example control=timer."),
        ("open sesame", "there is no access item called 'sesame'."),
        ("repair warp_core", "there is no repair called 'warp_core'."),
        ("note", "a note needs some text."),
        ("coil_ohms 12 bananas", "'12 bananas' cannot be read as a windings reading"),
        ("how bananas", "there is no check or repair called 'bananas'."),
    ],
)
def test_what_cannot_be_taken_is_answered_with_what_to_type(tmp_path: Path, line: str, text: str) -> None:
    """A near miss names the nearest, and nothing of it is stored."""
    ended = bench(tmp_path, *STRAIGHT_ON, line)
    assert text in " ".join(ended.out.split())
    assert ended.code == 0
    assert not findings(tmp_path)


def test_undo_gives_back_the_earlier_screen_exactly(tmp_path: Path) -> None:
    """After undo, odds, changes, checks, machine state and advice are those of before, to the letter."""
    first = bench(tmp_path, *SAFE, "done", "1=2", "done", "hood_flap weak")
    both = bench(tmp_path, "no", "coil_ohms 1150/1350/560", "yes", "undo", options=["1"])
    assert "Machine now: unplugged, gas cock shut, top and front panel open" in " ".join(both.out.split())
    assert last_screen(first.out).partition("> ")[0] == last_screen(both.out).partition("> ")[0]
    assert "and coil_ohms = good" in " ".join(both.out.split())


def test_doing_a_check_leaves_the_machine_as_the_check_needs_it(tmp_path: Path) -> None:
    """Access is paid for once: the next check behind the same panel costs its own minutes only."""
    bench(tmp_path, *STRAIGHT_ON, "igniter_ohms 120 ohm", "yes")
    with looked_at(tmp_path) as visit:
        assert visit.state == {"unplugged", "gas_shut", "front_open"}
        price = next(c.price for c in visit.now.advice.checks if c.name == "coil_ohms")
        assert price.minutes == visit.knowledge.check["coil_ohms"].minutes
        assert any(isinstance(step.payload, MachineState) for step in visit.job.steps)


def test_the_machine_state_is_shown_and_can_be_corrected(tmp_path: Path) -> None:
    """`open` and `shut` set one item; `state` lists them all."""
    ended = bench(tmp_path, *STRAIGHT_ON, "igniter_ohms 120 ohm", "yes", "shut front_open", "open pulled out", "state")
    assert "pulled_out: pulled out from the wall" in ended.out
    assert "front_open: top and front panel on" in ended.out and "gas_shut: gas cock shut" in ended.out
    with looked_at(tmp_path) as visit:
        assert visit.state == {"unplugged", "gas_shut", "pulled_out"}


def test_a_skipped_check_is_not_offered_again(tmp_path: Path) -> None:
    """`skip` with a reason takes the check off the list; its reason is kept."""
    bench(tmp_path, *STRAIGHT_ON, "dry_time longer", "skip hood flap no ladder")
    with looked_at(tmp_path) as visit:
        assert visit.job.skipped == {"hood_flap": "no ladder"}
        assert "hood_flap" not in [c.name for c in visit.now.advice.checks]


def test_a_clash_is_shown_kept_and_undone(tmp_path: Path) -> None:
    """Findings that no fault explains are named, the job is kept, and undo gives the advice back."""
    toy = tmp_path / "clash.toml"
    toy.write_text(CLASHING, encoding="utf-8")
    options = ["--appliance", str(toy)]
    ended = bench(tmp_path, "done", "listen hums", "look dark", "keep", options=options)
    assert "look = dark does not fit what was found before: listen = hums." in " ".join(ended.out.split())
    shown = last_screen(ended.out)
    assert "These cannot all be true of one machine:" in shown
    assert "- listen=hums" in shown
    assert "- look=dark" in shown
    assert "DO NEXT" not in shown
    again = bench(tmp_path, "undo", options=["1", *options])
    assert "Taken back: look = dark" in again.out
    assert "DO NEXT" in last_screen(again.out)
    assert set(findings(tmp_path)) == {"listen"}


def test_a_repeated_finding_takes_the_earlier_ones_place_and_again_counts_both(tmp_path: Path) -> None:
    """A plain repeat corrects; `again` is a second measurement."""
    ended = bench(tmp_path, *STRAIGHT_ON, "hood_flap weak", "hood_flap none", "again hood_flap none")
    assert "It takes the place of the earlier one, of " in text_of(ended)
    with looked_at(tmp_path) as visit:
        assert [(p.finding.outcome, p.finding.take) for p in visit.job.findings] == [("none", 0), ("none", 1)]


DOUBTED = (*STRAIGHT_ON, "heat none", "fuse_continuity open", "yes", "verify dry_in_time")


def text_of(ended: Ended) -> str:
    return " ".join(ended.out.split())


def test_what_does_not_fit_is_kept_only_when_somebody_says_so(tmp_path: Path) -> None:
    """It is asked about with what it contradicts; keep enters it, no leaves it out, and so does any other entry, which is said."""
    asked = bench(tmp_path, *DOUBTED)
    told = text_of(asked)
    assert "does not fit what was found before: fuse_continuity = open" in told and "About 1 in " in told
    assert "Left out: verification_run dry_in_time." in asked.out
    assert "verification_run" not in findings(tmp_path)
    bench(tmp_path, "no", "verify dry_in_time", "odds", "hood_flap weak", options=["1"])
    assert set(findings(tmp_path)) == {"heat", "fuse_continuity", "hood_flap"}
    bench(tmp_path, "no", "yes", "verify dry_in_time", "no", options=["1"])  # yes: the machine is as asked on going on
    assert "verification_run" not in findings(tmp_path)
    bench(tmp_path, "no", "verify dry_in_time", "odds", "keep", options=["1"])
    assert "verification_run" in findings(tmp_path)


def test_the_older_one_may_be_the_wrong_one(tmp_path: Path) -> None:
    """Taken back while the new one is in doubt, it makes way: the new one is then entered, once."""
    ended = bench(tmp_path, *DOUBTED, "take back heat", "take back fuse_continuity")
    assert "Taken back: fuse_continuity = open." in ended.out
    assert set(findings(tmp_path)) == {"verification_run"}
    assert "Left out" not in ended.out


@pytest.mark.parametrize(
    "line", ["take back coil_ohms", "Take back the coil ohms", "take coil_ohms back", "undo coil_ohms"]
)
def test_an_older_finding_is_taken_back_alone(tmp_path: Path, line: str) -> None:
    """What came after it stays, and the story keeps that it was."""
    typed = ["coil_ohms good", "yes", "coil_ohms off", "hood_flap weak", "yes", line, "story"]
    ended = bench(tmp_path, *STRAIGHT_ON, "heat none", *typed)
    assert set(findings(tmp_path)) == {"heat", "hood_flap"}
    assert "taken back: coil_ohms = good" in ended.out
    assert "taken back: coil_ohms = off" in ended.out


@pytest.mark.parametrize("line", ["take back the last one", "take it back", "take that back", "undo"])
def test_the_last_is_still_the_last(tmp_path: Path, line: str) -> None:
    """No name, no older one."""
    bench(tmp_path, *STRAIGHT_ON, "heat none", "hood_flap weak", line)
    assert set(findings(tmp_path)) == {"heat"}


@pytest.mark.parametrize("line", ["repair thermal_fuse clean_duct", "repair thermal fuse and clean duct"])
def test_several_repairs_are_one_entry(tmp_path: Path, line: str) -> None:
    """In order, and said with their titles."""
    ended = bench(tmp_path, *STRAIGHT_ON, "heat none", line)
    assert "Repaired: New thermal fuse and Clean the duct" in text_of(ended)
    with looked_at(tmp_path) as visit:
        assert visit.job.repairs == ("thermal_fuse", "clean_duct")


def test_gone_with_nothing_done_is_asked_why(tmp_path: Path) -> None:
    """No answer leaves the job open, and so does a word of the program; the reason is kept."""
    asked = bench(tmp_path, *STRAIGHT_ON, "heat none", "close gone", "")
    assert "Nothing was repaired and the machine was not run. Why is it gone?" in text_of(asked)
    assert "The job stays open." in asked.out
    stays = bench(tmp_path, "no", "close gone", "repair igniter", options=["1"])
    assert "'repair igniter' is a word of this program, and was not done." in text_of(stays)
    closed = bench(tmp_path, "no", "close gone", "timer was set to air only", options=["1"])
    assert "Job 1 is closed: fault gone." in closed.out
    with looked_at(tmp_path) as visit:
        assert visit.job.closings[-1].note == "timer was set to air only"


def test_no_helper_is_one_entry(tmp_path: Path) -> None:
    """What takes two people is offered no more."""
    ended = bench(tmp_path, *STRAIGHT_ON, "heat none", "no helper")
    assert "No helper: not offered any more on this visit: Clock the gas meter with only the dryer burning." in text_of(
        ended
    )


def test_a_repair_is_followed_by_advice_to_verify(tmp_path: Path) -> None:
    """After a repair, and before leaving, the machine has to run."""
    ended = bench(tmp_path, *STRAIGHT_ON, "heat none", "ig oh open", "yes", "repair igniter", "yes")
    shown = " ".join(last_screen(ended.out).split())
    assert "DO NEXT: CHECK. Timed run with a wet load" in shown
    assert "A repair is not done until the machine has run" in shown
    passed = bench(tmp_path, "no", "verify 26 min", "close gone", options=["1"])
    assert "type: close gone" in passed.out
    assert "Job 1 is closed: fault gone." in passed.out
    assert passed.code == 0


def test_somebody_elses_work_is_waited_for(tmp_path: Path) -> None:
    """The visit pauses, says for what, and goes on when they have been."""
    ended = bench(tmp_path, *SAFE, "done", "heat=none", "done", "manifold_pressure low", "repair gas_supplier", "leave")
    assert "DO NEXT: WAIT. Refer to the gas supplier" in last_screen(ended.out)
    assert "CHECKS, BEST FIRST" not in last_screen(ended.out)
    assert "then repair gas_supplier" in text_of(ended) and "Repaired" not in ended.out
    came = bench(tmp_path, "no", "repair gas_supplier", options=["1"])
    assert "Repaired: Refer to the gas supplier. When it has run, type: verify" in text_of(came)
    assert "DO NEXT: WAIT" not in last_screen(came.out)


def test_a_blown_fuse_always_comes_with_find_why(tmp_path: Path) -> None:
    """From the reading on, and after the new fuse too, the screen says to find the cause."""
    find_why = "A blown fuse has a cause: find it"
    ended = bench(tmp_path, *STRAIGHT_ON, "heat none", "fuse_continuity OL", "yes", "repair thermal_fuse")
    screens = [" ".join(part.split()) for part in ended.out.split("-" * 79)]
    assert [find_why in screen for screen in screens] == [False, False, False, True, True]


def test_a_complaint_that_came_back_opens_the_job_again(tmp_path: Path) -> None:
    """After a callback the advice is not to stop because of the run that was passed before."""
    typed = ["heat none", "ig oh open", "yes", "repair igniter", "yes", "verify 26 min", "close gone"]
    bench(tmp_path, *STRAIGHT_ON, *typed)
    closed = bench(tmp_path, "no", options=["1"])
    assert "This job is closed: fault gone." in closed.out
    again = bench(tmp_path, "no", f"close came back {date.today()}", options=["1"])
    assert "The job is open again" in again.out
    assert "[none]" not in again.out  # what was seen on the earlier visit is no answer of this one
    assert "stop here" not in last_screen(again.out)
    with looked_at(tmp_path) as visit:
        assert visit.job.visit == 2
        assert visit.state == frozenset()


@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("replies", [("yes",), ("y",), ("a bit",), ("not sure", "maybe a bit"), ("yesterday", "hm")])
def test_a_yes_or_twice_no_plain_answer_to_a_stop_question_stops_everything(
    tmp_path: Path, place: int, replies: tuple[str, ...]
) -> None:
    """Exit 3, the usual steps, no odds and no advice, and the job is kept with the reason."""
    ended = bench(tmp_path, *SAFE[:place], *replies, "no", "no", "no", "no", "done", "1=2")
    assert ended.code == 3
    assert "STOP." in ended.out
    assert "1. " in ended.out
    assert "FAULT ODDS" not in ended.out
    assert "Job 1 is kept" in ended.out
    with Store.open(tmp_path) as store:
        job = store.get("1")
    assert not job.findings
    assert job.stopped is not None
    assert job.stopped.text.startswith("STOP.")


@pytest.mark.parametrize(
    "reply", ["nah", "nope", "no smell", "No, none at all", "no gas", "none that I can smell", "n"]
)
def test_a_plain_no_in_other_words_goes_on(tmp_path: Path, reply: str) -> None:
    """Only a yes or an unclear answer stops."""
    ended = bench(tmp_path, reply, "no", "no", "no", "done", "heat=none")
    assert ended.code == 0
    assert set(findings(tmp_path)) == {"heat"}


@pytest.mark.parametrize(
    "reply",
    ["no kidding, it reeks", "no, but a bit of gas", "nope, only when it starts", "none yet", "no idea", "no more"],
)
def test_a_no_that_is_not_plain_stops(tmp_path: Path, reply: str) -> None:
    """A denial with something behind it is no all-clear."""
    assert bench(tmp_path, reply).code == 3


@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize(
    "reply", ["no, took the batteries out", "n/a", "no nose", "not asked", "the wife said something"]
)
def test_what_is_neither_yes_nor_no_is_asked_again_once(tmp_path: Path, place: int, reply: str) -> None:
    """What was said is shown and kept; then it is a plain no, or everything stops; so it does where no second answer comes."""
    asked = bench(tmp_path / "once", *SAFE[:place], reply, "no", *SAFE[place + 1 :], "done", "heat=none")
    assert asked.code == 0
    assert f"I heard: '{reply}'. That is neither a plain yes nor a plain no." in text_of(asked)
    assert "flames? yes / no" in text_of(asked) or place < len(SAFE) - 1
    assert set(findings(tmp_path / "once")) == {"heat"}
    assert bench(tmp_path / "twice", *SAFE[:place], reply, reply, "no", "no", "no").code == 3
    assert bench(tmp_path / "left", *SAFE[:place], reply, "leave").code == 3
    assert bench(tmp_path / "danger", *SAFE[:place], "i smell gas", "no", "no", "no").code == 3
    with Store.open(tmp_path / "once") as store:
        assert any(note.endswith(reply) for note in store.get("1").notes)


def test_on_going_on_an_unclear_answer_is_asked_again_once(tmp_path: Path) -> None:
    """What was cleared is no new alarm, and no plain no either; smoke has the steps of smoke."""
    bench(tmp_path, *STRAIGHT_ON, "heat none")
    told = "gas off, supplier cleared it, no leak found"
    asked = bench(tmp_path, told, "no", options=["1"])
    assert asked.code == 0 and f"I heard: '{told}'" in text_of(asked) and "Is any of it so? yes / no" in asked.out
    assert bench(tmp_path, told, told, options=["1"]).code == 3
    bench(tmp_path / "smoke", *STRAIGHT_ON, "heat none")
    ended = bench(tmp_path / "smoke", "there is smoke", options=["1"])
    assert ended.code == 3 and "STOP. smoke, scorching or flames" in ended.out + ended.err


@pytest.mark.parametrize(
    ("told", "which", "signs"),
    [
        ("yes", "2", ["carbon monoxide alarm"]),
        ("a bit", "1", ["smell of gas"]),
        ("yeah", "smoke", ["smoke, scorching or flames"]),
        ("yep", "the co alarm went off", ["carbon monoxide alarm"]),
        ("now and then", "1 4", ["smell of gas", "smoke, scorching or flames"]),
        ("3", None, ["headache, nausea or dizziness near the dryer"]),
        ("yes", "dunno", None),
        ("yes", "leave", None),
    ],
)
def test_on_going_on_a_yes_is_asked_of_which(
    tmp_path: Path, told: str, which: str | None, signs: list[str] | None
) -> None:
    """What is kept is what was told; until it is told, what holds for each of the four is shown, and all four are owed."""
    bench(tmp_path, *STRAIGHT_ON, "heat none")
    ended = bench(tmp_path, told, *([which] if which else []), options=["1"])
    assert ended.code == 3
    shown = text_of(ended)
    assert ("Touch nothing" in shown and "Everybody out" in shown) == (which is not None)
    with Store.open(tmp_path) as store:
        kept = [step.payload.text for step in store.get("1").steps if isinstance(step.payload, Danger)]
    untold = which is not None
    titles = [text.removeprefix("STOP. ").partition("\n")[0].partition(": ")[0].rstrip(".") for text in kept]
    assert titles[untold:] == (signs or [])
    little = "every gas joint soap tested with the gas on, no bubbles"
    refused = command("job", "safe", "1", "--note", little, "--data", str(tmp_path))
    if signs != ["smell of gas"]:
        assert refused.code != 0
    if signs is None:
        enough = " ".join(refused.err.split()).partition("such as: ")[2].removesuffix(".")
        assert command("job", "safe", "1", "--note", enough, "--data", str(tmp_path)).code == 0


def test_how_a_stop_was_cleared_is_told_straight_away_and_is_no_new_alarm(tmp_path: Path) -> None:
    """What proves too little is answered with what is missing, here and on the command line."""
    bench(tmp_path, "i smell gas")
    little, enough = "smelt gas, supplier came and went, no leak found", "smelt gas, supplier came, tested tight"
    refused = command("job", "safe", "1", "--note", little, "--data", str(tmp_path))
    assert refused.code == 2 and "soap-tested with the gas on" in " ".join(refused.err.split())
    ended = bench(tmp_path, "hm", little, enough, enough, "no", "done", options=["1"])
    assert ended.code == 0 and "the job stays stopped" in text_of(ended)
    assert f"I heard: '{enough}'" in text_of(ended)


def test_no_alarm_in_the_house_is_a_no_with_a_word_about_the_meter(tmp_path: Path) -> None:
    """There is nothing to sound. It is said once, and kept, on the command line as well."""
    ended = bench(tmp_path, "no", "No alarm in the house", "no", "no", "done", "co_alarm=no alarm here", "heat=none")
    assert ended.code == 0
    assert text_of(ended).count("carry a CO meter, switched on, before any run with heat") == 1
    job = ("--data", str(tmp_path / "job"))
    command("job", "new", *job)
    told = text_of(command("job", "find", "1", "co_alarm=no alarm here", *job))
    assert "carry a CO meter, switched on, before any run with heat" in told


def test_an_answer_that_tells_that_it_happened_stops_at_once(tmp_path: Path) -> None:
    """No second "no" wipes it, and the stop says what was told."""
    for at, told in (
        (1, "no. it beeped tuesday, the dryer was on"),
        (0, "just at startup"),
        (1, "rang twice, reset it"),
    ):
        ended = bench(tmp_path / told, *["no"] * at, told, *["no"] * 4, "done", "leave")
        assert ended.code == 3 and "I heard" not in ended.out
        with Store.open(tmp_path / told) as store:
            stopped = store.get("1").stopped
        assert stopped is not None and f'"{told}"' in stopped.text.partition("\n")[0]


def test_an_alarm_that_cannot_sound_is_as_good_as_none(tmp_path: Path) -> None:
    """The answer is asked once more, kept, and the word about the meter is said. The question about gas has no such alarm."""
    ended = bench(tmp_path, "no", "has one, expired 2019", "no", "no", "no", "done", "leave")
    assert ended.code == 0
    assert text_of(ended).count("carry a CO meter, switched on, before any run with heat") == 1
    with Store.open(tmp_path) as store:
        assert any("has one, expired 2019" in note for note in store.get("1").notes)
    other = bench(tmp_path / "gas", "battery flat", "no", "no", "no", "no", "done", "leave")
    assert "carry a CO meter" not in text_of(other)


@pytest.mark.parametrize("at", range(4))
def test_an_unclear_answer_is_asked_once_more_whatever_the_danger(tmp_path: Path, at: int) -> None:
    """Then it stops; a plain no, the customer's too, goes on. So it is where a sign is typed by its name."""
    asked, left = ["customer says no"] * at, ["no, all fine"] * (3 - at)
    twice = bench(tmp_path / "twice", *asked, "not that I know", "don't think so")
    assert twice.code == 3 and "I heard: 'not that I know'" in text_of(twice)
    then_no = bench(tmp_path / "no", *asked, "cant smell, got a cold", "none of that", *left, "done", "leave")
    assert then_no.code == 0 and "STOP." not in then_no.out
    sign = [*open_appliance("gas_dryer").knowledge.stop][at]
    named = bench(tmp_path / "named", *STRAIGHT_ON, f"{sign}=not that I know", "nope nothing", "leave")
    assert named.code == 0 and "I heard: 'not that I know'" in text_of(named)
    assert bench(tmp_path / "named", "no", f"{sign}=dont think so", "probably not", options=["1"]).code == 3


def test_a_defeated_safety_device_holds_the_job_until_it_is_put_right(tmp_path: Path) -> None:
    """It interrupts with what to do, is kept, and the job is not closed as gone before somebody says safe."""
    ended = bench(tmp_path, *STRAIGHT_ON, "heat none", "thermal fuse bypassed and running")
    assert ended.code == 3
    assert "Take the bypass out" in " ".join(ended.out.split())
    with looked_at(tmp_path) as visit:
        with pytest.raises(SafetyStop):
            visit.close("gone")
        visit.safe("jumper out, new fuse in, reads closed")
        assert visit.job.stopped is None
        visit.close("gone", note="it dries again")


def test_a_check_that_takes_the_place_of_another_says_which_and_a_run_stands_beside_it(tmp_path: Path) -> None:
    """Its time and what it showed; undo brings it back. A run after a repair stands beside nothing."""
    begun = (*STRAIGHT_ON, "dry_time=longer", "repair clean_duct", "yes")
    ended = bench(tmp_path, *begun, "drum_warm warm", "drum_warm lukewarm", "undo", "leave")
    assert "drum_warm = warm. undo brings that back." in text_of(ended)
    assert findings(tmp_path)["drum_warm"].outcome == "warm"
    for lines, beside in (
        (("verify 45 min", "verify 25 min", "keep"), True),
        (("verify slow", "repair lint_screen_wash", "yes", "verify dry_in_time"), False),
    ):
        told = text_of(bench(tmp_path / str(len(lines)), *begun, *lines, "leave"))
        assert "takes the place of" not in told
        assert ("stands beside it and both count" in told) is beside
    job = tmp_path / "3"
    told = text_of(command("job", "verify", "1", "46 min", "--data", str(job)))
    assert "stands beside it and both count" in told and "typed wrong, the last goes with: faultodds job undo 1" in told
    command("job", "undo", "1", "verification_run", "--data", str(job))
    assert findings(job)["verification_run"].raw == "25 min"


@pytest.mark.parametrize("work", ["electrician", "gas_supplier"])
def test_no_run_is_taken_while_somebody_else_is_awaited(tmp_path: Path, work: str) -> None:
    """It says why, and what to type when they have been; then the run is taken."""
    ended = bench(tmp_path, *STRAIGHT_ON, "heat=none", f"repair {work}", "verify dry_in_time", "leave")
    assert f"[{work}] is awaited, and the machine stays shut off until then" in text_of(ended)
    assert "verification_run" not in findings(tmp_path)
    refused = command("job", "verify", "1", "dry_in_time", "--data", str(tmp_path))
    assert refused.code == 2 and f"When it is done: repair {work}, then verify" in " ".join(refused.err.split())
    bench(tmp_path, "no", f"repair {work}", "yes", "verify dry_in_time", "yes", "leave", options=["1"])
    assert findings(tmp_path)["verification_run"].outcome == "dry_in_time"


def test_a_run_with_heat_made_all_the_same_is_told_what_still_holds(tmp_path: Path) -> None:
    """A new fuse, its cause not found: no run with heat was to be made. With its cause measured to be right, nothing is said."""
    fused = (*STRAIGHT_ON, "heat=none", "fuse_continuity open", "unplugged, gas off, front off", "repair thermal_fuse")
    ended = bench(tmp_path, *fused, "verify dry_in_time", "yes", "leave")
    after = text_of(ended).partition("> verify dry_in_time")[2]
    assert after.index("That run was not to be made.") < after.index("Is the machine like this now")
    fine = bench(
        tmp_path / "fine",
        *fused,
        "hood_air_speed=good",
        "yes",
        "static_pressure=good",
        "yes",
        "verify dry_in_time",
        "yes",
    )
    assert "That run was not to be made." not in text_of(fine)


@pytest.mark.parametrize(
    "lines",
    [
        ("close gone",),
        ("no live work", "manifold_pressure=2 in wc"),
        (
            "heat=none",
            "unplugged, gas off, front off",
            "repair coil_set",
            "front on, plugged in, gas on",
            "verify slow",
            "close gone",
        ),
        ("repair coil_set",),
    ],
)
@pytest.mark.parametrize("word", ["leave", "quit", "Q"])
def test_leave_leaves_whatever_is_asked(tmp_path: Path, lines: tuple[str, ...], word: str) -> None:
    """It is nobody's name, no reason and no answer."""
    ended = bench(tmp_path, *STRAIGHT_ON, "dry_time=longer", *lines, word, "odds")
    assert ended.code == 0 and "is saved. Go on with" in text_of(ended)
    assert "> odds" not in ended.out
    with looked_at(tmp_path) as visit:
        assert not visit.job.is_closed and not any(word in note for note in visit.job.notes if "said:" not in note)


def test_leave_leaves_where_it_is_asked_who_says_so(tmp_path: Path) -> None:
    """The stop stays, and nothing is noted as somebody's word."""
    bench(tmp_path, "i smell gas")
    ended = bench(tmp_path, "safe", "leave", "no", options=["1"])
    assert ended.code == 0 and "Who says so, how was it made sure" in text_of(ended)
    with looked_at(tmp_path) as visit:
        assert visit.job.stopped is not None and not any("leave" in note for note in visit.job.notes)


def test_why_a_repair_says_when_it_was_done_and_what_is_believed_of_it_now(tmp_path: Path) -> None:
    """By its name or its title; one that was not done says so."""
    lines = (
        "why clean_duct",
        "repair clean_duct",
        "yes",
        "why clean_duct",
        "why Clean the duct, wall to outside",
        "leave",
    )
    said = text_of(bench(tmp_path, *STRAIGHT_ON, "dry_time=longer", *lines))
    assert said.count("[clean_duct]: done on 2") == 2
    assert said.count("[clean_duct]: not done on this job.") == 1
    assert "exhaust duct, wall to outside: partly blocked with lint:" in said


def test_help_and_leave_work_at_the_safety_questions(tmp_path: Path) -> None:
    """Neither is an answer: help says what is, leave leaves."""
    ended = bench(tmp_path, "help", "no", "leave")
    assert ended.code == 0
    assert "Type no if there is none of it" in ended.out
    assert "CHECKS" not in ended.out


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("gas_smell", 3),
        ("gas smell", 3),
        ("gas_smel", 3),
        ("smell of gas", 3),
        ("gas_smell=yes", 3),
        ("gas_smell=no", 0),
        ("CO alarm", 3),
        ("fire_signs=bit of smoke", 3),
    ],
)
def test_a_stop_sign_typed_later_stops_as_well(tmp_path: Path, line: str, code: int) -> None:
    """At the prompt, a stop sign by name stops at once unless it is denied."""
    ended = bench(tmp_path, *STRAIGHT_ON, "dry_time longer", line)
    assert ended.code == code
    assert set(findings(tmp_path)) == {"dry_time"}
    assert ("Job 1 is kept" in ended.out) == (code == 3)


@pytest.mark.parametrize(
    ("line", "sign"),
    [
        ("note there is some smoke at the back", "smoke, scorching or flames"),
        ("soap bubbles at the union", "bubbles at a gas joint (leak)"),
        ("not sure but smells of gas", "smell of gas"),
        ("skip hood_flap feeling sick in here", "headache, nausea or dizziness near the dryer"),
        ("fact age=co meter 120 ppm", "carbon monoxide alarm"),
        ("close gone leak at the flex", "gas leak, or a gas part that is not safe"),
    ],
)
def test_a_line_that_tells_of_danger_stops_whatever_it_is_about(tmp_path: Path, line: str, sign: str) -> None:
    """Heard in the words people use, kept with the job, and the first thing that is shown for the line."""
    ended = bench(tmp_path, *STRAIGHT_ON, line, "hood_flap weak")
    assert ended.code == 3
    after = " ".join(ended.out.split()).partition(f"> {line} ")[2]
    assert after.startswith(f'STOP. {sign}: "{line}"')
    with Store.open(tmp_path) as store:
        stopped = store.get("1").stopped
    assert stopped is not None
    assert stopped.text.startswith(f"STOP. {sign}:")
    assert findings(tmp_path) == {}


def test_a_line_that_denies_danger_is_no_stop(tmp_path: Path) -> None:
    """ "no smell of gas" in a note is kept as the note it is."""
    ended = bench(tmp_path, *STRAIGHT_ON, "note no smell of gas, soap test no leak", "hood_flap weak")
    assert ended.code == 0
    assert "Noted." in ended.out
    assert set(findings(tmp_path)) == {"hood_flap"}


def test_a_stopped_job_stands_still_until_somebody_says_safe(tmp_path: Path) -> None:
    """The stop is shown first on going on; anything but the word leaves the job as it is."""
    bench(tmp_path, *STRAIGHT_ON, "dry_time longer", "smoke from the back")
    ended = bench(tmp_path, "yes", "hood_flap weak", options=["1"])
    shown = [line for line in ended.out.splitlines() if line.startswith(("STOP.", "Before going on", "FAULT ODDS"))]
    assert shown == ['STOP. smoke, scorching or flames: "smoke from the back".']
    assert set(findings(tmp_path)) == {"dry_time"}
    going_on = bench(
        tmp_path, "safe I am qualified: cord was replaced, ran 20 min, no smoke", "no", "hood_flap weak", options=["1"]
    )
    assert going_on.code == 0
    assert set(findings(tmp_path)) == {"dry_time", "hood_flap"}


def test_going_on_with_a_job_asks_about_safety_again(tmp_path: Path) -> None:
    """A saved job starts with the stop signs, a line each and one answer, and stops like a fresh one."""
    bench(tmp_path, *STRAIGHT_ON, "dry_time longer")
    assert bench(tmp_path, "smell of gas, a little", options=["1"]).code == 3
    going_on = bench(tmp_path, "safe", "supplier came, joints tested tight", "no", "odds", options=["1"])
    assert going_on.code == 0
    assert "dry_time=longer" in going_on.out
    assert "Any of these now:" in going_on.out
    listed = going_on.out.partition("is it safe?")[2].partition("A plain no to all")[0]
    asked = [line for line in listed.splitlines() if line.startswith("  ")]
    with Store.open(tmp_path) as store:
        stops = open_appliance(store.get("1").appliance).knowledge.stop.values()
    assert asked == [f"  {number}. {stop.ask}" for number, stop in enumerate(stops, 1)]
    assert command("job", "close", "1", "gone", "--note", "screen was out", "--data", str(tmp_path)).code == 0
    assert (
        command("job", "close", "1", "came_back", "--on", date.today().isoformat(), "--data", str(tmp_path)).code == 0
    )
    again = bench(tmp_path, "no", "leave", options=["1"])
    assert "Any of these now, or at any time since the last visit:" in " ".join(again.out.split())


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_what_is_typed_stands_on_a_line_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    """Nothing is typed behind a question: a line editor would scroll it away. The whole question stands above its answer."""
    monkeypatch.setenv("COLUMNS", str(columns))
    typed = [*SAFE, "control=timer", "done", "heat=none noise=none", "", "leave"]
    lines = bench(tmp_path, *typed).out.splitlines()
    assert [line[2:] for line in lines if line.startswith(">")] == typed
    shown = " ".join(" ".join(lines).split())
    stops = open_appliance("gas_dryer").knowledge.stop.values()
    assert all(f"{stop.ask} > no " in shown for stop in stops)
    assert "2 electronic board with a thermistor: > control=timer" in shown
    assert "Complaint: > heat=none noise=none" in shown


def test_a_person_is_asked_behind_the_mark_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """The line editor never gets a question to draw."""
    given: list[str] = []
    monkeypatch.setattr("builtins.input", lambda prompt="": given.append(prompt) or "no")
    talk = Talk()
    talk._person = True
    assert [talk.ask(), talk.ask("Short?"), talk.ask("A long question, " * 20)] == ["no"] * 3
    assert given == ["> "] * 3


def test_the_input_may_end_anywhere(tmp_path: Path) -> None:
    """A call cut off after any line ends cleanly, and what was typed until then is in the store."""
    typed = [
        *SAFE,
        "control=timer",
        "done",
        "1=2",
        "heat=none",
        "",
        "hood_flap weak",
        "igniter_ohms 1.15",
        "k",
    ]
    for count in range(1, len(typed) + 1):
        folder = tmp_path / str(count)
        ended = bench(folder, *typed[:count])
        assert ended.code == 0, typed[count - 1]
        assert "Go on with: faultodds bench 1" in ended.out
        expected = ["dry_time", "heat", "hood_flap", "igniter_ohms"]
        done = [count > 6, count > 7, count > 9, count > 11]
        assert list(findings(folder)) == [n for n, d in zip(expected, done, strict=True) if d]


def test_help_and_leave_work_while_the_machine_is_asked_about(tmp_path: Path) -> None:
    """What the first line promises "at any time" holds there too: help lists the words, leave ends the call."""
    ended = bench(tmp_path, *SAFE, "help", "leave")
    assert ended.code == 0
    assert "save and leave; everything is saved already" in ended.out
    assert "there is no value" not in ended.out
    assert "What is wrong?" not in ended.out
    assert "Go on with: faultodds bench 1" in ended.out


def test_looking_in_and_leaving_starts_no_job(tmp_path: Path) -> None:
    """With no answer at all there is nothing to keep."""
    ended = bench(tmp_path)
    assert ended.code == 0
    assert "Nothing was entered, so no job was started." in ended.out
    with Store.open(tmp_path) as store:
        assert store.list() == ()


def test_a_call_that_was_cut_off_is_gone_on_with(tmp_path: Path) -> None:
    """A job without findings is asked its open questions; one with findings goes straight to the advice."""
    bench(tmp_path, *SAFE, "control=board")
    second = bench(tmp_path, "no", "done", "1=2", "done", options=["1"])
    assert "Dial timer" not in second.out
    assert "What is wrong?" in second.out
    third = bench(tmp_path, "no", options=["1"])
    assert "What is wrong?" not in third.out
    assert "DO NEXT" in third.out


def test_every_command_can_be_shortened_and_none_is_lost(tmp_path: Path) -> None:
    """Each word of the help list does something, by its unique beginning as well."""
    typed = [
        "he",
        "odd",
        "rep",
        "why",
        "why hood_flap",
        "how",
        "how coil set",
        "sta",
        "sto",
        "sy",
        "che",
        "facts",
    ]
    ended = bench(tmp_path, *STRAIGHT_ON, "dry_time longer", *typed, "note key under the mat")
    assert ended.code == 0
    assert "?  " not in ended.out
    with looked_at(tmp_path) as visit:
        assert visit.job.notes[-1] == "key under the mat"


def test_why_tells_what_each_outcome_would_mean(tmp_path: Path) -> None:
    """For every outcome its chance, and the faults that lead after it."""
    ended = bench(tmp_path, *STRAIGHT_ON, "dry_time longer", "why hood_flap")
    told = " ".join(ended.out.rpartition("> why")[2].split())
    for outcome in ("strong", "weak", "none"):
        assert f"if {outcome} (" in told
    assert "of the doubt, on average." in told and "bits" not in told and "over 100 %" not in told
    ended = bench(tmp_path / "two", *STRAIGHT_ON, "dry_time longer", "lint_screen_look torn", "keep", "why hood_flap")
    assert "over 100 % together: several faults may be there at once." in " ".join(ended.out.split())


def test_qualified_work_and_the_labour_rate_can_be_set(tmp_path: Path) -> None:
    """A shop may leave live and gas-pressure work out, and set its own rate."""
    lines = ("heat none", "checks")
    every = bench(tmp_path / "a", *STRAIGHT_ON, *lines)
    fewer = bench(tmp_path / "b", *STRAIGHT_ON, *lines, options=["--no-qualified-work", "--labour-rate", "0"])
    assert "qualified people only" in every.out.rpartition("> checks")[2]
    assert "qualified people only" not in fewer.out.rpartition("> checks")[2]
    assert "$0" in fewer.out.rpartition("> checks")[2]


def test_an_unknown_job_is_answered_plainly(tmp_path: Path) -> None:
    """A number that is no job names the way to the list."""
    bench(tmp_path, *STRAIGHT_ON)
    ended = bench(tmp_path, options=["7"])
    assert ended.code == 2
    assert "there is no job called '7'." in ended.err


def in_own_process(data: Path, typed: bytes, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """A guided call in another process, with bytes on its standard input."""
    return subprocess.run(
        [sys.executable, "-m", "faultodds_cli.main", "bench", "--data", str(data), "--labour-rate", "95"],
        input=typed,
        capture_output=True,
        check=False,
        env={**os.environ, **environment},
        timeout=120,
    )


def test_a_terminal_without_unicode_gets_plain_characters(tmp_path: Path) -> None:
    """On an ASCII terminal bars are drawn with # and nothing fails, whatever bytes are typed."""
    typed = "\n".join([*STRAIGHT_ON, "dry_time longer", "note naïve £5 key", "how hood_flap", "story", "leave", ""])
    ended = in_own_process(tmp_path, typed.encode("latin-1"), PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert ended.returncode == 0, ended.stderr
    assert ended.stdout.isascii()
    assert b"##" in ended.stdout
    assert b"Traceback" not in ended.stderr


def test_no_line_is_wider_than_80_columns(tmp_path: Path) -> None:
    """Screens, lists, questions, errors and the echo of long lines all fit."""
    long_line = "note " + "a very long remark about the laundry room " * 6
    typed = [
        *SAFE,
        "?",
        "",
        "?",
        "done",
        "1=2 heat=none",
        "bogus",
        "done",
        "checks",
        "repairs",
        "odds",
        "why",
        "help",
    ]
    typed += [
        long_line,
        "x" * 200,
        "why static_pressure",
        "how coil set",
        "state",
        "symptoms",
        "fact",
        "story",
    ]
    typed += [
        "coil_ohms 1.15",
        "k",
        "fuse_continuity OL",
        "repair thermal_fuse",
        "repair clean_duct",
        "verify 50 min",
    ]
    ended = in_own_process(tmp_path, "\n".join([*typed, "close gone", ""]).encode())
    assert ended.returncode == 0
    wide = [line for line in ended.stdout.decode().splitlines() if len(line) > 80]
    assert wide == []


def test_a_screen_takes_no_more_than_a_blink(tmp_path: Path) -> None:
    """A finding, stored and answered with a full screen: about 0.3 s of one core, with a margin for slow ones."""
    bench(tmp_path, *STRAIGHT_ON, "dry_time longer")
    with looked_at(tmp_path) as visit:
        times = []
        for outcome in ("weak", "none", "strong", "weak", "none"):
            start = time.process_time()
            visit.find("hood_flap", outcome)
            screen(visit)
            times.append(time.process_time() - start)
    assert min(times) < 0.6


CLASHING = """
[appliance]
id = "clash"
title = "toy lamp"
format = 1
calls = "toy calls"
shares_per = 100
[costs]
labour_rate = 60
callback = 100
refer = 200
verify = "run_test"
[other_causes]
nothing_wrong = 30
unlisted = 10
companion = 0.01
[component.bulb]
title = "bulb"
[component.bulb.modes.dead]
title = "dead"
share = 60
[access]
[mechanism.light]
title = "light"
states = { on = "on", off = "off" }
rule = "worst_of"
causes = { "bulb.dead" = "off" }
[symptom.dark]
title = "dark"
outcomes = { no = "no", yes = "yes" }
leak = 0.05
links = { "light.off" = 0.9, "unlisted.present" = 0.5 }
[check.look]
title = "look"
minutes = 1
outcomes = { bright = "bright", dark = "dark" }
depends_on = ["bulb"]
table = { ok = { bright = 1.0, dark = 0.0 }, dead = { bright = 0.0, dark = 1.0 } }
[check.listen]
title = "listen"
minutes = 1
outcomes = { hums = "hums", silent = "silent" }
depends_on = ["bulb"]
table = { ok = { hums = 1.0, silent = 0.0 }, dead = { hums = 0.0, silent = 1.0 } }
[check.run_test]
title = "run test"
minutes = 5
outcomes = { good = "good", bad = "bad" }
leak = 0.02
links = { "light.off" = 0.95, "unlisted.present" = 0.9 }
[repair.new_bulb]
title = "new bulb"
minutes = 5
cost = 5
fixes = ["bulb.dead"]
[caution.hot]
text = "Let it cool first."
covers = ["heat"]
"""


def test_the_command_is_on_the_list() -> None:
    """`faultodds bench --help` says what it is."""
    ended = command("bench", "--help")
    assert ended.code == 0
    assert "A guided call" in ended.out


def test_what_was_seen_can_be_told_before_it_is_asked(tmp_path: Path) -> None:
    """At the questions about the machine, a symptom or check by its full name with a value is taken; the question comes again."""
    ended = bench(
        tmp_path,
        *SAFE,
        "dry_time longer",
        "heat=cools_off hood_flap=strong",
        "heat zzz",
        "timer",
        "done",
        "done",
        "leave",
    )
    assert "Noted: hood_flap = strong." in ended.out
    assert "there is no outcome of 'heat' called 'zzz'" in ended.out
    assert {n: f.outcome for n, f in findings(tmp_path).items()} == {
        "dry_time": "longer",
        "heat": "cools_off",
        "hood_flap": "strong",
    }
    with looked_at(tmp_path) as visit:
        assert visit.job.facts == {"control": "timer"}


def test_undo_after_a_line_that_was_not_noted_asks_first(tmp_path: Path) -> None:
    """What was noted before it is not taken back unawares; asked for twice, it is."""
    once = bench(tmp_path, *STRAIGHT_ON, "heat none", "xyzzy plugh", "undo", "leave").out
    assert "Nothing was noted of 'xyzzy plugh'" in " ".join(once.split()) and "Taken back" not in once
    twice = bench(tmp_path, "no", "xyzzy plugh", "undo", "undo", "leave", options=["1"]).out
    assert "Taken back: heat = none" in twice


def test_gone_is_said_of_a_machine_that_is_put_back(tmp_path: Path) -> None:
    """With the front off and the plug out the steps come first; only a plain yes closes the job."""
    opened = ["unplugged, gas off", "front off", "close gone breaker had tripped"]
    left = " ".join(bench(tmp_path, *STRAIGHT_ON, "heat none", "", *opened, "front", "leave").out.split())
    assert "First put the machine back: 1." in left and "is closed" not in left
    closed = " ".join(bench(tmp_path, "no", opened[-1], "yes", options=["1"]).out.split())
    assert "Is all of that done?" in closed and "Job 1 is closed" in closed


def test_a_panel_said_to_be_off_a_live_machine_is_made_plain(tmp_path: Path) -> None:
    """Taken over from somebody else: it is asked about until it is plain, and nothing is advised before."""
    told = bench(
        tmp_path, *STRAIGHT_ON, "heat none", "", "front is off and gas is on", "no", "no", "dunno", "no", "no", "x"
    ).out
    assert "Hands off it first." in told and "DO NEXT" not in told.partition("cannot be open without")[2]
    plain = bench(tmp_path, "no", "front is off", "yes", "leave", options=["1"]).out
    assert "Machine now: unplugged, gas cock shut, top and front panel open." in " ".join(plain.split())


OF_THE_CALL = (
    "no heat again", "close came back 3 days later", "heat=none", "runs but cold", "drum wont turn",
    "takes two cycles to dry", "heat none", "no heat at all", "dry_time=over_twice", "glows no flame",
    "swapped the igniter", "repair igniter", "completely dead", "squeals", "not heating", "close gone", "stays cold",
    "clothes still damp", "undo", "odds",
)  # fmt: skip


@pytest.mark.parametrize("told", OF_THE_CALL)
def test_what_tells_of_the_call_is_no_answer_about_danger(told: str, tmp_path: Path) -> None:
    """It is asked again as often as need be: nothing goes on without a plain no, and nobody is sent out of the house for it."""
    bench(tmp_path, *STRAIGHT_ON, "heat none")
    again = bench(tmp_path, told, told, told, "no", "leave", options=["1"])
    assert again.code == 0 and "STOP." not in again.out
    assert text_of(again).count("Is any of it so? yes / no") == 3
    left = bench(tmp_path, told, "leave", options=["1"])
    assert left.code == 0 and "STOP." not in left.out and "FAULT ODDS" not in left.out
    assert bench(tmp_path, told, "not sure", "hm", options=["1"]).code == 3


@pytest.mark.parametrize(
    "told",
    [
        "it smells when it runs cold",
        "cabinet very hot",
        "not asked",
        "the wife said something",
        "no meter",
        "burning smell",
    ],
)
def test_what_may_tell_of_danger_stops_as_before(told: str, tmp_path: Path) -> None:
    """Twice no plain no, or danger in so many words."""
    bench(tmp_path, *STRAIGHT_ON, "heat none")
    assert bench(tmp_path, told, told, "no", options=["1"]).code == 3
