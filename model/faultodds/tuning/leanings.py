"""Where and when a shop's causes differ: a drift over the months, and what leans to a branch, a season or an age of machine.

All by one rule. If time, or the branch, did not matter, the jobs would be a draw without replacement, and the mean and variance
of any sum over them are known exactly (as in `drift.py`); p-values are corrected for all that was looked at (Holm 1979). A drift
is looked for in the chances of the main causes, which every job has; the rest in the plain repairs that held, in which nothing
of the file's own numbers is.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from faultodds.knowledge import Floats, Ints
from faultodds.tuning.drift import LEVEL, MonthSums, chance_words, holm
from faultodds.tuning.groups import log_labels, repair_groups

if TYPE_CHECKING:
    import pandas as pd

    from faultodds.knowledge import Knowledge

FEWEST: Final = 10.0
"""Jobs of a cause in all, under which no drift of it is looked for."""
SMALLEST_CELL: Final = 5.0
LEAST_MONTHS: Final = 4
TWO_YEARS: Final = 600
"""Days of a log from which a season is told from a drift."""
SEASONS: Final = ("winter", "spring", "summer", "autumn")


@dataclass(frozen=True)
class Drift:
    """A cause whose share moves: `early` and `late` shares before and from the month `since`, where the two differ most."""

    cause: str
    early: float
    late: float
    first: str
    since: str
    last: str
    p: float


@dataclass(frozen=True)
class Lean:
    """A repair that holds more or less often at one place or time: `here` of its `jobs`, `elsewhere` of the others."""

    of: str
    label: str
    repair: str
    here: float
    elsewhere: float
    jobs: int
    p: float


def drifts(sums: MonthSums, causes: Sequence[str], level: float = LEVEL) -> list[Drift]:
    """Causes whose share of the calls rises or falls over the months, surest first; `causes` names the C columns of `sums`."""
    from scipy.stats import norm

    months = sorted(sums.jobs)
    if len(months) < LEAST_MONTHS:
        return []
    jobs = np.array([sums.jobs[m] for m in months], dtype=float)
    seen = np.array([sums.sums[m] for m in months])
    total = jobs.sum()
    mean = seen.sum(axis=0) / total
    variance = np.maximum(np.diag(sums.gram) / total - mean**2, 0.0) * total / max(total - 1, 1)
    when = np.arange(len(months)) - (jobs @ np.arange(len(months))) / total
    spread = np.sqrt(variance * (jobs @ when**2))
    enough = (mean * total >= FEWEST) & (spread > 0)
    z = np.where(enough, (when @ seen) / np.where(spread > 0, spread, 1.0), 0.0)
    p = np.ones(len(mean))
    p[enough] = holm(list(2.0 * norm.sf(np.abs(z[enough]))))
    found = []
    for c in sorted(np.flatnonzero(p <= level), key=lambda c: -abs(z[c])):
        cut = _cut(jobs, seen[:, c])
        early, late = seen[:cut, c].sum() / jobs[:cut].sum(), seen[cut:, c].sum() / jobs[cut:].sum()
        found.append(Drift(causes[int(c)], float(early), float(late), months[0], months[cut], months[-1], float(p[c])))
    return found


def _cut(jobs: Floats, seen: Floats) -> int:
    """The month from which on the share differs most, for its number of jobs, from what it was before."""
    before, total = np.cumsum(jobs)[:-1], jobs.sum()
    gap = np.cumsum(seen)[:-1] - before * seen.sum() / total
    return int(np.argmax(np.abs(gap) / np.sqrt(before * (total - before)))) + 1


def drift_sentence(d: Drift, title: str) -> str:
    """A drift in words; `title` is the cause's."""
    way = "grown more common" if d.late > d.early else "grown rarer"
    return (
        f"'{title}' has {way}: {d.early:.0%} of the calls from {_month(d.first)} on, {d.late:.0%} from {_month(d.since)} to "
        f"{_month(d.last)} (chance of such a drift by luck: {chance_words(d.p)}). To learn from the later jobs alone: --since "
        f"{d.since}-01."
    )


