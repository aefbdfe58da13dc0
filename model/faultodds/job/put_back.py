"""An answer that says a machine is put back, in the words of whoever did it: "all back, gas on no bubbles, plugged in".

Every word has to belong to a state of the machine or to the lists of `sayings.toml`; one that does not, a denial or a doubt
among them, and nothing is taken.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection
from functools import cache
from pathlib import Path

from msgspec import Struct

from faultodds.job.sayings import machine_item, plain, things_named, understand
from faultodds.job.words import grammar, listed
from faultodds.knowledge import Knowledge

# No phrase, phrase of a state, and answer has more words.
LONGEST_PHRASE, LONGEST_STATE, LONGEST_ANSWER = 8, 5, 20


class PutBack(Struct, frozen=True):
    """`items`: the access items named, open or not; `whole`: whether it was said that everything is put back."""

    items: dict[str, bool]
    whole: bool

    @property
    def closed(self) -> bool:
        """Whether everything is put back, and nothing that is named is not."""
        return self.whole and not any(self.items.values())


def closed_up(knowledge: Knowledge, line: str, state: Collection[str]) -> list[str]:
    """The panels, of the access items open in `state`, that a line says are on ("closed up"); what is shut off stays so."""
    if "?" in line or not _words()["panels"].fullmatch(plain(line)):
        return []
    shuts = {name for name, item in knowledge.access.items() if item.makes_safe}
    return [i for i in knowledge.access if i in state and shuts and shuts <= {*knowledge.access[i].requires}]


def put_back(knowledge: Knowledge, line: str) -> PutBack | None:
    """What an answer tells that is made of nothing else; None for any other, for a question, and where it contradicts itself."""
    words = plain(line).split()
    if "?" in line or not words or len(words) > LONGEST_ANSWER:
        return None
    # the readings of the first n words, each one the last phrase put to a shorter one; one that says all goes first
    known: list[PutBack | None] = [PutBack({}, False)]
    for end in range(1, len(words) + 1):
        ways = (_longer(knowledge, known[n], words[n:end]) for n in range(max(0, end - LONGEST_PHRASE), end))
        known.append(max((way for way in ways if way), key=lambda way: way.whole, default=None))
    return known[-1]


def _longer(knowledge: Knowledge, before: PutBack | None, words: list[str]) -> PutBack | None:
    """A reading with one phrase more; None where it is none, or contradicts what stands before it."""
    more = before and _phrase(knowledge, " ".join(words), len(words) <= LONGEST_STATE)
    if not before or not more or any(before.items.get(i, is_open) != is_open for i, is_open in more.items.items()):
        return None
    return PutBack({**before.items, **more.items}, before.whole or more.whole)


def _phrase(knowledge: Knowledge, phrase: str, state: bool) -> PutBack | None:
    whole, beside = _words()["whole"], _words()["beside"]
    if whole.fullmatch(phrase) or beside.fullmatch(phrase):
        return PutBack({}, bool(whole.fullmatch(phrase)))
    words = phrase.split()
    told = _states(knowledge, phrase) if state and "but" not in words else {}
    # what may be left out and changes nothing was not read: "soon", "bubbles"
    rest = {word: " ".join(words[:n] + words[n + 1 :]) for n, word in enumerate(words) if word not in _small()}
    idle = told and [
        w for w, left in rest.items() if left and not things_named(knowledge, w) and _states(knowledge, left) == told
    ]
    return PutBack(told, False) if told and not idle else None


def _states(knowledge: Knowledge, phrase: str) -> dict[str, bool]:
    said = understand(knowledge, phrase)
    items = [machine_item(knowledge, s.name) if s.kind == "machine" else None for s in said]
    return {} if None in items else {str(item): s.value == "off" for item, s in zip(items, said, strict=True)}


@cache
def _small() -> frozenset[str]:
    return frozenset(listed(grammar()["small"]["words"])) | {"again"}


@cache
def _words() -> dict[str, re.Pattern[str]]:
    own = tomllib.loads(Path(__file__).with_name("sayings.toml").read_text("utf-8"))["put_back"]
    return {name: re.compile(words if isinstance(words, str) else "|".join(words)) for name, words in own.items()}
