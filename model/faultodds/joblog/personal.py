"""Personal data in a log: recognised by heading and by pattern, so that it can be left out."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from faultodds.joblog.stems import likeness, tokens

EMAIL = re.compile(r"[^\s@,;]+@[^\s@,;]+\.[A-Za-z]{2,}")
PHONE = re.compile(
    r"(?<![\w.])(?:\+\d{1,3}[\s.-]?)?(?:\(\d{3,5}\)\s?\d{3,4}[\s.-]?\d{3,4}|\d{3}[\s.-]\d{3}[\s.-]\d{4}|\d{3}-\d{4}"
    r"|0\d{3,4}\s\d{5,6}|0\d{2}\s\d{4}\s\d{4})(?![\w.])"
)
BARE_PHONE = re.compile(r"(?<![\w.])\d{10,11}(?![\w.])")
_STREET_WORD = (
    r"(?:street|st|avenue|ave|road|rd|lane|ln|drive|dr|court|ct|boulevard|blvd|close|place|pl|terrace|highway|hwy)"
)
ADDRESS = re.compile(rf"\b\d{{1,5}}\s+(?:[A-Z][\w'.-]*\s+){{1,3}}{_STREET_WORD}\b\.?", re.I)
NAME = re.compile(
    r"(?:(?:mr|mrs|ms|miss|dr)\.?\s+)?[A-Z][a-z'’-]+(?:\s+[A-Z]\.?)?(?:,?\s+)[A-Z][a-z'’-]+|(?:mr|mrs|ms|miss)\.?\s+[A-Z]\w+"
)

PATTERNS: Final = {"e-mail": EMAIL, "phone": PHONE, "address": ADDRESS}
HEADINGS: Final = {
    "name": ["name", "customer name", "cust name", "client name", "first name", "last name", "surname", "contact name"],
    "phone": ["phone", "telephone", "tel", "mobile", "cell", "cell phone", "phone no", "contact no", "fax"],
    "e-mail": ["email", "e-mail", "mail", "email address"],
    "address": ["address", "street", "addr", "street address", "service address", "house no", "apt"],
    "post code": ["zip", "zip code", "postcode", "post code", "postal code"],
    "town": ["city", "town", "suburb"],
    "plate or card": ["licence plate", "plate", "card no", "card number", "ssn", "date of birth", "dob"],
}
SHARE: Final = 0.3
"""A column is personal when so many of its cells look it."""
NAMES_SHARE: Final = 0.6


def kind_of(heading: str, counts: Mapping[str, int]) -> str | None:
    """What personal data a column holds, judged by its heading and by most of its rows, one text among many says nothing.

    `counts` is how often each non-blank text stands there.
    """
    for kind, names in HEADINGS.items():
        if any(likeness(tokens(heading), tokens(name)) >= 0.95 for name in names):
            return kind
    rows = sum(counts.values())
    if not rows:
        return None
    for kind, pattern in PATTERNS.items():
        if sum(n for v, n in counts.items() if pattern.search(v)) >= SHARE * rows:
            return kind
    if all(BARE_PHONE.fullmatch(v.strip()) for v in counts):
        return "phone"  # ten digits in one cell may be a slip, in all of them they are telephones
    whole = sum(n for v, n in counts.items() if NAME.fullmatch(v.strip()))
    return "name" if whole >= NAMES_SHARE * rows else None


def masked(text: str) -> str:
    """A text with e-mails, telephone numbers and street addresses blotted out."""
    for kind, pattern in (*PATTERNS.items(), ("number", BARE_PHONE)):
        text = pattern.sub(f"[{kind}]", text)
    return text


def is_code(text: str) -> bool:
    """Whether a technician is written as a code or initials ("T2", "JB", "17") and not by name."""
    text = text.strip()
    return len(text) <= 3 or any(c.isdigit() for c in text)
