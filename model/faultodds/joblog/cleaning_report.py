"""The cleaning report: what became of every row and cell of an imported log."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Final, NamedTuple

from faultodds.joblog import clean
from faultodds.joblog.cells import Status
from faultodds.joblog.clean import ENDINGS
from faultodds.joblog.personal import Keeper

WORDS_SHOWN: Final = 5
UNREAD: Final = "-"
"""What a phrase became that says nothing."""
NOT_DONE: Final = "unknown (nothing done, or not the last visit)"
ASKED: Final = "?"
"""What a phrase became that is not understood."""
MOST_WORDS: Final = 5_000
DANGERS_SHOWN: Final = 10


FOREIGN: Final = ", a repair the file does not know"


class Told(NamedTuple):
    """A row that tells of danger: the number that a spreadsheet shows beside it, the heading of the cell, the danger, and the
    words; `place` is where it is to be found (`Source.place`); `other` whether the row is about another machine, and left out."""

    row: int
    heading: str
    hazard: str
    words: str
    place: str = ""
    other: bool = False


@dataclass
class ColumnReport:
    """One column: what it is, how many cells of each status, and the words that were not understood.

    `contradicted` counts findings on a part that the machine is said not to have, `no_dial` gas clockings that do not say for
    which dial, `too_long` times on the job that hardly a visit takes. `words` maps a word to how often it stands there; `nearest`
    a word to the known meaning it comes nearest to; `foreign` are those of the words that tell of a repair the file does not know.
    """

    heading: str
    is_: str
    counts: Counter[Status] = field(default_factory=Counter)
    words: Counter[str] = field(default_factory=Counter)
    nearest: dict[str, str] = field(default_factory=dict)
    foreign: dict[str, int] = field(default_factory=dict)
    contradicted: int = 0
    no_dial: int = 0
    too_long: int = 0
    phrases: Counter[tuple[str, str]] = field(default_factory=Counter)

    @property
    def filled(self) -> int:
        """Cells that say something."""
        return sum(n for status, n in self.counts.items() if status != "blank")

    @property
    def understood(self) -> int:
        """Cells read, mended ones among them, and those known to say nothing."""
        return self.counts["read"] + self.counts["mended"] + self.counts["silent"]

    def add_words(self, words: Mapping[str, int]) -> None:
        """Count words not understood; in a very long log those seen once are forgotten first."""
        self.words.update(words)
        if len(self.words) > MOST_WORDS:
            self.words = Counter({word: n for word, n in self.words.items() if n > 1})

    def keep_only(self, keeper: Keeper, free: bool = False) -> None:
        """Forget every text that somebody typed and that may not be kept, and blot out what of a phrase may not be; in `free` text
        no number is taken for a reading."""
        self.words = keeper.kept(self.words)
        seen: Counter[str] = Counter()
        for (phrase, _), times in self.phrases.items():
            seen[phrase] += times
        read = set() if free else {phrase for phrase, became in self.phrases if became not in (UNREAD, ASKED)}
        shown = keeper.shown(seen, read.__contains__)
        told: Counter[tuple[str, str]] = Counter()
        for (phrase, became), times in self.phrases.items():
            if phrase in shown:
                told[shown[phrase], became] += times
        self.phrases = told


@dataclass
class CleaningReport:
    """What became of a log. Rows: `rows` = `used` + the rows in `aside`; `mended_rows` of the used had a cell mended. `danger`:
    the rows, used or not, that tell of danger; `alarms`: what looks wrong by itself; `dropped`: cells of columns that are left out
    though they may say something; `in_all`: visits of the log that these were added to, with them."""

    log: str
    source: str
    appliance: str
    read_as: list[str]
    rows: int = 0
    used: int = 0
    mended_rows: int = 0
    short_rows: int = 0
    danger: list[Told] = field(default_factory=list)
    aside: Counter[str] = field(default_factory=Counter)
    columns: list[ColumnReport] = field(default_factory=list)
    personal: dict[str, str] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    said_twice: int = 0
    filled_in: int = 0
    first_day: str = ""
    last_day: str = ""
    came_back: int = 0
    source_hash: str = ""
    imported_at: str = ""
    alarms: list[str] = field(default_factory=list)
    dropped: int = 0
    in_all: int = 0

    @property
    def set_aside(self) -> int:
        """Rows not used."""
        return sum(self.aside.values())

    def total(self, status: Status) -> int:
        """Cells of a status in all columns that are read."""
        return sum(column.counts[status] for column in self.columns)

    @property
    def filled(self) -> int:
        """Cells that say something, in all columns that are read."""
        return sum(column.filled for column in self.columns) + self.dropped

    @property
    def understood(self) -> float:
        """The share of them that was read."""
        return sum(column.understood for column in self.columns) / self.filled if self.filled else 0.0

    def as_dict(self) -> dict[str, Any]:
        """The report as plain data, for JSON."""
        raw = asdict(self)
        raw["danger"] = [told._asdict() for told in self.danger]
        raw["columns"] = [_column_dict(column) for column in self.columns]
        raw["aside"] = dict(self.aside.most_common())
        raw |= {"set_aside": self.set_aside, "cells": self.filled, "understood": round(self.understood, 4)}
        statuses: tuple[Status, ...] = ("read", "mended", "unknown", "either", "impossible", "silent")
        raw["cells_by_status"] = {status: self.total(status) for status in statuses}
        return raw


def _column_dict(column: ColumnReport) -> dict[str, Any]:
    words = [
        {"word": word, "times": n, "nearest": column.nearest.get(word), "unknown_repair": word in column.foreign}
        for word, n in column.words.most_common(4 * WORDS_SHOWN)
    ]
    return {
        "heading": column.heading,
        "is": column.is_,
        "cells": column.filled,
        **{str(status): n for status, n in column.counts.items()},
        "contradicted": column.contradicted,
        "not_understood": words,
    }


# --- for people ----------------------------------------------------------------------------------------------------


def lines(report: CleaningReport) -> list[str]:
    """The report as lines of text."""
    return [
        *danger_lines(report),
        *alarm_lines(report),
        *_head(report),
        *_rows(report),
        *_cells(report),
        *_rest(report),
    ]


def danger_lines(r: CleaningReport) -> list[str]:
    """The rows that tell of danger; nothing when none does."""
    own = sorted((t for t in r.danger if not t.other), key=_worst)
    found = []
    if n := len(own):
        rows = "1 row. Read it" if n == 1 else f"{n:,} rows. Read them"
        found.append(f"DANGER told of in {rows} first: was it dealt with?")
        found += [f"  {t.place}{f', {t.heading}' if t.heading else ''}: '{t.words}'" for t in own[:DANGERS_SHOWN]]
    if n > DANGERS_SHOWN:
        found.append(f"  and {n - DANGERS_SHOWN:,} more; all of them are in the report that is kept")
    return [*found, *_of_others([t for t in r.danger if t.other])]


def _of_others(told: list[Told]) -> list[str]:
    """The rows about other machines that tell of danger, in one line."""
    if not told:
        return []
    said = ", ".join(f"'{words}' {n:,}" for words, n in Counter(t.words for t in told).most_common(WORDS_SHOWN))
    n = len(told)
    rows = "1 row" if n == 1 else f"{n:,} rows"
    places = ", ".join(t.place for t in told[:WORDS_SHOWN]) + (", ..." if n > WORDS_SHOWN else "")
    where = "Marked DANGER in the file of rows set aside."
    return [f"DANGER, other machines: {rows} left out ({places}): {said}. Was it dealt with? {where}"]


def _worst(told: Told) -> bool:
    """Gas, carbon monoxide and illness before fire, which a burning smell of lint counts as."""
    return told.hazard == "fire"


def alarm_lines(r: CleaningReport) -> list[str]:
    """What looks wrong by itself."""
    return [f"LOOK: {text}" for text in r.alarms]


def _head(r: CleaningReport) -> list[str]:
    span = f", {r.first_day} to {r.last_day}" if r.first_day else ""
    return [
        f"Log '{r.log}' from {r.source} ({'; '.join(r.read_as)}).",
        f"{r.used:,} visits kept{f', {r.in_all:,} in the log now' if r.in_all else ''}{span}.",
    ]


def _rows(r: CleaningReport) -> list[str]:
    mended = f", {r.mended_rows:,} of them after mending a cell" if r.mended_rows else ""
    found = [f"Rows: {r.rows:,} read, {r.used:,} used{mended}, {r.set_aside:,} set aside."]
    found += [f"  set aside: {count:,} {reason}" for reason, count in r.aside.most_common()]
    if r.short_rows:
        found.append(f"  {r.short_rows:,} rows had fewer cells than headings; the missing ones count as blank")
    return found


def _cells(r: CleaningReport) -> list[str]:
    found = [f"Cells: {r.filled:,} say something, {100 * r.understood:.1f} % of them understood."]
    labels: tuple[tuple[Status, str], ...] = (
        ("mended", "mended (a slip of spelling, a unit or a dial taken as given)"),
        ("unknown", "not understood"),
        ("either", "could be said of several checks, left open"),
        ("impossible", "impossible readings, left out"),
    )
    found += [f"  {r.total(status):,} {words}" for status, words in labels if r.total(status)]
    contradicted = sum(column.contradicted for column in r.columns)
    if contradicted:
        found.append(f"  {contradicted:,} left out: of a part that this machine is said not to have")
    if r.said_twice:
        found.append(f"  {r.said_twice:,} said otherwise by a later column; the first column stands")
    foreign = max((sum(column.foreign.values()) for column in r.columns), default=0)
    if foreign:
        found.append(f"  {foreign:,} repairs that the file does not know: such a visit says nothing of its faults")
    if r.filled_in:
        found.append(f"  {r.filled_in:,} facts filled in: a check on a part says that the machine has it")
    for column in r.columns:
        if column.no_dial:
            found.append(
                f'  {column.heading}: {_times(column.no_dial)} no dial; say it: assume = {{ dial = "half ft" }}'
            )
        found += _words(column)
    return found


def _words(column: ColumnReport) -> list[str]:
    found = []
    for word, n in column.words.most_common(WORDS_SHOWN):
        near = column.nearest.get(word)
        found.append(
            f"  {column.heading}: '{word}' {_times(n)}"
            + (f", nearest: {near}" if near else FOREIGN if word in column.foreign else _allowed(column))
        )
    more = len(column.words) - WORDS_SHOWN
    return [*found, f"  {column.heading}: and {more:,} more"] if more > 0 else found


def _allowed(column: ColumnReport) -> str:
    """What a word may mean, where these are few: how a visit ended."""
    return f", nothing is near: write {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}" if column.is_ == clean.ENDED else ""


def _times(n: int) -> str:
    return f"{n:,} time" + ("" if n == 1 else "s")


def _rest(r: CleaningReport) -> list[str]:
    found = [f"Taken as given: {text}" for text in r.assumed]
    if r.personal:
        listed = ", ".join(f"{heading} ({kind})" for heading, kind in r.personal.items())
        found.append(f"Personal data, not kept: {listed}.")
    if r.left_out:
        found.append("Left out: " + ", ".join(f"{h} ({why})" if why else h for h, why in r.left_out.items()) + ".")
    return [*found, *r.notes]


def assumption(name: str, value: str) -> str:
    """What a column leaves out and is taken as given, in words."""
    value = "not known" if value == "?" else value
    words = {
        "unit": "numbers without a unit are in {}",
        "dial": "seconds are for a dial of {}",
        "rated": "thermostats are rated {} where nothing is said",
        "room": "the room is at about {} where nothing is said",
        "lone_winding": "a single number {}",
        "bare": "a number under 2 is a {} of the dry weight",
        "usual_minutes": "a usual load takes {} minutes",
        "yes": "a yes means {}",
        "blank": "a blank means {}",
    }
    return words.get(name, name + " {}").format(value)
