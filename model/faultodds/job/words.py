"""The words of a trade: what a spelling may stand for, and which sets of words together mean what.

`grammar.toml` beside this file holds what turns, doubts or puts off a thing, whatever the machine; `appliances/words` what the
parts and states of one are called. Both are read once.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from msgspec import Struct

from faultodds.files import words_file

# What the lists of `grammar.toml` do to what stands beside them.
ROLES = ("turn", "turn_end", "doubt", "plan", "hedge", "approx", "aside", "missing", "report", "somebody")
# A word of at least this many letters that is not known is read as the known one a slip away.
TYPO_LENGTH = 5
LONG = 8


class Part(NamedTuple):
    """One of a rule's words: any of `names`, said or denied; a number has the `unit` (its dimension), or may have none."""

    names: tuple[str, ...]
    denied: bool
    unit: str | None = None
    bare: bool = True
    optional: bool = False


class Rule(NamedTuple):
    """A set of words, and what they mean together: `kind` and NAME=VALUE or a name."""

    kind: str
    meaning: str
    parts: tuple[Part, ...]


class Words(Struct, frozen=True, eq=False):
    """Spellings by their first word, longest first, with the concepts they may be; the parts among those; the rules.
    With a name of `starts` or `ends` a longer name of another part begins or ends; `stated` and `stated_together` are what tells a
    state of the machine alone, and with another word; `unplain`: states of what is no thing of its own, with what is said of them.
    Never changed once made: what is worked out of them is remembered."""

    spelt: Mapping[str, list[tuple[tuple[str, ...], str]]]
    begins: list[tuple[str, str]]
    nouns: frozenset[str]
    verbs: frozenset[str]
    tools: frozenset[str]
    rules: tuple[Rule, ...]
    stated: frozenset[str]
    stated_together: frozenset[str]
    amounts: Mapping[str, Mapping[str, Any]]
    short: Mapping[str, str]
    units: Mapping[str, tuple[str, str]]
    itself: frozenset[str]
    neutral: frozenset[str]
    orders: frozenset[str]
    known: frozenset[str]
    grammatical: frozenset[str]
    turning: frozenset[str]
    small: frozenset[str]
    starts: frozenset[str]
    ends: frozenset[str]
    told: Mapping[str, str]
    unplain: Mapping[str, Mapping[str, Any]]


@cache
def grammar() -> dict[str, Any]:
    """The words that are no appliance's own."""
    return tomllib.loads(Path(__file__).with_name("grammar.toml").read_text("utf-8"))


@cache
def words_of(appliance: str) -> Words | None:
    """The words of an appliance, None when nobody has written them down."""
    own = own_words(appliance)
    return None if own is None else words_from(grammar(), own)


@cache
def own_words(appliance: str) -> dict[str, Any] | None:
    """What is written down of an appliance's words, None when nothing is."""
    path = words_file(appliance)
    return None if path is None else tomllib.loads(path.read_text("utf-8"))


def words_from(general: Mapping[str, Any], own: Mapping[str, Any]) -> Words:
    """Words put together from a grammar (as `grammar.toml`) and an appliance's own (as `appliances/words`)."""
    lists = {role: general[role]["words"] for role in ROLES}
    concepts = {**general["done"], **general["tool"], **own["part"], **own["state"]}
    spelt: dict[str, list[tuple[tuple[str, ...], str]]] = {}
    begins: list[tuple[str, str]] = []
    for name, spellings in [*((f"<{r}>", s) for r, s in lists.items()), *concepts.items(), *general["tool"].items()]:
        for spelling in listed(spellings):
            if spelling.endswith("*"):
                begins.append((spelling[:-1], name))
            else:
                spelt.setdefault(spelling.split()[0], []).append((tuple(spelling.split()), name))
    short = {s: word for word, spellings in general["short"].items() for s in listed(spellings)}
    units = {s: (name, u["of"]) for name, u in general["unit"].items() for s in [*listed(u["said"]), name.casefold()]}
    trade = {word for name, s in concepts.items() for each in listed(s) for word in each.split() if name in concepts}
    grammatical = {word for s in lists.values() for each in listed(s) for word in each.split()}
    parts = [(name, s) for name, spellings in own["part"].items() for s in listed(spellings)]
    rules = (*_rules(own),)
    of_machine = [rule.parts for rule in rules if rule.kind == "machine"]
    inside = [(s, longer) for name, s in parts for other, longer in parts if name != other and s in longer]
    return Words(
        spelt,
        begins,
        frozenset([*own["part"], *general["tool"]]),
        frozenset(general["done"]),
        frozenset(general["tool"]),
        rules,
        frozenset(n for parts in of_machine if len(parts) == 1 for n in parts[0].names),
        frozenset(n for parts in of_machine if len(parts) > 1 for part in parts for n in part.names),
        own["amount"],
        short,
        units,
        frozenset(listed(own["kinds"]["itself"])),
        frozenset(listed(own["kinds"]["neutral"])),
        frozenset(listed(own["kinds"]["orders"])),
        frozenset(w.rstrip("*") for w in trade - grammatical if len(w) >= TYPO_LENGTH),
        frozenset(w.rstrip("*") for w in grammatical if len(w) >= TYPO_LENGTH),
        frozenset(listed(lists["turn"])),
        frozenset([*listed(general["small"]["words"]), *listed(general["place"]["words"])]),
        frozenset(s for s, longer in inside if longer.startswith(f"{s} ")),
        frozenset(s for s, longer in inside if longer.endswith(f" {s}")),
        {name: each["told"] for name, each in own["noted"].items()},
        own["unplain"],
    )


