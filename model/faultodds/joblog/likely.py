"""How well a column of a shop's log fits each thing it could be, by its heading and by its values."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from faultodds.job import asked
from faultodds.joblog import by_values, dates, machines, metered, money_and_time as amounts, personal
from faultodds.joblog.cells import CellReader
from faultodds.joblog.lexicon import Lexicon, exact
from faultodds.joblog.mapping import Column, Kind
from faultodds.joblog.once import once
from faultodds.joblog.stems import is_blank, key, likeness, tokens, trade, vocabulary
from faultodds.knowledge import Knowledge

LEAST: Final = 0.45
"""A column whose best score is under this is left out as not recognised."""
WEIGHT_OF_HEADING: Final = 0.55
ALONE: Final = 0.9
"""Values this well read are enough without a heading, if they are words and not numbers."""
CLEAR: Final = 0.8
SAID: Final = 0.99
COUNTING: Final = 0.75
"""That a number which only counts on is the job's: less than a heading that says so, "Ticket", and more than one that does not."""
NUMBERS_NEED: Final = 0.7
HALF_ALIKE: Final = 0.4
"""From the first likeness on a heading speaks for itself; below the second it says nothing."""
VALUES_LOOKED_AT: Final = 100

Target = tuple[Kind, str]
"""What a column may be: its kind, and the fact, symptom or check for those that have one."""


@dataclass(frozen=True)
class Sample:
    """A column's heading and how often each of its non-blank texts occurs in the rows looked at."""

    heading: str
    counts: Mapping[str, int]
    rows: int

    @property
    def texts(self) -> list[str]:
        """The commonest texts, commonest first."""
        return sorted(self.counts, key=lambda text: (-self.counts[text], text))[:VALUES_LOOKED_AT]

    @property
    def nameless(self) -> bool:
        """Whether the log gives the column no name."""
        return bool(_NAMELESS.fullmatch(self.heading))

    @property
    def asks_unsaid(self) -> bool:
        """Whether the column answers yes or no to what no heading says."""
        return self.nameless and by_values.is_answers(self.texts, self.counts)


