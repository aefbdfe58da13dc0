"""`faultodds drill`: nothing is told before the end, slips end it, nothing typed is lost, learners get the scores they should."""

from __future__ import annotations

import dataclasses
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from msgspec.structs import replace

from faultodds.advice import MachineStates
from faultodds.audit import Interval, bootstrap
from faultodds.belief import Appliance, WeighedFinding, open_appliance
from faultodds.calibration import Drilled, began, faults, log_loss, person, spread
from faultodds.errors import FaultoddsError
from faultodds.knowledge import Knowledge
from faultodds_cli.drill import words
from faultodds_cli.drill.beside import opened_for
from faultodds_cli.drill.debrief import Adviser, GaveAway, _moved as moved_of, best_plan, debrief, given_away
from faultodds_cli.drill.game import ODDS, Aside, Drill
from faultodds_cli.drill.kept import Played
from faultodds_cli.drill.levels import LEVELS, OPEN_BITS, TRAPS, WHO, drill_of, traps
from faultodds_cli.drill.marks import class_lines, person_lines
from faultodds_cli.drill.sheet import _findings as findings_of
from faultodds_cli.drill.show import _money as money_of, complaint, ending, looked, plan_ended
from faultodds_cli.drill.words import Move
from faultodds_cli.trial.checklist import checklist
from faultodds_cli.trial.play import first_calls
from faultodds_cli.trial.visit import TrialJob
from learners import (
    Learner,
    as_at_first,
    by_advice,
    by_policy,
    drilled,
    guesses,
    kept,
    series,
    too_sure,
    tools_odds,
)
from run_cli import Ran, faultodds


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer", revision="file")


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Ran]:
    """Types lines into `faultodds drill play` by a pipe; drills are kept in a folder of the test."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path))

    def run(lines: list[str], *options: str) -> Ran:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        return faultodds("drill", "play", *options)

    return run


def _drill(
    dryer: Appliance, lines: list[str], level: int = 1, seed: int = 1, qualified: bool = False
) -> tuple[Drill, list[str]]:
    """A drill into which some lines were typed, and what it said."""
    left, told = iter(lines), list[str]()
    drill = Drill(
        drill_of(dryer, level, seed, qualified),
        lambda question: next(left, None),
        told.append,
        lambda drill, move: told.extend(looked(drill, move)),
    )
    with pytest.raises(Aside):
        drill.play()
    return drill, told


def _slip(
    dryer: Appliance,
    lines: list[str],
    found: dict[str, str] | None = None,
    qualified: bool = False,
    told: list[str] | None = None,
) -> str:
    """The reason for which the last of some lines ended a drill; the lines before it did not."""
    left = iter(lines)
    drill = Drill(
        drill_of(dryer, 1, 1, qualified),
        lambda question: "" if question.startswith(ODDS) else next(left, None),
        ([] if told is None else told).append,
    )
    for name, outcome in (found or {}).items():
        drill.visit.seen = [s for s in drill.visit.seen if s.name != name]
        drill.visit.seen.append(WeighedFinding(name, {outcome: 1.0}))
    drill.visit._belief = None
    try:
        drill.play()
    except Aside:
        return ""
    assert next(left, None) is None
    return drill.slip


SLIPS = {
    "live panel": (["check igniter_ohms", "no"], "gas cock shut"),
    "nothing": (["check igniter_ohms", "no, nothing at all"], "gas cock shut"),
    "gas left on": (["check igniter_ohms", "plug out", "that is all"], "gas cock"),
    "says it is on": (["check igniter_ohms", "power on, gas on"], "unplugged"),
    "panel first": (["open lower_open", "no"], "unplugged"),
    "power on with the panel off": (["plug out", "gas off", "open lower_open", "plug in"], "unplugged"),
    "moved with the gas on": (["plug out", "open pulled_out", "No need to"], "gas cock shut"),
    "only the gas, at the wall": (
        ["check igniter_ohms", "gas shut off at the wall", "that's all"],
        "unplugged",
    ),
    "by a breaker": (["check igniter_ohms", "gas cock shut, killed the breaker", "that's all"], "unplugged"),
    "at a switch": (["check igniter_ohms", "switch it off at the wall, gas shut", "nothing else"], "unplugged"),
    "left on": (["check igniter_ohms", "pull the plug, leave the gas on"], "gas cock shut"),
    "live work": (["check burner_voltage"], "qualified"),
    "gas pressure": (["manifold pressure"], "qualified"),
}


@pytest.mark.parametrize("case", SLIPS)
def test_a_safety_slip_ends_the_drill_with_its_reason(dryer: Appliance, case: str) -> None:
    """By the rules that the rest of the program keeps; the lines before it did not end it."""
    lines, reason = SLIPS[case]
    assert reason in _slip(dryer, lines), case


def test_opening_the_gas_again_says_the_soap_test(dryer: Appliance) -> None:
    """When it is done and in the story of the drill, in the words for a machine that is not shut off."""
    _, told = _drill(dryer, ["", "gas off", "gas on", "story"])
    assert any(t.startswith("First: Open the gas cock; soap-test") for t in told)
    assert any("gas cock open (soap-test)" in t for t in told) and not any("no longer" in t for t in told)


def _meant(k: Knowledge, line: str) -> str:
    """What a line is taken for, or what is said to it."""
    try:
        return words.move(k, line).kind
    except FaultoddsError as problem:
        return str(problem)


LOOKS = {
    "look at the hood with a lamp": "duct_look",
    "inspect the belt and rollers": "belt_rollers_look",
    "have a look at the lint screen": "lint_screen_look",
    "watch the burner through": "burner_watch",
    "take a good look over the back": "over_back_look",
    "see if the lint path": "lint_path_look",
    "look at the transition duct": "transition_look",
}


def test_a_verb_of_looking_is_a_check_and_never_a_part(dryer: Appliance) -> None:
    """By all the telling words of the line; where several speak of them the looks are named first, and nothing else is offered."""
    k = dryer.knowledge
    for line, check in LOOKS.items():
        assert words.move(k, line) == Move("check", (check,)) and words.is_move(k, line), line
    with pytest.raises(FaultoddsError, match=r"may mean duct_look, hood_flap, hood_air_speed\."):
        words.move(k, "look at the hood")
    assert "may mean duct_look, hood_flap, hood_air_speed." in _meant(k, "inspect the hood with a torch")
    assert "leave is typed alone" in _meant(k, "leave it")
    assert "close alone means that you leave" in _meant(k, "close it up")
    assert words.move(k, "open the lower panel") == Move("state", ("lower_open",))
    for thing in (*k.component, *k.repair, *(r.title for r in k.repair.values()), "rubbish"):
        for line in (f"inspect the {thing}", f"have a look at the {thing}"):
            assert _meant(k, line).startswith(("check", "'", "there is no check called")), line


def test_what_was_found_makes_a_slip(dryer: Appliance) -> None:
    """The burner with the duct off on a burning smell; a machine left in use that must not run."""
    assert "burning smell, no smoke: yes" in _slip(dryer, ["check duct_off_run"], {"burning_smell": "yes"})
    assert not _slip(dryer, ["check duct_off_run", "unplugged, gas off"], {"burning_smell": "no"})
    assert "Look at the transition duct" in _slip(dryer, ["done"], {"transition_look": "off"})


def test_what_stops_the_machine_stands_on_sheet_plan_and_end(dryer: Appliance) -> None:
    """A complaint that stops it: the sheet gives no result of a run, the plan shuts off first, a slip is called one."""
    visit = drill_of(dryer, 1, 5)
    table = next(b for b in findings_of(visit, "1-5") if b.kind == "table")
    drill = Drill(visit, lambda question: None)
    runs = {visit.appliance.knowledge.check[n].title for n in visit.appliance.knowledge.check if drill.not_now(n)[0]}
    shown = {r[0].partition(" (")[0]: r[-1] for r in table.rows}
    assert runs & shown.keys() and all(shown[t].startswith("SLIP. ") for t in runs & shown.keys())
    left = iter(["", "run"])
    drill = Drill(drill_of(dryer, 1, 5), lambda question: next(left, None))
    drill.play()
    text = " ".join(" ".join(ending(debrief(drill, drill_of(dryer, 1, 5)))).split())
    assert "At once: A burning smell: plug out, gas shut." in text.partition("THE BEST PLAN")[2]
    assert "the safety slip. No price is set on it" in text and "Before it, nowhere" in text
    assert complaint(dryer.knowledge, {}) == ["It is not right; more cannot be told."]


def test_a_run_that_wants_somebody_beside_it_says_so(dryer: Appliance) -> None:
    """With the duct off: the meter, the window, the minutes, before what it shows; with a very hot cabinet, before any run."""
    for lines, seen, first in (
        (["check duct_off_run", "unplugged, gas off", "pause"], {}, "CO meter on; window and doors open"),
        (["check burner_watch", "pause"], {"cabinet_hot": "yes"}, "Runs very hot: stay beside it"),
    ):
        told: list[str] = []
        _slip(dryer, lines, seen, told=told)
        assert any(first in text for text in told), (lines, told)
        assert any(text.startswith("Then: Put the duct back on") for text in told) == ("duct_off_run" in lines[0]), told


def test_whatever_can_be_asked_or_done_in_a_drill_has_a_row_on_its_sheet(dryer: Appliance) -> None:
    """Over 40 calls: a row, or told on the first sheet; what nobody can tell as well. So no plan can leave the sheet."""
    k = dryer.knowledge
    asked = {n: s.ask or s.title for n, s in k.symptom.items() if not s.looked_at}
    asked |= {n: f.ask for n, f in {**k.equipment, **k.context}.items()}
    cannot_tell = 0
    for call in first_calls(40, 31):
        visit = TrialJob(dryer, call, WHO, qualified=False)
        shown = dict(row[::3] for row in next(b for b in findings_of(visit, "") if b.kind == "table").rows)
        told = {*visit.call.complaint, *visit.facts}
        assert not [n for n, text in asked.items() if n not in told and text not in shown], call.complaint
        can = [c for c in k.check.values() if c.needs.items() <= visit.facts.items() and not c.qualified]
        for check in (c for c in can if c is not k.check[k.costs.verify]):
            assert any(text.startswith(check.title) for text in shown), check.title
        cannot_tell += "cannot tell" in shown.values()
    assert cannot_tell > 10


def test_minutes_by_the_rows_of_a_sheet_are_those_of_the_drill(dryer: Appliance) -> None:
    """Every check and repair names all that is opened on its way: added up by hand with the minutes printed for opening, it takes
    what the drill charges from a machine closed up to one closed up again."""
    visit = drill_of(dryer, 1, 1, qualified=True)
    k, machine = visit.appliance.knowledge, visit.machine
    by_hand = {a.title: a.open_minutes + a.close_minutes for a in k.access.values()}
    for name, work in {**k.check, **k.repair}.items():
        way = machine.to_work(frozenset(), work)
        charged = way.minutes + machine.closing_up(way.after).minutes
        named = [re.fullmatch(r"(.*?)(?: (twice)| (\d+) times)?", text) for text in opened_for(visit, work)]
        rows = sum(by_hand[m[1]] * (2 if m[2] else int(m[3] or 1)) for m in named if m)
        assert rows == pytest.approx(charged), name
        assert {k.access[i].title for i in work.access} <= {m[1] for m in named if m}, name


def test_a_sheet_has_the_bands_of_its_readings(dryer: Appliance) -> None:
    """Every reading in its rows has its band below them, in the drill's words; that of one coil block says that there is none."""
    for seed in (1, 4):
        visit = drill_of(dryer, 2, seed)
        visit.facts["coil_layout"] = "single_block"
        visit.appliance = visit.appliance.fitted(visit.facts)
        k, blocks = visit.appliance.knowledge, findings_of(visit, "2")
        bands = next(b for b in blocks if b.kind == "list").items
        rows = [r[0] for b in blocks if b.kind == "table" for r in b.rows]
        read = [n for n in k.reading if any(r.startswith(k.check[n].title) for r in rows)]
        for n in read:
            assert " ".join(looked(Drill(visit, lambda question: None), Move("band", (n,)))) in bands
        assert sum("no bands" in text for text in bands) == 2
        assert not any("its band" in cell for b in blocks if b.kind == "table" for r in b.rows for cell in r)


