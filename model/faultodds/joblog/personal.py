"""Personal data in a log: which columns hold them, and what of anything that somebody typed may be kept at all.

Nothing is looked for and blotted out; what may stay is listed, and all else goes: a text stays when it stands in several rows and
each of its words is the trade's, or stands in many rows and in no column of people. A number of three digits or more may be the
code of a gate, an alarm or a lock-box, however many rows it stands in: it stays where it is plainly a reading, in a cell that was
read and is nothing but numbers and units, or with the unit written out behind it.
A recogniser of names needs a model of a hundred megabytes and knows whole sentences, not "cust tolbrek nh, repl ign".
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from typing import Any, Final

from faultodds.files import words_file
from faultodds.job import grammar
from faultodds.joblog import dates
from faultodds.joblog.once import once
from faultodds.joblog.stems import WORDS_FILE, is_blank, likeness, stem, tokens, vocabulary
from faultodds.knowledge import Knowledge

EMAIL = re.compile(r"[^\s@,;]{1,64}(?:@|\s?\(at\)\s?|\sat\s)[^\s@,;]{1,64}\.[A-Za-z]{2,}")
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
NEARLY_ALL: Final = 0.8
NAMES_SHARE: Final = 0.6
SEVERAL: Final = 2
MANY: Final = 5
"""So many rows make a text one that several jobs have in common; so many a word that is not the trade's."""
LONG_NUMBER: Final = 5
CODE_DIGITS: Final = 3
"""A number of so many digits may be the code of a gate, an alarm or a lock-box."""


def says(heading: str) -> str | None:
    """What personal data a heading says that its column holds."""
    for kind, names in HEADINGS.items():
        if any(likeness(tokens(heading), tokens(name)) >= 0.95 for name in names):
            return kind
    return None


def kind_of(heading: str, counts: Mapping[str, int], named: bool = False) -> str | None:
    """What personal data a column holds, judged by its heading and by most of its rows, one text among many says nothing.

    `counts` is how often each non-blank text stands there; of a heading that is `named`, the heading of something else, nearly all
    of at least `MANY` cells must speak.
    """
    if (said := says(heading)) is not None:
        return said
    rows = sum(counts.values())
    if not rows:
        return None
    for kind, pattern in PATTERNS.items():
        seen = sum(n for v, n in counts.items() if pattern.search(v))
        if seen >= (NEARLY_ALL if named else SHARE) * rows and (seen >= MANY or not named):
            return kind
    if named and rows < MANY:
        return None
    if all(BARE_PHONE.fullmatch(v.strip()) for v in counts):
        return "phone"  # ten digits in one cell may be a slip, in all of them they are telephones
    whole = sum(n for v, n in counts.items() if NAME.fullmatch(v.strip()))
    return "name" if whole >= NAMES_SHARE * rows else None


def without_numbers(heading: str) -> str:
    """A heading, which is kept, without a telephone number, mailbox or address that somebody wrote into it."""
    for pattern in PATTERNS.values():
        heading = pattern.sub(GONE, heading)
    return heading


# --- what may be kept ----------------------------------------------------------------------------------------------

_WORD: Final = re.compile(r"[^\W\d_]+")
_DIGITS: Final = re.compile(r"\d(?:[().\- ]{0,3}\d)*")
_NUMBER: Final = re.compile(r"\d(?:[^\w]{0,3}\d)*")
_AMOUNT: Final = re.compile(r"(?<!\w)\d{1,4}(?:\.\d{1,2})?(?!\d)")
_UNIT_BEHIND: Final = re.compile(
    r"\s?(?:ppm|k?ohms?|m?vac|volts?|fpm|cfm|btuh?|in ?wc|wc|psi|deg[fc]?|degrees|mins?|minutes|secs?|seconds)\b", re.I
)
_UNITS: Final = re.compile(
    r"a|ac|amps?|btuh?|c|cfm|deg[cf]?|degrees|f|fpm|ft|h|hrs?|hours?|in|inwc|iwc|k|kohms?|m|ma|mbar|mins?|minutes?|mv|ohms?|pa"
    r"|percent|ppm|psi|r|s|secs?|seconds?|to|v|vac|volts?|wc|years?|yrs?|\u03c9"
)
_DECIMAL: Final = re.compile(r"\d{1,4}\.\d{1,2}")
GONE: Final = "[..]"
_SAYS: Final = re.compile(r"[^\W\d_]{3,}|\d")


