"""What technicians type, and what it becomes in the program's own terms.

The lines of `technician_lines.toml` and `machine_words.toml`, and what each means, were written for this test by somebody who
knew the trade and had not seen the program. `becomes` was added and read against that: a finding or fact (NAME=VALUE), the
machine's state, a tool that is not there, a doubt, a word of the program, a stop; or the line is asked about, which is always
allowed. What is never allowed is the opposite, and a remark kept as if it were understood.
"""

from __future__ import annotations

import random
import tomllib
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from faultodds.belief import Appliance
from faultodds.job import Store, hearing, sayings
from faultodds.knowledge import Knowledge
from faultodds.knowledge.loading import load
from said import becomes


def lines(name: str) -> list[dict[str, Any]]:
    """The lines beside this file."""
    found = tomllib.loads(Path(__file__).with_name(f"{name}.toml").read_text("utf-8"))["line"]
    assert isinstance(found, list)
    return found


TECHNICIAN = lines("technician_lines")
MACHINE = lines("machine_words")
ASKED = {"asked", "doubt", "planned", "command"}
MADE_SAFE = ("unplugged", "gas_shut", "pulled_out")
OPENED = [
    line["text"] for line in [*TECHNICIAN, *MACHINE] if {"front_open: yes", "rear_open: yes"} & set(line["becomes"])
]


def test_there_are_as_many_as_promised() -> None:
    """At least 200 phrases, and a good part of them understood."""
    assert len({line["text"] for line in TECHNICIAN}) >= 200
    assert sum(line["becomes"] != ["asked"] for line in TECHNICIAN) >= 90
    assert sum(line["becomes"] != ["asked"] for line in MACHINE) >= 35


@pytest.mark.parametrize("line", [*TECHNICIAN, *MACHINE], ids=lambda line: line["text"])
def test_a_line_becomes_what_it_means_or_is_asked_about(line: dict[str, Any], dryer: Appliance, store: Store) -> None:
    """Entered as written in `becomes`; where that is a question, nothing is entered, and something is said."""
    opened = [word for word in line["becomes"] if word.endswith("_open: yes") or word == "duct_off: yes"]
    entered, told = becomes(dryer, store, line["text"], line.get("prompt", "any"), MADE_SAFE if opened else ())
    assert entered == [word for word in line["becomes"] if word not in ASKED]
    assert told.strip()
    if line["becomes"] == ["asked"]:
        assert told.startswith(("?  ", "!! ")) and "Noted" not in told


@pytest.mark.parametrize("line", OPENED)
def test_a_panel_is_not_told_to_be_off_a_live_machine(line: str, dryer: Appliance, store: Store) -> None:
    """However it is said, a panel off a machine that is neither unplugged nor shut off is refused, with what to do first."""
    entered, told = becomes(dryer, store, line)
    assert entered == []
    assert "unplugged" in told or "gas_shut" in told


def test_nothing_becomes_a_remark_by_itself() -> None:
    """Only `note` and the words makes one, and what the words file keeps as one since it is near a name and not it."""
    kept = {line["text"] for line in [*TECHNICIAN, *MACHINE] if any(w.startswith("note:") for w in line["becomes"])}
    assert kept == {
        "ordered coils",
        "flame lifts off",
        "gas isolated at meter",
        "cylinder turned off by knob",
        "bottle's on",
    }


SAID = {"power": "unplugged", "gas": "gas_shut", "front": "front_open", "rear": "rear_open", "duct": "duct_off"}


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from(sorted(SAID)),
    st.sampled_from(
        [("{} off", True), ("{} is off", True), ("{} on", False), ("{} is back on", False), ("the {} is off now", True)]
    ),
    st.sampled_from([str, str.upper, str.title, lambda text: f"  {text}.", lambda text: f"{text}!"]),
)
def test_the_machines_state_is_said_back_as_it_was_typed(
    dryer: Appliance, store: Store, what: str, said: tuple[str, bool], case: Any
) -> None:
    """Off is off and on is on, in the job and in what is said back."""
    entered, told = becomes(dryer, store, case(said[0].format(what)).strip())
    if entered:
        assert entered == [f"{SAID[what]}: {'yes' if said[1] else 'no'}"]
        echo = f"{what} {'on' if not said[1] else 'shut' if what == 'gas' else 'off'}"
        assert told == f"Noted: { {'power off': 'unplugged', 'power on': 'plugged in'}.get(echo, echo) }."
    else:
        assert told.startswith(("?  ", "!! ")) and "Noted" not in told


