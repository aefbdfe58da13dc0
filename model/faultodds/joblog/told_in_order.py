"""What a cell of work tells in order: a run that still showed the fault parts the repairs that did not hold from the one that did.

"fitted igniter, no better, it was the coils": the igniter did not hold, the coils did. And what is told beside "no fault found":
no finding, and no work.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

from faultodds.joblog import callbacks
from faultodds.joblog.stems import trade, vocabulary

_END = (
    r"(?=\s*(?:[,;.:!\n+&/]|-|\u2013|\u2014|$|\b(?:but|so|and|then|until|till|it was|was|turned|found|in the end)\b))"
)
_FOR = r"(?: (?:(?:after|in|at|for) \d+ ?\w+|after (?:a |the )?\w+))?"
_BEGIN = r"(?:^|(?<=[\s,;.:!\n+&/-]))"
_BREAK = re.compile(r"(\s*(?:[,;!\n]|\.(?=\s|$)|\s--?\s|\s[\u2013\u2014]\s|\b(?:but|so|and then|then)\b)\s*)")
_JOIN = re.compile(r"^(?:[\s,;.:!\n+&/\u2013\u2014-]|\b(?:but|so|and|then|until|till)\b)+", re.I)
_TAIL = re.compile(r"(?:[\s,;.:!\n+&/\u2013\u2014-]|\b(?:but|and|was|it|is|had)\b)+$", re.I)
_ANOTHER_VISIT = re.compile(
    r"\b(?:later|recall(?:ed)?|next (?:day|week|visit)|c/?b)\b|\b(?:came|went|called|call) ?back\b", re.I
)
_DENIED = re.compile(r"\b(?:no|not|never|hardly|barely|still|until|till)\b|n't\b", re.I)
_THE = re.compile(r"^(?:the|a|an|just|only|actually|really) ", re.I)


def parted(appliance: str, text: str) -> tuple[str, str] | None:
    """What a cell tells before the last run that still showed the fault, and behind it; None where it tells of none, or of two
    visits."""
    if _ANOTHER_VISIT.search(text) or callbacks.told(text):
        return None
    runs = [*_failed(appliance).finditer(text)]
    return (_TAIL.sub("", text[: runs[-1].start()]), _JOIN.sub("", text[runs[-1].end() :])) if runs else None


def with_causes(text: str, fitted: Callable[[str, str], bool]) -> str:
    """A text with "it was the coils" and "coils did it" as "replaced coils", where `fitted` says so of the part and of what
    is told next."""
    pieces = _BREAK.split(text)
    for n in range(0, len(pieces), 2):
        part = cause(pieces[n])
        if part and fitted(part, pieces[n + 2] if n + 2 < len(pieces) else ""):
            pieces[n] = f"replaced {part}"
    return "".join(pieces)


def before_cause(text: str) -> tuple[str, str] | None:
    """A text up to where it tells what the cause was, and from there; None where it does not."""
    pieces = _BREAK.split(text)
    at = next((n for n in range(2, len(pieces), 2) if cause(pieces[n])), None)
    return None if at is None else ("".join(pieces[: at - 1]), "".join(pieces[at:]))


def tells_cause(text: str) -> bool:
    """Whether a text tells of a run that still showed the fault, or what the cause was."""
    return parted("", text) is not None or before_cause(text) is not None


def last(text: str) -> str:
    """The last clause of a text."""
    return _BREAK.split(text)[-1]


def cause(text: str) -> str:
    """The part that a clause names as the cause; empty when it names none."""
    match = next((m for pattern in _causes() if (m := pattern.fullmatch(text.strip()))), None)
    return _THE.sub("", match["part"].strip()) if match else ""


def nothing_found(text: str) -> str | None:
    """What else a text tells beside that nothing was found wrong; None when it does not tell that."""
    rest, times = _nothing_found().subn(" ", text)
    return _TAIL.sub("", _JOIN.sub("", rest)) if times else None


def good_run(appliance: str, text: str) -> tuple[str | None, str]:
    """What a run with nothing found showed, as a cell of the run after the repair, and the text without it."""
    told, rest = None, []
    for n, piece in enumerate(_BREAK.split(text)):
        shown = None if n % 2 or _DENIED.search(piece) else _shown(appliance, piece)
        told = told or shown
        rest += [] if shown else [piece]
    return told, _TAIL.sub("", _JOIN.sub("", "".join(rest)))


def _shown(appliance: str, text: str) -> str | None:
    patterns = trade(appliance).get("good_run", {})
    return next((cell for cell, each in patterns.items() for p in each if re.search(p, text, re.I)), None)


@cache
def _failed(appliance: str) -> re.Pattern[str]:
    states = "|".join(trade(appliance).get("failed_run", {}).get("states", ["(?!)"]))
    said = "|".join(vocabulary()["failed_run"]["words"])
    still = r"still (?:(?:is|was|has|had|runs?|running|stays?|got|getting|have) )?"
    return re.compile(rf"{_BEGIN}(?:(?:{said})|{still}(?:{states})|(?:{states}) still)(?! before)\b{_FOR}{_END}", re.I)


@cache
def _causes() -> tuple[re.Pattern[str], ...]:
    said = vocabulary()["cause"]
    return tuple(re.compile(pattern, re.I) for pattern in (*said["cured"], *reversed(said["named"])))


@cache
def _nothing_found() -> re.Pattern[str]:
    about = r"(?!,? (?:in|with|on) (?!it\b|the (?:dryer|machine|unit)\b))"
    return re.compile(rf"(?<!\w)(?:{'|'.join(vocabulary()['nothing_found']['words'])})(?!\w){about}", re.I)
