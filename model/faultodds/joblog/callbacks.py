"""Columns that say whether a visit held: "Callback? Y/N", "C/B x", "Fixed?", "First time fix"; on the first visit or the second.

A heading asks one of two things: did it come back, or did it hold. A yes, a cross, a 1, a date or a count of days answers
"yes" to it; a no, a 0, "none" answers "no".
What a blank means is written in the mapping, since only a column that marks callbacks has one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Final

from faultodds.joblog import dates
from faultodds.joblog.clean import CAME_BACK, GONE
from faultodds.joblog.mapping import NOT_KNOWN, Column
from faultodds.joblog.stems import NO as NOT, tokens, vocabulary

YES: Final = re.compile(r"(?:y|yes|x|xx|true|t|1|\u2713|\u2714|\*|yep|yeah|si)\b|^[x*\u2713\u2714]$", re.I)
NO: Final = re.compile(r"(?:n|no|none|false|f|0|nope|not yet|never|nothing|nil)\b", re.I)
DOUBT: Final = re.compile(r"\?|\b(?:maybe|might|possibly|unsure|not sure|dont know|don't know|tbd)\b", re.I)
_CHOICE: Final = re.compile(r"\(?\b(?:y|yes)\W{1,3}(?:n|no)\b\)?|\by(?:es)?\W*$", re.I)
AGAIN: Final = re.compile(
    r"\b(?:again|same (?:problem|issue|thing|complaint|fault)|still (?:no|not|bad|does|is|has|wont|won't)|came back)\b",
    re.I,
)
AGAIN_FOR: Final = re.compile(
    r"\W*(?:re-?calls?|call ?-?backs?|c/?b|redo|come-?back|came back|repeat(?: call| visit)?|re-?visit"
    r"|(?:2nd|second|return) (?:visit|trip|call))\s*(?:[:;,(\u2013\u2014]|-+(?=\s))\s*(?P<why>.*\w.*)",
    re.I,
)
"""A word for a call back, and why they called."""
ANSWERS: Final = 0.8
"""So many of a column's cells must answer yes or no for its heading to be a question."""
RARE: Final = 0.05
"""An answer that is written on fewer of the rows it could stand on is a slip, and the blanks beside it are that answer."""
FEW: Final = 3
MOST: Final = 0.6
"""So many job numbers, and such a share of a column's cells, and it names the jobs that came back."""


def asks(heading: str, counts: Mapping[str, int]) -> str | None:
    """What a yes in the column says, `came_back` or `gone`; None for a column that asks neither."""
    if any(re.search(rf"\b(?:{word})(?!\w)", heading, re.I) for word in vocabulary()["callback"]["not"]):
        return None
    words = " ".join(tokens(_CHOICE.sub(" ", heading)))
    phrases = {said: [p for p in _phrases(said) if f" {p} " in f" {words} "] for said in ("held", "back")}
    if words in _phrases("back_alone"):
        phrases["back"].append(words)
    named = phrases["held"] or phrases["back"]
    if not named:
        return None
    turned = NOT in words.split() and not any(NOT in phrase.split() for phrase in named)  # "Not fixed?", "No return"
    shorts = sum(n for text, n in counts.items() if answer(text) is not None or DOUBT.search(text))
    says = GONE if bool(phrases["held"]) != turned else CAME_BACK
    return says if shorts >= ANSWERS * sum(counts.values()) else None


def is_reason(heading: str) -> bool:
    """Whether a heading is of why they called again: what stands there was found, or done, at another visit."""
    words = " ".join(tokens(heading, whole=True))
    return words in {" ".join(tokens(phrase, whole=True)) for phrase in vocabulary()["callback"]["reason"]}


def refers(heading: str, texts: Sequence[str], others: Sequence[Mapping[str, int]]) -> bool:
    """Whether a column names the job that the row is the return visit of: its cells stand in a column of job numbers."""
    words = " ".join(tokens(heading))
    if len(texts) < FEW or not (_asked("back", words) or _asked("of", words)):
        return False
    numbers = [counts for counts in others if len(counts) >= 0.9 * sum(counts.values())]
    return any(sum(text in counts for text in texts) >= MOST * len(texts) for counts in numbers)