def leans(
    labels: Sequence[int] | Ints, kinds: Mapping[str, Sequence[str]], names: Sequence[str], level: float = LEVEL
) -> list[Lean]:
    """What leans to a label of one of the `kinds` ("branch", ...), surest first.

    `labels` (N,) number the repair of `names` that held on each job, negative where none is known; every kind has (N,) labels, ""
    where it is not known.
    """
    from scipy.stats import norm

    repairs = np.asarray(labels)
    rows: list[tuple[str, str, int, float, float, int]] = []
    scores: list[float] = []
    for kind, given in kinds.items():
        place = np.asarray([str(each) for each in given])
        told = (repairs >= 0) & (place != "")
        here = np.unique(place[told])
        for label in here if len(here) > 1 else ():
            inside = told & (place == label)
            n, total = int(inside.sum()), int(told.sum())
            for repair in np.unique(repairs[told]):
                mine, every = int((repairs[inside] == repair).sum()), int((repairs[told] == repair).sum())
                share = every / total
                if not n * share >= SMALLEST_CELL or not (total - n) * share >= SMALLEST_CELL or every == total:
                    continue
                spread = np.sqrt(share * (1 - share) * n * (total - n) / (total - 1))
                scores.append(2.0 * float(norm.sf(max(abs(mine - n * share) - 0.5, 0.0) / spread)))
                rows.append((kind, str(label), int(repair), mine / n, (every - mine) / (total - n), n))
    corrected = holm(scores)
    found = [Lean(k, lab, names[r], a, b, n, p) for (k, lab, r, a, b, n), p in zip(rows, corrected, strict=True)]
    return sorted((each for each in found if each.p <= level), key=lambda each: each.p)


def lean_sentence(each: Lean, title: str, label: str) -> str:
    """A leaning in words; `title` is the repair's, `label` the place or time in words."""
    more = "more" if each.here > each.elsewhere else "less"
    return (
        f"{label}: {more} often '{title}' than elsewhere, {each.here:.0%} of {each.jobs} repairs that held against "
        f"{each.elsewhere:.0%} (chance by luck: {chance_words(each.p)})."
    )


def lean_notes(knowledge: Knowledge, frame: pd.DataFrame) -> list[str]:
    """A sentence for each repair that leans to a branch, an age of machine or a season, where the log can tell."""
    groups = repair_groups(knowledge)
    kinds = _kinds(frame)
    found = leans(log_labels(frame, knowledge, groups), kinds, groups.names)
    return [
        lean_sentence(e, knowledge.repair[e.repair].title, _in_words(knowledge, e.of, e.label))
        for e in found[:6]
        if e.repair in knowledge.repair
    ]


def _kinds(frame: pd.DataFrame) -> dict[str, list[str]]:
    from faultodds.joblog import BRANCH, DAY, FACT

    def texts(column: Any) -> list[str]:
        return ["" if each is None or each != each else str(each) for each in column.astype(object)]

    kinds = {
        name: texts(frame[column]) for name, column in (("branch", BRANCH), ("age", f"{FACT}age")) if column in frame
    }
    if DAY in frame and (frame[DAY].max() - frame[DAY].min()).days >= TWO_YEARS:
        months = frame[DAY].dt.month
        kinds["season"] = ["" if m != m else SEASONS[int(m) % 12 // 3] for m in months]
    return kinds


def _in_words(knowledge: Knowledge, kind: str, label: str) -> str:
    if kind == "age" and "age" in knowledge.context:
        return f"Age {knowledge.context['age'].values.get(label, label)}"
    return f"Branch {label}" if kind == "branch" else f"In {label}" if kind == "season" else label


def _month(name: str) -> str:
    return datetime.date.fromisoformat(f"{name}-01").strftime("%B %Y")