@pytest.mark.parametrize(
    ("line", "entered"),
    [
        ("open gas", ["gas_shut: no"]),
        ("shut gas", ["gas_shut: yes"]),
        ("open the gas cock", ["gas_shut: no"]),
        ("open front", ["front_open: yes"]),
        ("shut front", ["front_open: no"]),
        *((f"{word} {item}", []) for word in ("open", "shut") for item in ("unplugged", "gas_shut", "gas cock shut")),
        ("gas shut", []),
    ],
)
def test_open_and_shut_mean_the_thing_that_is_named(
    line: str, entered: list[str], dryer: Appliance, store: Store
) -> None:
    """A gas that is opened is on."""
    assert becomes(dryer, store, line, ready=MADE_SAFE if line == "open front" else ())[0] == entered


DENIED = [
    "no {outcome}",
    "not {outcome}",
    "{name} not {outcome}",
    "{name} isn't {outcome}",
    "no {outcome} {name}",
    "{name} never {outcome}",
    "{name}=not {outcome}",
]


@settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_denied_outcome_is_never_noted(dryer: Appliance, store: Store, data: st.DataObject) -> None:
    """Whatever is typed, its echo never says the opposite."""
    known = dryer.knowledge.observables
    name = data.draw(st.sampled_from(sorted(known)))
    outcome = data.draw(st.sampled_from(sorted(known[name].outcomes)))
    called = data.draw(st.sampled_from([name, name.replace("_", " "), known[name].title]))
    typed = data.draw(st.sampled_from(DENIED)).format(name=called, outcome=outcome.replace("_", " "))
    prompt = data.draw(st.sampled_from(["any", "complaint"]))
    entered, _ = becomes(dryer, store, typed, prompt)
    assert f"{name}={outcome}" not in entered, typed
    assert not any(word.startswith("note:") for word in entered), typed


@pytest.mark.parametrize(
    "value", ["no beep", "doesn't beep", "not beeping", "never beeps", "didn't beep", "won't beep"]
)
def test_a_beep_that_is_denied_is_no_continuity(value: str, dryer: Appliance, store: Store) -> None:
    """Never the opposite: open, or asked about."""
    assert becomes(dryer, store, f"fuse_continuity={value}")[0] in (["fuse_continuity=open"], [])
    assert becomes(dryer, store, f"fuse {value}")[0] in (["fuse_continuity=open"], [])


def test_a_tool_that_is_not_there_takes_everything_that_needs_it(dryer: Appliance, store: Store) -> None:
    """One entry; one undo gives it all back."""
    from faultodds.job import OpenJob

    visit = OpenJob.start(store, dryer)
    tool, gone = visit.without("multimeter")
    assert tool == "multimeter"
    assert set(gone) == {n for n, c in dryer.knowledge.check.items() if "multimeter" in c.tools}
    assert set(gone) >= {"coil_ohms", "igniter_ohms", "burner_voltage"}
    assert set(visit.job.skipped) == set(gone)
    visit.undo()
    assert visit.job.skipped == {}


@pytest.mark.parametrize("seed", range(8))
def test_a_tool_taken_back_brings_no_other_with_it(seed: int, dryer: Appliance, store: Store) -> None:
    """Tools said to be missing and here again in any order: what is left out is what takes one that is still missing; so a run
    that wants a CO meter beside it never comes back with the thermometer."""
    from faultodds.job import OpenJob

    rng, visit, gone = random.Random(seed), OpenJob.start(store, dryer), set[str]()
    k = dryer.knowledge
    for _ in range(10):
        tool = rng.choice(k.tools())
        if tool in gone:
            gone.remove(tool)
            visit.take_back(rng.choice(["", "no "]) + tool)
        else:
            gone.add(tool)
            visit.without(tool)
        assert set(visit.job.skipped) == set(k.needing(gone))
        assert visit.missing_tools().keys() == gone <= k.lacking(visit.job.skipped)