def test_a_sheet_says_of_a_run_what_the_drill_says(dryer: Appliance) -> None:
    """At its row: the meter and who stays beside it, and that the duct goes back on."""
    visit = drill_of(dryer, 3, 77)
    rows = next(b for b in findings_of(visit, "3-77") if b.kind == "table").rows
    title = dryer.knowledge.check["duct_off_run"].title
    row = next(r[0] for r in rows if r[0].startswith(title))
    assert "CO meter on; window and doors open" in row and "Then: Put the duct back on" in row
    assert sum("CO meter on" in r[0] for r in rows) < len(rows) / 2


def test_what_is_safe_is_no_slip(dryer: Appliance) -> None:
    """Shut off first, in one line or in two, typed before or when asked."""
    safe = (
        ["check igniter_ohms", "plug out, gas off"],
        ["measure igniter", "unplugged", "gas off"],
        ["measure igniter", "I would pull the plug and shut the cock"],
        ["measure igniter", "pull it out of the socket, gas tap closed"],
        ["measure igniter", "disconnect the electric and the gas"],
        ["open lower_open", "unplug it and close the gas cock"],
        ["open lower_open", "power and gas"],
        ["open lower_open", "both"],
        ["open lower_open", "the plug and the gas"],
        ["open lower_open", "plug and gas cock"],
        ["open lower_open", "all of it"],
        ["open lower_open", "I'd kill the power and then the gas"],
        ["open lower_open", "just the plug", "and the gas cock, both"],
        ["pull the plug", "shut off the gas", "open lower_open"],
        ["open lower_open", "hm", "the what?", "check the hood flap", "unplug the door switch", "never mind", "run"],
        ["plug out", "gas off", "igniter_ohms"],
        ["plug out", "gas off", "lower panel off", "igniter_ohms", "run"],
    )
    for lines in safe:
        assert _slip(dryer, lines) == "", lines


