"""A month added to a log that is there: the visits that are new in it, behind those that were known."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np

from faultodds.errors import FaultoddsError, unknown
from faultodds.joblog import clean
from faultodds.joblog.cleaning_report import CleaningReport
from faultodds.joblog.folder import LogFiles, report_of
from faultodds.joblog.followed import followed_in
from faultodds.joblog.sources import VISIT

if TYPE_CHECKING:
    import pandas as pd

MOSTLY: Final = 0.5
"""A file without job numbers of which more than this share is in the log already was added before."""
ROWS_SHOWN: Final = 10


def refuse_unknown(name: str, known: list[str]) -> None:
    """Raise UnknownName for a log that is not there."""
    if name not in known:
        raise unknown("job log", name, known, "A first file is imported without --add-to.")


def join(there: LogFiles, beside: LogFiles, report: CleaningReport) -> None:
    """Put the visits of the log `there` before those in `beside`, in place; `report` then tells of the whole.

    A visit with the job number and day of one that is there is left out. Raises FaultoddsError when none is new.
    """
    import pandas as pd

    old, new = clean.read_clean(there.clean).astype(object), clean.read_clean(beside.clean).astype(object)
    before = report_of(there)
    fresh = _fresh(old, new)
    if fresh.empty:
        raise FaultoddsError(
            f"every visit of {report.source} is in the log '{there.name}' already. Nothing was changed."
        )
    named = _named(old, fresh)
    both = pd.concat([old, named], ignore_index=True)
    both = both[[*old.columns, *(c for c in new.columns if c not in old.columns)]]
    if clean.DAY in both:
        both[clean.DAY] = pd.to_datetime(both[clean.DAY])
        both[clean.FOLLOWED] = followed_in(both[clean.DAY])
        days = both[clean.DAY].dropna()
        report.first_day, report.last_day = (
            (f"{days.min():%Y-%m-%d}", f"{days.max():%Y-%m-%d}") if len(days) else ("", "")
        )
    for name in set(clean.NUMBERS) & set(both.columns):
        both[name] = both[name].astype(float)
    clean.write_clean(both, beside.clean)
    report.in_all = len(both)
    _tell_repeated(old, new, fresh, named, report)
    report.notes.append(
        f"Added to '{there.name}': {len(fresh):,} visits. Which customers earlier visits were for is not kept, so one of "
        "them who called again in this file is seen only where the log says so; to see all, import one file of everything with "
        "--force."
    )
    sources = [part for part in (str(before.get("source") or ""), report.source) if part]
    report.source = ", ".join(dict.fromkeys(sources))


def _tell_repeated(
    old: pd.DataFrame, new: pd.DataFrame, fresh: pd.DataFrame, named: pd.DataFrame, report: CleaningReport
) -> None:
    """Say what became of visits whose job number the log has already: left out, as they were or as they differ, or kept."""
    left = new.loc[~new.index.isin(fresh.index)]
    bare = [c for c in left.columns if c in old.columns and c not in _MAY_DIFFER]
    there = dict(zip(_keys(old), old[bare].astype(str).itertuples(index=False, name=None), strict=True))
    now = zip(_keys(left), left[bare].astype(str).itertuples(index=False, name=None), strict=True)
    same, other = list[str](), list[str]()
    for key, cells in now:
        (same if there.get(key) == cells else other).append(key[0])
    jobs = zip(fresh[clean.JOB].astype(str), named[clean.JOB].astype(str), strict=True)
    second = [f"{job} as {name}" for job, name in jobs if job != name and not re.fullmatch(VISIT, job)]
    if same:
        report.notes.append(f"Job {_few(same)}: in the log already, the same visit again, left out.")
    if other:
        words = "in the log already on that day and read otherwise there, left out: the log keeps what it had"
        report.alarms.append(f"job {_few(other)}: {words}.")
    if second:
        words = "in the log already on another day, kept as a later visit of that job. Another job? Number it anew"
        report.alarms.append(f"job {_few(second)}: {words}.")


def _few(jobs: list[str]) -> str:
    more = f" and {len(jobs) - ROWS_SHOWN:,} more" if len(jobs) > ROWS_SHOWN else ""
    return ", ".join(jobs[:ROWS_SHOWN]) + more


_MAY_DIFFER: Final = (clean.JOB, clean.TECHNICIAN, clean.FOLLOWED, clean.ENDED, clean.BACK_AFTER, clean.FAILED)
"""What other rows of a file decide of a visit, or how it counts people."""


def _fresh(old: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """The visits that are not there yet."""
    numbered = ~new[clean.JOB].astype(str).str.fullmatch(VISIT)
    keys = set(_keys(old))
    told = new[np.array([key not in keys for key in _keys(new)], bool) | ~numbered.to_numpy()]
    bare = [
        c
        for c in new.columns
        if c in old.columns and c not in (clean.JOB, clean.FOLLOWED, clean.ENDED, clean.BACK_AFTER)
    ]
    seen = {tuple(row) for row in old[bare].astype(str).itertuples(index=False)}
    unnumbered = new.loc[~numbered]
    known = [tuple(row) in seen for row in unnumbered[bare].astype(str).itertuples(index=False)]
    if sum(known) > MOSTLY * max(len(known), 1):
        others = [str(job) for job, there in zip(unnumbered[clean.JOB], known, strict=True) if not there]
        raise FaultoddsError(
            f"{sum(known):,} of the {len(new):,} visits look as those in the log do, to the last cell: was this file added before? "
            f"Nothing was changed.{_how_to_add(others)}"
        )
    return told


def _how_to_add(rows: list[str]) -> str:
    """What to do to get the visits in that are new; `rows` are the rows without a job number, by their place in the file."""
    if not rows:
        return ""
    return (
        f" Not in it yet: {_few(rows)} (as a spreadsheet numbers the rows). To add only these, put them into a file of their own, "
        'under the same headings, and add that file. Where a column holds job numbers (is = "job" in the mapping), visits that '
        "are there already are left out by themselves."
    )


def _keys(frame: pd.DataFrame) -> list[tuple[str, str]]:
    days = frame[clean.DAY].astype(str) if clean.DAY in frame else [""] * len(frame)
    return [(str(job).partition("#")[0], day) for job, day in zip(frame[clean.JOB], days, strict=True)]


def _named(old: pd.DataFrame, fresh: pd.DataFrame) -> pd.DataFrame:
    """The new visits under ids that no other has: "row 7" counts on, a job number's later visit is its "#2"."""
    taken, out, numbered = set(old[clean.JOB].astype(str)), [], re.compile(VISIT)
    for job in fresh[clean.JOB].astype(str):
        name, number = job, len(old)
        while name in taken:
            number += 1
            name = f"row {number}" if numbered.fullmatch(job) else f"{job.partition('#')[0]}#{number - len(old) + 1}"
        taken.add(name)
        out.append(name)
    return fresh.assign(**{clean.JOB: out})