def test_a_tool_taken_back_takes_no_finding_with_it(dryer: Appliance, store: Store) -> None:
    """CO measured with a borrowed meter stays found when the meter is here after all, and stops the machine as before."""
    from faultodds.job import OpenJob

    visit = OpenJob.start(store, dryer)
    visit.without("co_meter")
    visit.find("co_room", "some")
    visit.take_back("co_meter")
    assert [p.finding.outcome for p in visit.job.findings if p.finding.name == "co_room"] == ["some"]
    assert visit.job.skipped == {}


@pytest.mark.parametrize("line", ["=", "= =", "heat=", "=none", "no", "not", "don't", "no no no"])
def test_a_stump_of_a_line_is_asked_about(line: str, dryer: Appliance, store: Store) -> None:
    """Nothing is entered, and nothing crashes, at either prompt."""
    for prompt in ("any", "complaint"):
        assert becomes(dryer, store, line, prompt)[0] == []


def test_several_answers_on_a_line_are_taken_one_by_one(dryer: Appliance, store: Store) -> None:
    """What was read is kept and shown, what was not is asked."""
    entered, told = becomes(dryer, store, "hood_flap=weak heat=nonne lint_screen_look=clean")
    assert entered == ["hood_flap=weak", "lint_screen_look=clean"]
    assert "nonne" in told


@pytest.mark.parametrize(
    ("line", "entered"), [("slipping", ["belt_rollers_look=slipping"]), ("coated", []), ("good", [])]
)
def test_a_bare_outcome_is_taken_when_one_question_only_can_mean_it(
    line: str, entered: list[str], dryer: Appliance, store: Store
) -> None:
    """A word that several could be said of is asked about."""
    assert becomes(dryer, store, line)[0] == entered


@pytest.mark.parametrize(
    "rest", ["not taped yet", "one still to do", "panel still off", "screws missing", "need to put the panel back"]
)
@pytest.mark.parametrize("work", ["new transition in", "coils swapped", "new belt on", "changed igniter"])
def test_work_that_is_half_done_is_not_taken_as_done(work: str, rest: str, dryer: Appliance, store: Store) -> None:
    """It is asked whether all of it is done; nothing is entered."""
    entered, told = becomes(dryer, store, f"{work}, {rest}")
    assert entered == []
    assert told.startswith("?  ")
    assert becomes(dryer, store, work)[0] != []


def _half_taken(knowledge: Knowledge) -> list[str]:
    """Lines that name gas and power, of which only one was taken and nothing asked."""
    gas, power = ("gas", "the gas", "gas cock"), ("power", "plug", "breaker", "mains")
    verbs, joins = ("off", "shut off", "are off", "on", "back on", "closed"), (" and ", ", ", " & ", " + ")
    lines = [f"{a}{j}{b} {v}" for g, p, j, v in product(gas, power, joins, verbs) for a, b in ((g, p), (p, g))]
    ways = ("turn off {} and {}", "shut {} off and {} too", "killed {} and {}", "both {} and {} off")
    lines += [way.format(*two) for way in ways for two in (("the gas", "the power"), ("power", "gas"))]
    taken = {
        line: {s.name for s in sayings.understand(knowledge, line) if s.kind in ("machine", "ask")} for line in lines
    }
    return [line for line, names in taken.items() if len(names) == 1 and names <= {"gas", "power"}]


def test_of_gas_and_power_in_one_breath_neither_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both are taken, or it is asked. Planted: what else the line speaks of is not looked for."""
    dryer = load("gas_dryer")
    assert _half_taken(dryer) == []
    assert [s.name for s in sayings.understand(dryer, "turn off the gas and unplug")] == ["gas", "power"]
    monkeypatch.setattr(hearing.Hearer, "_of_each", lambda self, said, names, line: said)
    assert _half_taken(dryer)