@pytest.mark.parametrize(
    "line",
    [
        "don't replace the igniter",
        "igniter",
        "not done",
        "never change the coils",
        "no repair coil_set",
        "igniter looks bad",
        "should I replace the igniter?",
        "changed the coils",
        "leave it alone",
        "do not run it",
        "hand me the meter",
        "repair nothing",
        "replace the burner",
        "clean the igniter",
        "wash the blower",
        "replace the gas cock",
        "change the dryer",
    ],
)
def test_no_line_is_taken_for_its_opposite(dryer: Appliance, line: str) -> None:
    """Nothing is changed, and nobody leaves, on a line that does not plainly say so."""
    with pytest.raises(FaultoddsError):
        words.move(dryer.knowledge, line)


@pytest.mark.parametrize(
    ("line", "move"),
    [
        ("check hood flap", Move("check", ("hood_flap",))),
        ("measure the igniter", Move("check", ("igniter_ohms",))),
        ("look at the wires", Move("check", ("harness_look",))),
        ("check the motor switch", Move("check", ("centrifugal_contacts",))),
        ("replace the glow bar", Move("repair", ("igniter",))),
        ("clean the duct", Move("repair", ("clean_duct",))),
        ("clear the outdoor hood", Move("repair", ("clear_hood",))),
        ("change the transition", Move("repair", ("new_transition",))),
        ("replace coil_set", Move("repair", ("coil_set",))),
        ("ask burning smell", Move("ask", ("burning_smell",))),
        ("repair coil_set igniter", Move("repair", ("coil_set", "igniter"))),
        ("ask about the noise", Move("ask", ("noise",))),
        ("run", Move("check", ("verification_run",))),
        ("gas off, plug out", Move("state", ("gas_shut", "unplugged"))),
        ("done", Move("close")),
        ("hand over", Move("refer")),
    ],
)
def test_lines_as_people_type_them(dryer: Appliance, line: str, move: Move) -> None:
    """Names shortened, trade words, one's own words for the machine."""
    assert words.move(dryer.knowledge, line) == move


@pytest.mark.parametrize(
    "line",
    [
        "duct 9 out of 10",
        "duct 3 to 1 on",
        "no, my odds: duct 90",
        "coils 50",
        "duct off 60",
        "duct 50:50",
        "3 in 4 duct",
    ],
)
def test_odds_are_no_move_on_the_machine(dryer: Appliance, line: str) -> None:
    """Where a move was asked for they are odds, or are asked about."""
    drill, told = _drill(dryer, ["", line, "pause"])
    assert not drill.steps and not drill.visit.state
    assert drill.named or told[-1].startswith("?")
    assert bool(drill.named) == ("off" not in line)


def test_what_is_no_answer_is_asked_again(dryer: Appliance) -> None:
    """At what is shut off: a changed mind takes the move back; a move is not taken for an answer, and what is left says so."""
    drill, told = _drill(dryer, ["", "open lower_open", "check the gas cock", "plug", "run", "never mind", "pause"])
    assert not drill.slip and not drill.steps and not drill.visit.state
    assert "nothing was opened" in told[-1]


def test_odds_said_again_stand_in_place_of_those_before(dryer: Appliance) -> None:
    """A fault named again, or "now", starts anew; what is new is the rest."""
    k = dryer.knowledge
    before = {"duct": 0.5, "coils": 0.2}
    assert words.odds(k, "duct 60, high limit 30", before)[0] == {"duct": 0.6, "high_limit": 0.3}
    assert words.odds(k, "now belt 60", before)[0] == {"belt": 0.6}
    assert words.odds(k, "belt 10", before)[0] == {**before, "belt": 0.1}
    _, told = _drill(dryer, ["high limit 3 to 1, bolts 10", "now duct 60, high limit 30", "pause"])
    assert told[-1].startswith("Taken as duct 60 %, high limit 30 %")


def test_every_component_has_a_name_that_is_heard(dryer: Appliance) -> None:
    """Each by its own name and each of its modes; the vent is the duct, the filter the screen."""
    k = dryer.knowledge
    for name in faults(k):
        assert words.fault(k, name) == words.fault(k, name.replace("_", " ")) == name
    for mode, _ in k.modes():
        assert words.fault(k, mode) == mode.partition(".")[0]
    assert [words.fault(k, w) for w in ("vent", "glow bar", "filter", "nothing wrong")] == [
        "duct",
        "igniter",
        "lint_screen",
        "nothing_wrong",
    ]


def test_odds_are_asked_again_until_they_can_be_taken(dryer: Appliance) -> None:
    """And said back; Enter leaves them; they are asked again only after something was learned."""
    drill, told = _drill(
        dryer, ["igniter", "bolts 20", "coils 80 igniter 40", "open gas", "gas off", "hood flap", "", "noise"]
    )
    assert [s.named is not None for s in drill.steps] == [True, False, True][: len(drill.steps)]
    said = " ".join(told)
    assert "how likely is 'igniter'" in said
    assert "no fault called 'bolts'" in said
    assert "99 % is the most" in said
    assert drill.forecasts[0] == pytest.approx({"coils": 0.66, "igniter": 0.33})


