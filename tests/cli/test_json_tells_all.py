"""What a screen says in sentences is in the object of `--json` too: a program that reads it warns of as much as the screen."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest

from faultodds.knowledge import load
from run_cli import faultodds

# Tables, whose numbers have fields of their own, and what tells how to read or go on.
TABLES = (
    "CHECKS, BEST FIRST",
    "REPAIRS, IF YOU",
    "FAULT ODDS",
    "TAKE ",
    "WITH ",
    "STAYS BEHIND",
    "Known: ",
    "to finish",
    "ASK BEFORE",
)
LEGENDS = (
    r"Nothing that is worth asking", r"over at the door", r"Saves: ", r"further visits that",
    r"money over the whole job", r"What two answers would both tell", r"Then load: faultodds", r"Enter the answer",
    r"If nobody knows", r"Then enter what it shows", r"Then run the machine and enter", r"One visit is enough when",
    r"Work that depends on it is not offered", r"Finished in one visit", r"No part helps with the rest",
    r"Plan \d+ minutes", r"four in five such", r"Travel is not in it", r"More: ", r"PLAN from here",
    r"finished today", r"To finish and so far", r"A line that ends in", r"What comes after it is a rough sum",
    r"Each branch is looked at", r"Chances stand on", r"Finished today", r"Ask as well", r"CAUTIONS FOR", r"AT ONCE",
    r"BEFORE ANYTHING IS LOADED", r"First: ", r"DO NEXT", r"Not told about this machine", r"CHECK\.", r"REPAIR\.",
    r"hand the job over", r"over: ", r"Ask on the telephone", r"Note: ", r"QUALIFIED PEOPLE ONLY",
    r"If that is not you", r"No complaint given", r"Left out: rare", r"Then type repair", r"Look once more",
    r"somebody else's work", r"Then it is awaited", r"Then verify", r"It is run after that",
)  # fmt: skip
CALLS: tuple[tuple[str, ...], ...] = (
    ("--found", "heat=none", "--found", "burning_smell=yes"),
    ("--found", "cabinet_hot=yes"),
    ("--found", "heat=none", "--found", "other_appliances=dead"),
    ("--found", "dry_time=longer", "--fact", "fuel=propane", "--found", "room_humid=yes"),
)
COMMANDS: tuple[tuple[str, ...], ...] = (
    ("ask",),
    ("next",),
    ("stock", "--shelf", "4"),
    ("next", "--plan", "--depth", "1", "--nodes", "4"),
)


def _strings(answer: Any) -> Iterator[str]:
    if isinstance(answer, dict):
        for name, each in answer.items():
            yield name
            yield from _strings(each)
    elif isinstance(answer, list):
        for each in answer:
            yield from _strings(each)
    elif isinstance(answer, str):
        yield answer


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z_]+", text.casefold()))


def _sentences(screen: str) -> Iterator[str]:
    for block in re.split(r"\n\s*\n", screen):
        text = " ".join(block.split())
        if text and not any(name in text[:40] for name in TABLES) and "|- " not in block:
            yield from re.split(r"(?<=[.?!])\s+(?=[A-Z!\d])|(?<=:)\s+(?=[A-Z])", text)


def _untold(command: tuple[str, ...], call: tuple[str, ...]) -> list[str]:
    """Sentences of the screen of which no field tells."""
    k = load("gas_dryer")
    answer = json.loads(faultodds(*command, *call, "--json").out)
    told = [*_strings(answer), *(o.title for o in k.observables.values()), *(r.title for r in k.repair.values())]
    fields = " | ".join(map(_plain, told))
    untold = []
    for sentence in _sentences(faultodds(*command, *call).out):
        whole = re.sub(r"^(?:!! |\d+\. )+", "", sentence)
        bare = _plain(re.sub(r"\([^()]*\)|\b\w+=.*", "", whole))  # without the minutes and answers behind it
        legend = any(re.search(each, sentence) for each in LEGENDS)
        if len(bare.split()) > 3 and bare not in fields and _plain(whole) not in fields and not legend:
            untold.append(sentence)
    return untold


@pytest.mark.parametrize("call", CALLS, ids=" ".join)
@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_what_the_screen_says_has_its_field(command: tuple[str, ...], call: tuple[str, ...]) -> None:
    """Sentence by sentence."""
    assert _untold(command, call) == []


def _answer(*argv: str) -> dict[str, Any]:
    found = json.loads(faultodds(*argv, "--json").out)
    assert isinstance(found, dict)
    return found


def test_the_customer_is_told_by_a_field_how_to_use_it_meanwhile() -> None:
    """Whether it is used, and each sentence."""
    told = [
        _answer("ask", "--found", found, "--top", "1")["until_the_visit"]
        for found in ("burning_smell=yes", "cabinet_hot=yes", "dry_time=longer")
    ]
    assert [each["used"] for each in told] == ["no", "better not", "yes"]
    assert "Nothing is switched on" in told[0]["told"][-1] and told[2]["told"] == []


def test_what_is_told_in_few_words_has_a_field() -> None:
    """Facts not told, work for qualified people, what does not fit, who comes first, what the load hangs on."""
    answer = _answer(
        "next", "--found", "heat=none", "--found", "hood_flap=strong", "--found", "hood_air_speed=very_low"
    )
    assert "timer" in answer["not_told"]["control"] and answer["misfits"]
    checks = {each["check"]: each["qualified"] for each in answer["checks"]}
    assert checks == {name: load("gas_dryer").check[name].qualified for name in checks}
    assert "control" in _answer("next", "--plan", "--depth", "1", "--found", "heat=none")["not_told"]
    aboard = _answer("stock", "--shelf", "3", "--found", "heat=none", "--found", "other_appliances=dead")
    assert aboard["first"] == "gas_supplier" and aboard["ask"] is None
    assert _answer("stock", "--shelf", "3", "--found", "heat=none")["ask"]["name"] == "drum_still"
