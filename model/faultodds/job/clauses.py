"""A typed line taken apart: thoughts, the words in each with what they may stand for, what is denied, and numbers with units."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise

from msgspec import Struct, structs

from faultodds.job.words import Words, grammar, listed, mended, small

SAID, DENIED, UNCLEAR = 0, 1, 2
# Work that was begun and is not done ("not taped yet", "one still to do"); what is only not run yet is done.
_HALF_DONE = re.compile(
    r"\byet\b|\bstill (?:to|off|out|open|undone|loose|hanging|need)|\b(?:to do|to go)\b|\bmissing\b"
    r"|\bleft (?:to do|off|open|loose)\b"
    r"|\bnot (?:taped|clamped|wired|tight|tightened|connected|plugged|finished|all|on)\b|\bhalf (?:done|way)\b"
    r"|\bneeds? to (?:put|finish|tape|clamp|wire|fit|refit|close)\b|\bunfinished\b"
)
_ONLY_TO_RUN = re.compile(r"\b(?:run|ran|test\w*|tried|try|check\w*|verif\w*|lit|fired?|started?)\b[^,.;]{0,14}\byet\b")
_NUMBER = re.compile(r"(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?k?|\.\d+k?")
_TOKEN = re.compile(
    r"\d+(?:st|nd|rd|th)\b|(?:(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?|\.\d+)(?:k\b)?|[a-z][a-z0-9]*|%|\?|\||/"
)
_BEFORE = (
    (r"\bw/o\b", " without "),
    (r"\bw/", " with "),
    (r"[&+]", " and "),
    (r"\b(?:[ae]\w*ng|all|none|every\w*) but\b", " except "),
    (r"\bm/s\b", " mps "),
    (r"\bft/min\b", " fpm "),
    (r"\bbtu/hr?\b", " btuh "),
    (r"\u2126|\u03c9", " ohm "),
    (r"\u00b0", " deg "),
    (r"\b(?:half|1/2) (?:a )?(?:cu(?:bic)? ?)?f(?:oo)?t\b", " .5 cu ft "),
    (r"\bt[- ]?stat\b", " thermostat "),
    (r"\b(?:sho?u?l?d|s?upposed? to) (?:be?|read|open at) (?:a )?~?[\d.]+\w*", " "),
    (r"\b(?:aint|dont) (?:got |have |get )?no\b", " no "),
    (r"(?<!\d)[.](?!\d)|(?<=\d)[.](?!\d)", " | "),
    (r"[,;:()\"](?!\d{3}\b)| -+ |\u2013|\u2014|\n", " | "),
    (r"(?<=[a-z])-(?=[a-z])", " "),
)
_VERBS = tuple(grammar()["done"])
_PUT = frozenset({"put", "stuck", "popped", "slapped", "threw", "dropped", "fitted", "installed"})
_BOTH = frozenset({"and", "the", "a", "are", "is", "both", "all", "my", "her", "his", "its"})
_OR_STATE = frozenset({"stuck", "slapped"})  # how a part is found as well
_PLACES = frozenset(listed(grammar()["place"]["words"]))


class Item(Struct, frozen=True):
    """A word or phrase: the concepts it may be, whether it is denied, and of a number its digits and unit.

    `turned_by` is the place of the word that denies it; `at` is its own place in the line.
    """

    at: int
    text: str
    names: frozenset[str]
    denied: int = SAID
    number: str = ""
    unit: str = ""
    measures: str = ""
    turned_by: int = -1
    placed: bool = False
    piece: int = 0

    def has(self, *names: str) -> bool:
        """Whether it may be one of these."""
        return not self.names.isdisjoint(names)


Clause = list[Item]


def half_done(line: str) -> bool:
    """Whether a line says of some work that it was begun and is not done."""
    text = line.casefold()
    return bool(_HALF_DONE.search(text)) and not _ONLY_TO_RUN.search(text)


@lru_cache(maxsize=64)  # of one sentence a log asks several things
def clauses(words: Words, line: str) -> list[list[Clause]]:
    """The thoughts of a line, each in the pieces that "and" joins; a denial reaches over an "and", not over a thought's end.
    Remembered, so not to be written into."""
    text = small(line)
    for pattern, instead in _BEFORE:
        text = re.sub(pattern, instead, text)
    tokens = [mended(words, token) for token in _TOKEN.findall(text)]
    thoughts: list[list[Clause]] = []
    for items in _read(words, tokens):
        if thoughts and thoughts[-1] and items and any(i.number for i in items) and not any(_content(i) for i in items):
            thoughts[-1][-1] += items  # a number alone goes with what came before: "opened at 127, its a 155"
        elif items:
            thoughts.append(_pieces(_with_denials(words, items)))
    return thoughts


def _read(words: Words, tokens: Sequence[str]) -> Iterator[Clause]:
    """The items of each thought; a part named behind the reading of another one begins a new thought: "exhaust 130 static .9"."""
    at = 0
    for part in _parted(tokens, {"|", "but", "/"}):
        items = [*_items(words, part, at)]
        at += len(part) + 1
        if items[-1].text == "on":  # "front on", not "lint on front"
            items[-1] = structs.replace(items[-1], names=_spelt(words, ["back", "on"], 0)[1])
        items = _put(words, items)
        if states := _states(words, items):
            yield from states
            continue
        begin = 0
        for n in range(1, len(items) - 1):
            begins = items[n - 1].number and items[n].names & words.nouns and not items[n].placed
            if begins and any(i.names & words.nouns for i in items[begin:n]):
                yield items[begin:n]
                begin = n
        yield items[begin:]


def _states(words: Words, items: Clause) -> list[Clause]:
    """Things of the machine each with how it is, where a line is nothing else: "breaker off gas off", "gas and power off"; else
    none."""
    states = words.stated_together - words.nouns
    found: list[Clause] = []
    things: Clause = []  # those that "and" joins, and of which no state was told yet
    joined = False
    for item in items:
        last = item.text.split()[-1]
        state = item if item.names & states else structs.replace(item, names=_spelt(words, [last], 0)[1])
        if things and joined and item.names & words.stated and last != item.text and state.names & states:
            found += [[thing, state] for thing in things] + [[item]]  # "plug and gas off"
            things = []
        elif things and item.names & states:
            found += [[thing, item] for thing in things]
            things = []
        elif (joined or not things) and item.names & words.stated_together & words.nouns - words.itself:
            things.append(item)
        elif not things and item.names & words.stated:
            found.append([item])
        elif item.text not in _BOTH:
            return []
        joined = item.text == "and" or (joined and item.text in _BOTH)
    return found if len(found) > 1 and not things else []


def _put(words: Words, items: Clause) -> Clause:
    """Where something that was put somewhere is put "back", it is no new one: "stuck the hose back on"; and what is only
    "stuck" was put nowhere."""
    verbs = [n for n, i in enumerate(items) if i.has(*_VERBS)]
    found = [*items]
    for n, after in pairwise([*verbs, len(items)]):
        word = items[n].text.split()[0]
        if word in _PUT and any(i.text.split()[0] == "back" for i in items[n + 1 : after]):
            found[n] = structs.replace(items[n], names=items[n].names - {"new"} | {"refitted"})
        elif items[n].text in _OR_STATE and not _has_object(words, items[n + 1 :]):
            denied = n and items[n - 1].has("<turn>")  # "flap wasnt stuck": neither way is anything done
            found[n] = items[n] if denied else structs.replace(items[n], names=items[n].names - {"new"})
    return found


def _has_object(words: Words, behind: Clause) -> bool:
    """Whether a part is put somewhere by the verb before: "stuck a new igniter in", not "stuck sensor" or "sensor stuck"."""
    at = next((n for n, i in enumerate(behind) if i.names & words.nouns), None)
    if at is None or any(i.has(*_VERBS) and not i.has("new") for i in behind[:at]):
        return False
    return (at > 0 and behind[0].text != "about") or behind[-1].text in ("in", "on")


def _content(item: Item) -> bool:
    return any(not name.startswith("<") for name in item.names)


def _parted(tokens: Sequence[str], ends: set[str]) -> Iterator[list[str]]:
    part: list[str] = []
    for token in [*tokens, min(ends)]:
        if token in ends:
            if part:
                yield part
            part = []
        else:
            part.append(token)


def _pieces(items: Clause) -> list[Clause]:
    pieces: list[Clause] = [[]]
    for item in items:
        if item.text == "and":
            pieces.append([])
        else:
            pieces[-1].append(structs.replace(item, piece=len(pieces)))
    return [piece for piece in pieces if piece]


def _items(words: Words, tokens: Sequence[str], at: int) -> Iterator[Item]:
    i = 0
    while i < len(tokens):
        length, names = _spelt(words, tokens, i)
        placed = any(t in _PLACES for t in tokens[max(0, i - 2) : i + 1])
        if _NUMBER.fullmatch(tokens[i]) and length < 2:
            length, unit, measures = _unit(words, tokens, i)
            yield Item(at + i, " ".join(tokens[i : i + length]), frozenset(), SAID, tokens[i], unit, measures)
        else:
            yield Item(at + i, " ".join(tokens[i : i + length]), names, placed=placed)
        i += length


def _spelt(words: Words, tokens: Sequence[str], i: int) -> tuple[int, frozenset[str]]:
    """How many of the words from `i` on are one known phrase, the longest, and what that may be."""
    fitting = [(p, n) for p, n in words.spelt.get(tokens[i], ()) if tuple(tokens[i : i + len(p)]) == p]
    if tokens[i] in words.turning:  # "no lint screen" is no "no lint" and a screen
        fitting = [(p, n) for p, n in fitting if not _runs_on(words, tokens, i, len(p))]
    longest = max((len(p) for p, _ in fitting), default=1)
    names = {n for p, n in fitting if len(p) == longest}
    if longest == 1:
        names |= {n for begin, n in words.begins if tokens[i].startswith(begin)}
    return longest, frozenset(names)


def _runs_on(words: Words, tokens: Sequence[str], i: int, length: int) -> bool:
    """Whether a phrase begins inside the one from `i` on and goes on beyond it."""
    return any(
        tuple(tokens[at : at + len(p)]) == p and at + len(p) > i + length
        for at in range(i + 1, i + length)
        for p, _ in words.spelt.get(tokens[at], ())
    )


def _unit(words: Words, tokens: Sequence[str], i: int) -> tuple[int, str, str]:
    for count in (4, 3, 2, 1):
        spelt = " ".join(tokens[i + 1 : i + 1 + count])
        if len(tokens) >= i + 1 + count and spelt in words.units:
            unit, measures = words.units[spelt]
            return 1 + count, unit, measures
    return 1, "", "ohm" if tokens[i].endswith("k") else ""


def _with_denials(words: Words, items: Clause) -> Clause:
    """What is denied: what follows a "no"; what comes after that could be meant as well, unless a "but" or the like parts them."""
    found: Clause = []
    turned, state = -1, SAID
    last = max((n for n, i in enumerate(items) if _content(i) or i.number), default=0)
    for n, item in enumerate(items):
        own_no = item.text.split()[0] in words.turning and not item.has("<turn>")
        if item.has("advised") and not state:  # what somebody was told to leave is told all the same
            return [*found, *items[n:]]
        if own_no and not (found and found[-1].has("<turn>")):
            turned, state = -1, SAID
        if item.has("<turn>"):
            turned, state = item.at, DENIED
        elif item.has("<turn_end>"):
            turned, state = -1, SAID
        elif item.text in ("or", "nor") and state:
            state = DENIED
        elif state and (item.number or (item.names - {"<approx>"} and (item.text not in _PLACES or n == last))):
            noun = bool(item.names & words.nouns)
            denied = SAID if state == UNCLEAR and noun else state
            found.append(structs.replace(item, denied=denied, turned_by=turned if denied == DENIED else -1))
            state = UNCLEAR
            continue
        found.append(item)
    return found