def test_odds_that_are_clear_are_kept(dryer: Appliance) -> None:
    """What was not understood is asked about alone, and may be left out or said in other words."""
    drill, told = _drill(
        dryer, ["duct likely, lint inside 1 in 4?", "lint path 1 in 4", "hood flap", "coils 20, bolts 10", ""]
    )
    assert [s.named for s in drill.steps] == [pytest.approx({"duct": 0.7, "lint_path": 0.25})]
    assert drill.named == {"coils": 0.2}
    assert "no fault called 'lint inside'" in " ".join(told) and "No advice" not in " ".join(told)


def test_work_said_before_the_odds_is_known_as_work(dryer: Appliance) -> None:
    """Though it could be two repairs, or is one that is not there: it is no fault without a chance."""
    lines = ["replace the transition duct", "look at the moon", "clean it", ""]
    _, told = _drill(dryer, lines)
    assert [text for text in told if text.startswith("?")] == [
        f"?  First your odds, or Enter; then: {w}" for w in lines[:3]
    ]


def test_odds_that_were_forgotten_are_taken_until_something_was_learned(dryer: Appliance) -> None:
    """Where a move is asked for, in place of those before; "no idea" is then no move and takes none back; advice is refused."""
    lines = ["", "duct 1/2", "no idea", "what should I do?", "check over_back_look", "duct 20", "coils 1/4", "plug out"]
    drill, told = _drill(dryer, [*lines, "coils 99"])
    assert [s.named for s in drill.steps] == [{"duct": 0.5}, {"coils": 0.25}]
    assert drill.named == {"coils": 0.25}
    assert sum("No advice before the end" in text for text in told) == 1
    assert "nothing was learned" in told[-1]


def test_nothing_is_told_before_the_end(dryer: Appliance) -> None:
    """What is said does not depend on the program's odds: but for one's own, no chance is shown and no check is named best."""
    lines = [
        "duct 41",
        "hood flap",
        "",
        "look over back",
        "",
        "story",
        "help",
        "checks lint",
        "band igniter_ohms",
        "repairs",
        "faults",
    ]
    _, told = _drill(dryer, lines)
    shares = {m for text in told for m in re.findall(r"(\d+) %", text)}
    assert shares <= {"41", "59"}
    assert not re.search(r"DO NEXT|best|likely to cost", " ".join(told))


def test_what_was_told_at_the_door_is_not_unknown(dryer: Appliance) -> None:
    """Asked once more it is said again, and costs nothing."""
    drill, told = _drill(dryer, ["", "ask vent material"])
    assert not drill.steps and "was told at the door" in told[-1] and "cannot tell" not in told[-1]


def test_a_title_that_asks_ends_with_its_own_mark(dryer: Appliance) -> None:
    """In the list of checks no full stop follows it."""
    drill = Drill(drill_of(dryer, 1, 1), lambda question: None)
    listed = " ".join(" ".join(looked(drill, Move("list", ("checks", "")))).split())
    assert "does it light? 2 min" in listed and "?." not in listed


def test_cards_are_of_any_call_and_not_of_this_one(dryer: Appliance) -> None:
    """A fault's card, and what tells two apart, may be asked for at any step; `why not` is not answered before the end."""
    asked = ["", "card coils", "what tells the coils from the igniter", "why not the igniter", "card of gold"]
    told = [_drill(dryer, asked, level, 3)[1] for level in (1, 3)]
    said = [" ".join(" ".join(each).split()) for each in told]
    for text in said:
        assert "Put right by: New gas valve coils" in text
        assert "glows, then lights on" in text
        assert "No odds are shown before the end" in text
        assert "no part or fault called 'of gold'" in text
    assert [t.partition("Put right by")[0][-300:] for t in said[:1]] == [
        t.partition("Put right by")[0][-300:] for t in said[1:]
    ]


def test_a_motor_switch_is_the_motors_own(dryer: Appliance) -> None:
    """As a fault on a card, and in the odds; and nothing wrong is told from a fault."""
    asked = ["", "card motor switch", "what tells nothing wrong from coils"]
    said = " ".join(" ".join(_drill(dryer, asked)[1]).split())
    assert "[motor.centrifugal_contacts]" in said and "Nothing wrong with the machine, or gas valve coils" in said
    assert words.fault(dryer.knowledge, "motor switch") == "motor"


def test_why_a_finding_moves_the_odds(dryer: Appliance) -> None:
    """Told at the end in calls of 20, and by Bayes' rule they are the very odds that are told beside them."""
    learner = drilled(dryer, drill_of(dryer, 3, 3).call, tools_odds, by_policy(checklist))
    moved = moved_of(learner.drill)
    assert sum(len(m.seen) for m in moved) >= 3
    for each in moved:
        for fault, (with_it, without) in each.seen.items():
            before, after = each.faults[fault]
            assert after == pytest.approx(before * with_it / (before * with_it + (1 - before) * without))
            assert 0 <= with_it <= 1 + 1e-9


def test_levels_go_by_how_much_is_open_and_traps_are_there(dryer: Appliance) -> None:
    """The same drill for everybody with its level and seed; each trap comes in turn."""
    tops = [max(began(drill_of(dryer, level, 5).belief, dryer.knowledge).values()) for level in (1, 2, 3)]
    assert tops[0] > tops[2]
    one, two = (drill_of(dryer, 2, 5).call for _ in range(2))
    assert (one.number, one.complaint) == (two.number, two.complaint)
    for seed in range(3):
        assert TRAPS[seed] in traps(drill_of(dryer, 4, seed))
    with pytest.raises(FaultoddsError, match="levels are 1 to 4"):
        drill_of(dryer, 9, 1)


