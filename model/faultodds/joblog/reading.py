"""Reading a piece of a log, column by column, into a piece of the clean log."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from faultodds.joblog import callbacks, clean, dates, joined, machines
from faultodds.joblog.cells import NOT_TOLD
from faultodds.joblog.cleaning_report import CleaningReport, ColumnReport, assumption
from faultodds.joblog.columns import AmountReader, ColumnReader, Texts, parser_of
from faultodds.joblog.endings import CODE, NO_WORD, NOT_READ
from faultodds.joblog.joined import Values
from faultodds.joblog.likely import FREE
from faultodds.joblog.mapping import LogMapping
from faultodds.joblog.personal import Ids, Keeper
from faultodds.joblog.repeats import Repeats, hashes
from faultodds.joblog.sources import Chunk, Source
from faultodds.joblog.stems import is_blank
from faultodds.joblog.technicians import Technicians
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    import pyarrow as pa

FORMULA_ROW: Final = "holds a formula"
OTHER_MACHINE: Final = "is about another machine"
TOTALS_ROW: Final = "adds up other rows"
NOTHING_READ: Final = "nothing in it could be read"
_JOIN: Final = "\x1f"
_EPOCH: Final = dt.date(1970, 1, 1)

Aside = tuple[int, str, str]
"""Row number, reason, detail."""


@dataclass
class Piece:
    """A piece of the clean log: values by column, what linking visits needs, and the rows set aside."""

    values: dict[str, Values]
    numbers: dict[str, list[float | None]]
    days: NDArray[np.int64]
    customers: NDArray[np.uint64]
    ending_words: NDArray[np.int8]
    jobs: NDArray[np.uint64]
    recalled: NDArray[np.uint64]
    mended_rows: int
    aside: list[Aside] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.days)

    def filled(self) -> Counter[str]:
        """How many cells each column has."""
        columns: dict[str, list[Any]] = {**self.values, **self.numbers}
        counts = Counter({name: len(v) - v.count(None) for name, v in columns.items()})
        counts[clean.DAY] = int((self.days >= 0).sum())
        return +counts

    def table(self, schema: pa.Schema) -> pa.Table:
        """The piece as an Arrow table with every column of `schema`, missing ones empty."""
        import pyarrow as pa

        return pa.Table.from_arrays([self._array(f) for f in schema], schema=schema)

    def _array(self, of: pa.Field) -> pa.Array:
        import pyarrow as pa

        if of.name == clean.DAY:
            stamps = self.days.astype("datetime64[D]")
            stamps[self.days < 0] = np.datetime64("NaT", "D")
            return pa.array(stamps.astype("datetime64[ms]"), of.type)
        given: Any = self.values.get(of.name) or self.numbers.get(of.name)
        return pa.array(given, of.type) if given else pa.nulls(len(self), of.type)


class PieceReader:
    """Reads pieces of one log in order; keeps count of what became of the cells."""

    def __init__(
        self,
        mapping: LogMapping,
        source: Source,
        knowledge: Knowledge,
        order: dates.Order,
        latest: dt.date,
        sample: Sequence[Sequence[str]] = (),
    ) -> None:
        """`sample` are rows that show how the shop writes job numbers."""
        self._knowledge, self._order, self._latest = knowledge, order, latest
        self._places = {heading: place for place, heading in enumerate(source.headings)}
        self._mapping = mapping
        self._readers = [
            ColumnReader(column, self._places[column.heading], knowledge)
            for column in sorted(mapping.columns, key=lambda c: c.kind != "fact")
            if column.targets(knowledge)
        ]
        ended = [
            ColumnReader(column, self._places[column.heading], knowledge)
            for column in mapping.columns
            if column.kind == "ended"
        ]
        self._endings = sorted(ended, key=lambda reader: reader.held)  # what the others say comes first
        self._day_report = ColumnReport(heading, "day") if (heading := self._heading("day")) else None
        self._amounts = [
            AmountReader(column, self._places[column.heading], parse)
            for column in mapping.columns
            if (parse := parser_of(column)) is not None
        ]
        self._days_known: dict[str, int] = {}
        self._repeats, self._kins = Repeats(source), machines.kins(knowledge, source.place)
        machine = mapping.of_kind("machine")
        self._machine = machines.Which(machine, knowledge) if machine else None
        technician = mapping.of_kind("technician")
        heading, listed = (technician.heading, technician.words) if technician else ("", {})
        self._technicians = Technicians(heading, listed, source.place)
        branch = mapping.of_kind("branch")
        self._branches = {text.casefold(): text for text in branch.words} if branch else {}
        self.keeper = Keeper(knowledge)
        self._people = [self._places[c.heading] for c in mapping.columns if c.kind in ("personal", "customer")]
        self._ids = Ids(self._cell(row, "job") for row in sample or ())
        self._no_ids = 0
        self._twice = self._filled_in = self._dropped = self._undone = 0
        self._left_out = [self._places[c.heading] for c in mapping.columns if c.kind == "left_out"]

    def understands(self) -> dict[int, Callable[[str], bool]]:
        """For each column of findings that is not free text: whether a text is read as what a check showed."""
        return {r.place: r.understands for r in self._readers if not r.free}

    def _heading(self, kind: Any) -> str | None:
        column = self._mapping.of_kind(kind)
        return column.heading if column else None

    def read(self, chunk: Chunk, formulas: set[int]) -> Piece:
        """One piece. `formulas` are the numbers of rows to be set aside because they hold a formula."""
        broken: list[Aside] = [(n, *why.split(": ", 1)) for n, why, _ in chunk.broken]  # type: ignore[misc]
        rows, numbers, aside = self._usable(chunk, formulas)
        columns: list[Texts] = list(zip(*rows, strict=True)) if rows else [() for _ in self._places]
        piece = self._read_columns(columns, np.array(numbers, np.int64))
        piece.aside = sorted([*broken, *aside, *self._drop_unread(piece, numbers)], key=lambda a: a[0])
        return piece

    def _usable(self, chunk: Chunk, formulas: set[int]) -> tuple[list[list[str]], list[int], list[Aside]]:
        """The rows that are neither formulas nor repeats of others, their numbers, and the others with the reason."""
        numbers = np.array(chunk.numbers, np.int64)
        jobs = [self._cell(row, "job").casefold() for row in chunk.rows]
        days = [self._day(self._cell(row, "day")) for row in chunk.rows]
        contents = [_JOIN.join(row) for row in chunk.rows]
        reasons = self._repeats.reasons(numbers, contents, jobs, days)
        rows: list[list[str]] = []
        kept: list[int] = []
        aside: list[Aside] = []
        for row, number, reason in zip(chunk.rows, chunk.numbers, reasons, strict=True):
            if number in formulas:
                aside.append((number, FORMULA_ROW, ""))
            elif _is_totals(row):
                aside.append((number, TOTALS_ROW, ""))
            elif self._machine and self._machine.is_other(self._cell(row, "machine")):
                aside.append((number, OTHER_MACHINE, ""))
            elif reason is not None:
                aside.append((number, *reason))
            elif words := self._other_machine(number, row):
                aside.append((number, OTHER_MACHINE, f"'{words}'"))
            else:
                rows.append(row)
                kept.append(number)
        return rows, kept, aside

    def _other_machine(self, number: int, row: Sequence[str]) -> str:
        """The words by which a row is about another machine, by its facts, and by what was told, found and done; else empty."""
        facts, texts = dict[str, str](), defaultdict[str, list[str]](list)
        for column in self._mapping.columns:
            cell = row[self._places[column.heading]].strip()
            if column.kind == "fact":
                facts[column.of[0]] = cell
            elif column.kind in ("machine", *FREE):
                texts[column.kind].append(cell)
        return next((words for kin in self._kins if (words := kin.names(number, facts, texts))), "")

    def _cell(self, row: Sequence[str], kind: Any) -> str:
        heading = self._heading(kind)
        text = row[self._places[heading]].strip() if heading else ""
        return "" if is_blank(text) else text

    def _read_columns(self, columns: Sequence[Texts], numbers: NDArray[np.int64]) -> Piece:
        n = len(numbers)
        values: dict[str, Values] = {}
        mended = np.zeros(n, bool)
        for reader in self._readers:
            cells = reader.cells(columns[reader.place], self._facts(values, reader.context, n))
            self._twice += joined.fill(values, cells, n)
            mended |= np.array([cell.status == "mended" for cell in cells], bool)
        self._dropped += sum(not is_blank(text) for place in self._left_out for text in columns[place])
        told = self._nothing_done(values.pop(clean.ENDED, [None] * n), joined.in_order(values, n))
        self._settle_equipment(values, n)
        for place in self._people:
            self.keeper.meet(columns[place])
        values[clean.JOB] = list(self._repeats.job_ids(numbers, self._job_numbers(self._texts(columns, "job", n))))
        technicians = self._texts(columns, "technician", n)
        self.keeper.meet(text for text in technicians if not self._technicians.knows(text))
        values[clean.TECHNICIAN] = [
            self._technicians.code(t, int(at)) for t, at in zip(technicians, numbers, strict=True)
        ]
        if self._branches:
            values[clean.BRANCH] = [self._branches.get(t.casefold()) for t in self._texts(columns, "branch", n)]
        amounts_read: dict[str, list[float | None]] = {}
        for amounts in self._amounts:
            first, more = amounts_read.get(amounts.name), amounts.read(columns[amounts.place])
            amounts_read[amounts.name] = (
                [b if a is None else a for a, b in zip(first, more, strict=True)] if first else more
            )
        days = np.array([self._counted_day(text) for text in self._texts(columns, "day", n)], np.int64)
        customers = hashes([text.casefold() for text in self._texts(columns, "customer", n)])
        jobs, recalled = (hashes([t.casefold() for t in self._texts(columns, kind, n)]) for kind in ("job", "recalled"))
        words = self._ending_words(columns, told)
        back = (words == CODE[clean.CAME_BACK]) | self._tells_of_return(columns, n)
        recalled = np.where((recalled == 0) & back, jobs, recalled)
        return Piece(values, amounts_read, days, customers, words, jobs, recalled, int(mended.sum()))

    def _tells_of_return(self, columns: Sequence[Texts], n: int) -> NDArray[np.bool_]:
        """The rows on which some text names a call back or a return visit; of what, the job numbers tell."""
        told = [map(callbacks.names_return, columns[reader.place]) for reader in self._readers if reader.free]
        return np.array([any(row) for row in zip(*told, strict=True)] if told else [False] * n, bool)

    def _nothing_done(self, told: Values, held: list[bool | None]) -> Values:
        """What was told of endings, where "declined" and the like count only on visits with no repair (`held` None), and a visit on
        which no repair held is not done."""
        told = [None if h and w == clean.UNKNOWN else w for w, h in zip(told, held, strict=True)]
        told = [w or (clean.UNKNOWN if h is False else None) for w, h in zip(told, held, strict=True)]
        self._undone += told.count(clean.UNKNOWN)
        return told

    def _texts(self, columns: Sequence[Texts], kind: Any, n: int) -> list[str]:
        heading = self._heading(kind)
        if heading is None:
            return [""] * n
        return ["" if is_blank(text) else text.strip() for text in columns[self._places[heading]]]

    @staticmethod
    def _facts(values: dict[str, Values], names: Sequence[str], n: int) -> list[tuple[str | None, ...]]:
        if not names:
            return []
        known = [values.get(clean.FACT + name) or [None] * n for name in names]
        return list(zip(*known, strict=True))

    def _settle_equipment(self, values: dict[str, Values], n: int) -> None:
        """A finding on a part that the machine is said not to have is left out; one on a part nobody spoke of says that it
        has the part."""
        for name, observable in self._knowledge.observables.items():
            found = values.get(clean.FOUND + name)
            for fact, value in observable.needs.items() if found else ():
                facts = values.setdefault(clean.FACT + fact, [None] * n)
                assert found is not None
                for row, cell in enumerate(found):
                    if cell is None or facts[row] == value or joined.is_denial(cell, observable.outcomes):
                        continue
                    if facts[row] is None:
                        facts[row] = value
                        self._filled_in += 1
                    else:
                        found[row] = None
                        self._column_of(name).contradicted += 1

    def _column_of(self, name: str) -> ColumnReport:
        target = clean.FOUND + name
        return next(r.report for r in self._readers if target in r.targets)

    def _job_numbers(self, texts: list[str]) -> list[str]:
        """The job numbers that are written as the shop's are; nothing for the others."""
        kept = [text if self._ids.is_id(text) else "" for text in texts]
        self._no_ids += sum(bool(text) for text in texts) - sum(map(bool, kept))
        return kept

    def _day(self, text: str) -> int:
        day = self._days_known.get(text)
        if day is None:
            found = dates.parse(text, self._order, self._latest) if text else None
            day = self._days_known[text] = (found - _EPOCH).days if found else -1
        return day

    def _counted_day(self, text: str) -> int:
        day = self._day(text)
        if self._day_report is not None:
            status: Any = "blank" if not text else "read" if day >= 0 else "impossible"
            self._day_report.counts[status] += 1
            if status == "impossible":
                self._day_report.add_words({text: 1})
        return day

    def _ending_words(self, columns: Sequence[Texts], told: Values) -> NDArray[np.int8]:
        """What the log says of how each visit ended; of several columns the one that says most counts: back, not done, referred.
        That a visit did not hold ("Fixed? N") on which nothing was done, or that was handed over, is no callback."""
        words = np.array([CODE[said] if said else NO_WORD for said in told], np.int8)
        for reader in self._endings:
            for row, cell in enumerate(reader.cells(columns[reader.place], [])):
                if reader.held and words[row] in (CODE[clean.UNKNOWN], CODE[clean.REFERRED]):
                    continue
                unread = cell.status == "unknown" or cell.note == NOT_TOLD
                word = CODE[cell.said[0][1]] if cell.said else NOT_READ if unread else NO_WORD
                if joined.WEIGHT[word] > joined.WEIGHT[int(words[row])]:
                    words[row] = word
        return words

    def _drop_unread(self, piece: Piece, numbers: list[int]) -> list[Aside]:
        """Take rows that say nothing at all out of the piece."""
        told = [v for name, v in piece.values.items() if name not in (clean.JOB, clean.TECHNICIAN, clean.BRANCH)]
        says = np.zeros(len(piece), bool)
        for column in told:
            says |= np.array([cell is not None for cell in column], bool)
        says |= piece.ending_words >= 0
        out = np.flatnonzero(~says).tolist()
        if out:
            _keep(piece, says)
        return [(numbers[row], NOTHING_READ, "") for row in out]

    def report_into(self, report: CleaningReport) -> None:
        """Add what became of the cells to a report."""
        worded = [*self._readers, *self._endings]
        order = list(self._places)
        reports = [*(r.report for r in worded), *(r.report for r in self._amounts)]
        report.columns = sorted(reports, key=lambda c: order.index(c.heading))
        report.columns += [self._day_report] if self._day_report else []
        for reader in worded:
            reader.close(self.keeper)
        if self._machine:
            self._machine.report.keep_only(self.keeper)
            report.columns.append(self._machine.report)
            alarms, notes = self._machine.told()
            report.alarms += alarms
            report.notes += notes
        for other in [*(r.report for r in self._amounts), *([self._day_report] if self._day_report else [])]:
            other.keep_only(self.keeper)
        if self._no_ids:
            report.notes.append(
                f"{self._no_ids:,} job numbers are not written as the others are, and are kept as row numbers."
            )
        if self._undone:
            visits = "1 visit" if self._undone == 1 else f"{self._undone:,} visits"
            report.notes.append(
                f"{visits} ended with nothing done (declined, cancelled, nobody in), with the fault still there, or with a repair "
                "the file does not know: nothing is taken as cured."
            )
        report.said_twice, report.filled_in, report.dropped = self._twice, self._filled_in, self._dropped
        for column in self._mapping.columns:
            report.assumed += [f"{column.heading}: {assumption(k, v)}" for k, v in column.assume.items()]
            if column.kind == "personal":
                report.personal[column.heading] = column.why or "personal"
            elif column.kind == "left_out":
                report.left_out[column.heading] = column.why
            elif column.kind == "customer":
                report.personal[column.heading] = column.why or "customer, only used to find callbacks"
        report.alarms += [line for kin in self._kins for line in kin.alarms()] + self._technicians.alarms()
        if self._technicians.ours:
            report.personal[str(self._heading("technician"))] = (
                f"what is no listed code is kept as tech_1 to tech_{len(self._technicians.ours)}"
            )


_TOTALS: Final = re.compile(r"\s*(?:grand |sub)?-?\s*(?:total|sum|average|avg|count)s?\b.{0,20}", re.I)


def _is_totals(row: Sequence[str]) -> bool:
    """Whether a row adds up others: it begins with the word, and says hardly more."""
    filled = [cell for cell in row if cell.strip()]
    return bool(filled) and len(filled) <= max(2, 0.5 * len(row)) and bool(_TOTALS.fullmatch(filled[0]))


def _keep(piece: Piece, rows: NDArray[np.bool_]) -> None:
    which = np.flatnonzero(rows).tolist()
    piece.values = {name: [v[i] for i in which] for name, v in piece.values.items()}
    piece.numbers = {name: [v[i] for i in which] for name, v in piece.numbers.items()}
    piece.days, piece.customers = piece.days[rows], piece.customers[rows]
    piece.ending_words, piece.jobs, piece.recalled = piece.ending_words[rows], piece.jobs[rows], piece.recalled[rows]
