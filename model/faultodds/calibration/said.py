"""Odds as people say them: "igniter 60, coils 30", "duct likely", "belt 1 in 10"; coarse words are taken at fixed chances."""

from __future__ import annotations

import re

from faultodds.errors import FaultoddsError

# What a coarse word is taken for; which one was taken is said back at once, so that nobody is scored on a number not meant.
WORDS = {
    "certain": 0.99,
    "certainly": 0.99,
    "definitely": 0.99,
    "almost certain": 0.95,
    "nearly certain": 0.95,
    "sure": 0.95,
    "surely": 0.95,
    "almost sure": 0.85,
    "fairly sure": 0.85,
    "pretty sure": 0.85,
    "quite sure": 0.85,
    "very likely": 0.85,
    "very probable": 0.85,
    "likely": 0.7,
    "probably": 0.7,
    "probable": 0.7,
    "three quarters": 0.75,
    "two thirds": 2 / 3,
    "even": 0.5,
    "evens": 0.5,
    "half": 0.5,
    "a third": 1 / 3,
    "a quarter": 0.25,
    "maybe": 0.3,
    "perhaps": 0.3,
    "possibly": 0.3,
    "possible": 0.3,
    "unlikely": 0.1,
    "improbable": 0.1,
    "very unlikely": 0.03,
    "hardly": 0.03,
}
_CHANCE = re.compile(
    r"(?P<even>\b(?:50\s*[/:-]\s*50|fifty[ -]fifty)\b)"
    r"|\b(?P<for>\d+)(?:\s+to\s+|\s*:\s*)(?P<against>\d+)\b(?:\s*(?P<range>%|percent\b)|\s+(?P<side>on|against)\b)?"
    r"|(?P<one>\d+)(?:\s+(?:in|out of|of)\s+|\s*/\s*)(?P<of>\d+)|(?P<number>\d+(?:\.\d+)?|\.\d+)\s*(?P<sign>%|percent\b)?"
    r"|\b(?P<word>" + "|".join(sorted(WORDS, key=len, reverse=True)) + r")\b"
)
# Odds said once more begin so.
_ANEW = re.compile(r"^\s*(?:(?:no|nope|sorry|wait|actually|well|ok|okay)\s*[,;.]\s*)+")
# Whoever has none, in whole lines.
NO_IDEA = {
    "no idea",
    "i have no idea",
    "no clue",
    "dont know",
    "i dont know",
    "do not know",
    "dunno",
    "not sure",
    "unsure",
}
_TURNS = re.compile(r"\b(?:no|not|never|isnt|cannot|nor|neither|nothing but|un(?:sure|certain))\b")
_FILLING = (
    r"(?:\b(?:and|the|is|its|it is|a|at|about|with|i think|id say|most|quite|rather|around|for|of|chance|but|then"
    r"|now|my|odds|are|make it)\b"
    r"|[,;:=/?!\s-])+"
)
_ENDS = re.compile(r"[,;?\n]|\s-+\s|\.\s")
_PARTS = re.compile(rf"{_ENDS.pattern}|\band\b|\bthen\b")
_SMALL = re.compile(rf"^{_FILLING}|{_FILLING}$")
EXAMPLE = "Type for example: igniter 60 coils 30, or: duct likely, belt 1 in 10."


def said(line: str) -> tuple[list[tuple[str, float]], list[str]]:
    """The faults on a line, as they were typed, each with its chance; and what of it is to be asked about.

    Nothing for one who has no idea. Raises FaultoddsError where nothing can be taken: a name without a chance or a chance without
    a name, and what denies: the opposite of what was meant must not be scored.
    """
    try:
        return _said(line), []
    except FaultoddsError as problem:
        found, unclear = list[tuple[str, float]](), list[str]()
        for part in filter(str.strip, _PARTS.split(line)):
            try:
                found += _said(part)
            except FaultoddsError as of_it:
                unclear.append(str(of_it))
        if not found:
            raise problem
        return found, unclear


def reads_as_odds(line: str) -> bool:
    """Whether a line has a chance in figures in it: "duct 90", "9 out of 10", "3 to 1 on"."""
    return any(not c["word"] for c in _CHANCE.finditer(line.casefold()))


def _said(line: str) -> list[tuple[str, float]]:
    text = _ANEW.sub("", line.casefold().replace("'", "").replace("\u2019", ""))
    if " ".join(text.strip(" .!?").split()) in NO_IDEA:
        return []
    if _TURNS.search(text.replace("nothing wrong", "")):
        raise FaultoddsError(f"'{line.strip()}' denies something. Say how likely it is instead: igniter 5. {EXAMPLE}")
    chances = list(_CHANCE.finditer(text))
    edges = [0, *(at for c in chances for at in c.span()), len(text)]
    names = [_bare(text[a:b]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    if chances and not names[0] and names[-1]:  # "60 igniter, 30 coils"
        names = [*names[1:], ""]
    left = names.pop()
    if left or not chances:
        raise FaultoddsError(f"how likely is '{left or line.strip()}'? {EXAMPLE}")
    for name, chance in zip(names, chances, strict=True):
        if alone := _ENDS.search(name):
            raise FaultoddsError(f"how likely is '{name[: alone.start()]}'? {EXAMPLE}")
        if not name:
            raise FaultoddsError(f"'{chance[0].strip()}' stands with no fault. {EXAMPLE}")
    return [(name, _value(chance)) for name, chance in zip(names, chances, strict=True)]


def _bare(text: str) -> str:
    before = ""
    while before != text:
        before, text = text, _SMALL.sub("", text.strip())
    return text


def _value(chance: re.Match[str]) -> float:
    if chance["even"] or chance["word"]:
        return WORDS[chance["word"] or "even"]
    if chance["for"]:
        return _ratio(chance)
    if chance["of"]:
        one, of = int(chance["one"]), int(chance["of"])
        if not 0 < one <= of:
            raise FaultoddsError(f"'{chance[0]}' is no chance. {EXAMPLE}")
        return one / of
    value = float(chance["number"])
    if value > 100.0:
        raise FaultoddsError(f"'{chance[0]}' is more than 100 %. {EXAMPLE}")
    if "." in chance["number"] and value < 1.0 and not chance["sign"]:
        return value
    return value / 100.0


def _ratio(chance: re.Match[str]) -> float:
    """ "3 to 1" and "3 to 1 on" are three in four; a rising "60 to 70" may be a range, and is asked about."""
    for_it, against = int(chance["for"]), int(chance["against"])
    if chance["side"] == "against":
        for_it, against = against, for_it
    plain = chance["side"] or 1 in (for_it, against) or for_it >= against or for_it + against == 100
    if chance["range"] or not plain or not for_it + against:
        raise FaultoddsError(f"'{chance[0]}' may be odds or a range. Say one chance. {EXAMPLE}")
    return for_it / (for_it + against)