def listed(text: str) -> list[str]:
    """The words and phrases of a list."""
    return [each.strip() for each in text.split(",") if each.strip()]


def _rules(own: Mapping[str, Any]) -> Iterator[Rule]:
    for kind in ("finding", "fact", "machine", "reading", "repair", "ask"):
        for meaning, sets in own[kind].items():
            for words in sets:
                yield Rule(kind, meaning, tuple(_part(word) for word in words.split()))
    for kind in ("amount", "noted"):
        for name, each in own[kind].items():
            yield from (Rule(kind, name, tuple(_part(word) for word in words.split())) for words in each["said"])


def _part(word: str) -> Part:
    if word.startswith("#"):
        return Part((), False, word.lstrip("#!"), not word.startswith("#!"))
    names = tuple(n for n in word.lstrip("!").rstrip("?").split("|") if n)
    return Part(names, word.startswith("!"), optional=word.endswith("?"))


@lru_cache(maxsize=1 << 14)
def mended(words: Words, word: str) -> str:
    """A word as it is known: another spelling of it, or the one known word that it misses by a slip; else as it is.

    A slip of a word that denies, doubts or puts off is that word, whatever else it may be.
    """
    word = words.short.get(word, word)
    if _LACKS_G.search(word) and word not in words.spelt and f"{word}g" in words.spelt:
        return f"{word}g"
    if word.isalpha() and word not in words.spelt and word not in words.units and word not in words.small:
        denial = next((t for t in sorted(words.turning) if t[0] == word[0] and slipped(word, t)), None)
        if denial:
            return denial
    if len(word) < TYPO_LENGTH or word in words.known | words.grammatical or word in words.spelt or not word.isalpha():
        return word
    if lives(word, off=False):  # "crackled" is no "cracked"
        return word
    turning = sorted(known for known in words.grammatical if known[0] == word[0] and slipped(word, known))
    if turning:
        return turning[0]
    close = [known for known in words.known if known[0] == word[0] and slipped(word, known)]
    return close[0] if len(close) == 1 else word


@cache
def lives(word: str, off: bool) -> bool:
    """Whether a word tells of what is live, sparks, trips or smells; beside what is `off`, of what is hot or moves as well."""
    words = [each for name in (("any", "off") if off else ("any",)) for each in listed(grammar()["alive"][name])]
    return any(word.startswith(each[:-1]) if each.endswith("*") else word == each for each in words)


def slipped(word: str, known: str) -> bool:
    """Whether one letter is missing, doubled, swapped with its neighbour or, in a long word, wrong; the first one is right."""
    if len(word) == len(known):
        wrong = [i for i in range(len(word)) if word[i] != known[i]]
        swapped = len(wrong) == 2 and wrong[1] == wrong[0] + 1 and sorted(word) == sorted(known)
        return swapped or (len(wrong) == 1 and len(known) >= LONG)
    less, more = sorted((word, known), key=len)
    return len(more) == len(less) + 1 and any(more[:i] + more[i + 1 :] == less for i in range(1, len(more)))


_LACKS_G = re.compile(r"[^aeiou]in$")
_MARK = re.compile(r"[\u2019']")


def small(text: str) -> str:
    """Small letters without apostrophes."""
    return _MARK.sub("", text.casefold())
