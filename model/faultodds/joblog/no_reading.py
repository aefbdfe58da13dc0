"""What stands in a reading's cell and is no reading: a day, a time of day, a telephone number, the number of a job."""

from __future__ import annotations

import re
from typing import Final

from faultodds.joblog import dates

_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sept?|oct|nov|dec)[a-z]{0,6}"
_DAY: Final = re.compile(
    rf"\d{{1,2}}([-/.])\d{{1,2}}\1(?:\d{{4}}|\d\d)|\d{{4}}[-/.]\d{{1,2}}[-/.]\d{{1,2}}|\d{{1,2}}/(?:19|20)\d\d"
    rf"|\d{{1,2}}(?:st|nd|rd|th)?[\s.-]*{_MONTH}\.?,?[\s.-]*'?(?:\d{{4}}|\d\d)?"
    rf"|{_MONTH}\.?[\s.-]*\d{{1,4}}(?:st|nd|rd|th)?,?\s*'?(?:\d{{4}}|\d\d)?",
    re.I | re.A,
)
_TELEPHONE: Final = re.compile(
    r"(?:(?:tel|ph|phone|cell|call)\b[.:]?\s*)?(?:\+\d{1,2}[ .-]?|\d{1,2}[ .-])?"
    r"(?:(?:\(?\d{3}\)?[ ./-]*)?\d{3}[.-]|\(?\d{3}\)?[ ./-]+\d{3} )\d{4}(?:\s*(?:x|ext\.?)\s*\d+)?",
    re.I | re.A,
)
_NUMBER_OF: Final = re.compile(r"(?:no\.|nr\.?|#|job|wo|inv(?:oice)?|ticket|ref)\s*[:#]?\s*\d[\d-]*", re.I | re.A)
# A range has two ends, as meters write them: "120-130", not "2022-00417", "1-2-3" nor 7 digits and more in a row.
_JOINED: Final = re.compile(r"\d+(?:-\d+){2,}|\d+-\d{5,}|\d{5,}-\d+|\d+-0\d+|\d{7,}", re.A)
_DOTTED: Final = re.compile(r"(?!\d{1,3}(?:\.\d{3})+$)\d+(?:\.\d+){2,}", re.A)
_OF_DAY = r"\d{1,2}(?::\d\d)?(?::\d\d)?\s*(?:[ap]\.?(?:m\.?)?|o'?clock)"
_TIME_OF_DAY: Final = re.compile(rf"{_OF_DAY}|\d{{1,2}}:\d\d:\d\d", re.I | re.A)
_CLOCK: Final = re.compile(rf"(?:{_OF_DAY}|\d{{1,2}}:\d\d)(?:\s*-\s*(?:{_OF_DAY}|\d{{1,2}}:\d\d))?", re.I | re.A)
_YEAR_OR_PARTS: Final = re.compile(r"(?:19|20)\d\d|\d+(?:/\d+){2,}", re.A)


def is_no_reading(text: str, spans_time: bool = False, counts: bool = False) -> bool:
    """Whether a cell is plainly something else than a reading or an amount.

    In a cell that `spans_time` "1:15" and "9:30a - 10:15a" are lengths of time; where something is counted (`counts`: years,
    loads, feet) a bare 2019 is a year and 8/263/117 no number.
    """
    typed = " ".join(text.split())
    shapes = [_DAY, _TELEPHONE, _NUMBER_OF, _JOINED, _DOTTED, _TIME_OF_DAY]
    shapes += [] if spans_time else [_CLOCK]
    shapes += [_YEAR_OR_PARTS] if counts else []
    return any(shape.fullmatch(each) for shape in shapes for each in (typed, dates.plain(typed)))
