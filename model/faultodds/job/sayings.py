"""What technicians say, in the program's own terms: findings, facts, missing tools, doubts, the machine's state, commands.

Only whole lines are understood, from the lists of `sayings.toml`; what is not there is left to the names of the knowledge
file, and then asked about. Nothing is ever understood as more than was said.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from faultodds.job.clauses import clauses
from faultodds.job.fits import things_of
from faultodds.job.hearing import hear_line
from faultodds.job.retracting import taken_back, takes_back as takes_back
from faultodds.job.said import Kind, Said as Said, alive, contradicted
from faultodds.job.words import grammar, listed, words_of
from faultodds.knowledge import Knowledge
from faultodds.names import LONGEST_LINE

_NO_TOOL = (
    r"(?:ive |i have |got |theres |have )?(?:no|without|forgot|left|lost|dont have|havent got|not got|missing)"
    r"(?: the| a| an| my| any)* (?:{0})(?: here| with me| today| on me| in the van| at home)?"
    r"|(?:my |the )?(?:{0}) (?:is |s )?(?:dead|broken|bust|missing|left behind|in the van|at home|flat)"
)
# Not now, not always, or so somebody says: what stops the machine is asked about all the same.
_AT_TIMES = (
    r"\b(?:sometimes|at times|now and (?:then|again)|used to be|was|were|has been|had been|earlier|once|a bit|slightly"
    r"|(?:before|until|till|after)\b.*|(?:she|he|they|customer|cust|tenant|owner)(?: thinks| says| said| reckons)?)\b"
)
_NO_FIRST = re.compile(r"(?i)\s*(?:no|nope|nah)\s*[,;:.]\s*(.*\S)")
_JOINS = re.compile(r"\s+(?:and|but)\s+|\s*[,;:]\s*(?:and |but )?")
_THOUGHTS = re.compile(r"\s*[,;:]\s*(?:and |but )?|\s+but\s+|\.(?!\d)\s*")
_SETTING = re.compile(r"(?i)\b(?:at|on)\s+no[-\s]heat\b|\bno[-\s]heat\s+(?:selected|setting|cycle|mode|position)\b")
# "Reopened" and "back on" tell that somebody here had shut it.
_OPENED = re.compile(r"(?i)\b(?:opened|turned|switched)\b(?!.*\b(?:again|back)\b)")
# What is not so now and was.
_ONCE = re.compile(
    r"(?i)\bany\s?more\b|\bany longer\b|\bno longer\b|\bno more\b|\bstopped being\b|\b(?:went away|by itself)\b"
)


def understand(knowledge: Knowledge, line: str) -> list[Said]:
    """Everything a line says, when all of it is understood; else an empty list.

    A setting ("at no heat") is no finding; and that a danger is there no more tells that it was there, so it is asked about.
    """
    if len(line) > LONGEST_LINE:
        return []
    if setting := _SETTING.search(line):
        return [Said("ask", f"'{setting[0]}' is taken for a setting. Type what was seen as NAME=OUTCOME.", "", line)]
    if not _one(knowledge, line) and (right := taken_back(knowledge, line, understand)):
        return right
    said = _understood(knowledge, line)
    if both := contradicted(said):
        return [Said("ask", f"'{line.strip()}': {both}. Nothing was noted. Type the one that is so now.", "", line)]
    over = [s for s in said if s.kind == "finding" and _ONCE.search(line) and _good_of_a_danger(knowledge, s)]
    if over:
        name, good = over[0].name, over[0].value
        was = " | ".join(sorted(knowledge.observables[name].bars))
        told = f"It was so once, then? If that has not been entered: {name}={was}. What it shows now: {name}={good}"
        return [Said("ask", told, "", line)]
    return [replace(s, text=s.text or line) if s.kind == "machine" else s for s in said]


def _good_of_a_danger(knowledge: Knowledge, said: Said) -> bool:
    seen = knowledge.observables.get(said.name)
    return seen is not None and bool(seen.bars) and said.value == next(iter(seen.outcomes))


def _understood(knowledge: Knowledge, line: str) -> list[Said]:
    whole = _asked_if(line) or _one(knowledge, line)
    if whole:
        return _not_that(knowledge, line, [whole])
    if no := _NO_FIRST.match(line):
        # "no, front still off": a no to what the machine was taken to be; one that would call it safe is asked about
        said = understand(knowledge, no[1])
        if said and all(s.kind == "machine" and (s.value == "on" or "still" in no[1]) for s in said):
            return said
    parts = [_one(knowledge, part) for part in _JOINS.split(line) if part.strip()]
    states = [part for part in parts if part and part.kind in ("machine", "finding", "tool", "fact", "hands")]
    if len(states) == len(parts) > 1:
        return _not_that(knowledge, line, states)
    heard = _not_that(knowledge, line, _heard(knowledge, line))
    unclear = next((part for part in parts if part and part.kind == "ask"), None)
    of_machine = [s for s in heard if s.kind == "machine"]
    if unclear and not of_machine and {s.kind for s in heard} <= {"ask"}:  # "unplugged, opened up again"
        of_machine = [s for part in _JOINS.split(line) for s in _heard(knowledge, part) if s.kind == "machine"]
    if unclear and of_machine and len(of_machine) < len(parts):
        return _not_that(knowledge, line, _plain_and_asked(knowledge, line, of_machine) or [unclear])
    begun = _plain_and_rest(knowledge, line) if all(s.kind == "ask" for s in heard) else []
    return _not_that(knowledge, line, begun) if begun else heard


def _not_that(knowledge: Knowledge, line: str, heard: list[Said]) -> list[Said]:
    """What is heard of a line, with a remark or question for what its words only look like: a fuse of the house, earlier work,
    the hose of another appliance. What would stop the machine is heard all the same."""
    asked = all(s.kind == "ask" or (s.kind, s.name) == ("undone", "") for s in heard)  # no work that has a name
    for each in _instead():
        out = [s for s in heard if _names(s) & each.of and not _would_stop(knowledge, s)]
        if any(_names(s) & each.never_of for s in heard) or not (asked or out) or not each.words.search(plain(line)):
            continue
        name, _, value = each.also.partition("=")
        kinds: tuple[Kind, ...] = ("fact", "finding")
        more = [Said(kind, name, value, line) for kind in kinds if name and _is_there(knowledge, kind, name, value)]
        return [*(s for s in heard if not asked and s not in out), *more, Said(each.kind, each.told, "", line)]
    return heard


def _would_stop(knowledge: Knowledge, said: Said) -> bool:
    seen = knowledge.observables.get(said.name) if said.kind == "finding" else None
    return seen is not None and said.value in seen.bars


def _names(said: Said) -> set[str]:
    """What a list of meanings may call it by: its kind, its name, its name and value."""
    return {said.kind, said.name, f"{said.name}={said.value}"}


def _heard(knowledge: Knowledge, line: str) -> list[Said]:
    return hear_line(knowledge, line, lambda kind, name, value: _is_there(knowledge, kind, name, value))


def _plain_and_asked(knowledge: Knowledge, line: str, of_machine: list[Said]) -> list[Said]:
    """How the machine is, and what of it is asked about, where each part of a line is one of the two: "unplugged, panel off". Where
    a part is neither, nothing: half of such a line may be its opposite."""
    asked: list[Said] = []
    for part in (part for part in _JOINS.split(line) if part.strip()):
        alone, whole = _heard(knowledge, part), _one(knowledge, part)
        if not (whole or alone) or any(s.kind not in ("machine", "ask") for s in (*alone, *([whole] if whole else []))):
            return []
        known = [s for s in alone if s.kind == "machine"]
        if not (known and all(s in of_machine for s in known)) and (whole is None or whole.kind == "ask"):
            if _tells_of_life(knowledge, part):
                return []
            asked.append(whole or alone[0])
    return [*of_machine, *asked]


def _plain_and_rest(knowledge: Knowledge, line: str) -> list[Said]:
    """How the machine is, and a question for what comes behind it and is not understood: "plug out, boss shut the gas". Nothing
    where that may be said of the same thing, names nothing of the machine, asks, or tells of life."""
    parts = [part for part in _THOUGHTS.split(line) if part.strip()]
    heard = [_heard(knowledge, part) for part in parts]
    plain = next((n for n, said in enumerate(heard) if not said or any(s.kind != "machine" for s in said)), len(parts))
    rest = line[line.index(parts[plain]) :] if 0 < plain < len(parts) else ""
    states = [each for said in heard[:plain] for each in said]
    spoken = _spoken_of(knowledge, rest)
    taken = {_thing(knowledge, each.name) for each in states}
    if not rest or any(heard[plain:]) or not spoken or spoken & taken or "?" in line or _tells_of_life(knowledge, rest):
        return []
    told = f"'{rest}' is not understood, and nothing was noted of it. Say how each is by itself, such as: gas off, front on."
    return [*states, Said("ask", told, "", line)]


def _spoken_of(knowledge: Knowledge, text: str) -> set[str]:
    """The parts of the machine that a text names, and the things ("gas") of its states that it has words of their own for."""
    words = words_of(knowledge.appliance.id)
    if words is None:
        return set()
    of = things_of(words.rules)
    names = {n for thought in clauses(words, text) for piece in thought for item in piece for n in item.names}
    return {
        _thing(knowledge, thing)
        for name in names - words.itself
        for thing in of.get(name, {name} & words.nouns - words.neutral)
        if len(of.get(name, ())) < 2 or name in words.nouns
    }


def _thing(knowledge: Knowledge, name: str) -> str:
    """The thing of which a state is told: "power" for a breaker too."""
    words = words_of(knowledge.appliance.id)
    return str(words.unplain.get(name, {}).get("of", name)) if words else name


def _tells_of_life(knowledge: Knowledge, text: str) -> bool:
    """Whether some words speak of a machine that is live, lit, hot or measured."""
    words = words_of(knowledge.appliance.id)
    items = [i for thought in clauses(words, text) for piece in thought for i in piece] if words else []
    return bool(alive(items, (), off=True))


def doubted_stop(knowledge: Knowledge, line: str) -> str | None:
    """The symptom or check with which the machine would be stopped if what a doubtful line speaks of were so; None when that is
    nothing of the kind. Such a doubt is asked about."""
    sure = _doubting().sub(" ", line.casefold().replace("\u2019", "'").replace("'", ""))
    for text in (sure, *_JOINS.split(sure)):
        for said in understand(knowledge, re.sub(r"[\s,;:.]+(?:but|and)?\s*$", "", text).strip()):
            if (out := _lets_out(knowledge, said)) is not None:
                return out
            seen = knowledge.observables.get(said.name) if said.kind == "finding" else None
            if seen is not None and seen.bars and (said.value in seen.bars or said.value not in seen.outcomes):
                # "not in outcomes": a reading, which may be one of them
                return said.name
    return None


def _lets_out(knowledge: Knowledge, said: Said) -> str | None:
    """What shows whether something is off that lets a hazard out while it is: the question when that is doubted."""
    item = machine_item(knowledge, said.name) if (said.kind, said.value) == ("machine", "off") else None
    hazards = set(knowledge.access[item].lets_out) if item else set()
    return next((n for n, each in knowledge.check.items() for h in each.lets_out.values() if hazards & set(h)), None)


@cache
def _doubting() -> re.Pattern[str]:
    words = sorted(map(plain, listed(grammar()["doubt"]["words"])), key=len, reverse=True)
    return re.compile(
        rf"(?:\bnot (?:really |too |so )?)?\b(?:{'|'.join(map(re.escape, words))})\b(?: if\b| whether\b)?|{_AT_TIMES}"
    )


def plain(text: str) -> str:
    """Small letters, no apostrophes, no punctuation."""
    said = text.casefold().replace("\u2019", "'").replace("'", "")
    return " ".join(re.sub(r"[^a-z0-9.]+|\.(?!\d)", " ", said).split())


def machine_item(knowledge: Knowledge, what: str) -> str | None:
    """The access item that "power", "gas", "front" ... stands for, or None when the file has none."""
    for name, item in knowledge.access.items():
        if item.makes_safe == what or what in name.split("_"):
            return name
    return None


def in_words(knowledge: Knowledge, name: str, value: str) -> str:
    """The value of a fact that its words mean ("dial timer" is timer); what is understood as none of it, as it was typed."""
    said = [s.value for s in understand(knowledge, value) if (s.kind, s.name) == ("fact", name)]
    return said[0] if len(said) == 1 else value


def opened_unshut(knowledge: Knowledge, said: Iterable[Said], state: Collection[str]) -> bool:
    """Whether a line says that gas was turned on where nobody on the call had shut it: it was found shut, then."""
    items = [(s, machine_item(knowledge, s.name)) for s in said if s.kind == "machine" and s.value == "on"]
    gas = [s for s, item in items if item and knowledge.access[item].makes_safe == "gas" and item not in state]
    return any(_OPENED.search(s.text) for s in gas)


def things_named(knowledge: Knowledge, line: str) -> set[str]:
    """The things of the machine ("power", "gas") that a line has words for which no other one has."""
    words = words_of(knowledge.appliance.id)
    if words is None or len(line) > LONGEST_LINE:
        return set()
    of = things_of(words.rules)
    said = {
        n
        for thought in clauses(words, line.replace("!", " "))
        for piece in thought
        for item in piece
        for n in item.names
    }
    return {thing for name in said - words.itself for thing in of.get(name, set()) if len(of[name]) == 1}


def is_yes(means: str, line: str) -> bool:
    """Whether a line says yes to the question that stands for `means` in its own words ("proved dead")."""
    return any(f"{means} ".startswith(f"{each.means} ") and each.yes.fullmatch(plain(line)) for each in _if_yes())


def _asked_if(line: str) -> Said | None:
    asked = next((each for each in _if_yes() for words in each.words if words.fullmatch(plain(line))), None)
    return Said("ask", asked.asks, asked.means, line.strip()) if asked else None


def _one(knowledge: Knowledge, text: str) -> Said | None:
    said = plain(text)
    for kind, meaning, pattern in _sayings():
        if "?" in text and kind in ("finding", "fact", "machine", "tool", "hands"):
            continue
        if pattern.fullmatch(said):
            name, _, value = meaning.strip().partition("=" if kind in ("finding", "fact") else ".")
            if kind == "ask":
                name, value = meaning, ""
            if _is_there(knowledge, kind, name, value):
                return Said(kind, name, value, text.strip())
    return None


def _is_there(knowledge: Knowledge, kind: str, name: str, value: str) -> bool:
    if kind == "finding":
        known = knowledge.observables.get(name)
        return known is not None and value in (*known.outcomes, "")
    if kind == "fact":
        facts: Mapping[str, object] = {**knowledge.equipment, **knowledge.context}
        return name in facts
    if kind == "repair":
        return name in knowledge.repair
    return kind != "machine" or machine_item(knowledge, name) is not None


class _IfYes(Struct, frozen=True):
    """What is asked where one of `words` is a whole line; a plain yes, or one of `yes`, is as if `means` had been typed."""

    asks: str
    means: str
    yes: re.Pattern[str]
    words: tuple[re.Pattern[str], ...]


@cache
def _if_yes() -> tuple[_IfYes, ...]:
    raw = tomllib.loads(Path(__file__).with_name("sayings.toml").read_text("utf-8"))["if_yes"]
    return tuple(
        _IfYes(each["asks"], each["means"], re.compile(each["yes"]), tuple(map(re.compile, each["words"])))
        for each in raw
    )


class _Instead(Struct, frozen=True):
    """What is said or kept where `words` are on a line from which one of `of` was heard, and none of `never_of`: kinds, names or
    NAME=OUTCOME."""

    kind: Kind
    told: str
    of: frozenset[str]
    words: re.Pattern[str]
    never_of: frozenset[str]
    also: str


@cache
def _instead() -> tuple[_Instead, ...]:
    raw = tomllib.loads(Path(__file__).with_name("sayings.toml").read_text("utf-8"))["instead"]
    return tuple(
        _Instead(
            each["kind"],
            each["told"],
            frozenset(each["of"]),
            re.compile(each["words"]),
            frozenset(each.get("never_of", ())),
            each.get("also", ""),
        )
        for each in raw
    )


@cache
def _sayings() -> tuple[tuple[Kind, str, re.Pattern[str]], ...]:
    return tuple(_compiled(tomllib.loads(Path(__file__).with_name("sayings.toml").read_text("utf-8"))))


def _compiled(raw: Mapping[str, Mapping[str, list[str]]]) -> Iterator[tuple[Kind, str, re.Pattern[str]]]:
    for words in raw["doubt"]["words"]:
        yield "doubt", "all", re.compile(words)
    kinds: tuple[Kind, ...] = ("finding", "fact", "tool", "hands", "machine", "ask", "command")
    for kind in kinds:
        for meaning, patterns in raw[kind].items():
            yield from ((kind, meaning, re.compile(words)) for words in patterns)
    for tool, names in raw["tool_names"].items():
        yield "tool", tool, re.compile(_NO_TOOL.format(names))


def echo(name: str, value: str) -> str:
    """How a state of the machine is said back: "gas shut", "front off"."""
    return _echoes()[f"{name}.{value}"]


@cache
def _echoes() -> Mapping[str, str]:
    raw = tomllib.loads(Path(__file__).with_name("sayings.toml").read_text("utf-8"))
    echoes = raw["machine_echo"]
    assert isinstance(echoes, dict)
    return echoes