def test_a_drill_left_half_way_goes_on_and_ends_as_if_it_had_not_been(
    typed: Callable[..., Ran], tmp_path: Path
) -> None:
    """Every line is on disk as it is typed; the end tells all of it, and is kept."""
    lines = ["duct likely, hood 1 in 10", "hood flap", "coils 60", "measure igniter", "no"]
    whole = typed(lines, "--level", "1", "--seed", "1", "--name", "one")
    assert whole.code == 0
    for at, line in enumerate(lines):
        part = typed([line], "--level", "1", "--seed", "1", "--name", "parts")
        assert part.code == 0, part.err
        assert ("is kept" in part.text) is (at + 1 < len(lines))
    one, parts = (json.loads(next((tmp_path / "drills" / n).glob("*.json")).read_text()) for n in ("one", "parts"))
    assert one == parts
    assert one["lines"] == lines
    tail = whole.out[whole.out.index("THE END") :]
    assert tail.replace(" one\n", "") == part.out[part.out.index("THE END") :].replace(" parts\n", "")
    for told in (
        "It began with: gas valve coils",
        "Trap: coils",
        "SAFETY",
        "THE BEST PLAN",
        "WHERE IT WAS LOST",
        "AT THE DOOR",
        "75 % to 79 %",
    ):
        assert told in " ".join(tail.split()) or told == "75 % to 79 %"


@pytest.mark.parametrize("drills", [1, 4, 5])
def test_a_figure_of_few_drills_may_be_chance(dryer: Appliance, drills: int) -> None:
    """Every figure of a person's page and of the class that has no interval says so, in the same words."""
    ended = Drilled("1-1", "duct", [{"duct": 0.6}], cost=200.0, best=150.0)
    mine = Played([ended] * drills, again=0, unfinished=0)
    page = " ".join(" ".join(person_lines(dryer.knowledge, "ana", mine)).split())
    few = drills < 5
    for figure in (r"Brier score [\d.]+", r"log score [\d.]+", r"above the best plan"):
        assert bool(re.search(figure + r" \(may be chance\)", page)) == few, figure
    row = next(line for line in class_lines(dryer.knowledge, {"ana": mine}) if line.startswith("  ana"))
    assert bool(re.search(r"\d \?", row)) == few, row


def test_marks_class_and_forgetting(typed: Callable[..., Ran], tmp_path: Path) -> None:
    """A person's page, the trainer's page, a table, and everything taken away again."""
    folder = tmp_path / "drills" / "bench3"
    folder.mkdir(parents=True)
    for n in range(12):
        done = {
            "drill": f"1-{n}",
            "truth": "flame_sensor",
            "forecasts": [{"flame_sensor": 0.2, "duct": 0.7}],
            "cost": 200.0,
            "best": 150.0,
        }
        record = {"level": 1, "seed": n, "lines": ["duct 70 coils 20"], "done": done}
        (folder / f"{n + 1:04d}_1-{n}.json").write_text(json.dumps(record))
    typed(["duct 50"], "--name", "half way")
    page = faultodds("drill", "score", "bench3")
    for said in (
        "OVER-CONFIDENT by 70 points",
        "Called too often: duct",
        "Called too seldom: flame sensor",
        "LEARNING CURVE",
        "$50",
    ):
        assert said in page.text
    drawn = faultodds("drill", "score", "bench3", "--figure", str(tmp_path / "score.svg"))
    assert drawn.text == page.text
    assert "OVER-CONFIDENT by 70 points" in (tmp_path / "score.svg").read_text().partition("</title>")[0]
    assert "nothing to draw" in faultodds("drill", "score", "half way", "--figure", str(tmp_path / "no.svg")).said
    trainer = faultodds("drill", "class", "--csv", str(tmp_path / "class.csv"))
    assert "bench3" in trainer.out and f"Written:{tmp_path / 'class.csv'}." in "".join(trainer.out.split())
    unknown = faultodds("drill", "class", "nobody", "bench3")
    assert unknown.code == 2 and "no drills of 'nobody'. Kept: bench3, half_way." in " ".join(unknown.said.split())
    table = (tmp_path / "class.csv").read_text()
    assert table.count("\n") == 14
    assert "half_way,1-1,left half way,,,,,," in table
    assert re.search(r"half_way +0 +1$", trainer.out, re.MULTILINE)
    assert "1-0 (flame sensor) (may be chance)" in trainer.out
    assert not re.search(r"bench3 +12 +[\d.]+ \?", trainer.out)
    assert faultodds("drill", "class", "--json").answer["people"]["bench3"]["too_sure"]["low"] > 0.5
    assert "No drill of 'half way'" in faultodds("drill", "score", "half way").text
    assert "drills: what was typed" in faultodds("data", "where").text
    assert faultodds("drill", "forget", "bench3").code == 0
    assert not folder.exists()
    assert faultodds("drill", "forget", "bench3").code == 2
    assert faultodds("drill", "score", "../..").code == 2


def test_the_trainers_list_goes_by_what_was_known(dryer: Appliance) -> None:
    """Lucky drills, cheaper than the plan, lose nothing below 0; a slip stands first though its money was saved; what was given
    away ranks, not what came of it."""
    odds = [{"duct": 0.5}]
    done = [
        Drilled("1-1", "duct", odds, 100.0, 300.0, given_away=80.0),
        Drilled("1-2", "coils", odds, 900.0, 300.0, given_away=3.0),
        Drilled("1-3", "igniter", odds, 5.0, 300.0, slip="left on", given_away=0.0),
    ]
    told = class_lines(dryer.knowledge, {"ana": Played(done, 0, 0)})
    listed = [line for line in told[told.index(next(x for x in told if "COST MOST" in x)) :] if line.startswith("  1-")]
    assert [line.split()[0] for line in listed] == ["1-3", "1-1", "1-2"]
    assert "$80" in listed[1] and not any("-$" in line for line in listed)
    page = " ".join(" ".join(person_lines(dryer.knowledge, "ana", Played(done[:1], 0, 0))).split())
    assert "$200 a drill below the best plan" in page and "-$200 a drill" not in page


def test_a_call_counts_once(typed: Callable[..., Ran], tmp_path: Path) -> None:
    """Played again by the same name, or begun anew with what was found in it, a call is practice: said, and in no score."""
    for name in ("ana", "ben"):
        first = typed(["no idea", "refer"], "--name", name, "--seed", "12")
        assert "PLAYED AGAIN" not in first.out
    again = typed(["coils 90", "refer"], "--name", "ana", "--seed", "12")
    assert "PLAYED AGAIN" in again.out
    assert "counts for no score" in " ".join(again.out.partition("Kept.")[2].split())
    typed(["coils 10", "lint screen"], "--name", "ana", "--seed", "11")
    typed(["coils 90", "refer"], "--name", "ana", "--seed", "11", "--new")
    ana, ben = (faultodds("drill", "score", name, "--json").answer["people"][name] for name in ("ana", "ben"))
    assert (ana.pop("again"), ana.pop("unfinished")) == (2, 1)
    assert (ben.pop("again"), ben.pop("unfinished")) == (0, 0)
    assert ana == ben
    page = " ".join(faultodds("drill", "score", "ana").out.split())
    assert "ana: 1 drill, 0 ended by a safety slip. Left half way: 1. Played again, and not counted: 2." in page
    faultodds("drill", "class", "--csv", str(tmp_path / "class.csv"))
    states = [line.split(",")[1:3] for line in (tmp_path / "class.csv").read_text().splitlines()[1:5]]
    assert states == [["1-12", "ended"], ["1-12", "played again"], ["1-11", "left half way"], ["1-11", "played again"]]


