"""An answer that a machine is put back: taken when every word says so, in whatever order, never with a denial or doubt."""

from __future__ import annotations

import random
from itertools import product
from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench, looked_at
from faultodds.job import put_back, sayings
from faultodds.knowledge import Knowledge
from faultodds.knowledge.loading import load

WHOLE = (
    "all back together",
    "everything back on",
    "its all buttoned up",
    "put back together",
    "dryer is back in one piece",
    "closed back up",
    "all reassembled",
    "ready to run again",
    "all back in place",
    "she's all closed up now",
)
AGREES = (
    "gas on",
    "gas cock open",
    "plugged in",
    "plugged back in",
    "power on",
    "front on",
    "duct on",
    "plug in",
    "gas back on",
    "duct back on",
)
BESIDE = ("no bubbles", "soap test ok", "leak tested", "no leaks", "joints dry", "running", "clamp tight")
# Beside any of these nothing is put back, or not all of it, or nobody knows.
NOT_SO = (
    "gas off",
    "gas still shut",
    "not plugged in",
    "unplugged",
    "front off",
    "front still off",
    "duct off",
    "not yet",
    "i think",
    "nearly",
    "almost",
    "except the duct",
    "but the gas",
    "apart from the front",
    "minus two screws",
    "hopefully",
    "maybe",
    "soon",
    "tomorrow",
    "in a minute",
    "will be",
    "gas not on",
    "needs plugging in",
    "didnt plug it in",
    "never",
    "bubbles",
    "a few bubbles",
    "smell gas",
    "says the wife",
    "?",
)
JOINS = (" ", ", ", " and ", "; ")


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    return load("gas_dryer")


def _line(parts: list[str], rng: random.Random) -> str:
    rng.shuffle(parts)
    return "".join(part + rng.choice(JOINS) for part in parts).rstrip(" ,;").removesuffix(" and")


def test_what_says_in_every_word_that_it_is_put_back_is_taken(dryer: Knowledge) -> None:
    """In whatever order and joined however; the states it names are as they were told."""
    rng = random.Random(5)
    missed = []
    for whole, agrees, beside in product(WHOLE, AGREES, BESIDE):
        line = _line([whole, agrees, beside], rng)
        told = put_back(dryer, line)
        if told is None or not told.whole or any(told.items.values()):
            missed.append(line)
    assert not missed, (len(missed), missed[:20])


def _taken_as_whole(dryer: Knowledge, seed: int) -> list[str]:
    rng = random.Random(seed)
    lines = []
    for whole, wrong in product(WHOLE, NOT_SO):
        for count in range(3):
            lines.append(_line([whole, wrong, *rng.sample(AGREES + BESIDE, count)], rng))
    told = {line: put_back(dryer, line) for line in lines}
    return [line for line, said in told.items() if said and said.whole and not any(said.items.values())]


def test_a_denial_a_doubt_or_what_is_still_open_is_never_put_back(
    dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Planted: words that are not known are passed over."""
    assert not _taken_as_whole(dryer, 6)
    module = put_back.__globals__
    known = module["_phrase"]
    monkeypatch.setitem(module, "_phrase", lambda *said: known(*said) or module["PutBack"]({}, False))
    assert len(_taken_as_whole(dryer, 6)) > 100


def test_states_are_read_in_a_row(dryer: Knowledge) -> None:
    """With nothing between them; one that contradicts another is no answer."""
    told = put_back(dryer, "plugged in gas on front off")
    power, gas, front = (str(sayings.machine_item(dryer, each)) for each in ("power", "gas", "front"))
    assert told is not None and not told.whole and told.items == {power: False, gas: False, front: True}
    assert put_back(dryer, "gas on gas off") is None and put_back(dryer, "") is None


@pytest.mark.parametrize(
    ("answers", "asked_again"),
    [
        (["all back together, plugged in gas on"], 0),
        (["all good", "yes"], 1),
        (["all back but gas still shut", "gas on", "plugged in duct on"], 2),
    ],
)
def test_the_call_goes_on_once_it_is_put_back(tmp_path: Path, answers: list[str], asked_again: int) -> None:
    """After work that opened it, with what was typed meanwhile kept."""
    start = ("dry_time=longer", "hood_flap=weak", "plug out, gas off", "cleaned the duct")
    out = bench(tmp_path, *STRAIGHT_ON, *start, *answers, "leave").out
    assert out.count("Is the machine like this now") == asked_again + 1
    with looked_at(tmp_path) as visit:
        assert not visit.state and not visit.job.unsettled


def test_what_is_typed_instead_is_said_to_be_kept(tmp_path: Path) -> None:
    """And entered once the machine is plain."""
    start = ("dry_time=longer", "hood_flap=weak", "plug out, gas off", "cleaned the duct")
    out = bench(tmp_path, *STRAIGHT_ON, *start, "room_humid=yes", "yes", "leave").out
    assert "Kept for when that is plain: room_humid=yes" in out
    with looked_at(tmp_path) as visit:
        assert any(p.finding.name == "room_humid" for p in visit.job.findings)


def test_all_back_is_taken_at_any_time_with_what_was_shut_off(tmp_path: Path) -> None:
    """Gas and power have to be named; the panels are in the all."""
    lines = ("heat=none", "unplugged, gas off, front off", "all back together", "all back together, gas on, plugged in")
    out = bench(tmp_path, *STRAIGHT_ON, *lines, "leave").out
    assert "That too? Say all of it, such as: all back, plugged in, gas cock open (soap-test)." in " ".join(out.split())
    with looked_at(tmp_path) as visit:
        assert not visit.state
