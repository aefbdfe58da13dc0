"""Stop signs before anything else: looked for in what was typed before the appliance is validated or loaded, by their
names and in the words people use (`danger`).

A smell of gas must stop a call even when the rest of the line is wrong, the knowledge file has a mistake in
it, or its arrays are not compiled yet. So only the `[stop.*]` tables are read here.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Container, Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.files import find, read_bytes, toml_tables
from faultodds.names import fold
from faultodds.safety.answers import denies
from faultodds.safety.danger import Heard, hazard_of, hear_each, own_title, usual_steps

# A name this close to a sign's is taken for it: a slip of the finger is no all-clear.
CLOSE = 0.85
# Which danger's steps come first where there are several.
ORDER = ("gas", "shock", "co", "ill", "fire", "defeated")
_WATER = re.compile(r"STOP\. water\b")
_NUMBERED = re.compile(r"^\d+\. ")
# Sentences that have somebody work a switch or a plug, which makes a spark; not where they say "no switch".
_SWITCHES = re.compile(r"(?i)(?<!no )\b(?:switch(?:ed)?|breaker|plug out|unplug\w*|power off|stop the dryer|stop it)\b")
# Sentences that send everybody out, that call somebody, and that hold until later.
_OUT = re.compile(r"(?i)^everybody out\b")
_CALLS = re.compile(r"(?i)^(?:from outside and well away, )?(?:and )?call\b")
_CALLED = ("emergency number", "gas supplier", "fire service", "electricity supplier")
_LATER = re.compile(
    r"\b(?:stays? (?:off|shut)|not lit again|does not run until|are replaced|waits until|Then say safe)\b"
)
_TABLES = re.compile(r"(?ms)^[ \t]*\[[ \t]*stop\b.*?(?=^[ \t]*\[(?![ \t]*stop\b)|\Z)")
_NAME = re.compile(r"\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b")
# "burning smell=no", "ask about the burning smell": what stands there is named, not told of.
_NAMED = re.compile(
    r"(?i)^\s*(?:(?P<head>[\w ,-]+?)\s*(?==)|(?:ask|look|check|band|how|why|card|skip|repair)\s+"
    r"(?:(?:about|at|for|if|not|of|the|to)\s+)*(?P<asked>[\w ,-]+?)\s*\??\s*$)"
)
_TABLE = re.compile(r"(?m)^[ \t]*\[[ \t]*\w+\.(\w+)[ \t]*\]")
_TITLE = re.compile(r"""(?m)^[ \t]*title[ \t]*=[ \t]*(["'])(.*?)\1""")
_ELSEWHERE = re.compile(r"(?m)^[ \t]*stop[ \t]*[.=]")


def stop_first(appliance: str, typed: Iterable[str], over: bool = False) -> None:
    """Raise SafetyStop when one of the texts tells of danger: a "NAME=VALUE" whose name is a stop sign and whose
    value does not plainly deny it, or any words that speak of gas, carbon monoxide, illness or fire.

    `appliance` is a shipped name or a path. A sign with no value counts as there. A file that cannot be read
    has no signs of its own here; whatever is wrong with it is said when it is opened. `over`: as in `danger_in`.
    """
    texts = [text for text in typed if text.strip()]
    if not texts:
        return
    source = _source(appliance)
    signs = {n: (str(s.get("title", n)), s.get("steps", [])) for n, s in _signs_in(source).items()}
    for text in texts:
        name, _, value = text.partition("=")
        sign = _sign(fold(name), signs)
        if sign is None:
            danger = danger_in(text, signs, _names_in(source), over)
            if danger is not None:
                raise SafetyStop(danger)
        elif not denies(value):
            raise SafetyStop(stop_text(*signs[sign]))


def danger_in(
    text: str, signs: Mapping[str, tuple[str, Sequence[str]]], names: Container[str], over: bool = False
) -> str | None:
    """What to show when a text speaks of danger, or None: the stops of all that it tells of (`dangers_in`), as one."""
    return together(dangers_in(text, signs, names, over)) or None


def dangers_in(
    text: str, signs: Mapping[str, tuple[str, Sequence[str]]], names: Container[str], over: bool = False
) -> list[str]:
    """The stop of each danger that a text speaks of. `signs`: title and steps of each stop sign; `names`: the names of the
    knowledge file and its titles as names. `burning_smell` is a symptom, not a shout, and so is "burning smell" where a name is
    typed: before "=", or after a word that asks. Anywhere else the words tell of what is there. `over`: the text answers
    how a danger was cleared, and what it tells of as past and put right is none."""
    said = _NAME.sub(lambda m: "~" if m[0] not in signs and m[0] in names else m[0], text)
    named = _NAMED.match(said)
    if named and (name := fold(named["head"] or named["asked"])) in names and _sign(name, signs) is None:
        said = f"{said[: named.start(named.lastgroup or 0)]}~{said[named.end(named.lastgroup or 0) :]}"
    return [_stop_for(heard, text, signs) for heard in hear_each(said, over)]


def _stop_for(heard: Heard, text: str, signs: Mapping[str, tuple[str, Sequence[str]]]) -> str:
    fitting = (s for n, s in signs.items() if hazard_of(n, s[0]) == heard.hazard)
    title, steps = next(fitting, None) or usual_steps(heard.hazard)
    if called := own_title(heard):
        title, steps = called.title, called.steps or steps
    return stop_text(f'{title}: "{" ".join(text.split())}"', steps)


def _source(appliance: str) -> str:
    try:
        return read_bytes(find(appliance)).decode("utf-8")
    except (FaultoddsError, ValueError):
        return ""


@lru_cache(maxsize=4)  # every line that is typed comes by here
def _signs_in(source: str) -> Mapping[str, Mapping[str, Any]]:
    """The stop signs of a file as written, nothing else looked at; empty when there are none."""
    try:
        signs = _stop_tables(source).get("stop")
    except ValueError:
        return {}
    return {n: s for n, s in signs.items() if isinstance(s, dict)} if isinstance(signs, dict) else {}


@lru_cache(maxsize=4)
def _names_in(source: str) -> frozenset[str]:
    """The names in a file as written, those of its tables and its titles among them."""
    titles = (fold(title) for _, title in _TITLE.findall(source))
    return frozenset((*_NAME.findall(source), *_TABLE.findall(source), *titles))


def _stop_tables(text: str) -> Mapping[str, Any]:
    """The file's `[stop...]` tables alone where they can be cut out: parsing all of it takes too long."""
    if not _ELSEWHERE.search(text):
        with contextlib.suppress(ValueError):
            return toml_tables("".join(_TABLES.findall(text)).encode())
    return toml_tables(text.encode())


def stop_text(title: str, steps: Iterable[object]) -> str:
    """What is shown when a stop sign is there: the sign, then its steps."""
    return "\n".join([f"STOP. {title}.", *(f"{i}. {step}" for i, step in enumerate(steps, 1))])


def together(stops: Iterable[str]) -> str:
    """Several stops as one: gas first, then as `ORDER` has them. Everybody is sent out once, nobody is called twice, and what holds
    until later comes last. Where there may be gas no sentence works a switch or a plug. Empty for none."""
    told = sorted(dict.fromkeys(stops), key=lambda stop: _rank(stop.partition("\n")[0]))
    if len(told) < 2:
        return "".join(told)
    heads: dict[str, list[str]] = {}
    for stop in told:
        title, _, words = stop.partition("\n")[0].removeprefix("STOP. ").rstrip(".").partition(": ")
        heads.setdefault(words, []).append(title)
    steps = [step for stop in told for step in _safe_beside(stop, told)]
    title = "; ".join("; ".join(titles) + (f": {words}" if words else "") for words, titles in heads.items())
    return stop_text(title, _once_each(steps))


def _safe_beside(stop: str, told: Sequence[str]) -> list[str]:
    """The steps of a stop told with others: no sentence works a switch or a plug where there may be gas or water, nor once
    everybody is sent out of bad air."""
    steps = [_NUMBERED.sub("", step) for step in stop.splitlines()[1:]]
    gas, before = _rank(told[0]) == 0, told[: told.index(stop)]
    out = any("\n1. Everybody out" in each and _rank(each) < _rank(stop) for each in before)
    water = any(_WATER.match(each) for each in told) and not _WATER.match(stop)
    return list(map(_without_switches, steps)) if gas or water or out else steps


def _once_each(steps: Sequence[str]) -> list[str]:
    """The steps of several stops without what was said before; going out is one sentence, with all that is said of it."""
    everybody_out = _going_out(each for step in steps for each in _sentences(step) if _OUT.match(each))
    said, now, later = set[str](), list[str](), list[str]()
    for step in steps:
        kept = []
        for sentence in _sentences(step):
            calls = [each for each in _clauses(sentence) if _CALLS.match(each)]
            out = _OUT.match(sentence) is not None
            told = [everybody_out, *calls] if out else [sentence.rstrip(".")]
            if not out and calls:
                told = _clauses(sentence)
            new = [each for each in told if not _said(each, said)]
            said.update(new)
            joined = "; ".join(new)
            kept += [f"{joined[:1].upper()}{joined[1:]}."] if joined else []
        (later if _LATER.search(step) else now).extend([" ".join(kept)] if kept else [])
    return [*now, *later]


def _said(clause: str, said: Iterable[str]) -> bool:
    """Whether a clause was said, or calls somebody who is called already; the emergency number is the fire service's too."""
    called = {each for each in _CALLED if any(_CALLS.match(other) and each in other for other in said)}
    wanted = {each for each in _CALLED if each in clause} if _CALLS.match(clause) else set()
    called |= {"fire service"} if "emergency number" in called else set()
    return clause in said or bool(wanted and wanted <= called)


def _going_out(sentences: Iterable[str]) -> str:
    """One sentence that sends everybody out: into what, who first, and what is done on the way."""
    clauses = [clause for each in sentences for clause in _clauses(each) if not _CALLS.match(clause)]
    ways = dict.fromkeys(w.strip() for clause in clauses for w in _OUT.sub("", clause).split(",") if w.strip())
    into = [f" {way}" for way in ways if way.startswith("into")]
    return ", ".join(["Everybody out" + "".join(into), *(way for way in ways if not way.startswith("into"))])


def _sentences(step: str) -> list[str]:
    return re.split(r"(?<=\.) ", step) if step else []


def _clauses(sentence: str) -> list[str]:
    return sentence.rstrip(".").split("; ")


def _rank(stop: str) -> int:
    hazard = hazard_of("", stop.partition(": ")[0].partition("\n")[0])
    return ORDER.index(hazard) if hazard in ORDER else len(ORDER)


def _without_switches(step: str) -> str:
    return " ".join(each for each in _sentences(step) if not _SWITCHES.search(each))


def _sign(name: str, signs: Mapping[str, tuple[str, Sequence[str]]]) -> str | None:
    """The sign that a folded name stands for: its name or title, give or take a letter or two."""
    words = {sign: sign for sign in signs} | {fold(title): sign for sign, (title, _) in signs.items()}
    import difflib

    close = difflib.get_close_matches(name, list(words), n=1, cutoff=CLOSE)
    return words[close[0]] if close else None