def assumed(asked: str, counts: Mapping[str, int], rows: int) -> dict[str, str]:
    """What a yes and a blank of such a column stand for. Where the other answer is written out a blank is none of both; where only
    callbacks are marked, or only what did not hold, a blank says that there was none."""
    answers = {text: answer(text) for text in counts}
    yes, no = (sum(n for text, n in counts.items() if answers[text] is each) for each in (True, False))
    blank = rows - sum(counts.values())
    if not blank:
        return {"yes": asked}
    marked = no < RARE * (no + blank) if asked == CAME_BACK else bool(no) and not yes
    return {"yes": asked, "blank": GONE if marked else NOT_KNOWN}


def blank_is_open(column: Column, counts: Mapping[str, int], rows: int) -> bool:
    """Whether nobody can tell what a blank says: "Fixed first time?" with Y and blanks only, where a blank may be a no."""
    if column.kind != "ended" or column.assume.get("blank") != NOT_KNOWN or column.assume.get("yes") != GONE:
        return False
    no = sum(n for text, n in counts.items() if answer(text) is False)
    return no < RARE * (no + rows - sum(counts.values()))


def _asked(which: str, words: str) -> bool:
    return any(f" {phrase} " in f" {words} " for phrase in _phrases(which))


@cache
def _phrases(which: str) -> tuple[str, ...]:
    return tuple(" ".join(tokens(phrase)) for phrase in vocabulary()["callback"][which])


def answer(text: str) -> bool | None:
    """Whether a text answers yes or no; None when it does neither, or doubts."""
    typed = text.strip().strip(".")
    if DOUBT.search(typed):
        return None
    if NO.match(typed) and not re.match(
        r"no\s+(?:\w+\s+)?(?:heat|flame|glow|air|gas|start|power|tumble|spin)", typed, re.I
    ):
        return False
    if _asked("back", " ".join(tokens(typed))) or re.fullmatch(
        r"\d{1,2}[ -]?[A-Za-z]{3,4}|[A-Za-z]{3,4}\.? \d{1,2}", typed
    ):
        return True
    if YES.match(typed) or dates.parse(typed) is not None or re.fullmatch(r"\d{1,3}(?:\s*(?:d|days?))?", typed):
        return True
    return True if AGAIN.search(typed) else None


def said(text: str, assume: Mapping[str, str]) -> str | None:
    """The ending that an answer stands for, given what a yes means; None when the text is no answer."""
    told = answer(text)
    if told is None or "yes" not in assume:
        return None
    yes = assume["yes"]
    return yes if told else GONE if yes == CAME_BACK else CAME_BACK


_TOLD_BACK: Final = re.compile(
    r"\b(?:came back|went back|called back|had to go back|going back|returned|recall(?:ed)?|call ?back|c/?b)\b"
    r"(?!\s*(?:by|when|if|to|no|num|tomorrow|later|before|for))",
    re.I,
)
_TOLD_HELD: Final = re.compile(
    r"\bno (?:more )?(?:complaints?|problems?|issues?|calls?|call ?backs?|recalls?|c/?bs?)(?: back)?(?: since|$)"
    r"|\b(?:has not|hasn'?t|did not|didn'?t|never) (?:called|come|came) back\b",
    re.I,
)


def told(text: str) -> bool | None:
    """Whether a sentence of notes says that the customer called again; None when it says neither."""
    if _TOLD_HELD.search(text):
        return False
    if re.search(r"\b(?:follow(?:ed)? up|checked back)\b.*\b(?:fine|ok|good|working|no problems?)\b", text, re.I):
        return False
    if re.search(r"\bcall(?:ed|s)\b.{0,25}\b(?:later|again)\b.{0,25}\b(?:same|again|no heat|still)\b", text, re.I):
        return True
    back = _TOLD_BACK.search(text)
    sure = back and (dates_in(text) or AGAIN.search(text) or re.search(r"\b(?:same|again|another)\b", text, re.I))
    return True if sure else None


_RETURN: Final = re.compile(r"\b(?:return (?:visit|trip|call)|(?:second|2nd) (?:visit|trip)|revisit)\b", re.I)


def names_return(text: str) -> bool:
    """Whether a text names a call back or a return visit, sure or not; beside the number of an earlier job it is one."""
    return not _TOLD_HELD.search(text) and bool(_TOLD_BACK.search(text) or _RETURN.search(text))


def dates_in(text: str) -> bool:
    """Whether a text names a day, the year left out or not."""
    return bool(re.search(r"\b\d{1,2}[/-]\d{1,2}(?:[/-]\d{2,4})?\b|\b\d{4}-\d\d-\d\d\b", text))
