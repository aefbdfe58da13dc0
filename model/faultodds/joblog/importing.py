"""Importing a log: the shop's table in, the clean log and a report of every row and cell out.

Two passes over pieces of the file, so that its size is not limited by memory: the first reads cells and sets rows aside,
the second adds how each visit ended, which only the whole log can tell. All files of a log are put in place together at the
end, or none.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.joblog import (
    adding,
    alarms,
    asking,
    clean,
    cleaning_report as report,
    dates,
    endings,
    mapping,
    phrases,
    scan,
)
from faultodds.joblog.aside import AsideFile, rows_of
from faultodds.joblog.cleaning_report import CleaningReport
from faultodds.joblog.drafts import PROPOSED, Draft, Progress
from faultodds.joblog.folder import LogFiles, all_or_nothing, files_of, names_in, report_of
from faultodds.joblog.followed import last_day, slips
from faultodds.joblog.from_clean import is_clean
from faultodds.joblog.heard import Listener
from faultodds.joblog.likely import by_cells_alone, samples
from faultodds.joblog.reading import OTHER_MACHINE, PieceReader
from faultodds.joblog.repeats import CONTRADICTORY, DUPLICATE
from faultodds.joblog.returned import not_held
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    import pyarrow as pa

MOST_CONTRADICTORY: Final = 0.2
MOST_ASIDE: Final = 0.5
FEW_CHANGED: Final = 0.03
"""A guess that changes the endings, repairs or callbacks of more visits than this share is asked about."""
LEAST_UNDERSTOOD: Final = 0.2


def import_log(
    draft: Draft,
    knowledge: Knowledge,
    data: str | None = None,
    progress: Progress | None = None,
    now: dt.datetime | None = None,
    add: bool = False,
) -> CleaningReport:
    """Read the whole log with the draft's mapping and keep it, or `add` it to the log of that name; returns the cleaning report.

    Raises FaultoddsError, and changes nothing, when the log contradicts itself, or next to nothing in it is understood.
    """
    now = now or dt.datetime.now(dt.UTC)
    files = files_of(draft.name, data)
    if add:
        adding.refuse_unknown(draft.name, names_in(data))
        if is_clean(draft.source.headings, knowledge):
            raise FaultoddsError(f"{draft.source.name} is a clean log. Only a shop's own table is added to another.")
        if not draft.mapping.confirmed:
            raise FaultoddsError(
                f"{draft.source.name} has other headings than the log '{draft.name}', so nobody has said what its columns are. "
                "Import it under a name of its own first, then add it with --mapping and that log's mapping file."
            )
    with all_or_nothing(files) as beside:
        made = _Import(draft, knowledge, beside, progress, now)
        made.aside_before = rows_of(files.aside, str(report_of(files).get("source") or "")) if add else []
        made.second = endings.SECOND in report_of(files).get("notes", ()) if add else None
        made.read_all()
        made.write_clean()
        before = phrases.kept_phrases(files.phrases) if add and files.phrases.exists() else []
        if add:
            adding.join(files, beside, made.report)
        made.write_report(before)
        if not add:  # a log keeps the mapping of its own headings
            kept = replace(draft.mapping, order=made.told_order, confirmed=True)
            beside.mapping.write_text(mapping.to_toml(kept), encoding="utf-8")
    return made.report


class _Import:
    """One import on its way."""

    def __init__(
        self, draft: Draft, knowledge: Knowledge, files: LogFiles, progress: Progress | None, now: dt.datetime
    ) -> None:
        self._draft, self._knowledge, self._files, self._progress = draft, knowledge, files, progress
        self._half = files.folder / "half.parquet"
        decided = self._decide_dates(now)
        self.order: dates.Order = decided.order if decided else "month first"
        self.told_order = decided.order if decided and decided.told else None
        self.report = CleaningReport(
            draft.name,
            draft.source.name,
            knowledge.appliance.id,
            list(draft.source.notes),
            imported_at=f"{now:%Y-%m-%d}",
        )
        if decided and any(map(dates.either_way, draft.found.days)):
            self.report.notes.append(_about(decided))
        self._reader = PieceReader(
            draft.mapping,
            draft.source,
            knowledge,
            self.order,
            now.date() + dt.timedelta(days=1),
            draft.found.sample,
        )
        self._listener = Listener(draft.source.headings, self._reader.understands(), self._reader.keeper)
        self.second: bool | None = None
        self.aside_before: list[dict[str, str]] = []
        self._formulas = set(draft.found.formulas)
        self._customers: list[Any] = []
        self._days: list[Any] = []
        self._words: list[Any] = []
        self._jobs: list[Any] = []
        self._recalled: list[Any] = []
        self._filled: Counter[str] = Counter()
        self._repairs: Counter[str] = Counter()
        self._odd: Counter[tuple[str, str]] = Counter()

    def _decide_dates(self, now: dt.datetime) -> dates.Decided | None:
        """Which of day and month comes first, over the whole column, unless the mapping says."""
        column = self._draft.mapping.of_kind("day")
        if column is None:
            return None
        if self._draft.mapping.order is not None:
            return dates.Decided(self._draft.mapping.order, "as the mapping says", certain=True, told=True)
        return dates.decide(self._draft.found.days)

    def _to_edit(self) -> str:
        """Where the mapping is that can be changed, or how to get it as a file."""
        if self._draft.origin != PROPOSED:
            return f"The mapping is in {self._draft.origin}: change it there, and run the same import again."
        return "To get the mapping as a file that can be changed, run the import with no --yes and answer n when asked."

    # --- first pass ---

    def read_all(self) -> None:
        """Read every row, set aside what cannot be used, write the rest as half of the clean log."""
        import pyarrow.parquet as pq

        schema, source = _schema(self._knowledge, with_ending=False), self._draft.source
        with (
            pq.ParquetWriter(self._half, schema) as writer,
            AsideFile(self._files.aside, source, self.aside_before) as aside,
        ):
            for chunk in source.chunks():
                told = sorted(self._listener.told(chunk))
                piece = self._reader.read(chunk, self._formulas)
                others = {number for number, reason, _ in piece.aside if reason == OTHER_MACHINE}
                self.report.danger += [
                    t._replace(row=source.where(t.row)[1], place=source.place(t.row), other=t.row in others)
                    for t in told
                ]
                words = {t.row: f". DANGER: '{t.words}'" for t in told}
                for number, reason, detail in piece.aside:
                    self.report.aside[reason] += 1
                    aside.add(number, (f"{reason}: {detail}" if detail else reason) + words.get(number, ""))
                self._count(chunk, piece)
                writer.write_table(piece.table(schema))
        with self._draft.path.open("rb") as handle:
            self.report.source_hash = hashlib.file_digest(handle, "sha256").hexdigest()[:16]
        self._reader.report_into(self.report)
        self._refuse()

    def _count(self, chunk: Any, piece: Any) -> None:
        self.report.rows += len(chunk.rows) + len(chunk.broken)
        self.report.short_rows += chunk.short
        self.report.used += len(piece)
        self.report.mended_rows += piece.mended_rows
        self._customers.append(piece.customers)
        self._days.append(piece.days)
        self._words.append(piece.ending_words)
        self._jobs.append(piece.jobs)
        self._recalled.append(piece.recalled)
        self._filled.update(piece.filled())
        for observed, record in self._knowledge.observables.items():
            seen = Counter(cell for cell in piece.values.get(clean.FOUND + observed, ()) if cell in record.outcomes)
            seen.pop(next(iter(record.outcomes)), None)
            self._odd.update({(observed, outcome): n for outcome, n in seen.items()})
        self._repairs.update(name for cell in piece.values.get(clean.REPAIRS, ()) if cell for name in cell.split(";"))
        if self._progress:
            self._progress("reading", self.report.rows, self._draft.found.rows)

    def _refuse(self) -> None:
        """Raise FaultoddsError for a log that had better not be learned from."""
        r = self.report
        dangers = "".join(f" {line.strip()}" for line in report.danger_lines(r))
        contradictory = r.aside[CONTRADICTORY]
        if contradictory > MOST_CONTRADICTORY * r.rows:
            raise FaultoddsError(
                f"{r.source} contradicts itself: {contradictory:,} of {r.rows:,} rows have the job number and day of another "
                "row and say otherwise. Is the right column taken for the job number? Nothing was imported. "
                f'If the number is not one job\'s, write is = "left_out" for that column in the mapping. {self._to_edit()}{dangers}'
            )
        other = r.set_aside - r.aside[DUPLICATE]
        if r.used < scan.FEWEST_ROWS or other > MOST_ASIDE * r.rows:
            reasons = "; ".join(f"{n:,} {reason}" for reason, n in r.aside.most_common(3))
            raise FaultoddsError(
                f"only {r.used:,} of the {r.rows:,} rows in {r.source} could be used ({reasons}). Nothing was imported. "
                f"Mend the log or its mapping, and import it again. {self._to_edit()}{dangers}"
            )
        if r.understood < LEAST_UNDERSTOOD:
            raise FaultoddsError(
                f"only {100 * r.understood:.0f} % of the cells in {r.source} were understood. Nothing was imported. "
                f"Write in the mapping what the columns and their words mean, and import it again. {self._to_edit()}{dangers}"
            )

    # --- second pass ---

    def write_clean(self) -> None:
        """Add how each visit ended to the half-made log, and leave out columns with nothing in them."""
        import pyarrow as pa

        jobs, recalled = np.concatenate(self._jobs), np.concatenate(self._recalled)
        days = np.concatenate(self._days)
        words, returned, return_of, told = endings.recalled(np.concatenate(self._words), jobs, recalled, days)
        self.report.notes += told
        found = endings.endings(
            np.concatenate(self._customers),
            days,
            words,
            self._knowledge.log.window_days,
            self._draft.mapping.no_ending,
            self.second,
            returned,
            return_of,
        )
        self._note_endings(found)
        self._sound_alarms(found)
        lost = not_held(self._half, found, self._knowledge)
        if lost:
            visits = "1 visit" if len(lost) == 1 else f"{len(lost):,} visits"
            self.report.notes.append(
                f"{visits} that came back got another repair then: the first did not hold, and counts as failed."
            )
        schema = _schema(self._knowledge, with_ending=True)
        always = (clean.JOB, clean.ENDED, clean.BACK_AFTER, clean.FOLLOWED, *([clean.FAILED] if lost else []))
        wanted = pa.schema([f for f in schema if f.name in always or self._filled[f.name]])
        with clean.writer(self._files.clean, wanted) as writer:
            for table in self._with_endings(found, lost, wanted):
                writer.write_table(table)
        self._half.unlink()

    def _sound_alarms(self, found: endings.Endings) -> None:
        """Say what looks wrong by itself; refuse a column nobody has confirmed that would make callbacks of all, or whose times or
        money are none."""
        column = self._draft.mapping.of_kind("customer")
        few = alarms.customers(np.concatenate(self._customers), column.heading) if column else None
        amounts = (alarms.amounts(c) for c in self.report.columns if c.is_ in ("minutes", "bill"))
        wrong = [text for text in (few, *amounts) if text]
        if wrong and not self._draft.mapping.confirmed:
            raise FaultoddsError(
                f'{wrong[0]} Nothing was imported. Write is = "left_out" for it in the mapping, or confirmed = true at the top if '
                f"it is right. {self._to_edit()}"
            )
        self._refuse_guesses(found)
        self._refuse_open_questions()
        self._refuse_unread_endings()
        self.report.alarms += wrong
        told = alarms.callbacks(self.report.came_back, self.report.used)
        self.report.alarms += [told] if told else []
        self.report.alarms += alarms.outcomes(self._odd, self._knowledge.symptom, self.report.used)
        self.report.alarms += alarms.shares({clean.REPAIRS: self._repairs})

    def _refuse_guesses(self, found: endings.Endings) -> None:
        """Raise FaultoddsError where a column that nobody has confirmed, and whose heading does not say what it is, changes the
        repairs or the callbacks of more than a few visits in a hundred."""
        if self._draft.mapping.confirmed:
            return
        changed = {"customer": int(np.isfinite(found.back_after).sum())}
        changed |= {c.heading: c.understood for c in self.report.columns}
        for column in self._draft.mapping.columns:
            visits = changed.get("customer" if column.kind == "customer" else column.heading, 0)
            if by_cells_alone(self._knowledge, column) and visits > FEW_CHANGED * self.report.used:
                raise FaultoddsError(
                    f"column '{column.heading}' is taken for '{column.kind}' by its cells alone, and changes {visits:,} of "
                    f"{self.report.used:,} visits. Nothing was imported. Write confirmed = true at the top of the mapping if it "
                    f'is right, or is = "left_out" for that column. {self._to_edit()}'
                )

    def _refuse_open_questions(self) -> None:
        """Raise FaultoddsError for a column of which only the shop can say what it is, or what its blanks are."""
        if self._draft.mapping.confirmed:
            return
        columns = samples(self._draft.source.headings, self._draft.found.sample)
        for column, sample in zip(self._draft.mapping.columns, columns, strict=True):
            if asked := asking.question(self._knowledge, column, sample):
                raise FaultoddsError(
                    f"{asked} in the mapping; if it is right as it stands, confirmed = true at the top. Nothing was imported. "
                    f"{self._to_edit()}"
                )

    def _refuse_unread_endings(self) -> None:
        """Raise FaultoddsError where more than a few endings in a hundred are written and not understood: any of them may be a
        callback."""
        if self._draft.mapping.confirmed:
            return
        kinds = {column.heading: column.kind for column in self._draft.mapping.columns}
        for column in self.report.columns:
            unread = column.counts["unknown"]
            if kinds[column.heading] == "ended" and unread > FEW_CHANGED * column.filled:
                phrases = [
                    f"'{word}' {times:,} times" + (f" (nearest: {near})" if (near := column.nearest.get(word)) else "")
                    for word, times in column.words.most_common(3)
                ]
                word = next(iter(column.words), "see ticket")
                raise FaultoddsError(
                    f"{unread:,} of {column.filled:,} endings in column '{column.heading}' are not understood"
                    f"{': ' + ', '.join(phrases) if phrases else ''}. Nothing was imported. Say in that column of the mapping what "
                    f'they mean, for example words = {{ "{word}" = "came_back" }} (or gone, referred, unknown), or write '
                    f"confirmed = true at the top to leave them out. {self._to_edit()}"
                )

    def _with_endings(self, found: endings.Endings, lost: dict[int, str], schema: pa.Schema) -> Iterator[pa.Table]:
        import pyarrow as pa
        import pyarrow.parquet as pq

        names = np.array(clean.ENDINGS, dtype=object)
        at = 0
        for batch in pq.ParquetFile(self._half).iter_batches(batch_size=clean.CHUNK):
            part = slice(at, at + batch.num_rows)
            failed = batch.column(clean.FAILED).to_pylist()
            made = {
                clean.FAILED: pa.array([lost.get(at + n, cell) for n, cell in enumerate(failed)], pa.string()),
                clean.ENDED: pa.array(names[found.ended[part]], pa.string()),
                clean.BACK_AFTER: pa.array(found.back_after[part], from_pandas=True),
                clean.FOLLOWED: pa.array(found.followed[part], from_pandas=True),
            }
            at += batch.num_rows
            columns = [made[f.name] if f.name in made else batch.column(f.name) for f in schema]
            yield pa.Table.from_arrays(columns, schema=schema)
            if self._progress:
                self._progress("writing", at, self.report.used)

    def _note_endings(self, found: endings.Endings) -> None:
        self.report.notes += found.notes
        self.report.came_back = int((found.ended == endings.CODE[clean.CAME_BACK]).sum())
        days = np.concatenate(self._days)
        known = days[days >= 0]
        if len(known):
            self.report.first_day, self.report.last_day = (_day(n).isoformat() for n in (known.min(), last_day(days)))
            self.report.notes += slips(days)
        if self._draft.mapping.of_kind("customer") is None:
            self.report.notes.append(
                "No column tells which customer it was, so callbacks are only seen where the log says so."
            )

    def write_report(self, before: Sequence[phrases.Phrase] = ()) -> None:
        """Write the report for programs and for people, and the table of phrases with those of earlier files."""
        text = json.dumps(self.report.as_dict(), indent=1, ensure_ascii=False)
        self._files.report.write_text(text + "\n", encoding="utf-8")
        phrases.write(phrases.together(before, phrases.table(self.report, self._draft.mapping)), self._files.phrases)
        self._files.report_text.write_text("\n".join(report.lines(self.report)) + "\n", encoding="utf-8")


def _about(decided: dates.Decided) -> str:
    doubt = "" if decided.certain else ". Dates may be wrong: say date_order in the mapping"
    return f"Dates such as 01/03/2022 are read {decided.order}: {decided.why}{doubt}."


def _day(number: int) -> dt.date:
    return dt.date(1970, 1, 1) + dt.timedelta(days=int(number))


def _schema(knowledge: Knowledge, with_ending: bool) -> pa.Schema:
    import pyarrow as pa

    ending = (clean.ENDED, clean.BACK_AFTER, clean.FOLLOWED)
    names = [name for name in clean.columns_of(knowledge) if with_ending or name not in ending]
    return pa.schema([clean.field(name) for name in names])
