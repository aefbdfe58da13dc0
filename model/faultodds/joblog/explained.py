"""Phrases that a shop has explained: in a cell they stand as words of the trade of that meaning, so that what denies, doubts,
puts off or hands to somebody else a word of the trade does it to them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from msgspec import structs

from faultodds.job import Part, Rule, Words
from faultodds.joblog.clean import FOUND
from faultodds.joblog.stems import tokens
from faultodds.knowledge import Knowledge

Pairs = tuple[tuple[str, str], ...]
Own = Mapping[str, tuple[bool, Pairs]]
"""By the phrase as it is typed: whether it means nothing, and what it means as (clean column, value) pairs."""

APART: Final = re.compile(r"(\s*[;,+&/\n]\s*|\.\s+|\s+--?\s+|\s+(?:and|but)\s+)", re.I)
_NAME: Final = "shopphrase"
_EMPTY: Final = frozenset({"a", "an", "the", "is", "it", "its"})
_EDGE: Final = " .!?"


def exactly(text: str) -> str:
    """What two spellings of one phrase have in common that say the same: "will do coils" and "coils?" are not "coils"."""
    words = tokens(text, whole=True)
    said = [word for word in words if word not in _EMPTY] or words
    return " ".join(said or [text.strip()]) + ("?" if "?" in text else "")


class Explained:
    """The explained phrases of one column, each under a word of its own."""

    def __init__(self, own: Own) -> None:
        self._silent = {exactly(phrase) for phrase, (silent, pairs) in own.items() if silent or not pairs}
        meant = [(phrase, pairs) for phrase, (_, pairs) in sorted(own.items()) if exactly(phrase) not in self._silent]
        self._names = {phrase: _NAME + _letters(n) for n, (phrase, _) in enumerate(meant)}
        self._whole = {exactly(phrase).rstrip("?"): name for phrase, name in self._names.items()}
        self.pairs: dict[str, Pairs] = {self._names[phrase]: pairs for phrase, pairs in meant}
        """What each of the words means."""

    def is_silent(self, text: str) -> bool:
        """Whether the shop has said that a text means nothing."""
        return exactly(text) in self._silent

    def among(self, words: Words, knowledge: Knowledge) -> Words:
        """The words of an appliance with those that stand for the phrases."""
        rules = tuple(_rule(name, pairs, knowledge) for name, pairs in self.pairs.items())
        return _with_rules(words, rules) if rules else words

    def stand_in(self, text: str) -> str:
        """A cell with each phrase as its word. A phrase of one word must be all that stands between two commas: "duct" explained
        says nothing of "new duct"."""
        for phrase in sorted(self._names, key=len, reverse=True):
            said = re.findall(r"\w+", phrase)
            if len(said) > 1:
                spelt = r"\W+".join(said)
                text = re.sub(rf"(?<!\w){spelt}(?!\w)", self._names[phrase], text, flags=re.I)
        pieces = APART.split(text) if self._names else [text]
        return "".join(self._word(piece) for piece in pieces)

    def _word(self, piece: str) -> str:
        bare = piece.strip(_EDGE)
        name = self._whole.get(exactly(bare)) if bare else None
        return piece.replace(bare, name) if name else piece

    def back(self, text: str) -> str:
        """A text as it was typed."""
        for phrase, name in self._names.items():
            text = re.sub(rf"\b{name}\b", lambda _, phrase=phrase: phrase, text)  # type: ignore[misc]
        return text


def _letters(number: int) -> str:
    """A number in letters: a digit would be read as one."""
    return "".join(chr(ord("a") + int(digit)) for digit in str(number)) + "z"


def _rule(name: str, pairs: Pairs, knowledge: Knowledge) -> Rule:
    parts = (Part((name,), False),)
    found = [(column.removeprefix(FOUND), value) for column, value in pairs if column.startswith(FOUND)]
    if len(found) == len(pairs) and all(value in knowledge.observables[name].outcomes for name, value in found):
        return Rule("finding", " ".join("=".join(each) for each in found), parts)
    return Rule("repair", name, parts)


@lru_cache(maxsize=64)
def _with_rules(words: Words, rules: tuple[Rule, ...]) -> Words:
    names = [rule.parts[0].names[0] for rule in rules]
    return structs.replace(
        words,
        spelt={**words.spelt, **{name: [((name,), name)] for name in names}},
        nouns=words.nouns | {*names},
        rules=(*words.rules, *rules),
    )
