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


def tried(text: str) -> str:
    """What is told before a run that still showed the fault, where parts that were tried are parts that were fitted."""
    for pattern, done in vocabulary()["failed_run"]["tried"]:
        text = re.sub(pattern, done, text, flags=re.I)
    return text


def then_fitted(text: str, is_part: Callable[[str], bool]) -> str:
    """What is told behind such a run, where a part that is named alone right behind it was fitted then."""
    first, *rest = _BREAK.split(text)
    part, colon, more = first.partition(":")
    return "".join([f"replaced {part}{colon and ','}{more}", *rest]) if is_part(part) else text


def behind_work(text: str) -> tuple[str, str, str, bool] | None:
    """The same where a clause tells of such a run only when it stands behind work that was done ("no good", "blew again same day"):
    what stands before it, the work that it begins with, what stands behind, and whether it may tell how the part was found.
    None where there is no such clause."""
    pieces = _BREAK.split(text)
    for n in range(len(pieces) - 1, -1, -2):
        match = next((m for p in _behind_work() if (m := p.fullmatch(pieces[n].strip()))), None)
        if match is not None:
            said = match.groupdict()
            work = said.get("work") or ""
            before = "".join(pieces[: n + (-1 if not work and n else 0)]) + work
            return before, work, _JOIN.sub("", "".join(pieces[n + 1 :])), bool(said.get("or_found_so"))
    return None


def reverted(text: str) -> tuple[str, str, str] | None:
    """What stands before the words of an old part put back in, these words, and what stands behind their clause."""
    match = _patterns("reverted").search(text)
    if match is None:
        return None
    behind = _BREAK.search(text, match.end())
    return text[: match.start()], match[0], text[behind.end() :] if behind else ""


def without_remarks(appliance: str, text: str, tells_work: Callable[[str], bool]) -> str:
    """A text without the closing remarks ("all good", "tested ok", "heats well now") right behind a clause that tells of work done,
    put off or left: they speak of the machine, and of no part."""
    pieces = _BREAK.split(text)
    last, kept = "", pieces[:1]
    for n in range(2, len(pieces), 2):
        last = last if is_remark(appliance, pieces[n - 2]) else pieces[n - 2]
        kept += [] if is_remark(appliance, pieces[n]) and tells_work(last) else pieces[n - 1 : n + 1]
    return "".join(kept) + ("." if len(kept) < len(pieces) and not kept[-1] else "")


def is_remark(appliance: str, text: str) -> bool:
    """Whether a text is a remark that all is well, and no more."""
    return bool(_remark(appliance).fullmatch(text.strip(" .!")))


def left_alone(text: str) -> bool:
    """Whether a text tells of a part that nothing was done to."""
    return bool(_patterns("left_alone").search(text))


def clauses_of(text: str) -> list[str]:
    """The clauses of a text, with what parts each from the one before in front of it."""
    pieces = _BREAK.split(text)
    return [pieces[0], *("".join(pieces[n : n + 2]) for n in range(1, len(pieces), 2))]


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


def bared(text: str) -> str:
    """A text without what joins it to others, before and behind."""
    return _TAIL.sub("", _JOIN.sub("", text))


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
    return bared(rest) if times else None


def good_run(appliance: str, text: str) -> tuple[str | None, str]:
    """What a run with nothing found showed, as a cell of the run after the repair, and the text without it."""
    told, rest = None, []
    for n, piece in enumerate(_BREAK.split(text)):
        shown = None if n % 2 or _DENIED.search(piece) else _shown(appliance, piece)
        told = told or shown
        rest += [] if shown else [piece]
    return told, bared("".join(rest))


def _shown(appliance: str, text: str) -> str | None:
    patterns = trade(appliance).get("good_run", {})
    return next((cell for cell, each in patterns.items() for p in each if re.search(p, text, re.I)), None)


@cache
def _failed(appliance: str) -> re.Pattern[str]:
    states = "|".join(trade(appliance).get("failed_run", {}).get("states", ["(?!)"]))
    said = "|".join(vocabulary()["failed_run"]["words"])
    still = r"still (?:(?:is|was|has|had|runs?|running|stays?|got|getting|have) )?(?:" + states + ")"
    again = rf"(?:{states}) (?:still|again|(?:as|like) before)"
    return re.compile(rf"{_BEGIN}(?:(?:{said})|{still}|{again})(?! before)\b{_FOR}{_END}", re.I)


@cache
def _behind_work() -> tuple[re.Pattern[str], ...]:
    return tuple(re.compile(pattern, re.I) for pattern in vocabulary()["failed_run"]["behind_work"])


@cache
def _patterns(group: str) -> re.Pattern[str]:
    return re.compile(rf"\b(?:{'|'.join(vocabulary()[group]['words'])})", re.I)


@cache
def _remark(appliance: str) -> re.Pattern[str]:
    own = trade(appliance).get("remark", {})
    good = "|".join([*vocabulary()["remark"]["good"], *own.get("good", [])])
    word = "|".join([*vocabulary()["remark"]["words"], *own.get("words", []), good])
    return re.compile(rf"(?:(?:{word})\s+)*(?:{good})(?:\s+(?:{word}))*", re.I)


@cache
def _causes() -> tuple[re.Pattern[str], ...]:
    said = vocabulary()["cause"]
    return tuple(re.compile(pattern, re.I) for pattern in (*said["cured"], *reversed(said["named"])))


@cache
def _nothing_found() -> re.Pattern[str]:
    about = r"(?!,? (?:in|with|on) (?!it\b|the (?:dryer|machine|unit)\b))"
    return re.compile(rf"(?<!\w)(?:{'|'.join(vocabulary()['nothing_found']['words'])})(?!\w){about}", re.I)
