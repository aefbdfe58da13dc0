"""A clean log that was exported and comes back: every name checked, nothing guessed at."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean
from faultodds.joblog.cleaning_report import CleaningReport, lines
from faultodds.joblog.folder import all_or_nothing, files_of
from faultodds.joblog.sources import Source
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    import pandas as pd


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
    rows = [row for chunk in source.chunks() for row in chunk.rows]
    if len(rows) < 2:
        raise FaultoddsError(f"{source.name} has {len(rows)} visits; a log takes two at least. Nothing was imported.")
    frame = _frame(source, rows)
    clean.validate(frame, knowledge)
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
