"""Why a complaint is gone, in a technician's own words: taken only when what it says was done, or is seen to be right.

Whatever says that something is not so, not done, only for now or only hoped is none, and neither is what says nothing of the
machine. The lists are in `grammar.toml`; what does not belong in a reason can be kept as a note. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from faultodds.job.sayings import plain
from faultodds.job.words import grammar, listed
from faultodds.safety import only_denies

_CUT = re.compile(r"[,;:?]|\.(?!\d)|\band\b|\bbut\b|\bthen\b|(?<= )n(?= )")
# How it was found is told in these, or in a word for what was wrong before the word for what was done: "loose lug tightened".
_WAS = r"\b(?:was|were|wasnt|werent|had|had been|found)\b"


def spoiled(remark: str, why_not: bool = False) -> str | None:
    """The part of a remark that asks, or tells of something that is not so, not done, only for now or only hoped; None when none
    does. With `why_not` it may tell why something was not done ("no run made: customer had to go")."""
    return remark if "?" in remark else next(spoiled_parts(remark, why_not), None)


def spoiled_parts(remark: str, why_not: bool = False) -> Iterator[str]:
    """All of those parts."""
    told = ("later",) if why_not else ("not", "later")
    return (part for part in _parts(remark) if _undone(part) or any(_so(each, part) for each in told))


def shows(remark: str) -> bool:
    """Whether a remark tells of anything that was done, or seen to be right."""
    return any(_says("did", part) or _says("shows", part) for part in _parts(remark))


def _parts(remark: str) -> Iterator[str]:
    for part in _CUT.split(remark.casefold()):
        said = plain(part)
        if said and not only_denies(said):
            for name, instead in (("good_no", "clear"), ("harmless", "clear"), ("cover", "removed")):
                said = _patterns()[name].sub(instead, said)
            yield said


def _so(which: str, part: str) -> bool:
    """Whether words of a list are said of now."""
    found = _patterns()[which].search(part)
    return found is not None and not re.search(_WAS, part[: found.end()])


def _undone(part: str) -> bool:
    """Whether something is said to be loose, off, missing: not how it was found, nor what was put right."""
    for found in _patterns()["undone"].finditer(part):
        if not re.search(_WAS, part[: found.start()]) and not _says("did", part[found.end() :]):
            return True
    return False


def _says(which: str, part: str) -> bool:
    return bool(_patterns()[which].search(part))


@cache
def _patterns() -> dict[str, re.Pattern[str]]:
    lists = {name: _any(listed(words)) for name, words in grammar()["reason"].items()}
    gone, no = r"(?:off|out|away|gone)\b", "no|nothing|without|zero|nil|0|free of|not a|not any"
    lists["good_no"] = rf"\b(?:{no})(?: (?:more|any|sign of|further|bad)| )* ?{lists['good_no']}"
    took = rf"\b(?:removed|took {gone}|pulled|cut) (?:the |a |old )*"
    lists["cover"] = rf"{lists['cover']}(?: \w+)? {gone}|{took}{lists['cover']}"
    return {name: re.compile(words) for name, words in lists.items()}


def _any(words: list[str]) -> str:
    either = "|".join(words).replace("*", r"\w*")
    return rf"\b(?:{either})\b"
