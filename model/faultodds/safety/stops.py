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
_NUMBERED = re.compile(r"^\d+\. ")
# Sentences that have somebody work a switch or a plug, which makes a spark; not where they say "no switch".
_SWITCHES = re.compile(r"(?i)(?<!no )\b(?:switch(?:ed)?|breaker|plug out|unplug\w*|power off|stop the dryer|stop it)\b")
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
    """Several stops as one: gas first, then as `ORDER` has them; no step twice. Where there may be gas no step works a switch or a
    plug: such a sentence is left out. Empty for none."""
    told = sorted(dict.fromkeys(stops), key=lambda stop: _rank(stop.partition("\n")[0]))
    if len(told) < 2:
        return "".join(told)
    heads: dict[str, list[str]] = {}
    for stop in told:
        title, _, words = stop.partition("\n")[0].removeprefix("STOP. ").rstrip(".").partition(": ")
        heads.setdefault(words, []).append(title)
    steps = [(stop, _NUMBERED.sub("", step)) for stop in told for step in stop.splitlines()[1:]]
    if _rank(told[0]) == 0:
        steps = [(stop, step if _rank(stop) == 0 else _without_switches(step)) for stop, step in steps]
    title = "; ".join("; ".join(titles) + (f": {words}" if words else "") for words, titles in heads.items())
    return stop_text(title, dict.fromkeys(step for _, step in steps if step))


def _rank(stop: str) -> int:
    hazard = hazard_of("", stop.partition(": ")[0].partition("\n")[0])
    return ORDER.index(hazard) if hazard in ORDER else len(ORDER)


def _without_switches(step: str) -> str:
    sentences = re.split(r"(?<=[.;]) ", step)
    kept = " ".join(each for each in sentences if not _SWITCHES.search(each)).rstrip(";")
    return kept if not kept or kept.endswith(".") else f"{kept}."


def _sign(name: str, signs: Mapping[str, tuple[str, Sequence[str]]]) -> str | None:
    """The sign that a folded name stands for: its name or title, give or take a letter or two."""
    words = {sign: sign for sign in signs} | {fold(title): sign for sign, (title, _) in signs.items()}
    import difflib

    close = difflib.get_close_matches(name, list(words), n=1, cutoff=CLOSE)
    return words[close[0]] if close else None
