"""Danger heard in what a technician types: gas, carbon monoxide, illness, fire, a shock, a safety device put out of
use, in the words people use.

A line is brought to small letters and whole words, cut where a thought ends, rid of what only sounds like danger, and
searched for the patterns of `danger.toml`. A match that is plainly denied ("no smell of gas", "leaks: none") is none; a denial of
something else ("no flame and I smell gas") or a doubt ("not sure but smells of gas") changes nothing. The standard
library alone is used, so that a stop is there at once.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from faultodds.safety.slips import slip, slips, squeezed

# Work stops at this many ppm of carbon monoxide; `readings.CO_STOP_PPM` says where it comes from.
STOP_PPM = 35.0
_UNIT = (
    r"(?! ?(?:min|sec|years?|months?|days?|am|pm|ohms?|inch|inches|in wc|feet|ft|hours?|hrs?|%|st|rd|th|volts?|v)\b)"
)
# Who, or what, tells a level of carbon monoxide.
_TELLS = "customer|cust|tenant|landlord|owner|lady|wife|husband|guy|man|fella|alarm|detector|monitor|one|now"
_LEVELS = (
    re.compile(r"(?<![\d.])(\d+(?:[.,]\d+)?) ?(?:ppm|parts per million)\b"),
    re.compile(r"\bppm (?:(?:is|at|of|reads|reading|now|up to|level|\|) )+(\d+)"),
    re.compile(rf"\b(?:co|monoxide)\b[^|]{{0,40}}?(?<![\d.-])(?!(?:19|20)\d\d\b)(\d+)\b{_UNIT}"),
    re.compile(
        rf"\b(?:co|monoxide)\b.{{0,40}}?\| (?:(?:it|he|she|they|we|i|the|and|was|is|meter|{_TELLS}) )*"
        rf"(?:have|has|had|got|gets?|reads?|reading|says|said|shows|showed|showing|found|measured) (?:a |at )?(\d+)\b{_UNIT}"
    ),
    re.compile(
        rf"\b(?:fire ?m[ae]n|fire (?:dept|department|service|brigade)|utility)\b[^|]{{0,20}}? (?:read|got|had) (\d+)\b{_UNIT}"
    ),
    re.compile(rf"(?<![\d.-])(\d+)\b{_UNIT}[^|]{{0,30}}?\b(?:co|monoxide) (?:meter|alarm|detector|monitor|reading)"),
)
# A pattern with a denial of its own ("wont wake") is not denied by it.
_SAYS_NOT = re.compile(r"wont|cant|not\b|never|without|\\bno ")
_CLIMBING = re.compile(r"\bco ppm\b.*")
# Words of this length that miss or double a letter, or swap two, are still heard.
TYPO_LENGTH = 5
# So many slips are forgiven in the words of `far`, which no other word comes near.
SLIPS = 2
# Characters that are listened to at once, and by how many the parts of a longer text overlap.
AT_ONCE = 2_000
OVERLAP = 200
# They end in "in" and lack no g.
_WHOLE = frozenset({"within", "begin", "margin", "origin", "basin", "virgin", "cabin", "admin", "cousin"})


class Heard(NamedTuple):
    """A danger and the words that told of it."""

    hazard: str
    words: str


class Named(NamedTuple):
    """What a stop is called, and its steps (those of the danger's sign when empty), where the sign would say what was not told.
    `mended`: what a remark has to tell of to show that it is over, as `over` does; None where the sign's own test is enough.
    `beside`: it is told beside another stop of the same danger."""

    title: str
    steps: list[str]
    mended: re.Pattern[str] | None
    over: str
    beside: bool


class _Told(NamedTuple):
    """What was heard, and `at` which place of the line as it was searched; `left_out`: a test that was not made; `unnamed`: a smell
    or an alarm of no kind."""

    heard: Heard
    line: str
    at: re.Match[str]
    left_out: bool = False
    unnamed: bool = False


def hear(text: str) -> Heard | None:
    """The first danger that a text tells of, or None."""
    parts = [text] if len(text) <= AT_ONCE else dict.fromkeys(_in_parts(text))
    return next((heard for part in parts if any(map(str.isalpha, part)) and (heard := _heard(part))), None)


def hear_now(text: str) -> Heard | None:
    """The first danger that an answer to "how was it made safe?" tells of as there now, or None: what it tells of before it tells
    that it was put right, or is gone, is over. What is back, still there, denied to be right, planned or doubted is not."""
    line = as_heard(text)
    if "?" in text or len(text) > AT_ONCE or _numbers(line):
        return hear(text)
    line = the_rules().cleared["none_of_it"].sub("no", line)
    back = the_rules().cleared["back"].search(line)
    unnamed = Heard(hazard_of("", back[0]) or "gas", back[0]) if back else None
    return _foremost(told.heard for told in _told(line) if not _put_right_since(told)) or unnamed


def hear_each(text: str, over: bool = False) -> list[Heard]:
    """Every danger that a text tells of, once each; first what `hear` gives, or `hear_now` for an answer (`over`). Words that tell
    of two at once count for the first; what has no name, and a test left out, only where nothing else was heard."""
    first = hear_now(text) if over else hear(text)
    if first is None or len(text) > AT_ONCE:
        return [first] if first else []
    told = [each for each in _told(as_heard(text)) if not (over and _put_right_since(each))]
    taken = [each.at for each in told if _kind(each.heard) == _kind(first)]
    others: dict[tuple[str, str], list[Heard]] = {}
    for each in told:
        apart = all(each.at.end() <= t.start() or t.end() <= each.at.start() for t in taken)
        if apart and not (each.unnamed or each.left_out) and _kind(each.heard) != _kind(first):
            others.setdefault(_kind(each.heard), []).append(each.heard)
    return [first, *(heard for same in others.values() if (heard := _foremost(iter(same))))]


def _kind(heard: Heard) -> tuple[str, str]:
    """A danger, and what it is called where that is told beside others of the same danger."""
    own = own_title(heard)
    return heard.hazard, own.title if own and own.beside else ""


def _put_right_since(told: _Told) -> bool:
    """Whether a line tells, behind a danger or with it as what was mended, that it is over, and nothing that it is there now."""
    rules = the_rules()
    over, now, denies_it = (rules.cleared[name].search for name in ("over", "now", "denied"))
    clauses = [c for c in re.split(r"[|;]", told.line) if c.strip()]
    if any(now(c) or (denies_it(c) and over(rules.cleared["none"].sub(" ", c))) for c in clauses):
        return False
    before, after = told.line[: told.at.start()].rsplit("|", 1)[-1], told.line[told.at.end() :]
    if rules.cleared["then"].search(before):
        return False
    if told.left_out and not rules.put_right["test"].search(after):
        return False
    is_past = rules.cleared["past"].search(f"{before}{told.at[0]}{after.partition('|')[0]}")
    return bool(
        rules.cleared["mended"].search(before) or over(after) or (is_past and rules.cleared["tested"].search(after))
    )


def _in_parts(text: str) -> Iterator[str]:
    """A very long text in parts that overlap, so that the time it takes grows no faster than it does."""
    for begin in range(0, len(text), AT_ONCE - OVERLAP):
        blank = text.rfind(" ", max(0, begin - OVERLAP // 2), begin)
        start = blank + 1 if blank >= 0 else begin
        yield text[start : start + AT_ONCE]


def _heard(text: str) -> Heard | None:
    line = as_heard(text)
    return _numbers(line) or _foremost(told.heard for told in _told(line))


def _foremost(told: Iterator[Heard]) -> Heard | None:
    """The first danger; of what tells of the same one, what its sign says before what has a title of its own."""
    heard = list(told)
    return next(
        (each for each in heard if each.hazard == heard[0].hazard and not own_title(each)), next(iter(heard), None)
    )


def own_title(heard: Heard) -> Named | None:
    """What a stop for some words is called where they do not tell what the sign of their danger says, or None."""
    for hazard, words, unless, called in the_rules().named:
        if hazard == heard.hazard and words.search(heard.words) and not unless.search(heard.words):
            return called
    return None


def hazard_of(sign: str, title: str) -> str | None:
    """The danger that a knowledge file's stop sign is about, or None when it is one of its own."""
    words = f"{sign} {title}".casefold().replace("_", " ")
    return next((hazard for hazard, pattern in the_rules().signs.items() if pattern.search(words)), None)


def put_right(told: str, remark: str) -> bool:
    """Whether a remark says that what was `told` to be out of use, left untested or in need of mending is not so any more."""
    rules, said = the_rules(), as_heard(remark)
    if mended := has_to_be_mended(told):
        return bool(mended.search(said))
    asked = "test" if any(pattern.search(as_heard(told)) for pattern in rules.undone) else "device"
    return bool(rules.put_right[asked].search(said)) and not rules.put_right["kept"].search(said)


def has_to_be_mended(told: str) -> re.Pattern[str] | None:
    """The words of a remark that speak of what was `told`, where no test of something else shows that it is over."""
    own = _own_title_of(told)
    return own.mended if own else None


def told_over(hazard: str | None, told: str = "") -> str:
    """How it may be said, in one line, that a danger, or what was `told` to be mended, is over: who, what was tested, and what that
    showed."""
    own, usual = _own_title_of(told), the_rules().told_over
    return (own.over if own else "") or usual.get(hazard or "", usual["other"])


def _own_title_of(told: str) -> Named | None:
    heard = hear(told)
    return own_title(heard) if heard else None


def usual_steps(hazard: str) -> tuple[str, list[str]]:
    """A title and steps for a danger that a knowledge file has no sign for."""
    title, *steps = the_rules().steps[hazard]
    return title, steps


def _told(line: str) -> Iterator[_Told]:
    rules = the_rules()
    undone = [match for pattern in rules.undone if (match := pattern.search(line))]
    for pattern in rules.harmless:
        line = pattern.sub(" ~ ", line)
    line = rules.denial["ends"].sub(r"| \1", _without_what_is_over(line, rules))
    named = len(rules.danger)
    for at, (hazard, patterns) in enumerate((*rules.danger.items(), *rules.unnamed.items())):
        for pattern in patterns:
            for match in _overlapping(pattern, line):
                if not _denied(line, match, rules):
                    yield _Told(Heard(hazard, match[0].strip(" |;")), line, match, unnamed=at >= named)
    yield from (_Told(Heard("defeated", match[0].strip(" |;")), match.string, match, left_out=True) for match in undone)


def _overlapping(pattern: re.Pattern[str], line: str) -> Iterator[re.Match[str]]:
    """Every match, those that begin inside another too: of "no egg smell and I smell gas" the second half counts."""
    match = pattern.search(line)
    while match:
        yield match
        match = pattern.search(line, match.start() + 1)


def _without_what_is_over(line: str, rules: Rules) -> str:
    """The line without the clauses about what was long ago or elsewhere, and is over."""
    ended = bool(rules.over["ended"].search(line))

    def over(clause: str) -> bool:
        past = rules.over["past"].search(clause) or (ended and rules.over["elsewhere"].search(clause))
        return bool(past) and not rules.over["present"].search(clause)

    return "".join(" ~ " if over(clause) else clause for clause in re.split(r"(\||\b(?:and|but)\b)", line))


def _denied(line: str, match: re.Match[str], rules: Rules) -> bool:
    """Whether a match is plainly denied, in its own clause or by a bare "no" or "none" after it."""
    if rules.denial["withdrawn"].search(line[match.start() + len(match[0].rstrip(" |;")) :]):
        return False
    start = match.start() + len(match[0]) - len(match[0].lstrip(" |;"))
    before, after = line[:start].rsplit("|", 1)[-1], line[match.end() :]
    inside = match[0].strip(" |;").rsplit(" ", 1)[0] + " "
    if rules.denial["before"].search(before) or (
        not _SAYS_NOT.search(match.re.pattern) and rules.denial["inside"].search(inside)
    ):
        return True
    return bool(rules.denial["after"].search(after) or rules.denial["after_comma"].search(after))


def _numbers(line: str) -> Heard | None:
    """Carbon monoxide at a level where people leave."""
    for pattern in _LEVELS:
        for match in pattern.finditer(line):
            if float(match[1].replace(",", ".")) >= STOP_PPM:
                return Heard("co", match[0])
    climbing = _CLIMBING.search(line)
    if climbing and any(float(n) >= STOP_PPM for n in re.findall(r"\d+", climbing[0])):
        return Heard("co", climbing[0])
    return None


def as_heard(text: str) -> str:
    """A text as it is listened to: small letters, no apostrophes, slips of the finger mended, "|" where a thought ends."""
    line = text.casefold().replace("\u2019", "'").replace("_", " ")
    line = re.sub(r"\bi'll\b", "i will", line).replace("c.o.", "co ").replace("'", "")
    line = re.sub(r"\bco[- ](?=op\b)", "coop", line)
    line = re.sub(
        r"\b((?:co|monoxide)\b[^;|]{0,15}?)(\d*[.,]\d+) ?%",
        lambda m: f"{m[1]}{float(m[2].replace(',', '.')) * 1e4:.0f} ppm",
        line,
    )
    line = re.sub(r"(\d)(ppm|%)", r"\1 \2", line).replace("% lel", " % lel")
    line = re.sub(r"\.{2,}", " ", line)
    line = re.sub(r"(?<!\d)[.]|[.](?!\d)|[;!\n]", " | ; | ", line)
    line = re.sub(r"\bw/(?!o\b)", "with ", line)
    line = re.sub(r"[,?()+/=:>\"]| -+ |-+>|\u2013|\u2014", " | ", line)
    line = " ".join(_mended(word) for word in line.replace("-", " ").split())
    rules = the_rules()
    for word, pattern in rules.short.items():
        line = pattern.sub(word, line)
    line = rules.denial["unquiet"].sub("sounding", line)
    line = rules.denial["doubt"].sub("unsure |", line)
    line = rules.denial["doubted"].sub("unsure |", line)
    return re.sub(r"\bno (?=(?:its?|i|there|we|he|she|they|the|that|this|wait|sorry|actually)\b)", "| ", line)


@cache
def _mended(word: str) -> str:
    """A word of danger in place of one that misses or doubles a letter of it, or swaps two."""
    known = the_rules().known
    if word in known or not word.isalpha():
        return word
    if word == "gsa":
        return "gas"
    single = next((k for k in known if k[0] == word[0] and squeezed(word) == squeezed(k)), None)
    if single is not None:
        return single
    if re.search(r"[^aeiou]in$", word) and len(word) >= TYPO_LENGTH and word not in _WHOLE:
        return _mended(f"{word}g")
    if len(word) < TYPO_LENGTH:
        return word
    near = next((k for k in known if k[0] == word[0] and slip(word, k)), None)
    return near or next((k for k in the_rules().far if k[0] == word[0] and slips(word, k) <= SLIPS), word)


class Rules(NamedTuple):
    """`danger.toml`, compiled."""

    danger: Mapping[str, list[re.Pattern[str]]]
    unnamed: Mapping[str, list[re.Pattern[str]]]
    short: Mapping[str, re.Pattern[str]]
    harmless: list[re.Pattern[str]]
    over: Mapping[str, re.Pattern[str]]
    denial: Mapping[str, re.Pattern[str]]
    signs: Mapping[str, re.Pattern[str]]
    steps: Mapping[str, list[str]]
    known: tuple[str, ...]
    far: tuple[str, ...]
    undone: list[re.Pattern[str]]
    put_right: Mapping[str, re.Pattern[str]]
    cleared: Mapping[str, re.Pattern[str]]
    told_over: Mapping[str, str]
    named: list[tuple[str, re.Pattern[str], re.Pattern[str], Named]]


@cache
def the_rules() -> Rules:
    raw = tomllib.loads(Path(__file__).with_name("danger.toml").read_text("utf-8"))
    words, denial = raw["words"], raw["denial"]
    denying, small = denial["before"], denial.pop("small")
    denial["before"] = rf"(?:\b(?:{denying})|(?<![\d.,])0) (?:(?:{small}) )*$"
    denial["inside"] = rf"\b(?:{denying}) (?:\w+ ){{0,2}}$"
    well = denial.pop("well")
    denial.update({name: denial[name].replace("{well}", well) for name in ("plain", "courtesy")})
    denial["plain_no"] = rf"(?:{denial['no']}(?: (?:{denial.pop('plain')})\b)*(?: |$))+"
    denial["ends"] = rf"\b({denial['ends']})\b"
    return Rules(
        {hazard: [_pattern(p, words) for p in patterns] for hazard, patterns in raw["danger"].items()},
        {hazard: [_pattern(p, words) for p in patterns] for hazard, patterns in raw["unnamed"].items()},
        _compiled({word: rf"\b(?:{forms})\b" for word, forms in raw["short"].items()}),
        [_pattern(p, words) for p in raw["harmless"]["patterns"]],
        _compiled(raw["over"]),
        _compiled(denial),
        _compiled(raw["signs"]),
        raw["steps"],
        tuple(raw["slips"]["known"]),
        tuple(raw["slips"]["far"]),
        [_pattern(p, words) for p in raw["undone"]["patterns"]],
        _compiled(raw["put_right"]),
        _compiled(raw["cleared"]),
        raw["told_over"],
        [
            (
                each["hazard"],
                _pattern(each.get("words", ""), words),
                _pattern(each.get("unless", "(?!)"), words),
                Named(
                    each["title"],
                    each.get("steps", []),
                    re.compile(each["mended"]) if "mended" in each else None,
                    each.get("over", ""),
                    each.get("beside", False),
                ),
            )
            for each in raw["named"]
        ],
    )


def _compiled(table: Mapping[str, str]) -> dict[str, re.Pattern[str]]:
    return {name: re.compile(expression) for name, expression in table.items()}


def _pattern(text: str, words: Mapping[str, Any]) -> re.Pattern[str]:
    for name, expression in words.items():
        text = text.replace("{" + name + "}", expression)
    for name, expression in words.items():  # a list may use another
        text = text.replace("{" + name + "}", expression)
    # A sentence ends at ";": no pattern goes on beyond it.
    return re.compile(text.replace(".{", "[^;]{"))
