"""The words that a log is heard with: an appliance's own with those that only logs use; sentences; what is short written out."""

from __future__ import annotations

import re
from functools import cache, lru_cache
from typing import Final

from faultodds.job import Words, grammar, own_words, words_from
from faultodds.joblog.stems import REMEMBERED, key, trade, vocabulary

_SENTENCE: Final = re.compile(r"\s*[;|\n]+\s*|(?<=[^\W_])[.!]+\s+(?=\S)|\s+/+\s+|\s+[\u2013\u2014]\s+|[.!]+$")
_STRUNG: Final = re.compile(r"\s\+\s")
_WORD: Final = re.compile(r"[^\W\d_]+")


@lru_cache(REMEMBERED)
def written(appliance: str, text: str) -> str:
    """A text with what a log writes short written out."""
    text = text.replace("\u2019", "'")
    for pattern, instead in _shorthand(appliance):
        text = pattern.sub(instead, text)
    short, words = vocabulary()["short"], words_of(appliance)
    spelt = {} if words is None else words.spelt
    return _WORD.sub(lambda m: m[0] if m[0].casefold() in spelt else short.get(m[0].casefold(), m[0]), text)


@cache
def _shorthand(appliance: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    pairs = {**trade(appliance).get("written", {}), **vocabulary()["written"]}
    return tuple((re.compile(pattern, re.I), f" {instead} ") for instead, pattern in pairs.items())


@cache
def known(appliance: str) -> frozenset[str]:
    """The keys of every spelling of an appliance's words."""
    words = words_of(appliance)
    return frozenset(key(spelling) for spelling in words.spelt) if words else frozenset()


@cache
def words_of(appliance: str) -> Words | None:
    """The words of an appliance with those that only logs use."""
    own = own_words(appliance)
    if own is None:
        return None
    log = trade(appliance).get("grammar", {})
    general = grammar()
    for group, words in vocabulary()["grammar"].items():
        general = {
            **general,
            group: {n: f"{general[group].get(n, '')}, {w}".strip(", ") for n, w in words.items()}
            | {n: w for n, w in general[group].items() if n not in words},
        }
    merged = dict(own)
    for group in ("part", "state"):
        added = log.get(group, {})
        merged[group] = {**own[group], **{n: f"{own[group].get(n, '')}, {w}".strip(", ") for n, w in added.items()}}
    for group in ("finding", "repair", "reading"):
        merged[group] = dict(own[group])
        for meaning, sets in log.get(group, {}).items():
            merged[group][meaning] = [*own[group].get(meaning, []), *sets]
    return words_from(general, merged)


def sentences_of(text: str, work: bool) -> list[str]:
    """The sentences of a cell; work done is strung together with a plus as well."""
    text = _STRUNG.sub("; ", text) if work else text
    found = [part.strip(" .,") for part in _SENTENCE.split(_abbreviated(text.strip()))]
    return [part for part in found if part]


def _abbreviated(text: str) -> str:
    """A text with the points of its abbreviations taken out: "cent. switch", "duct co."."""
    return _points().sub(lambda m: m[1], text)


@cache
def _points() -> re.Pattern[str]:
    return re.compile(rf"\b({'|'.join(vocabulary()['points']['words'])})\.", re.I)


@cache
def silent() -> frozenset[str]:
    """The keys of sentences that say nothing that is kept."""
    return frozenset(key(text) for text in vocabulary()["silent"]["words"])


@cache
def states() -> re.Pattern[str]:
    """How a part is found, beside which its name alone is no work."""
    return re.compile(rf"\b(?:{'|'.join(vocabulary()['states']['words'])})\b")


@cache
def any_part() -> frozenset[str]:
    """Words that name no part in particular."""
    return frozenset(vocabulary()["any_part"]["words"]) | around_a_part()


@cache
def nothing_done() -> re.Pattern[str]:
    """A visit that ended with nothing done."""
    return re.compile(rf"\b(?:{'|'.join(vocabulary()['nothing_done']['words'])})\b", re.I)


@cache
def around_a_part() -> frozenset[str]:
    """Words that may stand beside a part in a list of parts."""
    return frozenset(vocabulary()["around_a_part"]["words"])


def without_places(appliance: str, text: str) -> str:
    """A text without what only says how far, from where or near what part something was done: "up to the hood"."""
    pattern = _place(appliance)
    return " ".join(pattern.sub(" ", text).split()) if pattern and pattern.search(text) else text


@cache
def _place(appliance: str) -> re.Pattern[str] | None:
    words = words_of(appliance)
    if words is None:
        return None
    parts = {" ".join(p) for spelt in words.spelt.values() for p, name in spelt if name in words.nouns - words.itself}
    named = "|".join(re.escape(part) for part in sorted(parts, key=lambda p: (-len(p), p)))
    where = "|".join(vocabulary()["places"]["words"])
    return re.compile(rf"\b(?:{where}) (?:the |a |its |their )?(?:{named})(?: (?:end|side))?(?!\w)", re.I)
