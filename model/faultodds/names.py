"""Names as people type them: exact, in other spelling, as a unique beginning, or as a near miss that is asked about."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Final

from faultodds.errors import UnknownName, unknown

LONGEST_LINE: Final = 1_000
"""Characters. Nobody types a longer line; one that is longer is not taken apart, whatever is in it."""

# Marks that cannot be seen or turn the direction of writing; control characters but for the line feed, halves of pairs.
_UNSEEN: Final = re.compile(
    r"[\xad\u061c\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufeff\ufff0-\ufffb\U000e0000-\U000e0fff]"
)
_OBEYED: Final = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufffe\uffff]")


def harmless(text: str) -> str:
    """Text of others as text: without what a terminal, a page or a spreadsheet would obey and not show."""
    return text if text.isprintable() else _OBEYED.sub(" ", _UNSEEN.sub("", text))


def capital(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]


def whole_percents(chances: Iterable[float]) -> list[int]:
    """Chances that exclude each other as whole percents that add up: to 100 where they are all there is, else to what they are
    together."""
    exact = [100.0 * p for p in chances]
    return whole_parts([*exact, max(100.0 - sum(exact), 0.0)])[:-1]  # the last is what is not told


def whole_parts(exact: Sequence[float]) -> list[int]:
    """The parts of a sum, none below 0, as whole numbers that add up to the rounded sum. Rounded up are those with the largest
    remainders (Hamilton's rule), the first where equal."""
    whole = [math.floor(x + 1e-9) for x in exact]
    last = sorted(range(len(whole)), key=lambda i: whole[i] - round(exact[i], 9))
    for i in last[: max(round(sum(exact)) - sum(whole), 0)]:
        whole[i] += 1
    return whole


@lru_cache(maxsize=4096)  # the names of a file are folded for every line that is typed
def fold(text: str) -> str:
    """Case, spaces, hyphens and punctuation made alike: "Igniter Ohms" -> "igniter_ohms"."""
    return "_".join("".join(c if c.isalnum() else " " for c in text.casefold()).split())


# Little words, and answers: they stand for no longer name that begins so ("i doubt it" is no igniter, "no" no "no_heat").
_NO_BEGINNING: Final = frozenset(
    {
        "an",
        "and",
        "at",
        "be",
        "by",
        "he",
        "i",
        "if",
        "in",
        "is",
        "it",
        "me",
        "my",
        "n",
        "no",
        "not",
        "of",
        "off",
        "on",
        "or",
        "she",
        "so",
        "the",
        "to",
        "us",
        "we",
        "y",
        "yes",
    }
)


def match(
    kind: str, typed: str, names: Iterable[str], words: Mapping[str, str] | None = None, next_step: str = ""
) -> str:
    """The one of `names` that `typed` stands for.

    Tried in turn: the name; the name or its `words` in other spelling; the only name that begins so; the only name of whose
    parts each begins so ("ig oh" for igniter_ohms), little words excepted; the only one of the same words in another order ("clock
    the meter"); the only one whose words contain what was typed. Raises UnknownName: when several fit it lists them, when none fits
    it names the nearest.
    """
    known = list(names)
    if typed in known:
        return typed
    wanted = fold(typed)
    if not wanted:
        raise unknown(kind, typed, known, next_step)
    for found in _readings(wanted, known, words or {}):
        if len(found) == 1:
            return found[0]
        if len(found) > 1:
            listed = ", ".join(f"'{n}'" for n in found[:8])
            raise UnknownName(f"'{typed}' fits more than one {kind}: {listed}. Type a little more of the name.")
    raise unknown(kind, typed, known, next_step)


def _readings(wanted: str, known: Sequence[str], words: Mapping[str, str]) -> Iterable[list[str]]:
    yield [n for n in known if fold(n) == wanted]
    yield [n for n in known if fold(words.get(n, "")) == wanted]
    if wanted not in _NO_BEGINNING:
        yield [n for n in known if fold(n).startswith(wanted)]
        yield [n for n in known if _parts_begin(wanted.split("_"), fold(n).split("_"))]
    same = set(wanted.split("_")) - {"a", "an", "the"}
    yield [n for n in known if same == set(fold(n).split("_"))]
    if len(wanted) >= 4:
        yield [n for n in known if wanted in fold(words.get(n, ""))]


def _parts_begin(typed: Sequence[str], parts: Sequence[str]) -> bool:
    """Whether each typed part begins a later part of the name, in order."""
    at = 0
    for piece in typed:
        while at < len(parts) and not parts[at].startswith(piece):
            at += 1
        if at == len(parts):
            return False
        at += 1
    return True


def rounded(value: float) -> float:
    """A number for JSON, rounded so that the last bits of a sum, which differ between machines, never show."""
    return float(f"{value:.6g}")
