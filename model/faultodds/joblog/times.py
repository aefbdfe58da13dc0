"""How long a load takes, told in words: "3 cycles", "2.5 hrs", "half again as long". As times the usual, and so as an outcome."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from faultodds.joblog.clean import FOUND
from faultodds.joblog.stems import trade
from faultodds.knowledge import Knowledge

NEAR_EDGE_MINUTES: Final = 0.25
_WORDS: Final = {"one": 1.0, "two": 2.0, "three": 3.0, "four": 4.0, "five": 5.0, "several": 3.0, "couple": 2.0}


def by_edges(times: float, edges: Mapping[str, float | str], near: float) -> str:
    """The outcome that a number of times falls in; at an edge, both sides alike."""
    names = list(edges)
    for place, name in enumerate(names[:-1]):
        edge = float(edges[name])
        if abs(times - edge) <= near * edge:
            return f"{name}:0.5|{names[place + 1]}:0.5"
        if times < edge:
            return name
    return names[-1]


def dry_time(knowledge: Knowledge, text: str) -> tuple[str, str] | None:
    """The symptom that a text about the time of a load tells of, as (clean column, outcome); None when it tells of no time."""
    for name, said in trade(knowledge.appliance.id).get("times", {}).items():
        if name not in knowledge.symptom:
            continue
        outcome = _outcome(" ".join(text.casefold().replace("an hour", "1 hour").split()), said)
        if outcome:
            return FOUND + name, outcome
    return None


def _outcome(text: str, said: Mapping[str, Any]) -> str | None:
    edges, usual = said["edges"], float(said["usual_minutes"])
    if was := _WAS.search(text):
        before, now = _minutes(was["was"], was["wu"] or was["nu"]), _minutes(was["now"], was["nu"])
        return by_edges(now / before, edges, 0.0) if before and now else None
    if was := _IS_WAS.search(text):
        before, now = _minutes(was["was"], was["wu"]), _minutes(was["now"], was["nu"])
        return by_edges(now / before, edges, 0.0) if before and now else None
    if part := _PART_MORE.search(text):
        return by_edges(1.0 + (0.5 if part["half"] else _number(part["n"])), edges, 0.0)
    if more := _MORE.search(text):
        return by_edges(1.0 + _minutes(more["n"], more["u"]) / usual, edges, 0.0)
    if _LITTLE.search(text):
        return by_edges(float(edges["normal"]) + 0.01, edges, 0.0)
    if again := _TIMES.search(text):
        return by_edges(_number(again["n"]) + 0.01, edges, 0.0)
    if cycles := _CYCLES.search(text):
        return by_edges(_number(cycles["upto"] or cycles["n"] or cycles["m"]) - 0.01, edges, 0.0)
    if spent := _SPENT.search(text):
        return by_edges(_minutes(spent["n"], spent["u"]) / usual, edges, NEAR_EDGE_MINUTES)
    return None


def _number(text: str) -> float:
    total = 0.0
    for part in text.replace("a couple", "couple").split():
        if part in _WORDS:
            total += _WORDS[part]
        elif "/" in part:
            top, _, bottom = part.partition("/")
            total += float(top) / float(bottom)
        else:
            total += float(part)
    return total


def _minutes(text: str, unit: str) -> float:
    return _number(text) * (60.0 if unit.startswith("h") else 1.0)


_U: Final = r"(?:min(?:ute)?s?|hours?|hrs?|h)"
_NUM: Final = r"(?:\d+ 1/2|1/2|\d+(?:\.\d+)?|one|two|three|four|five)"
_WAS: Final = re.compile(
    rf"(?:was|used to (?:be|take|dry in|take about)|usually|normally) (?P<was>{_NUM}) ?(?P<wu>{_U})?\W+(?:and )?(?:it )?(?:now|its)"
    rf"(?: takes| its| about)* (?P<now>{_NUM}) ?(?P<nu>{_U})"
)
_IS_WAS: Final = re.compile(
    rf"(?P<now>{_NUM}) ?(?P<nu>{_U})\b.{{0,20}}\b(?:was|used to be) (?P<was>{_NUM}) ?(?P<wu>{_U})"
)
_PART_MORE: Final = re.compile(r"(?P<half>half again)|(?P<n>1/[234]) (?:more|longer)")
_LITTLE: Final = re.compile(r"\b(?:a )?(?:bit|little|tad|somewhat|slightly) (?:longer|slower)")
_MORE: Final = re.compile(rf"(?:\d+ ?- ?)?(?P<n>{_NUM}) ?(?P<u>{_U})(?: or so)? (?:more|longer|extra)\b")
_TIMES: Final = re.compile(rf"(?P<n>{_NUM}) ?(?:x|times)(?= (?:as|longer|normal|the|to|what)|$|[,;.])")
_CYCLES: Final = re.compile(
    rf"(?:^|(?:takes?|taking|needs?|runs?|has to run(?: it)?|run it|to run(?: it)?|used to) )"
    rf"(?:about )?(?P<n>{_NUM}|several|a couple|couple)\+?"
    rf"(?: ?(?:-|to|or) ?(?P<upto>{_NUM}))? ?(?:full |drying |dry )?(?:cycles?|times|loads|runs)\b"
    rf"|(?P<m>{_NUM}) cycles? (?:to|for|before)"
)
_SPENT: Final = re.compile(
    rf"(?:^|(?:takes?|taking|dry(?:s|ing|ies)?(?: time)?|over|now|needs?|says|sez|cust) )"
    rf"(?:about |over |up to |like |time )*(?P<n>{_NUM})"
    rf" ?\+? ?(?P<u>{_U})(?= (?:to|for|per|a |each|now|or more)|$|\W*$|[,;.])"
)
