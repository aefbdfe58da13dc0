"""The law of typed lines: whatever is typed, nothing is taken for its opposite.

Lines are put together from parts, states, denials, doubts, plans, other people's words, abbreviations, slips of the finger and
orders, with the tables of this file, which the program does not see. What may be entered of a statement follows from how it was
put alone: said, it may be entered or asked about; denied, it is never entered; doubted, planned, left out or done by somebody
else, nothing of it is. Several statements on a line keep the law each.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from faultodds.belief import Appliance
from faultodds.job import Store, clauses, hearing, sayings
from faultodds.job.words import words_of
from job import score_lines
from said import becomes, heard_from

READY = ("unplugged", "gas_shut", "pulled_out")


class Thing(NamedTuple):
    """A part's names, and the words for each outcome of what is found of it, in the program's names."""

    names: tuple[str, ...]
    found: str
    states: dict[str, tuple[str, ...]]
    repair: str = ""


_BEEPS = ("closed", "beeps", "has continuity")
_OL = ("open", "blown", "OL", "reads open")
THINGS = (
    Thing(
        ("thermal fuse", "fuse", "therm fuse", "tco"),
        "fuse_continuity",
        {"closed": _BEEPS, "open": _OL},
        "thermal_fuse",
    ),
    Thing(
        ("hi limit", "high limit", "limit"), "high_limit_continuity", {"closed": _BEEPS, "open": _OL}, "high_limit_kit"
    ),
    Thing(
        ("cyc stat", "cycling thermostat"), "cycling_continuity", {"closed": _BEEPS, "open": _OL}, "cycling_thermostat"
    ),
    Thing(
        ("flame sensor", "radiant sensor"), "flame_sensor_continuity", {"closed": _BEEPS, "open": _OL}, "flame_sensor"
    ),
    Thing(("motor fuse", "fuse on the motor"), "motor_fuse_continuity", {"closed": _BEEPS, "open": _OL}, "motor_fuse"),
    Thing(("ign", "igniter", "ignitor", "glow bar"), "igniter_ohms", {"open": ("open", "cracked", "OL")}, "igniter"),
    Thing(
        ("coils", "gas valve coils"), "coil_ohms", {"good": ("good", "ok", "fine"), "off": ("open", "bad")}, "coil_set"
    ),
    Thing(
        ("blower wheel", "blower"),
        "blower_turn",
        {"tight": ("tight",), "slips": ("slipping", "stripped")},
        "blower_wheel",
    ),
    Thing(
        ("belt", "drum belt"),
        "belt_rollers_look",
        {"broken": ("broken", "snapped"), "slipping": ("slipping",)},
        "belt_idler",
    ),
    Thing(
        ("duct", "vent"), "duct_look", {"clear": ("clear", "clean"), "lint": ("packed", "full of lint")}, "clean_duct"
    ),
    Thing(
        ("lint screen", "lint filter"),
        "lint_screen_look",
        {"clean": ("clean",), "coated": ("coated",), "torn": ("torn",)},
    ),
    Thing(
        ("felt seal", "drum seal"), "seal_test", {"grips": ("tight", "good"), "loose": ("torn", "worn")}, "drum_seals"
    ),
    Thing(
        ("door gasket", "door seal"), "door_seal_look", {"grips": ("tight",), "loose": ("torn", "worn")}, "door_seal"
    ),
    Thing(
        ("sensor bars", "bars"), "sensor_bar_test", {"coated": ("coated", "filmed"), "dead": ("dead",)}, "sensor_bars"
    ),
    Thing(
        ("transition hose", "vent hose"), "transition_look", {"sound": ("ok", "fine"), "crushed": ("crushed", "kinked")}
    ),
    Thing(("flame",), "flame_colour", {"blue": ("blue",), "yellow": ("yellow", "lazy")}),
    Thing(("cabinet",), "cabinet_hot", {"yes": ("hot", "very hot")}),
    Thing(("laundry room", "room"), "room_humid", {"yes": ("humid", "steamy")}),
    Thing(("hood", "hood flap"), "hood_flap", {"strong": ("strong",), "weak": ("weak",)}, "clear_hood"),
    Thing(("drum",), "drum_warm", {"warm": ("warm",), "cold": ("cold", "stone cold")}),
    Thing(("heat",), "heat", {"normal": ("good", "ok")}),
    Thing(("stove", "furnace"), "other_appliances", {"work": ("works", "fine"), "dead": ("dead",)}),
    Thing(("front", "front panel"), "front_open", {"yes": ("off",), "no": ("back on",)}),
    Thing(("duct", "vent"), "duct_off", {"yes": ("off",), "no": ("back on",)}),
)
SAID = ("{p} {s}", "{p} is {s}", "the {p} is {s}", "{s} {p}", "{p} looks {s}", "{P} {S}", "checked {p} its {s}")
DENIED = (
    "{p} not {s}", "{p} isnt {s}", "{p} aint {s}", "no {s} {p}", "{p} never {s}", "{p} wasn't {s}", "not {s} {p}",
    "{p} is not even {s}", "{p} was never {s}", "{p} hardly {s}", "{p} not really {s}", "dont find {p} {s}", "{p} anything but {s}",
    "without {s} {p}", "{p} no longer {s}", "neither {p} {s}",
)  # fmt: skip
DOUBTED = (
    "{p} maybe {s}", "maybe {p} {s}", "think {p} is {s}", "{p} {s} i guess", "{p} {s}?", "could be {p} {s}", "{p} might be {s}",
    "not sure if {p} {s}", "{p} seems {s}", "prob {s} {p}", "{p} {s}, not sure", "i bet {p} is {s}", "cant tell if {p} is {s}",
    "is the {p} {s}", "{p} used to be {s}", "if {p} is {s} call me", "{p} {s} or not, dunno", "suspect {p} {s}",
    "{p} almost {s}", "{p} sometimes {s}",
)  # fmt: skip
DONE = ("swapped {p}", "{p} replaced", "new {p} in", "put a new {p} on", "changed the {p}", "installed new {p}")
NOT_DONE = (
    "gonna swap {p}", "need to order {p}", "needs new {p}", "didnt change {p}", "havent replaced {p} yet", "waiting on {p}",
    "quoted new {p}", "cust declined new {p}", "will replace {p} tmrw", "not replacing {p}", "should change {p}", "new {p}?",
    "new {p} on order", "tried to change {p}", "last guy replaced {p}", "customer put a new {p} in", "{p} was replaced last year",
    "never changed {p}", "maybe new {p}", "ordered {p}", "recommend new {p}", "{p} not replaced", "new {p} tomorrow",
    "no new {p}", "did the {p} test", "new {p} if it fails again", "without a new {p}", "almost replaced {p}",
)  # fmt: skip
JOINS = (", ", " and ", " but ", " n ", "; ", ". ", " / ")


class Stated(NamedTuple):
    """A statement as typed, what it may enter, and the names that are its own."""

    text: str
    may: frozenset[str]
    own: frozenset[str]


def _words(thing: Thing, outcome: str) -> str:
    return f"{thing.found}={outcome}" if thing.found not in ("front_open", "duct_off") else f"{thing.found}: {outcome}"


def stated(thing: Thing, pick: random.Random) -> Stated:
    """One statement about a thing, put in one of the ways."""
    name, outcome = pick.choice(thing.names), pick.choice(sorted(thing.states))
    way = pick.choice((SAID, DENIED, DOUBTED, *((DONE, NOT_DONE) if thing.repair else ())))
    text = pick.choice(way)
    state = pick.choice(thing.states[outcome])
    text = text.format(p=name, s=state, P=name.upper(), S=state.upper())
    everything = {_words(thing, o) for o in thing.states} | ({f"repair={thing.repair}"} if thing.repair else set())
    may: set[str] = set()
    if way is SAID:
        may = {_words(thing, outcome)}
    elif way is DENIED:
        may = {_words(thing, o) for o in thing.states} - {_words(thing, outcome)}
    elif way is DONE:
        may = {f"repair={thing.repair}"}
    return Stated(_slipped(text, pick), frozenset(may), frozenset(everything))


def _slipped(text: str, pick: random.Random) -> str:
    """A letter of one long word missing, doubled or swapped, now and then; never in the short words that turn a meaning."""
    words = text.split(" ")
    long = [
        i
        for i, word in enumerate(words)
        if len(word) >= 7 and word.isalpha() and not word.startswith(("havent", "without"))
    ]
    if not long or pick.random() < 0.7:
        return text
    i, word = (at := pick.choice(long)), words[at]
    cut = pick.randrange(1, len(word) - 2)
    words[i] = pick.choice((word[:cut] + word[cut + 1 :], word[:cut] + word[cut] + word[cut:]))
    return " ".join(words)


def broken(dryer: Appliance, store: Store, seed: int) -> Iterator[str]:
    """Where a line of one to three statements breaks the law."""
    pick = random.Random(seed)
    things = pick.sample(THINGS, pick.choice((1, 1, 2, 3)))
    if len({thing.names[0] for thing in things}) < len(things):
        return
    said = [stated(thing, pick) for thing in things]
    line = said[0].text + "".join(pick.choice(JOINS) + each.text for each in said[1:])
    entered, told = becomes(dryer, store, line, pick.choice(("any", "complaint")), READY)
    for each in said:
        wrong = (each.own - each.may) & set(entered)
        if wrong:
            yield f"{line!r}: {sorted(wrong)} of {each.text!r}"
    remarked = "Earlier work: kept as a remark" in told or ("order" in line and "A part on order: kept" in told)
    kept = any(word.startswith("note:") for word in entered) and not remarked
    if kept or not (entered or told.strip()):
        yield f"{line!r}: {entered} {told}"


@settings(deadline=None, max_examples=600, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 2**32))
def test_nothing_is_taken_for_its_opposite(dryer: Appliance, store: Store, seed: int) -> None:
    """The law, on lines of one to three statements."""
    assert [*broken(dryer, store, seed)] == []


def _planted(monkeypatch: pytest.MonkeyPatch, what: str) -> None:
    if what == "denial":
        monkeypatch.setattr(clauses, "_with_denials", lambda words, items: [i for i in items if not i.has("<turn>")])
    elif what == "doubt":
        monkeypatch.setattr(hearing, "_doubts", lambda item, following: False)
    elif what == "unclear":
        monkeypatch.setattr(hearing.Hearer, "_turns", lambda *given: False)
    else:
        monkeypatch.setattr(hearing.Hearer, "_is_put_off", lambda *given: False)


@pytest.mark.parametrize(("seen", "right", "asked"), [("", 188, 5), ("later", 173, 21), ("third", 99, 12)])
def test_the_score_on_lines_of_somebody_who_had_not_seen_the_program(
    seen: str, right: int, asked: int, dryer: Appliance, store: Store
) -> None:
    """Nothing is harmful or wrong, and as many are understood as ever were. It may be raised; lowered only where a line is asked
    about that may be ("power off" was taken for the plug)."""
    lines = [each for each in score_lines.read(Path(__file__).with_name("lines.toml")) if each.get("seen", "") == seen]
    marks = Counter(score_lines.score(dryer, store, line)[0] for line in lines)
    assert len(lines) == (120 if seen == "third" else 200)
    assert marks["harmful"] == marks["wrong"] == 0
    assert marks["right"] >= right
    assert marks["asked"] <= asked


@pytest.mark.parametrize(
    "line", ["{} fuse OL", "{} thermal fuse blown", "new {} motor", "swapped the blower {}", "new motor {}"]
)
@pytest.mark.parametrize("word", ["wshr", "zq", "brkt"])
def test_a_word_that_may_make_another_part_of_it_is_asked_about(
    line: str, word: str, dryer: Appliance, store: Store
) -> None:
    """ "mtr fuse" was taken for the thermal fuse, "blower hsg" for the blower."""
    assert becomes(dryer, store, line.format(word), "any", READY)[0] == []


@pytest.mark.parametrize(
    "line", ["lint on front", "dent on the duct", "handle crosswise on gas pipe", "vent on outside wall"]
)
def test_what_lies_on_a_part_does_not_put_it_back(line: str, dryer: Appliance, store: Store) -> None:
    """Only an "on" at the end is a state."""
    assert becomes(dryer, store, line, "any", READY)[0] == []


@pytest.mark.parametrize("what", ["denial", "doubt", "unclear", "plan"])
def test_the_law_sees_a_planted_mistake(
    what: str, dryer: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader that overlooks denials, doubts, plans or what is left over breaks it."""
    _planted(monkeypatch, what)
    assert any([*broken(dryer, store, seed)] for seed in range(400))


