"""What was read, to look over: every phrase of a log, how often, what it became; those that look like the opposite first.

The table is kept as CSV beside the log. Whoever keeps the log ticks it off, writes in the last column what a phrase means, and
gives it back with the next import: what is written there goes before all else. What looks personal in a phrase is blotted out.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from faultodds.errors import FaultoddsError
from faultodds.job import grammar, listed
from faultodds.joblog.aside import safe
from faultodds.joblog.cleaning_report import ASKED, NOT_DONE, UNREAD, CleaningReport
from faultodds.joblog.likely import FREE
from faultodds.joblog.mapping import NOT_KNOWN, SAYS_NOTHING, Column, LogMapping, in_short, meanings
from faultodds.joblog.personal import GONE
from faultodds.joblog.stems import key
from faultodds.knowledge import Knowledge

HEAD: Final = ("look", "column", "phrase", "times", "became", "means")
LOOK: Final = "!"


@dataclass(frozen=True)
class Phrase:
    """A phrase of a column, how often it stands there, what it became, and whether to look at it first: that looks like the
    opposite, or a phrase in it that somebody explained was not followed."""

    column: str
    phrase: str
    times: int
    became: str
    odd: bool
    means: str = ""


def table(report: CleaningReport, mapping: LogMapping) -> list[Phrase]:
    """Every phrase that is shown: those to be looked at first, then the commonest."""
    own = {column.heading: _explained(column) for column in mapping.columns}
    found = [
        Phrase(
            column.heading,
            phrase,
            times,
            became,
            _looks_opposite(phrase, became)
            or _is_read_otherwise(phrase, became, own.get(column.heading, {}))
            or (column.is_ == "machine" and became.endswith(ASKED)),
        )
        for column in report.columns
        for (phrase, became), times in column.phrases.items()
    ]
    return in_order(found)


def _explained(column: Column) -> dict[str, str]:
    """The phrases of several words whose meaning in a column of free text somebody has said."""
    own = {key(word): means for word, means in column.words.items() if means not in (NOT_KNOWN, SAYS_NOTHING)}
    return {phrase: means for phrase, means in own.items() if " " in phrase} if column.kind in FREE else {}


def _is_read_otherwise(phrase: str, became: str, own: Mapping[str, str]) -> bool:
    """Whether a phrase holds one that somebody has explained, and was not read so."""
    held = f" {key(phrase)} "
    said = set(re.split(r"\s*;\s*", became))
    return any(f" {each} " in held and not said >= set(re.split(r"\s*;\s*", means)) for each, means in own.items())


def in_order(found: Iterable[Phrase]) -> list[Phrase]:
    """Those to be looked at first, of them those read as work done, which tells most of a fault; then the commonest."""
    return sorted(found, key=lambda p: (not p.odd, p.odd and not _is_work(p.became), -p.times, p.column, p.phrase))


def _is_work(became: str) -> bool:
    """Whether some repair was read."""
    return any("=" not in part and part not in (UNREAD, ASKED, NOT_DONE) for part in became.split("; "))


def together(one: Iterable[Phrase], other: Iterable[Phrase]) -> list[Phrase]:
    """Two tables as one, a phrase of both counted together."""
    found: dict[tuple[str, str, str], Phrase] = {}
    for each in (*one, *other):
        key = (each.column, each.phrase, each.became)
        before = found.get(key)
        found[key] = replace(each, times=each.times + before.times, means=before.means) if before else each
    return in_order(found.values())


def _looks_opposite(phrase: str, became: str) -> bool:
    """Whether a phrase denies, puts off or praises what it was nevertheless read as: worth a second look."""
    turns = any(
        f" {word} " in f" {re.sub(r'[^a-z0-9]+', ' ', phrase.casefold().replace(chr(39), ''))} " for word in _TURNS
    )
    if became in (UNREAD, ASKED, NOT_DONE):
        return False
    work = "=" not in became
    return (turns and (work or "none" not in became)) or (
        not work and bool(_FINE.search(phrase)) and not _NORMAL.search(became)
    )


_TURNS: Final = tuple(
    word
    for role in ("turn", "plan", "doubt")
    for word in listed(grammar()[role]["words"])
    if word not in listed(", ".join(grammar()["done"].values()))
)
_FINE: Final = re.compile(r"\b(?:ok|good|fine|normal|works)\b", re.I)
_NORMAL: Final = re.compile(
    r"=(?:normal|good|closed|clean|clear|sound|strong|no|dry|works?|free|level|cycles|on_chart|present|none|fine)\b"
)


def write(found: Iterable[Phrase], path: Path) -> None:
    """Write the table as CSV."""
    with path.open("w", encoding="utf-8-sig", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(HEAD)
        for p in found:
            look = LOOK if p.odd else ""
            writer.writerow([look, safe(p.column), safe(p.phrase), p.times, safe(p.became), safe(p.means)])


def kept_phrases(path: Path) -> list[Phrase]:
    """The table that an import wrote, with what was written into it since; FaultoddsError when it cannot be read."""
    rows = _rows(path)
    return [
        Phrase(
            _cell(row, "column"), _cell(row, "phrase"), int(_cell(row, "times") or 0), _cell(row, "became"),
            _cell(row, "look") == LOOK, _cell(row, "means"),
        )
        for row in rows
        if _cell(row, "times").isdecimal()
    ]  # fmt: skip


def read_back(path: Path, mapping: LogMapping, knowledge: Knowledge) -> LogMapping:
    """A mapping with what was written in the column `means` of a table; raises FaultoddsError for what is no such table,
    UnknownName for a name that the appliance does not have."""
    rows = _rows(path)
    said = [(_cell(row, "column"), _cell(row, "phrase"), _cell(row, "means")) for row in rows]
    return replace(mapping, columns=tuple(_with(column, said, knowledge, str(path)) for column in mapping.columns))


def _rows(path: Path) -> list[dict[str, str | None]]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as handle:
            rows = list(csv.DictReader(handle))
    except (OSError, UnicodeError, csv.Error) as error:
        raise FaultoddsError(
            f"{path} cannot be read as a table of phrases ({error}). Give the file that an import wrote."
        ) from None
    if rows and not {"column", "phrase", "means"} <= set(rows[0]):
        raise FaultoddsError(f"{path} is no table of phrases: it needs the columns column, phrase and means.")
    return rows


def _cell(row: Mapping[str, str | None], name: str) -> str:
    return (row.get(name) or "").strip().lstrip("'")


def _with(column: Column, said: Iterable[tuple[str, str, str]], knowledge: Knowledge, where: str) -> Column:
    own = {phrase: means for heading, phrase, means in said if heading == column.heading and means}
    for phrase, means in own.items():
        if GONE in phrase:
            raise FaultoddsError(
                f"{where}, '{phrase}': a part of it is blotted out, so it would match nothing. Write the phrase in full, as it "
                "stands in your log, in its place."
            )
        meanings(column, means, knowledge, f"{where}, '{phrase}'")
    return replace(column, words={**column.words, **{phrase: in_short(column, means) for phrase, means in own.items()}})
