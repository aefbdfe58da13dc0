"""Words as a shop writes them, reduced to what tells them apart: "Cln'd the vents" and "cleaned vent" are one key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Final

from faultodds.files import words_file

WORDS_FILE: Final = Path(__file__).with_name("words.toml")

NO: Final = "no"
LONGEST_BLANK: Final = 16
REMEMBERED: Final = 1 << 16
_ENDINGS = ("ing", "ed", "es", "s", "e", "y")
_WORD = re.compile(r"\d+(?:[.,]\d+)*|[^\W\d_]+|%")


@cache
def vocabulary() -> dict[str, Any]:
    """The words of the trade (words.toml)."""
    with WORDS_FILE.open("rb") as handle:
        return tomllib.load(handle)


@cache
def trade(appliance: str) -> dict[str, Any]:
    """An appliance's own words in logs (appliances/words/..._log.toml); empty when nobody has written them down."""
    path = words_file(f"{appliance}_log")
    return {} if path is None else tomllib.loads(path.read_text("utf-8"))


OTHER: Final = "other"
"""What another machine is called in the column that says which machine a row is about."""


def machine_called(appliance: str) -> str:
    """What an appliance is called there."""
    return str(trade(appliance).get("machine", {}).get("called", appliance))


@cache
def _written_out() -> dict[str, list[str]]:
    words = vocabulary()
    return {short: full.split() for short, full in {**words["short"], **words["same"]}.items()}


@cache
def _set(group: str) -> frozenset[str]:
    return frozenset(vocabulary()[group]["words"])


@lru_cache(REMEMBERED)
def tokens(text: str, whole: bool = False) -> tuple[str, ...]:
    """The words of a text that say something, written out, without endings; every negative is "no". `whole`: fillers as well."""
    plain = (
        text.casefold()
        .replace("w/o", " without ")
        .replace("w/", " with ")
        .replace("\u03c9", " ohm")
        .replace("\u2126", " ohm")
        .replace("'", "")
        .replace("’", "")
    )
    negative, filler = _set("negative"), _set("filler")
    raw = [word for piece in _WORD.findall(plain) for word in _expanded(piece)]
    if len(raw) == 1:
        return (stem(raw[0]),)  # "never", "none" and "no" alone are three answers
    kept = [NO if word in negative else stem(word) for word in raw if whole or word not in filler]
    return tuple(kept or [NO if word in negative else stem(word) for word in raw])


def _expanded(word: str) -> list[str]:
    first = _written_out().get(word, [word])
    return [again for part in first for again in _written_out().get(part, [part])]


def stem(word: str) -> str:
    if len(word) < 4 or word[0].isdigit():
        return word
    for ending in _ENDINGS:
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            word = word[: -len(ending)]
            break
    return word[:-1] if len(word) > 3 and word[-1] == word[-2] else word


@lru_cache(REMEMBERED)
def key(text: str) -> str:
    """What two spellings of one phrase have in common."""
    return " ".join(tokens(text))


def loose(phrase: str) -> str:
    """A key without regard to word order; a phrase with a negative keeps its order, since the order is its meaning."""
    words = phrase.split()
    return phrase if NO in words else " ".join(sorted(words))


def negatives(phrase: str) -> int:
    """How many negatives a key has: two phrases that differ in it are never near each other."""
    return phrase.split().count(NO)


def is_blank(text: str) -> bool:
    """Whether a cell says nothing at all."""
    if not text:
        return True
    # No such word begins with a digit, and most cells of a log do.
    return len(text) < LONGEST_BLANK and not text[0].isdigit() and text.strip().casefold() in _set("blank")


# --- one word standing for another, in headings --------------------------------------------------------------------


@lru_cache(REMEMBERED)
def likeness(first: tuple[str, ...], second: tuple[str, ...]) -> float:
    """How alike two headings are, 0 to 1: words that match, abbreviate or nearly spell each other, over all words."""
    if not first or not second:
        return 0.0
    there = sum(max(_word_likeness(a, b) for b in second) for a in first) / len(first)
    back = sum(max(_word_likeness(a, b) for a in first) for b in second) / len(second)
    return 2 * there * back / (there + back) if there + back else 0.0


@cache
def _word_likeness(a: str, b: str) -> float:
    if a == b:
        return 1.0
    if a[0].isdigit() or b[0].isdigit() or a[0] != b[0]:
        return 0.0
    short, full = sorted((a, b), key=len)
    if len(short) >= 3 and full.startswith(short):
        return 0.9
    from rapidfuzz.fuzz import ratio

    if len(short) >= 4 and ratio(a, b) >= 85:
        return 0.9
    return 0.75 if len(short) >= 3 and _is_drawn_from(short, full) else 0.0


def _is_drawn_from(short: str, full: str) -> bool:
    letters = iter(full)
    return all(letter in letters for letter in short)


def keys(phrases: Iterable[str]) -> list[str]:
    """The keys of several phrases, once each, in order, empty ones left out."""
    return [k for k in dict.fromkeys(map(key, phrases)) if k]
