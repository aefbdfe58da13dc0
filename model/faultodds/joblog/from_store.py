"""The tool's own jobs as a clean log: one row a visit, from the steps that were entered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from faultodds.errors import FaultoddsError
from faultodds.job import Closed, Finding, Job, RepairDone
from faultodds.joblog import clean
from faultodds.joblog.cleaning_report import CleaningReport, lines
from faultodds.joblog.folder import all_or_nothing, files_of
from faultodds.joblog.followed import followed_in
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    import pandas as pd

OTHER_APPLIANCE: Final = "of another appliance"
NOTHING_ENTERED: Final = "with nothing entered yet"
STILL_TO_COME: Final = "on a day that is still to come"


@dataclass
class Visit:
    """One visit of a job as it goes into the clean log."""

    job: str
    day: dt.date
    found: dict[str, dict[str, float]] = field(default_factory=dict)
    repairs: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    after: dict[str, float] | None = None
    ended: str = clean.UNKNOWN
    back_after: float | None = None
    minutes: float = 0.0
    late: int = 0

    @property
    def says_something(self) -> bool:
        """Whether there is anything to learn from it."""
        return bool(self.found or self.repairs or self.ended != clean.UNKNOWN)


def visits(job: Job, verify: str) -> list[Visit]:
    """The visits of a job, in order; `verify` is the check that is run after a repair.

    What was seen after a repair and is not that run has no place in the clean log; `late` counts it.
    """
    visit = Visit(job.id, job.opened_at.date())
    found = [visit]
    for step in job.steps:
        visit.minutes += step.minutes or 0.0
        match step.payload:
            case Finding() as finding:
                _take(visit, finding, verify)
            case RepairDone(name):
                if visit.after is not None:
                    visit.failed = list(visit.repairs)
                visit.after = None
                visit.repairs.append(name)
            case Closed("came_back", on) if on is not None:
                visit.ended, visit.back_after = clean.CAME_BACK, float(max(0, (on - visit.day).days))
                visit = Visit(f"{job.id}#{len(found) + 1}", on)
                found.append(visit)
            case Closed(outcome):
                visit.ended = outcome
    return [v for v in found if v.says_something]


def _take(visit: Visit, finding: Finding, verify: str) -> None:
    weights = finding.likelihood or {str(finding.outcome): 1.0}
    if visit.repairs:
        visit.after = dict(weights) if finding.name == verify else visit.after
        visit.late += finding.name != verify
        return
    before = visit.found.get(finding.name)
    if before is not None and finding.take > 0:
        both = {o: w * before.get(o, 0.0) for o, w in weights.items()}  # measured twice: both count
        weights = both if any(both.values()) else weights
    visit.found[finding.name] = dict(weights)


def rows(
    jobs: Iterable[Job], knowledge: Knowledge, report: CleaningReport, latest: dt.date
) -> Iterator[dict[str, Any]]:
    """The clean rows of many jobs; jobs of another appliance, empty ones and those that a wrong clock dated after `latest`, by
    which every other would have been followed for years, are counted in the report."""
    verify = knowledge.costs.verify
    for job in jobs:
        report.rows += 1
        if job.appliance != knowledge.appliance.id:
            report.aside[OTHER_APPLIANCE] += 1
            continue
        made = visits(job, verify)
        if not made:
            report.aside[NOTHING_ENTERED] += 1
            continue
        if any(visit.day > latest for visit in made):
            report.aside[STILL_TO_COME] += 1
            continue
        for visit in made:
            yield _row(visit, job.facts, verify)


def _row(visit: Visit, facts: Mapping[str, str], verify: str) -> dict[str, Any]:
    row: dict[str, Any] = {clean.JOB: visit.job, clean.DAY: visit.day}
    row |= {clean.FACT + name: value for name, value in facts.items()}
    row |= {clean.FOUND + name: clean.cell_of(w) for name, w in visit.found.items() if name != verify}
    if visit.repairs:
        row[clean.REPAIRS] = ";".join(visit.repairs)
        row[clean.FAILED] = ";".join(visit.failed) or None
    if visit.after is not None:
        row[clean.AFTER + verify] = clean.cell_of(visit.after)
    row |= {clean.ENDED: visit.ended, clean.BACK_AFTER: visit.back_after}
    return row | {clean.MINUTES: visit.minutes or None}


def import_store(
    knowledge: Knowledge, name: str = "jobs", data: str | None = None, now: dt.datetime | None = None
) -> CleaningReport:
    """Make a clean log of the jobs in the store; raises FaultoddsError, and changes nothing, when there are too few."""
    from faultodds.job import Store, store_path

    path = store_path(data)
    if not path.exists():
        raise FaultoddsError(f"there is no job store at {path} yet. Start a job with: faultodds bench.")
    now = now or dt.datetime.now(dt.UTC)
    report = CleaningReport(
        name, path.name, knowledge.appliance.id, ["this program's own jobs"], imported_at=f"{now:%Y-%m-%d}"
    )
    with Store.open(data) as store:
        made = list(rows(reversed(store.list()), knowledge, report, now.date() + dt.timedelta(days=1)))
        report.notes += [f"set aside: {told}" for told in store.damaged.values()]
    if len(made) < 2:
        reasons = "; ".join(f"{n} {why}" for why, n in report.aside.items())
        raise FaultoddsError(
            f"the store has {len(made)} visit{'' if len(made) == 1 else 's'} to learn from on '{knowledge.appliance.id}'"
            f"{f' ({reasons})' if reasons else ''}; it takes two at least. Nothing was imported."
        )
    frame = _frame(made, knowledge)
    report.used = len(frame)
    report.came_back = int((frame[clean.ENDED] == clean.CAME_BACK).sum())
    report.first_day, report.last_day = (f"{day:%Y-%m-%d}" for day in (frame[clean.DAY].min(), frame[clean.DAY].max()))
    with all_or_nothing(files_of(name, data)) as beside:
        clean.write_clean(frame, beside.clean)
        import json

        beside.report.write_text(json.dumps(report.as_dict(), indent=1) + "\n", encoding="utf-8")
        beside.report_text.write_text("\n".join(lines(report)) + "\n", encoding="utf-8")
    return report


def _frame(made: list[dict[str, Any]], knowledge: Knowledge) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame(made)
    frame[clean.DAY] = pd.to_datetime(frame[clean.DAY])
    frame[clean.FOLLOWED] = followed_in(frame[clean.DAY])
    frame = frame[[c for c in clean.columns_of(knowledge) if c in frame and frame[c].notna().any()]]
    for column in frame.columns:
        if column not in (clean.DAY, *clean.NUMBERS):
            frame[column] = frame[column].astype("category")
    clean.validate(frame, knowledge)
    return frame
