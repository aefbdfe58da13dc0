"""One column of a shop's log: each different text in it read once, into what it says in the clean log."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

from faultodds.errors import FaultoddsError
from faultodds.job import asked, own_words
from faultodds.joblog import callbacks, endings_told, lexicon, money_and_time as amounts
from faultodds.joblog.clean import CAME_BACK, ENDED, FACT, FAILED, REPAIRS
from faultodds.joblog.explained import exactly
from faultodds.joblog.free_text import FreeText
from faultodds.joblog.lexicon import Lexicon, Meaning
from faultodds.joblog.mapping import NOT_KNOWN, SAYS_NOTHING, Column, meanings
from faultodds.joblog.metered import NO_DIAL, at_several_places, looks_metered, read_metered
from faultodds.joblog.no_reading import is_no_reading
from faultodds.joblog.sentences import Told
from faultodds.joblog.stems import NO, is_blank, key, trade, vocabulary
from faultodds.joblog.times import by_edges
from faultodds.knowledge import Knowledge
from faultodds.names import LONGEST_LINE
from faultodds.readings import OPEN_WORDS

Status = Literal["blank", "read", "mended", "unknown", "either", "impossible", "silent"]
"""What became of a cell: said nothing; read; read after mending a spelling or a unit; not understood; could be said of
several checks; a number no instrument shows; known to be no finding."""

_STRONG = re.compile(r"\s*[;|\n]\s*")
_COMMA = re.compile(r"\s*,\s*|\.\s+")
_WEAK = re.compile(r"\s*[+&/]\s*|\s+and\s+|\s+w/\s*", re.I)
NEAR_EDGE: Final = 0.1
NO_READING: Final = "no reading: a day, a time, a telephone number or a job's number"
NOT_TOLD: Final = "left blank where an answer is written on other rows"
TOO_LONG: Final = "longer than anything that is typed into a cell"
NEAR_EDGE_MINUTES: Final = 0.25


@dataclass(frozen=True)
class Cell:
    """What one cell says: (clean column, value) pairs, what became of it, the pieces that were not understood, and those
    that could be said of several checks."""

    status: Status
    said: tuple[tuple[str, str], ...] = ()
    left: tuple[str, ...] = ()
    note: str = ""
    unclear: tuple[str, ...] = ()


BLANK: Final = Cell("blank")


@dataclass(frozen=True)
class _Piece:
    """A part of a cell: what it may mean, and how it was got at."""

    text: str
    status: Status
    options: tuple[Meaning, ...] = ()
    note: str = ""


class CellReader:
    """Reads the cells of one column. `context` names the facts of the row that reading depends on."""

    def __init__(self, column: Column, knowledge: Knowledge) -> None:
        self.column, self._knowledge = column, knowledge
        self._targets = column.targets(knowledge)
        where = f"column '{column.heading}'"
        self._explained = {
            word: (text == SAYS_NOTHING, meanings(column, text, knowledge, where))
            for word, text in column.words.items()
            if text != "?"
        }
        self._own = {exactly(word): each for word, each in self._explained.items()}

    @cached_property
    def lexicon(self) -> Lexicon:
        """The words this column may hold."""
        match self.column.kind:
            case "complaint":
                return lexicon.of_complaint(self._knowledge)
            case "repairs":
                return lexicon.of_repairs(self._knowledge)
            case "findings":
                return lexicon.of_checks(self._knowledge)
            case "notes":
                return lexicon.Lexicon()
            case "ended":
                return lexicon.of_endings()
            case _:
                return lexicon.of_targets(self._knowledge, (*self._targets,))

    @cached_property
    def context(self) -> tuple[str, ...]:
        """Facts of the row that a cell is read by: what the machine has, where a word could be about several checks;
        what a reading's band depends on."""
        names = self.column.of if self.column.kind == "finding" else ()
        needed: list[str] = []
        if len(names) > 1:
            needed += [fact for name in names for fact in self._knowledge.observables[name].needs]
        specs = [self._knowledge.reading[name] for name in names if name in self._knowledge.reading]
        needed += [spec.fact for spec in specs if spec.fact]
        return tuple(dict.fromkeys(needed))

    def read(self, text: str, row: Mapping[str, str | None] | None = None) -> Cell:
        """What a cell says; `row` holds the facts in `context` as far as they are known."""
        if len(text) > LONGEST_LINE and self._free is None:
            return Cell("unknown", left=(f"{text[:20]} ...",), note=TOO_LONG)
        if self.column.kind == "ended":
            return self._ending(text)
        if is_blank(text) or (text.strip().casefold() == "x" and exactly("x") not in self._own):
            return BLANK
        own = self._own.get(exactly(text))
        if own is not None:
            return Cell("silent") if own[0] else Cell("read", self._merged(own[1]))
        if self._free is not None:
            return self._told(self._free.read(text))
        if self._is_no_reading(text):
            return Cell("impossible", left=(text,), note=NO_READING)
        row = row or {}
        pieces = [piece for part in _STRONG.split(text.strip()) if part for piece in self._pieces(part, row)]
        return self._together(pieces, row)

    def _ending(self, text: str) -> Cell:
        """How a visit ended: an answer to what the heading asks, or a word for it; what a blank stands for is an assumption."""
        if key(text) in {key(each) for each in vocabulary()["callback"]["first"]}:
            return Cell("silent")
        if is_blank(text) and "?" not in text:
            told = self.column.assume.get("blank")
            if told == NOT_KNOWN:
                return Cell("blank", note=NOT_TOLD)
            return Cell("blank", ((ENDED, told),) if told else ())
        own = self._own.get(exactly(text))
        told = None if own else callbacks.said(text, self.column.assume)
        if told is None and not own and callbacks.told(text):
            told = CAME_BACK
        told = told or (
            None if own or callbacks.DOUBT.search(text) else endings_told.ending(self._knowledge.appliance.id, text)
        )
        if told is not None:
            return Cell("read", ((ENDED, told),))
        piece = _Piece(text, "unknown") if callbacks.DOUBT.search(text) else self._one(text, {})
        return self._together([piece], {})

    def is_foreign(self, text: str) -> bool:
        """Whether a text that is not understood tells of a repair that the file does not know."""
        return self._free is not None and REPAIRS in self._targets and self._free.is_foreign(text)

    @cached_property
    def _free(self) -> FreeText | None:
        if self.column.kind not in ("complaint", "repairs", "findings", "notes"):
            return None
        return FreeText(self._knowledge, self._targets, self.lexicon, self._explained)

    def _told(self, told: Told) -> Cell:
        left = tuple(told.left)
        if not told.said:
            return Cell("unknown" if left else "silent", (), left)
        return Cell("mended" if told.mended else "read", self._merged(told.said), left)

    # --- pieces ---

    def _pieces(self, text: str, row: Mapping[str, str | None]) -> list[_Piece]:
        """A text as one piece if that is understood, else in parts, else as near as it comes."""
        whole = self._exactly(text, row)
        if whole is not None:
            return [whole]
        for separator in (_COMMA, _WEAK):
            parts = [part for part in separator.split(text) if part.strip()]
            if len(parts) > 1 and not self._too_many(parts):
                pieces = [self._one(part, row) for part in parts]
                if all(p.status not in ("unknown", "impossible") for p in pieces):
                    return pieces
        near = self._nearly(text)
        if near is not None:
            return [near]
        parts = [part for part in _COMMA.split(text) if part.strip()]
        return [piece for part in parts for piece in self._spotted(part, row)]

    def _one(self, text: str, row: Mapping[str, str | None]) -> _Piece:
        return self._exactly(text, row) or self._nearly(text) or _Piece(text, "unknown")

    def _exactly(self, text: str, row: Mapping[str, str | None]) -> _Piece | None:
        own = self._own.get(exactly(text))
        if own is not None:
            silent, pairs = own
            return _Piece(text, "silent" if silent else "read", tuple(Meaning(*pair) for pair in pairs))
        found = self.lexicon.whole(text)
        if found and found[1] == "exact":
            return _Piece(text, "read", tuple(found[0]))
        return self._numeric(text, row)

    def _nearly(self, text: str) -> _Piece | None:
        found = self.lexicon.whole(text)
        return _Piece(text, "mended", tuple(found[0]), "spelling") if found else None

    def _spotted(self, text: str, row: Mapping[str, str | None]) -> list[_Piece]:
        one = self._one(text, row)
        if one.status != "unknown":
            return [one]
        found, left = self.lexicon.spot(text)
        if not found or not _sums_up(found, left):
            return [one]
        return [_Piece(text, "mended", (meaning,), "words picked out") for meaning in dict.fromkeys(found)]

    # --- numbers ---

    @cached_property
    def _names(self) -> list[str]:
        return [target.partition(":")[2] for target in self._targets]

    def _is_no_reading(self, text: str) -> bool:
        """Whether a cell that the mapping has no word for is a day, a telephone number or the like."""
        if not any(c.isdigit() for c in text) or exactly(text) in self._own:
            return False
        specs = self._knowledge.reading
        times = trade(self._knowledge.appliance.id).get("times", {})
        spans_time = any(name in times or (name in specs and specs[name].kind == "time") for name in self._names)
        return is_no_reading(text, spans_time, counts=self.column.kind == "fact")

    def _too_many(self, parts: Sequence[str]) -> bool:
        """Whether more numbers stand in a cell than its column has checks: `read` asks then which one is meant."""
        numbers = sum(part.strip()[:1].isdigit() for part in parts)
        return numbers > max(1, len(self._targets)) and not at_several_places(self._knowledge, self._names)

    def _numeric(self, text: str, row: Mapping[str, str | None]) -> _Piece | None:
        if not any(c.isdigit() for c in text) and text.strip().casefold() not in OPEN_WORDS:
            return None
        if self.column.kind == "fact":
            return self._span(text)
        if self.column.kind not in ("finding", "verify"):
            return None
        for target in self._targets:
            name = target.partition(":")[2]
            piece = (
                self._metered(target, name, text, row)
                or self._timed(target, name, text)
                or self._step(target, name, text)
            )
            if piece is not None:
                return piece
        return None

    def _metered(self, target: str, name: str, text: str, row: Mapping[str, str | None]) -> _Piece | None:
        spec = self._knowledge.reading.get(name)
        if spec is None or not looks_metered(text, spec):
            return None
        found = read_metered(self._knowledge, name, text, self.column.assume, {f: v for f, v in row.items() if v})
        if found.cell is not None:
            status: Status = "mended" if found.mended else "read"
            return _Piece(text, status, (Meaning(target, found.cell),), found.mended)
        if NO_DIAL in found.problem:
            return _Piece(text, "unknown", note=NO_DIAL)
        return _Piece(text, "impossible", note=found.problem) if found.impossible else None

    def _span(self, text: str) -> _Piece | None:
        facts = asked(self._knowledge)
        for name in self.column.of:
            known = amounts.spans(facts[name].values)
            value = amounts.amount(text, amounts.unit_of(facts[name].values)) if known else None
            if known and value is not None:
                span = amounts.span_of(value, known)
                return _Piece(text, "read", (Meaning(FACT + name, span),)) if span else None
        return None

    def _step(self, target: str, name: str, text: str) -> _Piece | None:
        """A number of a check that is told as an amount with steps, such as parts per million in the room."""
        steps = (own_words(self._knowledge.appliance.id) or {}).get("amount", {}).get(name)
        match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*([a-z%]*)", text.strip(), re.I)
        if (
            name not in self._knowledge.check
            or not steps
            or not match
            or match[2].casefold() not in ("", steps["unit"])
        ):
            return None
        outcomes = self._knowledge.check[name].outcomes
        step = next((o for o in outcomes if o in steps and float(match[1]) <= steps[o]), None)
        return _Piece(text, "read", (Meaning(target, step),)) if step else None

    def _timed(self, target: str, name: str, text: str) -> _Piece | None:
        said = trade(self._knowledge.appliance.id).get("times", {}).get(name)
        if said is None:
            return None
        times, edge = amounts.times_normal(text), NEAR_EDGE
        if times is None:
            spent = amounts.minutes(text) if re.search("[a-z:]", text, re.I) else None
            if spent is None:
                return None
            times, edge = (
                spent / float(self.column.assume.get("usual_minutes", said["usual_minutes"])),
                NEAR_EDGE_MINUTES,
            )
        return _Piece(text, "read", (Meaning(target, by_edges(times, said["edges"], edge)),))

    # --- the cell as a whole ---

    def _together(self, pieces: Sequence[_Piece], row: Mapping[str, str | None]) -> Cell:
        chosen, unclear = self._choose(pieces, row)
        left = tuple(p.text for p in pieces if p.status in ("unknown", "impossible"))
        open_ = tuple(p.text for p in unclear)
        notes = "; ".join(dict.fromkeys(p.note for p in pieces if p.note))
        if not chosen:
            status: Status = "either" if unclear else _worst(p.status for p in pieces)
            return Cell(status, (), left, notes, open_)
        mended = any(p.status == "mended" for p in pieces)
        return Cell("mended" if mended else "read", self._merged(chosen), left, notes, open_)

    def _merged(self, said: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
        """One value a column: repairs joined; of two outcomes the one further down the list, the worse one."""
        merged: dict[str, str] = {}
        for column, value in said:
            before = merged.get(column, value)
            joined = ";".join(dict.fromkeys([*before.split(";"), value]))
            merged[column] = joined if column in (REPAIRS, FAILED) else self._worse(column, before, value)
        return tuple(merged.items())

    def _worse(self, column: str, one: str, other: str) -> str:
        observable = self._knowledge.observables.get(column.partition(":")[2])
        outcomes = list(observable.outcomes) if observable else []
        return max(one, other, key=lambda value: outcomes.index(value) if value in outcomes else -1)

    def _choose(
        self, pieces: Sequence[_Piece], row: Mapping[str, str | None]
    ) -> tuple[list[tuple[str, str]], list[_Piece]]:
        """One meaning for each piece; those that could be about several checks wait for the others."""
        taken: dict[str, str] = {}
        said: list[tuple[str, str]] = []
        waiting: list[tuple[_Piece, list[Meaning]]] = []
        for piece in pieces:
            options = self._possible(piece.options, row)
            if len({m.column for m in options}) > 1:
                waiting.append((piece, options))
            for meaning in options if len({m.column for m in options}) == 1 else []:
                taken[meaning.column] = meaning.value
                said.append((meaning.column, meaning.value))
        unclear = []
        open_to = {m.column for _, options in waiting for m in options if m.column not in taken}
        for piece, options in waiting:
            left = [m for m in options if m.column not in taken]
            # As many words as checks left: they stand in the order of the checks.
            if left and (len({m.column for m in left}) == 1 or len(waiting) == len(open_to)):
                taken[left[0].column] = left[0].value
                said.append((left[0].column, left[0].value))
            else:
                unclear.append(piece)
        return said, unclear

    def _possible(self, options: Sequence[Meaning], row: Mapping[str, str | None]) -> list[Meaning]:
        """The meanings that this machine allows; of those, the ones about the leading checks where there are any."""
        fitting = [m for m in options if self._has_it(m.column, row)]
        leading = [m for m in fitting if m.column.partition(":")[2] in self.column.lead]
        return leading if leading and len({m.column for m in fitting}) > 1 else fitting

    def _has_it(self, column: str, row: Mapping[str, str | None]) -> bool:
        observable = self._knowledge.observables.get(column.partition(":")[2])
        needs = observable.needs if observable and column != ENDED else {}
        return all(row.get(fact) in (None, value) for fact, value in needs.items())


def _sums_up(found: Sequence[Meaning], left: Sequence[str]) -> bool:
    """Whether the words left over are only numbers and units: "ok 25 m" is "ok", "stove ok" is more than that."""
    return len(set(found)) == 1 and not any(word.isalpha() and (len(word) > 3 or word == NO) for word in left)


def _worst(statuses: Iterable[Status]) -> Status:
    seen = set(statuses)
    order: tuple[Status, ...] = ("unknown", "impossible", "either", "silent")
    return next((status for status in order if status in seen), "blank")


def pieces_to_ask(cell: Cell) -> tuple[str, ...]:
    """The pieces of a cell that somebody could explain, word by word: neither made-up numbers nor seconds without a dial."""
    return cell.left if cell.status != "impossible" and cell.note != NO_DIAL else ()


def text_reader(parse: Callable[[str], object | None]) -> Callable[[str], Cell]:
    """A reader for a column of plain amounts: blank, read, or unknown."""

    def read(text: str) -> Cell:
        """Whether the text can be read."""
        if is_blank(text):
            return BLANK
        try:
            found = parse(text)
        except FaultoddsError:
            found = None
        return Cell("read") if found is not None else Cell("unknown", left=(text,))

    return read