def _never(text: str) -> bool:
    return False


class Keeper:
    """Says what of a log's texts may be kept. `people` are the words that stand in columns of people."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._trade = _trade_words(knowledge)
        self.people: set[str] = set()

    def meet(self, texts: Iterable[str]) -> None:
        """Note the words of cells that name people: they are not kept from any other column either."""
        for text in texts:
            self.people.update(word for word in _WORD.findall(text.casefold()) if not self._is_trade(word))

    def _is_trade(self, word: str) -> bool:
        return len(word) < 3 or word in self._trade or stem(word) in self._trade

    def masked(
        self, text: str, common: Callable[[str], bool] = lambda word: False, measured: Callable[[str], bool] = _never
    ) -> str:
        """A text with words that are neither the trade's nor `common` blotted out, and numbers that are no readings. `measured`:
        whether a text was read as what was measured."""
        text = EMAIL.sub(GONE, text)
        if measured(text) and _is_amount(text):
            text = _DIGITS.sub(lambda m: m[0] if _is_short(m[0]) else GONE, text)
        else:
            text = _NUMBER.sub(lambda m: m[0] if _is_no_code(m) else GONE, text)
        return _WORD.sub(lambda m: m[0] if self._is_trade(m[0].casefold()) or common(m[0].casefold()) else GONE, text)

    def is_plain(self, text: str, measured: bool = False) -> bool:
        """Whether a text has nothing in it but words of the trade and numbers that are no codes."""
        return self.masked(text, measured=lambda _: measured) == text

    def kept(self, counts: Mapping[str, int], measured: Callable[[str], bool] = _never) -> Counter[str]:
        """Those of a column's texts that may be kept, and how often each stands there."""
        words: Counter[str] = Counter()
        for text, times in counts.items():
            words.update(dict.fromkeys(set(_WORD.findall(text.casefold())), times))

        def common(word: str) -> bool:
            return words[word] >= MANY and word not in self.people

        return Counter({t: n for t, n in counts.items() if n >= SEVERAL and self.masked(t, common, measured) == t})

    def shown(self, counts: Mapping[str, int], measured: Callable[[str], bool] = _never) -> dict[str, str]:
        """Those of a column's texts that say anything when what may not be kept is blotted out, as they may be kept."""
        kept = self.kept(counts, measured)
        found = {text: text if text in kept else self._blotted(text, measured) for text in counts}
        return {text: shown for text, shown in found.items() if shown == text or _SAYS.search(shown.replace(GONE, ""))}

    def _blotted(self, text: str, measured: Callable[[str], bool]) -> str:
        # Of what stands once no initials are kept either: "JB".
        words = self.masked(text, measured=measured)
        return _WORD.sub(lambda m: m[0] if {m[0].casefold(), stem(m[0].casefold())} & self._trade else GONE, words)

    def branches(self, counts: Mapping[str, int]) -> list[str]:
        """Those of a column's texts that may name a branch: on many visits, no address or number of anybody, and none of the people
        that other columns name."""
        people = [*PATTERNS.values(), BARE_PHONE]
        return sorted(
            text
            for text, n in counts.items()
            if n >= MANY
            and not any(pattern.search(text) for pattern in people)
            and self.people.isdisjoint(_WORD.findall(text.casefold()))
        )


def _is_amount(text: str) -> bool:
    return all(map(_UNITS.fullmatch, _WORD.findall(text.casefold()))) or dates.parse(text) is not None


