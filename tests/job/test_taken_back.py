"""The law of taking back: what a line takes back is never kept. What is right is read where it is one value of the same thing, else
the line is asked and nothing of it is entered. The same holds for a line that tells two values of one thing.

Lines are made of the tables of this file, which the program does not see; those of `taken_back.toml` were written before the code.
"""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from faultodds.belief import Appliance
from faultodds.job import Store, said, sayings
from faultodds.job.clearing import lacking
from said import becomes

LINES = tomllib.loads(Path(__file__).with_name("taken_back.toml").read_text("utf-8"))


class Told(NamedTuple):
    """Words for one thing, and for each of its values what stands behind them with what is entered then."""

    thing: str
    values: dict[str, str]


SHOWN = (
    Told("hood flap", {"strong": "hood_flap=strong", "weak": "hood_flap=weak"}),
    Told("lint screen", {"clean": "lint_screen_look=clean", "coated": "lint_screen_look=coated", "torn": "lint_screen_look=torn"}),
    Told("thermal fuse", {"open": "fuse_continuity=open", "closed": "fuse_continuity=closed", "OL": "fuse_continuity=open"}),
    Told("hi limit", {"blown": "high_limit_continuity=open", "beeps": "high_limit_continuity=closed"}),
    Told("coils", {"good": "coil_ohms=good", "bad": "coil_ohms=off"}),
    Told("igniter", {"60 ohm": "igniter_ohms=normal", "700 ohm": "igniter_ohms=high", "cracked": "igniter_ohms=open"}),
    Told("drum seal", {"tight": "seal_test=grips", "torn": "seal_test=loose"}),
    Told("drum", {"warm": "drum_warm=warm", "stone cold": "drum_warm=cold"}),
    Told("duct", {"clear": "duct_look=clear", "packed": "duct_look=lint"}),
    Told("belt", {"snapped": "belt_rollers_look=broken", "slipping": "belt_rollers_look=slipping"}),
)  # fmt: skip
DONE = (
    Told("swapped the", {"igniter": "repair=igniter", "motor": "repair=motor", "belt": "repair=belt_idler"}),
    Told("new", {"coils": "repair=coil_set", "thermal fuse": "repair=thermal_fuse", "drum seal": "repair=drum_seals"}),
)
STATES = (
    Told("power", {"off": "unplugged: yes", "on": "unplugged: no"}),
    Told("gas", {"off": "gas_shut: yes", "on": "gas_shut: no", "shut": "gas_shut: yes"}),
    Told("front", {"off": "front_open: yes", "back on": "front_open: no"}),
)
# Between what is wrong and what is right; at the end of a line as well.
BACK = (
    "strike that", "scrap what i said no scrub that", "no cancel that", "ignore it", "forget that", "erase that", "my bad",
    "sorry correction", "no my mistake", "typo", "misread", "oh never mind", "nvm", "delete that please", "belay that",
    "disregard that",
    "scrtach that", "scratch taht", "canceel that", "ignroe that", "corretion", "my mistkae", "neverr mind", "forgt that",
    "thats wrong", "tell a lie", "im wrong", "on second thoughts", "undo that", "reverse that", "i lied", "hang on scratch that",
    "got that wrong",
    "take that back", "wrong one", "as you were",
)  # fmt: skip
AT_END = (
    "wait", "hang on", "nope", "oops", "no", "whoops", "vice versa", "the other way about", "wrong way round", "not", "no its not",
    "wait its not", "no wait", "got them backwards", "wiat", "ooops", "the opposite", "actually not", "its really not", "undo",
    "cancel", "thats not true", "no it isnt", "hold on no",
)  # fmt: skip
BETWEEN = (
    "wait",
    "hold on",
    "no wait",
    "actually",
    "nope",
    "i mean",
    "sorry",
    "or rather",
    "make that",
    "oops",
    "wiat",
    "no,",
    "i meant",
)
JOINS = (", ", " ", ". ", " - ", "; ", "... ")


def made(pick: random.Random) -> tuple[str, set[str], set[str]]:
    """A line, what may be entered of it, and what may not."""
    first = pick.choice(pick.choice((SHOWN, SHOWN, DONE, STATES)))
    wrong, right = pick.sample([*first.values], 2)
    text, kept = f"{first.thing} {wrong}", {first.values[wrong]}
    if pick.random() < 0.2:  # what is taken back may be more than one thing
        other = pick.choice([t for t in (*SHOWN, *STATES) if t is not first])
        more = pick.choice([*other.values])
        text, kept, right = f"{other.thing} {more}{pick.choice((', ', ' and '))}{text}", {*kept, other.values[more]}, ""
    join = pick.choice(JOINS)
    if not right or pick.random() < 0.4:
        return text + join + pick.choice((*BACK, *AT_END)), set(), kept
    behind = pick.choice((right, f"its {right}", f"{first.thing} {right}"))
    if pick.random() < 0.2:
        other = pick.choice([t for t in SHOWN if t is not first])
        behind = f"{other.thing} {pick.choice([*other.values])}"
        return text + join + pick.choice(BACK) + pick.choice((" ", ", ")) + behind, set(), kept
    return text + join + pick.choice((*BACK, *BETWEEN)) + pick.choice((" ", ", ")) + behind, {first.values[right]}, kept


def broken(dryer: Appliance, store: Store, seed: int) -> Iterator[str]:
    """Where a line breaks the law."""
    pick = random.Random(seed)
    line, may, kept = made(pick)
    entered, told = becomes(dryer, store, line, pick.choice(("any", "complaint")))
    if {*entered} - may or not (entered or told.strip()):
        yield f"{line!r}: {entered} of {kept}, {told[:120]}"