def test_every_word_and_meaning_of_the_words_file_is_known(dryer: Appliance) -> None:
    """A rule of a word or an outcome that is not there would never be heard."""
    k, words = dryer.knowledge, words_of("gas_dryer")
    assert words is not None
    concepts = words.nouns | words.verbs | words.tools
    concepts |= {name for spelt in words.spelt.values() for _, name in spelt} | {name for _, name in words.begins}
    facts = {**k.context, **k.equipment}
    for rule in words.rules:
        assert {name for part in rule.parts for name in part.names} <= concepts, rule
        for each in rule.meaning.split():
            name, _, value = each.partition("=")
            known = {
                "finding": lambda n=name, v=value: (
                    v in {**k.observables[n].outcomes} if n in k.observables else v in facts[n].values
                ),
                "fact": lambda n=name, v=value: v in facts[n].values,
                "reading": lambda n=name, v=value: n in k.reading,
                "repair": lambda n=name, v=value: n in k.repair,
                "amount": lambda n=name, v=value: n in {**k.context, **k.check},
                "ask": lambda n=name: bool(n),
                "noted": lambda n=name, v=value, e=each: v in k.observables[n].outcomes and bool(words.told[e]),
                "machine": lambda n=name, v=value: (
                    n.partition(".")[0] in words.unplain or sayings.machine_item(k, n.partition(".")[0]) is not None
                ),  # these are asked
            }[rule.kind]
            assert known(), rule


@pytest.mark.parametrize(
    ("line", "asked"),
    [
        ("test load dried in 43 min", True),
        ("test load dried in 24 min", False),
        ("test load still damp after 50 min", False),
        ("static 0.9 in wc high", False),
        ("static 0.9 in wc low", True),
    ],
)
def test_a_word_that_says_another_outcome_than_the_number_is_asked_about(
    line: str, asked: bool, dryer: Appliance, store: Store
) -> None:
    """Neither of the two is taken."""
    steps, _, told = heard_from(dryer, store, line)
    assert (told.startswith("?  ") and not steps) is asked, told