def _is_short(number: str) -> bool:
    digits = sum(c.isdigit() for c in number)
    is_day = not number.isdigit() and dates.parse(number) is not None
    return digits < LONG_NUMBER or bool(_DECIMAL.fullmatch(number)) or is_day


def _is_no_code(number: re.Match[str]) -> bool:
    """Whether a number in a sentence has too few digits for a code, or its unit behind it."""
    few = sum(c.isdigit() for c in number[0]) < CODE_DIGITS
    alone = _AMOUNT.match(number.string, number.start())
    return few or bool(alone and alone.end() == number.end() and _UNIT_BEHIND.match(number.string, number.end()))


@lru_cache(4)
def _words_of_files(appliance: str) -> frozenset[str]:
    paths = (WORDS_FILE, words_file(appliance), words_file(f"{appliance}_log"))
    texts = [path.read_text("utf-8") for path in paths if path is not None]
    lines = (line.partition("# ")[0] for text in texts for line in text.splitlines())
    return _with_stems(word for line in lines for word in _WORD.findall(line.casefold()))


@once
def _trade_words(knowledge: Knowledge) -> frozenset[str]:
    """Every word of the trade, of the appliance's file and of the grammar, and their stems."""
    facts: list[Any] = [*knowledge.context.values(), *knowledge.equipment.values()]
    things: list[Any] = [*knowledge.observables.values(), *facts]
    said = [thing.title if hasattr(thing, "title") else thing.ask for thing in things]
    said += [text for o in knowledge.observables.values() for text in (*o.outcomes, *o.outcomes.values())]
    said += [text for fact in facts for text in fact.values.values()]
    said += [repair.title for repair in knowledge.repair.values()]
    said += [*knowledge.observables, *knowledge.repair, *map(str, grammar().values())]
    said += [word for group in vocabulary().values() for word in map(str, group)]
    return _words_of_files(knowledge.appliance.id) | _with_stems(w for s in said for w in _WORD.findall(s.casefold()))


def _with_stems(words: Iterable[str]) -> frozenset[str]:
    found = set(words)
    return frozenset(found | {stem(word) for word in found})


# --- job numbers and technicians' codes ----------------------------------------------------------------------------

_ID: Final = re.compile(r"#?([A-Za-z]{0,5})([-/# ]?)(\d{1,8})(?:[-./][A-Za-z0-9]{1,3})?")
_CODE: Final = re.compile(r"(?:[A-Z]{1,3}|[a-z]{1,2})?[- ]?\d{1,3}|[A-Z]{1,3}|[a-z]{1,2}")
USUAL: Final = 0.05
"""A way of writing job numbers is the shop's own from such a share of them on."""


class Ids:
    """The shop's way of writing job numbers, told by most of them; what is written otherwise may be a telephone number."""

    def __init__(self, sample: Iterable[str]) -> None:
        shapes = Counter(shape for text in sample if not is_blank(text) and (shape := self._shape(text)))
        self._usual = {shape for shape, n in shapes.items() if n >= USUAL * shapes.total()}

    @staticmethod
    def _shape(text: str) -> tuple[str, str, int] | None:
        match = _ID.fullmatch(text.strip())
        return (match[1].casefold(), match[2], len(match[3])) if match else None

    def is_id(self, text: str) -> bool:
        """Whether a text is written as the shop writes job numbers, or is the first with a digit more ("999", "1000")."""
        shape = self._shape(text)
        if shape is None or PHONE.fullmatch(text.strip()):
            return False
        letters, mark, digits = shape
        rolled_over = f"{letters}{mark}1".casefold() in text.casefold() and (letters, mark, digits - 1) in self._usual
        return shape in self._usual or rolled_over


def is_code(text: str) -> bool:
    """Whether a technician is written as a code or initials ("T2", "JB", "17") and not by name."""
    return bool(_CODE.fullmatch(text.strip()))


def codes(counts: Mapping[str, int]) -> list[str]:
    """The technicians' codes or initials in a column , those that stand there several times."""
    return sorted(text for text, n in counts.items() if n >= SEVERAL and is_code(text))
