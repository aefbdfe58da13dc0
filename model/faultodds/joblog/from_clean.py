"""A clean log that was exported and comes back: every name checked, nothing guessed at."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean
from faultodds.joblog.cleaning_report import CleaningReport, lines
from faultodds.joblog.dates import FIRST_YEAR
from faultodds.joblog.folder import all_or_nothing, files_of
from faultodds.joblog.personal import Ids, Keeper, is_code
from faultodds.joblog.sources import VISIT, Source
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    import pandas as pd

_VISIT: Final = re.compile(r"#\d+$")
_OUR_ROW: Final = re.compile(VISIT)
_OUR_TECH: Final = re.compile(r"tech_(\d{1,9})")
MOST: Final = 10_000_000


def is_clean(headings: Sequence[str], knowledge: Knowledge) -> bool:
    """Whether a file's headings are those of a clean log."""
    known = set(clean.columns_of(knowledge))
    return clean.JOB in headings and len(headings) > 1 and all(heading in known for heading in headings)


def import_clean(
    source: Source, knowledge: Knowledge, name: str, data: str | None = None, now: dt.datetime | None = None
) -> CleaningReport:
    """Keep an exported log again; raises FaultoddsError for a name, number or date that is wrong in it."""
    now = now or dt.datetime.now(dt.UTC)
    report = CleaningReport(
        name, source.name, knowledge.appliance.id, [*source.notes, "a clean log already"], imported_at=f"{now:%Y-%m-%d}"
    )
    chunks = [*source.chunks()]
    rows = [row for chunk in chunks for row in chunk.rows]
    called = [source.visit(number) for chunk in chunks for number in chunk.numbers]
    if len(rows) < 2:
        raise FaultoddsError(f"{source.name} has {len(rows)} visits; a log takes two at least. Nothing was imported.")
    frame = _without_people(_frame(source, rows), called, knowledge)
    clean.validate(frame, knowledge)
    _refuse_what_cannot_be(source.name, frame, now)
    report.rows = report.used = len(frame)
    if clean.ENDED in frame:
        report.came_back = int((frame[clean.ENDED] == clean.CAME_BACK).sum())
    with all_or_nothing(files_of(name, data)) as beside:
        clean.write_clean(frame, beside.clean)
        beside.report.write_text(json.dumps(report.as_dict(), indent=1) + "\n", encoding="utf-8")
        beside.report_text.write_text("\n".join(lines(report)) + "\n", encoding="utf-8")
    return report


def _frame(source: Source, rows: list[list[str]]) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame(rows, columns=pd.Index(source.headings), dtype=object)
    for name in source.headings:
        text = frame[name].str.removeprefix("'").replace("", None)
        try:
            if name == clean.DAY:
                frame[name] = pd.to_datetime(text)
            else:
                frame[name] = pd.to_numeric(text) if name in clean.NUMBERS else text.astype("category")
        except ValueError as error:
            raise FaultoddsError(
                f"{source.name}: column '{name}' has something in it that is no {'date' if name == clean.DAY else 'number'} "
                f"({' '.join(str(error).split())[:80]}). Mend it and import again."
            ) from None
    return frame


def _without_people(frame: pd.DataFrame, called: Sequence[str], knowledge: Knowledge) -> pd.DataFrame:
    """Numbers in place of jobs, technicians and branches that are not written as those are: somebody may have edited the file, or
    it is a shop's own log that has such headings by chance."""
    for name in (clean.JOB, clean.TECHNICIAN, clean.BRANCH):
        if name not in frame:
            continue
        texts = [text if isinstance(text, str) else "" for text in frame[name].astype(object)]
        if name == clean.JOB:
            kept: list[str | None] = list(_job_numbers(texts, called))
        elif name == clean.TECHNICIAN:
            coded = {text: f"tech_{n}" for n, text in enumerate(_uncoded(texts), start=1 + _most_coded(texts))}
            kept = [coded.get(text, text) or None for text in texts]
        else:
            branches = set(Keeper(knowledge).branches(Counter(texts)))
            kept = [text if text in branches else None for text in texts]
        frame[name] = _words(kept)
    return frame


def _words(texts: list[str | None]) -> pd.Series:
    import pandas as pd

    return pd.Series(texts, dtype=object).astype("category")


def _job_numbers(texts: Sequence[str], called: Sequence[str]) -> Iterator[str]:
    bare = [_VISIT.sub("", text) for text in texts]
    ids = Ids(bare)
    for row, text, job in zip(called, texts, bare, strict=True):
        yield text if ids.is_id(job) or _OUR_ROW.fullmatch(job) else row


def _uncoded(texts: Iterable[str]) -> list[str]:
    return [text for text in dict.fromkeys(texts) if text and not is_code(text) and not _OUR_TECH.fullmatch(text)]


def _most_coded(texts: Iterable[str]) -> int:
    return max((int(match[1]) for text in set(texts) if (match := _OUR_TECH.fullmatch(text))), default=0)


def _refuse_what_cannot_be(name: str, frame: pd.DataFrame, now: dt.datetime) -> None:
    """Raise FaultoddsError for a day that is still to come, or a number that no visit has."""
    for day in frame[clean.DAY].dropna().dt.date.agg(["min", "max"]) if clean.DAY in frame else ():
        if day.year < FIRST_YEAR or day > now.date():
            raise FaultoddsError(
                f"{name}: column '{clean.DAY}' has {day}; a visit was between {FIRST_YEAR} and today. Mend it and import again."
            )
    for column in (each for each in clean.NUMBERS if each in frame):
        odd = frame[column][(frame[column] < 0) | (frame[column] > MOST)]
        if len(odd):
            raise FaultoddsError(
                f"{name}: column '{column}' has {odd.iloc[0]:g}; 0 to {MOST:,} can be. Mend it and import again."
            )