@settings(deadline=None, max_examples=500, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 2**32))
def test_nothing_that_is_taken_back_is_kept(dryer: Appliance, store: Store, seed: int) -> None:
    """The law, on made lines."""
    assert [*broken(dryer, store, seed)] == []


def test_what_is_right_is_read_more_often_than_it_is_asked(dryer: Appliance, store: Store) -> None:
    """A reader that asked about every such line would keep the law as well."""
    lines = [
        (f"{t.thing} {a}, {back} {b}", t.values[b])
        for t in SHOWN
        for a in t.values
        for b in t.values
        for back in BACK[:6]
        if a != b
    ]
    read = [becomes(dryer, store, line)[0] == [right] for line, right in lines]
    assert sum(read) > 0.8 * len(lines)


def test_the_law_sees_a_planted_mistake(dryer: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader without those words breaks it."""
    monkeypatch.setattr(sayings, "taken_back", lambda *given: [])
    assert sum(bool([*broken(dryer, store, seed)]) for seed in range(100)) > 20


@pytest.mark.parametrize("each", [*LINES["line"], *LINES["plain"]], ids=lambda each: each["text"])
def test_lines_written_before_the_code(each: dict[str, object], dryer: Appliance, store: Store) -> None:
    """What each of them becomes, and none is passed over in silence."""
    entered, told = becomes(dryer, store, str(each["text"]))
    assert entered == each["becomes"], told
    assert told.strip()


ONE_OF_TWO = (
    "{a} but {b}",
    "{a}, {b}",
    "{a} and {b}",
    "{a} then {b}",
    "{a}; {b}",
    "{a} {b}",
    "{a}. {b}",
    "{b}, {a}",
    "{a} yet {b}",
)
BOTH = (
    (("unplugged", "plug out", "plug pulled"), ("power on", "plugged in", "plug in", "plugged back in"), "unplugged"),
    (("gas off", "gas shut", "shut the gas"), ("gas on", "gas open", "gas still on"), "gas_shut"),
    (("front off", "front panel off"), ("front on", "front back on"), "front_open"),
)  # fmt: skip


def both_told(dryer: Appliance, store: Store, seed: int) -> Iterator[str]:
    """Where a line that tells two states of one thing had one of them noted."""
    pick = random.Random(seed)
    off, on, item = pick.choice(BOTH)
    line = pick.choice(ONE_OF_TWO).format(a=pick.choice(off), b=pick.choice(on))
    entered, told = becomes(dryer, store, line)
    if any(each.startswith(item) for each in entered) or not told.strip():
        yield f"{line!r}: {entered} {told[:120]}"


def test_two_states_of_one_thing_are_asked(dryer: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither is noted; a reader that takes the last of them does not hold that."""
    assert [line for seed in range(400) for line in both_told(dryer, store, seed)] == []
    monkeypatch.setattr(sayings, "contradicted", lambda *given: "")
    monkeypatch.setattr(said, "contradicted", lambda *given: "")
    assert any([*both_told(dryer, store, seed)] for seed in range(200))


@pytest.mark.parametrize("back", ["scratch that", "my mistake", "that was wrong", "cancel that"])
def test_what_shows_that_it_is_safe_is_not_taken_back(back: str) -> None:
    """A test that somebody takes back shows nothing."""
    good = "soap tested every joint with the gas on, no bubbles"
    assert lacking(good, "gas") == ""
    assert back in lacking(f"{good}, {back}", "gas")


TAILS = tomllib.loads(Path(__file__).with_name("tails.toml").read_text("utf-8"))


@pytest.mark.parametrize("each", [*TAILS["line"], *TAILS["plain"], *TAILS["everyday"]], ids=lambda each: each["text"])
def test_a_tail_that_may_turn_the_rest_is_read_or_asked(
    each: dict[str, object], dryer: Appliance, store: Store
) -> None:
    """ "Clean, held water though" was taken for clean."""
    entered, told = becomes(dryer, store, str(each["text"]))
    assert entered == each["becomes"], told
    assert told.strip()


@pytest.mark.parametrize("tail", ["zqx {}", "it zqxes {}", "went zqx {}", "only at zqx {}"])
@pytest.mark.parametrize("turn", ["tho", "though", "however"])
def test_no_value_is_kept_beside_a_tail_that_nobody_knows(
    tail: str, turn: str, dryer: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is shown; and a reader that overlooks such a tail does not hold that."""
    lines = [f"{t.thing} {v}, {tail.format(turn)}" for t in (*SHOWN, *DONE) for v in t.values if "ohm" not in v]
    assert not any(becomes(dryer, store, line)[0] for line in lines)
    monkeypatch.setattr(said, "all_of_what_turns", lambda said, *given: said)
    assert any(becomes(dryer, store, line)[0] for line in lines)


@pytest.mark.parametrize("name", ["does_nothing", "does not start", "Does not start"])
def test_a_name_with_a_no_in_it_is_that_name(name: str, dryer: Appliance, store: Store) -> None:
    """Typed alone it is asked about; among the complaints it is a yes. It was taken for a denial."""
    assert "Does not start: 1 no" in becomes(dryer, store, name)[1]
    assert becomes(dryer, store, name, "complaint")[0] == ["does_nothing=yes"]


def test_the_no_of_a_name_takes_nothing_back(dryer: Appliance, store: Store) -> None:
    """`NAME=no` is a value; it was taken for a retraction of the name where the line was heard as words."""
    assert not any(s.kind == "ask" for s in sayings.understand(dryer.knowledge, "drum_still=no"))
