"""Which machine a row of a log is about: a shop that mends several keeps them in one log."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import cache, lru_cache
from typing import Any, Final, Literal

from faultodds.joblog.cleaning_report import ColumnReport
from faultodds.joblog.mapping import Column
from faultodds.joblog.stems import OTHER, REMEMBERED, key, machine_called, trade
from faultodds.knowledge import Knowledge

Machine = Literal["mine", "other", "both"]
UNSURE: Final = "?"


def which(knowledge: Knowledge, text: str) -> Machine | None:
    """Whether a text names the appliance of the knowledge file, another machine, or both; None when it names neither."""
    return _which(knowledge.appliance.id, text.casefold())


@lru_cache(REMEMBERED)
def _which(appliance: str, text: str) -> Machine | None:
    words = trade(appliance).get("machine", {})
    kinds = ("both", "other", "mine")
    found = []
    for kind in kinds:
        rest = _any(tuple(words[kind])).sub("|", text) if words.get(kind) else text
        found += [kind] if rest != text else []
        text = rest
    if "both" in found or {"mine", "other"} <= {*found}:
        return "both"
    return "other" if "other" in found else "mine" if found else None


class Which:
    """The column that says which machine a row is about: rows of another are left out, those of which it says nothing that is
    known, or names two, are kept; every value is counted, by what it was taken for."""

    def __init__(self, column: Column, knowledge: Knowledge) -> None:
        self._knowledge, self._mine, self._own = (
            knowledge,
            machine_called(knowledge.appliance.id),
            {typed.casefold(): means for typed, means in column.words.items()},
        )
        self.report = ColumnReport(column.heading, column.kind)

    def is_other(self, value: str) -> bool:
        """Whether a row with this cell is about another machine."""
        if not value:
            self.report.counts["blank"] += 1
            return False
        told = which(self._knowledge, value)
        kinds = {"mine": self._mine, "other": OTHER, "both": f"{self._mine}{UNSURE}", None: UNSURE}
        became = self._own.get(value.casefold(), UNSURE)
        became = kinds[told] if became == UNSURE else became
        self.report.counts["unknown" if became == UNSURE else "read"] += 1
        self.report.phrases[value, became] += 1
        return became == OTHER

    def told(self) -> tuple[list[str], list[str]]:
        """What is to be said of the values, once what may not be kept is blotted out: alarms, and notes."""
        heading, seen = self.report.heading, self.report.phrases
        unknown = _values(seen, UNSURE)
        both, other = _values(seen, f"{self._mine}{UNSURE}"), _values(seen, OTHER)
        say = f'If any is not, write {self._mine} or {OTHER} under "means" in the table of phrases.'
        alarms = []
        if both:
            alarms.append(f"{heading}: {both}: a {self._mine} and another machine; kept as the {self._mine}'s. {say}")
        if unknown:
            alarms.append(f"{heading}: {unknown}: which machine is that? Kept as a {self._mine}'s. {say}")
        return alarms, [f"{heading}: left out as other machines: {other}."] if other else []


def _values(seen: Counter[tuple[str, str]], became: str) -> str:
    """The values that were taken for one thing, commonest first, and how often each stands there."""
    found = [(value, n) for (value, told), n in seen.most_common() if told == became]
    more = f" and {len(found) - VALUES_TOLD:,} more values" if len(found) > VALUES_TOLD else ""
    return ", ".join(f"'{value}' {n:,}" for value, n in found[:VALUES_TOLD]) + more


VALUES_TOLD: Final = 12
ROWS_TOLD: Final = 5


class Kin:
    """Rows about machines of one kind that the file is not about, an electric dryer or a fridge among gas dryers: left out where a
    fact, or what is told, says so; kept where there is only a hint of it, or something in the row says otherwise; both are
    counted."""

    def __init__(self, words: Mapping[str, Any], place: Callable[[int], str]) -> None:
        """`words` is one of the tables `kin` of the machine's file; `place` says where a row is to be found (`Source.place`)."""
        self._words, self._place = words, place
        self._left: list[int] = []
        self._kept: list[int] = []

    def names(self, number: int, facts: Mapping[str, str], texts: Mapping[str, Sequence[str]]) -> str:
        """The words by which a row is to be left out, empty where it is kept; `facts` are the cells of its facts, `texts` the other
        cells by their kind of column."""
        asked = self._words.get("facts", {})
        known = [name for name in asked if facts.get(name)]
        said = [facts[name] for name in known if key(facts[name]) in {key(each) for each in asked[name]}]
        here = [text for kind in self._words["told_in"] for text in texts.get(kind, ()) if text]
        told = [found for text in here if (found := self._spoken("told", text))]
        if told and not known and "unless" in self._words:
            known = [text for cells in texts.values() for text in cells if re.search(self._words["unless"], text, re.I)]
        if said or (told and not known):
            self._left.append(number)
            return [*said, *told][0]
        if told or any(self._spoken("hints", text) for text in here):
            self._kept.append(number)
        return ""

    def _spoken(self, which: str, text: str) -> str:
        return _spoken(tuple(self._words.get(which, ())), self._words.get("not_after", "(?!)"), text)

    def alarms(self) -> list[str]:
        """What is to be said of such rows, and how they were treated."""
        called = self._words["called"]
        found = []
        if self._left:
            found.append(f"{self._rows(self._left, called)}: left out, nothing is learned from them.")
        if self._kept:
            found.append(f"{self._rows(self._kept, called, 'may be')}: kept, and read as all others. Look at them.")
        return found

    def _rows(self, numbers: list[int], called: str, verb: str = "") -> str:
        n = len(numbers)
        listed = ", ".join(map(self._place, numbers[:ROWS_TOLD])) + (", ..." if n > ROWS_TOLD else "")
        rows, be = ("1 row", "is") if n == 1 else (f"{n:,} rows", "are")
        return f"{rows} {verb or be} about {called} ({listed})"


def kins(knowledge: Knowledge, place: Callable[[int], str]) -> list[Kin]:
    """Every kind of machine that a log of this one may hold besides."""
    return [Kin(words, place) for words in trade(knowledge.appliance.id).get("kin", ())]


@lru_cache(REMEMBERED)
def _spoken(patterns: tuple[str, ...], not_after: str, text: str) -> str:
    """The first words of a text that one of the patterns fits, not denied ("no element") and not behind `not_after`; else empty."""
    if not patterns:
        return ""
    heads = ((match[0], text[: match.start()]) for match in _any(patterns).finditer(text))
    return next((words for words, head in heads if not (_NO.search(head) or re.search(not_after, head, re.I))), "")


@cache
def _any(patterns: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile("|".join(patterns), re.I)


_NO: Final = re.compile(r"\b(?:no|not|isn'?t|without|never)\W+(?:an? |the )?$", re.I)