def test_no_drill_is_another_levels_call(dryer: Appliance) -> None:
    """Who has played the other levels of a seed does not know the answer of its level 4."""
    for seed in (1, 2, 3, 4, 5, 6, 7, 8):
        numbers = [drill_of(dryer, level, seed).call.number for level in LEVELS]
        assert len({*numbers}) == len(LEVELS), seed


@pytest.mark.parametrize(
    "text",
    [
        *("", "{", "[1]", "null", "{}", "[" * 9000, '{"level": 9, "seed": 1}', '{"level": 1, "seed": 1, "lines": [3]}'),
        *(
            '{"level": 1, "seed": 1, "done": {}}',
            '{"level": 1, "seed": 1, "done": 7}',
            '{"level": 1, "seed": 1, "x": 2}',
        ),
    ],
)
def test_a_damaged_drill_is_named_and_the_others_go_on(typed: Callable[..., Ran], tmp_path: Path, text: str) -> None:
    """Whatever stands in it, and for every command that looks at drills."""
    folder = tmp_path / "drills" / "ann"
    folder.mkdir(parents=True)
    (folder / "0001_1-1.json").write_text(text)
    for ran in (faultodds("drill", "score", "ann"), faultodds("drill", "class"), typed(["duct 50"], "--name", "ann")):
        assert (ran.code, "is left out" in ran.said, "error of its own" in ran.said) == (0, True, False), ran.said
    assert (folder / "0001_1-1.json").read_text() == text


def test_danger_that_is_typed_stops_and_keeps_the_drill(typed: Callable[..., Ran]) -> None:
    """It may be real; a symptom's own name is none."""
    ran = typed(["duct 50", "I smell gas here"], "--name", "a")
    assert ran.code == 3
    assert "is kept" in ran.text and "'faultodds drill play --name a'" in ran.text
    assert typed(["duct 50", "ask burning_smell"], "--name", "b").code == 0


def test_no_line_locks_a_drill(typed: Callable[..., Ran]) -> None:
    """What stopped it is not typed again by going on; what fits several checks is asked about."""
    assert typed(["duct 50", "burning smell"], "--name", "a").code == 3
    gone_on = typed(["ask burning smell"], "--name", "a")
    assert gone_on.code == 0 and "Lines typed so far: 1" in gone_on.out
    asked = typed(["duct 50", "band coil", "ask noise"], "--name", "c")
    assert asked.code == 0 and "may mean coil_ohms, coil_ohms_hot" in asked.out