def samples(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[Sample]:
    """Count what stands in each column of some rows."""
    columns = zip(*rows, strict=True) if rows else [() for _ in headings]
    return [
        Sample(heading, Counter(cell.strip() for cell in column if not is_blank(cell)), len(rows))
        for heading, column in zip(headings, columns, strict=True)
    ]


class Scores:
    """How well a column fits each thing it could be."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._knowledge = knowledge
        verify = knowledge.costs.verify
        facts: list[Target] = [("fact", name) for name in asked(knowledge)]
        found: list[Target] = [("finding", name) for name in knowledge.observables if name != verify]
        self._targets: list[Target] = [*((kind, "") for kind in _PLAIN), *facts, *found]
        self._headings = {target: headings_of(knowledge, target) for target in self._targets}

    def names(self, sample: Sample) -> bool:
        """Whether the heading clearly says one of these things."""
        words = tokens(sample.heading)
        return any(likeness(words, other) >= CLEAR for said in self._headings.values() for other in said)

    def of(self, sample: Sample) -> dict[Target, float]:
        """Every target with a score worth having."""
        counting = by_values.counts_on(sample.heading, sample.counts)
        if counting is not None:
            return {("job", ""): COUNTING} if counting else {}
        money = by_values.is_money(sample.heading, sample.texts, sample.counts)
        words = tokens(sample.heading)
        alike = {t: max((likeness(words, o) for o in self._headings[t]), default=0.0) for t in self._targets}
        # Where the heading says it, values are only asked whether they agree.
        clear = max(alike.values()) >= CLEAR
        tried = {
            t: by_heading
            for t, by_heading in alike.items()
            if (by_heading >= HALF_ALIKE or not clear) and (t[0] == "bill" or not money)
        }
        scores = {target: self._score(target, sample, by_heading) for target, by_heading in tried.items()}
        return {t: score for t, score in scores.items() if score >= LEAST}

    def _score(self, target: Target, sample: Sample, by_heading: float) -> float:
        if not sample.counts:
            return 0.8 * by_heading
        if target[0] in _WHOSE and (
            by_values.is_answers(sample.texts, sample.counts)
            or (by_heading < CLEAR and by_values.is_ticked(sample.counts))
            or by_values.says_time(sample.heading)
        ):
            return 0.0  # "Tech here? Y", "Hrs on site"
        if by_heading < HALF_ALIKE and sample.nameless and target[0] in _BY_HEADING:
            return by_values.score(target[0], sample.texts, sample.counts)
        if by_heading < HALF_ALIKE and (target[0] in _BY_HEADING or not self._speaks(target, sample)):
            return 0.0
        if target[0] in ("finding", "fact") and by_heading < NUMBERS_NEED and by_values.all_bare(sample.texts):
            return 0.0
        values = self._values(target, sample)
        if values is None:
            return by_heading
        if target[0] in FREE:
            return self._free(by_heading, values)
        if values < 0.2:
            return 0.0
        score = WEIGHT_OF_HEADING * by_heading + (1 - WEIGHT_OF_HEADING) * values
        return max(score, 0.7 * values) if values >= ALONE and by_heading < HALF_ALIKE else score

    @staticmethod
    def _free(by_heading: float, values: float) -> float:
        """Free text: a heading that says it needs no values to agree, and values no heading where most of them speak."""
        if by_heading >= CLEAR:
            least = 0.95 if by_heading >= SAID else 0.5 * by_heading
            return WEIGHT_OF_HEADING * by_heading + (1 - WEIGHT_OF_HEADING) * max(values, least)
        return max(WEIGHT_OF_HEADING * by_heading, 0.4) + (1 - WEIGHT_OF_HEADING) * values if values >= 0.2 else 0.0

    def _speaks(self, target: Target, sample: Sample) -> bool:
        """Whether values alone may decide: they are mostly words, and this target's own at that."""
        if target[0] in FREE:
            return target[0] != "notes" and (self._values(target, sample) or 0.0) >= MOST_SPEAK
        if target[0] not in ("finding", "fact", "day"):
            return False
        if target[0] == "day":
            return True
        return (self._values(target, sample, special=True) or 0.0) >= ALONE

    def _values(self, target: Target, sample: Sample, special: bool = False) -> float | None:
        """The share of cells that can be read as the target; None where any value would do."""
        kind, name = target
        match kind:
            case "day":
                return dates.share_of_dates(sample.texts)
            case "job":
                return min(1.0, len(sample.counts) / (0.8 * sum(sample.counts.values())))
            case "technician":
                return 1.0 if len(sample.counts) <= max(5, 0.1 * sum(sample.counts.values())) else 0.3
            case "branch":
                return 1.0 if len(sample.counts) <= max(5, 0.02 * sum(sample.counts.values())) else 0.0
            case "minutes":
                return by_values.minutes(sample.heading, sample.texts, sample.counts)
            case "bill":
                return by_values.share(sample.texts, sample.counts, amounts.money)
            case "machine":
                return by_values.share(sample.texts, sample.counts, lambda text: machines.which(self._knowledge, text))
            case "customer":
                return None
        reader = CellReader(
            Column(
                "",
                kind,
                (name,) if name else (),
                assume=assumed(self._knowledge, target, sample),
                words=answers(self._knowledge, target, sample),
            ),
            self._knowledge,
        )
        if special:
            return by_values.share(sample.texts, sample.counts, lambda text: own_word(reader.lexicon, text))
        return coverage(reader, sample)


_PLAIN: Final[tuple[Kind, ...]] = (
    "job",
    "customer",
    "day",
    "technician",
    "branch",
    "minutes",
    "bill",
    "ended",
    "machine",
    "repairs",
    "complaint",
    "findings",
    "notes",
    "verify",
)
FREE: Final = ("complaint", "repairs", "findings", "notes")
"""Kinds of free text: a log may have several columns of each."""
_BY_HEADING: Final = ("job", "customer", "technician", "branch", "minutes", "bill", "ended", "verify", "machine")
_WHOSE: Final = ("job", "customer", "technician", "branch")
MOST_SPEAK: Final = 0.4
TWICE: Final = 2.0
YES_NO: Final = (("yes", "y"), ("no", "n"))
_NAMELESS: Final = re.compile(r"column \d+")


def by_cells_alone(knowledge: Knowledge, column: Column) -> bool:
    """Whether a column that decides endings, repairs or callbacks is taken for that though its heading says nothing like it."""
    if column.kind not in ("customer", "repairs") or _NAMELESS.fullmatch(column.heading):
        return False
    if column.kind == "repairs" and CellReader(Column("", "repairs"), knowledge).read(column.heading).said:
        return False  # "Fitted igniter"
    words = tokens(column.heading)
    alike = max(likeness(words, other) for other in headings_of(knowledge, (column.kind, "")))
    return alike < HALF_ALIKE and personal.says(column.heading) is None


def called_otherwise(knowledge: Knowledge, column: Column, sample: Sample) -> Kind | None:
    """What the cells of a column of findings or repairs are, where most of them are the other one's; None when the two agree."""
    kinds: dict[Kind, Kind] = {"findings": "repairs", "repairs": "findings"}
    other = kinds.get(column.kind)
    if other is None or not sample.counts:
        return None
    as_called, as_other = (
        coverage(CellReader(Column("", kind, words=words), knowledge), sample)
        for kind, words in ((column.kind, column.words), (other, {}))
    )
    return other if as_other >= max(MOST_SPEAK, TWICE * as_called) else None


@once
def headings_of(knowledge: Knowledge, target: Target) -> list[tuple[str, ...]]:
    kind, name = target
    said = {**vocabulary()["headings"], **trade(knowledge.appliance.id).get("headings", {})}
    if kind not in ("fact", "finding"):
        return [tokens(phrase) for phrase in [*said.get(kind, []), kind]]
    prefix = "fact:" if kind == "fact" else "found:"
    title = asked(knowledge)[name].ask if kind == "fact" else knowledge.observables[name].title
    own = [name.replace("_", " "), title, prefix + name, f"{kind} {name.replace('_', ' ')}"]
    return [tokens(phrase) for phrase in [*said.get(prefix + name, []), *own]]


def coverage(reader: CellReader, sample: Sample) -> float:
    """The share of cells in a sample that a reader understands; one that is understood in part counts half."""
    good = 0.0
    for text in sample.texts:
        cell = reader.read(text)
        open_ = 0.8 if cell.unclear else 0.3 if cell.status == "silent" else 0.0
        worth = 1.0 if cell.said and not cell.left else 0.5 if cell.said else open_
        good += worth * sample.counts[text]
    return good / sum(sample.counts[text] for text in sample.texts)


@cache
def _general() -> frozenset[str]:
    words = vocabulary()
    groups = [*words["normal"]["words"], *words["bad"]["words"], "yes", "no", "y", "n", "none", "open", "closed", "ol"]
    return frozenset(map(key, groups))


def own_word(lexicon: Lexicon, text: str) -> bool:
    """Whether a text is a phrase of this target and not one that any check could show."""
    return bool(exact(lexicon, text)) and key(text) not in _general()


def answers(knowledge: Knowledge, target: Target, sample: Sample) -> dict[str, str]:
    """What yes and no mean under a heading that asks for one outcome by name ("Heat?"), as far as the cells say them."""
    asking = trade(knowledge.appliance.id).get("asks", {}).get(target[1]) if target[0] == "finding" else None
    if asking is None or tokens(sample.heading) not in map(tokens, asking["headings"]):
        return {}
    said = {"yes": YES_NO[0], "no": YES_NO[1]}
    return {
        text: asking[answer] for answer, typed in said.items() for text in sample.counts if text.casefold() in typed
    }


def assumed(knowledge: Knowledge, target: Target, sample: Sample) -> dict[str, str]:
    """What the column's cells leave out: said by its heading, by other cells, or by the trade's habit."""
    kind, name = target
    if kind == "minutes":
        return {"unit": by_values.unit_of_time(sample.heading, sample.texts)}
    times = trade(knowledge.appliance.id).get("times", {})
    if kind == "finding" and name in times:
        return {"usual_minutes": str(times[name]["usual_minutes"])}
    spec = knowledge.reading.get(name) if kind == "finding" else None
    if spec is None:
        return {}
    given = metered.assumptions_for(knowledge, name)
    unit = metered.unit_in_heading(tuple(sample.heading.casefold().replace("_", " ").split()), spec)
    unit = unit or metered.usual_unit(sample.texts, spec)
    if unit:
        given["unit"] = unit
    if spec.kind == "thermistor":
        given |= {"room": room} if (room := metered.usual_room(sample.texts, spec)) else {}
    if spec.kind == "dial" and (dial := metered.usual_dial(knowledge, sample.texts, spec)):
        given["dial"] = dial
    if spec.kind == "moisture" and any(metered.is_share(text) for text in sample.texts):
        given["bare"] = "share"
    return given