@pytest.mark.parametrize("columns", [40, 80])
def test_lines_fit_the_screen(typed: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    """At the door, looking, and at the end."""
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = ["duct 50 motor 1 in 4", "help", "checks", "questions", "repairs", "measure igniter", "no", "no"]
    out = typed(lines, "--level", "1", "--seed", "1").out
    assert max(map(len, out.splitlines())) <= columns
    assert "THE END" in out


def test_a_drill_on_paper(dryer: Appliance, tmp_path: Path) -> None:
    """Three sheets; the answers stand on the last alone; the findings are those of the drill itself."""
    to = tmp_path / "drill.html"
    assert faultodds("drill", "sheet", "--level", "1", "--seed", "1", "--to", str(to)).code == 0
    page = to.read_text()
    first, findings, answers = page.split('<h2 class="sheet">')
    assert "gas valve coils: drop out" in answers
    assert "drop out" not in first
    visit = drill_of(dryer, 1, 1)
    drill = Drill(visit, lambda question: None)
    visit.shown = visit.call.check("igniter_ohms", visit.who)
    assert drill.shown_words() in findings
    for work, price in (("New gas valve coils", ["20", "$66"]), ("Igniter resistance", ["3", "$4.75"])):
        assert re.findall(r'"short"[^>]*>([^<]+)<', findings.partition(work)[2])[:2] == price
    assert "Handing over: $600" in findings
    assert "It stays right." in answers
    assert re.findall("<th scope[^>]*>([^<]*)", answers) == [
        "",
        "Step",
        "It showed",
        "Odds after it",
        "min so far",
        "USD so far",
    ]
    assert faultodds("drill", "sheet", "--to", str(to)).code == 2  # what is there stays, without --force
    assert to.read_text() == page


# ---- learners ----

#: Calls of every level; and how many of them are played by the advice, which is dearer.
EACH, ADVISED = 24, 1
Scored = dict[int, dict[str, list[Drilled]]]
Score = Callable[[np.ndarray, int], float]


@pytest.mark.parametrize(("level", "seed"), [(1, 1), (1, 200), (2, 204)])
def test_one_who_does_what_is_advised_loses_nothing_and_does_not_slip(dryer: Appliance, level: int, seed: int) -> None:
    """Typed line by line through the drill, asked for odds and shut-offs, it comes to the very plan; no step gave anything away.
    On the last two something stopped the run, or the heat, and was worked on."""
    fresh = drill_of(dryer, level, seed)
    learner = drilled(dryer, fresh.call, tools_odds, by_advice)
    cost, slip = learner.drill.visit.cost, learner.drill.slip
    assert not slip
    end = debrief(learner.drill, drill_of(dryer, level, seed))
    assert [s.move for s in end.plan] == [s.move for s in learner.drill.steps]
    assert end.best.cost == pytest.approx(cost)
    assert all(not g.lost for g in end.steps) and given_away(end) == pytest.approx(0.0)


def test_what_was_found_and_not_mended_is_told_first(dryer: Appliance) -> None:
    """Gone, handed over or not, with the repair that the findings asked for undone; nothing of it where it was mended."""
    for lines in (["", "burner_watch", "", "refer"], ["", "repair coil_set", "unplugged, gas off", "done"]):
        left, typed = lines[-1] == "refer", iter(lines)
        drill = Drill(drill_of(dryer, 1, 1), lambda question, typed=typed: next(typed))  # type: ignore[misc]
        drill.play()
        said = " ".join(" ".join(ending(debrief(drill, drill_of(dryer, 1, 1)))).split())
        told = said.partition("WHERE IT WAS LOST")[2]
        assert ("Left undone" in told) is left
        if left:
            assert told.index("Left undone when you went: New gas valve coils") < told.index("dearer than")


def test_a_dear_step_is_seen_as_one(dryer: Appliance) -> None:
    """A part changed with nothing known gives away more than any look; the plan does neither."""
    learner = Learner(drill_of(dryer, 1, 1), tools_odds)
    for line in ("lint_screen_look", "repair board", "refer"):
        learner.does(line)
    end = debrief(learner.drill, drill_of(dryer, 1, 1))
    look, board, _ = end.steps
    assert look.lost is not None
    assert board.lost is None or board.lost > look.lost
    assert learner.drill.visit.wrong_parts == 1


@pytest.fixture(scope="module")
def scored(dryer: Appliance) -> Scored:
    """Learners on the same calls of every level. The moves of the checklist, which are quick to play, for one who has the
    program's odds, one who has them too surely and one who always says what is commonest; one guesses, moves and all. On the
    first calls of each level one does what is advised, and the best plan is played beside him."""
    found: Scored = {n: {w: [] for w in ("right", "surely", "checklist", "guesses", "advised")} for n in LEVELS}
    for number, (level, call) in enumerate(series(dryer, EACH, seed=101)):
        by = found[level]
        first = drilled(dryer, call, tools_odds, by_policy(checklist), surely=too_sure, checklist=as_at_first)
        by["right"].append(kept(first, level))
        for who in first.theirs:
            by[who].append(kept(first, level, who))
        by["guesses"].append(kept(drilled(dryer, call, *guesses(number)), level))
        if len(by["advised"]) < ADVISED:
            advised = kept(drilled(dryer, call, tools_odds, by_advice), level)
            plan = TrialJob(dryer, call, WHO, False)
            best_plan(plan, Adviser(lambda done, of: None))
            by["advised"].append(replace(advised, best=plan.cost))
    return found


def not_as_they_should(scored: Scored, known: tuple[str, ...], score: Score = log_loss) -> list[str]:
    """Whatever the scores say of learners that they should not, in words; every comparison is of the same calls, with its
    interval at 95 %."""
    told = []
    for level, by in scored.items():
        of = {who: _scores(done, known, score) for who, done in by.items()}
        for who in ("guesses", "surely", "checklist"):
            worse = _interval(of[who] - of["right"])
            if worse.clear < (1 if who == "guesses" else 0):
                told.append(f"level {level}: {who} is {worse.value:.2f} worse, {worse.low:.2f} to {worse.high:.2f}")
        lost = [d.cost - d.best for d in by["advised"]]
        if any(d.slip for d in by["advised"]) or max(map(abs, lost)) > 0.01:
            told.append(f"level {level}: one who does what is advised loses {lost}")
        sure = {who: person(by[who], known) for who in ("right", "surely")}
        if level in OPEN_BITS and sure["surely"].verdict != 1:  # type: ignore[union-attr]
            told.append(f"level {level}: the over-confident one is not called so: {sure['surely'].too_sure}")  # type: ignore[union-attr]
        if sure["right"].verdict:  # type: ignore[union-attr]
            told.append(f"level {level}: who says the program's odds is called over- or under-confident")
        if level not in OPEN_BITS and sure["surely"].too_sure is not None:  # type: ignore[union-attr]
            told.append(f"level {level}: chosen for a trap, and yet it is told how sure one may be")
    for who in ("guesses", "surely", "checklist"):
        every = [_scores(by[who], known, score) - _scores(by["right"], known, score) for by in scored.values()]
        if _interval(np.concatenate(every)).clear < 1:
            told.append(f"all levels: {who} is not worse than one who says the program's odds")
    door = [replace(d, forecasts=d.forecasts[:1]) for level in OPEN_BITS for d in scored[level]["right"]]
    if (gap := person(door, known).too_sure).clear:  # type: ignore[union-attr]
        told.append(f"at the door the program's odds are over- or under-confident: {gap}")
    return told


def _scores(done: list[Drilled], known: tuple[str, ...], score: Score) -> np.ndarray:
    """The mean score of each drill."""
    return np.array([np.mean([score(spread(f, known), known.index(d.truth)) for f in d.forecasts]) for d in done])


def _interval(worse: np.ndarray) -> Interval:
    return bootstrap(lambda rows: float(worse[rows].mean()), len(worse))


def test_learners_get_the_scores_that_they_should(dryer: Appliance, scored: Scored) -> None:
    """On every level guessing is worst beyond chance, nobody beats the program's odds beyond chance, the over-confident one is
    called so wherever that may be told, and doing what is advised loses nothing against the best plan; over all levels
    everybody else scores worse than the program's odds. `tests/benchmarks/bench_drill.py` has more drills a level."""
    assert not_as_they_should(scored, faults(dryer.knowledge)) == []


def test_a_wrong_score_is_seen(dryer: Appliance, scored: Scored) -> None:
    """Planted: a score that lying pays (linear, improper); an over-confident learner scored as a good one; a plan that costs."""
    known = faults(dryer.knowledge)
    told = not_as_they_should(scored, known, lambda p, truth: 1.0 - float(p[truth]))
    assert any("surely" in text for text in told), told
    good = {level: {**by, "surely": by["right"]} for level, by in scored.items()}
    assert [t for t in not_as_they_should(good, known) if "is not called so" in t]
    dear = {n: {**by, "advised": [replace(d, cost=d.cost + 1) for d in by["advised"]]} for n, by in scored.items()}
    assert len(not_as_they_should(dear, known)) == len(LEVELS)


def test_the_end_says_what_readings_meant_and_what_told_most(typed: Callable[..., Ran]) -> None:
    """A number in words, the finding that raised the truth most on either way, and what leaving was worth then."""
    lines = ["duct 1/2", "static pressure", "plug out, gas off", "duct 60", "duct_look", "", "done"]
    told = " ".join(typed(lines, "--name", "ana", "--level", "1", "--seed", "21").out.split())
    assert "2.18 in w.c. = very high" in told
    assert "What told most on your way:" in told
    assert "What told most on the plan's: Look at the transition duct" in told
    assert "The chance that nothing was wrong any more was" in told


def test_the_reason_is_of_the_step_and_of_its_money(dryer: Appliance, typed: Callable[..., Ran]) -> None:
    """A repair far dearer than the best look is held beside that look, not beside a question of a few dollars; wherever a
    question is the reason, what its answer is worth is what was lost."""
    lines = ["igniter 60, coils 30", "replace igniter", "unplugged, gas off", "gas on", "sight hole", "", "refer"]
    left = iter(lines)
    drill = Drill(drill_of(dryer, 3, 9), lambda question: next(left, None))
    drill.play()
    end = debrief(drill, drill_of(dryer, 3, 9))
    repair = end.steps[0]
    assert repair.first is not None and repair.lost is not None
    assert (repair.best.kind, repair.first[0].kind) == ("check", "ask")
    assert repair.lost > 10 * repair.first[1]
    assert "A question or a glance" not in repair.why
    for g in end.steps:
        if g.best.kind == "ask" and g.step.move.kind != "ask" and g.lost is not None:
            worth = re.search(r"worth about \$(\d+)", g.why)
            assert worth is None or g.lost <= 2 * float(worth[1]) + 1
    told = " ".join(typed(lines, "--level", "3", "--seed", "9").out.split())
    assert f"about ${repair.lost:.0f} dearer than: Look once through the sight hole" in told
    assert "was lost by not asking first: weak puff" in told
    assert not re.search(r"[a-z]_[a-z]", told.partition("YOUR WAY")[2].partition("Kept.")[0])


def test_a_question_that_was_not_asked_was_lost_once(dryer: Appliance) -> None:
    """It was worth as much before the next step: it is told at the step where it was worth most, and work at every one."""
    learner = Learner(drill_of(dryer, 1, 1), tools_odds)
    for line in ("over_back_look", "lint_slot_look", "plate_look", "level_check", "refer"):
        learner.does(line)
    end = debrief(learner.drill, drill_of(dryer, 1, 1))
    ask, look, (one, two, three, four, _) = (
        Move("ask", ("weak_puff",)),
        Move("check", ("hood_flap",)),
        learner.drill.steps,
    )
    made = [
        GaveAway(one, look, 30.0, None, "a", (ask, 20.0)),
        GaveAway(two, ask, 25.0, None, "b"),
        GaveAway(three, look, 9.0, None, "c"),
        GaveAway(four, look, None, None, "d", (ask, 22.0)),
    ]
    said = " ".join(" ".join(ending(dataclasses.replace(end, steps=made))).split()).partition("WHERE IT WAS LOST")[2]
    assert said.partition("AT THE DOOR")[0].count("weak puff") == 1
    assert said.partition("AT THE DOOR")[0].count("Outdoors: hood flap") == 3


def test_nothing_wrong_after_a_repair_is_asked_about(dryer: Appliance) -> None:
    """The odds are of what began it: a machine that is right now is told so, and before a repair nothing is said of it."""
    lines = ["nothing wrong 20", "repair coil_set", "plug out, gas off", "run", "nothing wrong 90", "coils 90"]
    _, told = _drill(dryer, lines)
    assert [" ".join(t.split()).startswith("Nothing wrong is taken as") for t in told if "wrong" in t][-1:] == [True]
    assert sum("is taken as: nothing was wrong when you came" in t for t in told) == 1
    assert any("Taken as coils 90 %" in t for t in told)


def test_the_money_of_the_end_adds_up(dryer: Appliance) -> None:
    """The printed rows of either column are together the printed sum, in whole units and in cents."""
    draw, visit, best = np.random.default_rng(2), drill_of(dryer, 1, 1), drill_of(dryer, 1, 1)
    for scale in (3.0, 90.0):
        for _ in range(60):
            for each in (visit, best):
                each.money |= dict(zip(each.money, draw.uniform(0, scale, 3).tolist(), strict=False))
            end = SimpleNamespace(drill=SimpleNamespace(k=dryer.knowledge, visit=visit), best=best)
            rows = [re.findall(r"\$([\d.]+)", line) for line in money_of(end)]  # type: ignore[arg-type]
            printed = np.array([row for row in rows if len(row) == 2], float)
            assert np.allclose(printed[:-1].sum(axis=0), printed[-1]) and abs(printed[-1, 0] - visit.cost) <= 0.5


def test_a_plan_that_went_wrong_is_called_so(dryer: Appliance) -> None:
    """A callback on the plan's own way is said; a plan that was right is not blamed."""
    for (level, seed), wrong in {(2, 11): "IT COMES BACK", (3, 1): "IT COMES BACK", (1, 7): ""}.items():
        plan = drill_of(dryer, level, seed)
        best_plan(plan, Adviser(lambda done, of: None))
        told = plan_ended(plan)
        assert wrong in told
        assert ("The plan was wrong on this call" in told) == bool(wrong)


@pytest.mark.parametrize(
    ("line", "taken"),
    [
        ("duct 1/6, coils 1/6, igniter 1/6", "duct 17 %, coils 17 %, igniter 16 %; anything else 50 %."),
        ("duct 70 coils 25", "duct 70 %, coils 25 %; anything else 5 %."),
    ],
)
def test_shares_said_back_add_up(dryer: Appliance, line: str, taken: str) -> None:
    """Rounded one by one, three sixths and a half came to 101."""
    assert f"Taken as {taken}" in _drill(dryer, [line])[1]


def test_what_was_not_named_has_no_odds(typed: Callable[..., Ran]) -> None:
    """Who had no idea, or did not name a fault, did not say 3 % of it."""
    told = " ".join(typed(["no idea", "lint screen", "lint screen 20", "refer"], "--seed", "7").out.split())
    assert "you: not named, then 20 %" in told
    assert "; you 3 %" not in told
    assert "What told most on your way" not in told


def test_a_run_with_the_duct_off_is_not_told_to_put_it_on_first(dryer: Appliance) -> None:
    """Before the work only the moves that lead to it are told: what follows it is not done first."""
    machine = MachineStates(dryer.knowledge)
    for name, check in dryer.knowledge.check.items():
        moves = machine.to_steps(frozenset(), check).moves
        assert not {m.item for m in moves if not m.opens} & set(check.access), name
        assert {m.item for m in moves if m.opens} >= set(check.access) - {"unplugged", "gas_shut"}, name
    lines = ["duct 60", "exhaust temperature", "unplug, gas off, pull out"]
    said = "\n".join(_drill(dryer, lines, 2, 21)[1])
    assert "First: Put the duct back" not in said
