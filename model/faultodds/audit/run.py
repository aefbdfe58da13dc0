"""Would it have helped? A log played forward: learn from the past, forecast what came next, count how good that was.

`audit` compares the file's priors, priors learned from the log (and, if asked, a revision's) with three rivals from
scikit-learn, at fixed moments of a job. What is forecast is the repair that put the machine right (`groups.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from faultodds.audit.methods import LEARNED, Fixed, Learned, Method, rivals
from faultodds.audit.results import Audit, grown, judged
from faultodds.audit.stages import STAGES, Stage
from faultodds.audit.truth import truth_labels
from faultodds.audit.walk import FIRST_JOBS, MOST_REFITS, Block, Walked, blocks_of, walk
from faultodds.joblog import DAY, JOB
from faultodds.knowledge import Knowledge
from faultodds.revisions import FILE
from faultodds.tuning import NOT_KNOWN, log_labels, repair_groups

if TYPE_CHECKING:
    import pandas as pd

    from faultodds.knowledge import Ints
    from faultodds.tuning import Settings


def audit(
    knowledge: Knowledge,
    frame: pd.DataFrame,
    *,
    truth: pd.DataFrame | None = None,
    others: Mapping[str, Knowledge] | None = None,
    base: str = FILE,
    since: pd.Timestamp | None = None,
    settings: Settings | None = None,
    stages: tuple[Stage, ...] = STAGES,
    with_rivals: bool = True,
    rivals_know_truth: bool = False,
    first_jobs: int = FIRST_JOBS,
    most_refits: int = MOST_REFITS,
    tick: Callable[[str], None] = lambda what: None,
) -> Audit:
    """Walk forward through a clean log and judge the forecasts.

    Parameters
    ----------
    truth: a table of what was really wrong (`truth.truth_labels`); forecasts are then held against it, else against the repair
        that the log says put the machine right. Learning never sees it.
    others: more priors to judge, by name (revisions).
    base: the method that the others are held against: "file", or one of `others`.
    since: forecast only months that begin after this day, because `base` was learned from the jobs before it.
    with_rivals: whether the baselines take part; most of the time goes into them.
    rivals_know_truth: train the rivals on the truth table of the past too, which no shop has; a harder comparison.

    Raises FaultoddsError when the log has no days, is too short, or leaves too few jobs to judge by.
    """
    from faultodds.tuning import Settings

    groups = repair_groups(knowledge)
    by_log = log_labels(frame, knowledge, groups)
    true = by_log if truth is None else truth_labels(truth, list(frame[JOB]), knowledge, groups)
    known_as = dict(zip(frame[JOB].astype(str), true.tolist(), strict=True))

    def past_labels(past: pd.DataFrame) -> Ints:
        if truth is not None and rivals_know_truth:
            return np.array([known_as[str(job)] for job in past[JOB]], dtype=np.int64)
        return log_labels(past, knowledge, groups)

    methods: list[Method] = [Fixed(FILE, knowledge, groups)]
    methods += [Fixed(name, other, groups) for name, other in (others or {}).items()]
    methods += [Learned(LEARNED, knowledge, groups, settings or Settings())]
    methods += rivals(knowledge, groups) if with_rivals else []
    blocks = blocks_of(frame, first_jobs, most_refits, since)
    walked = walk(knowledge, frame, true, past_labels, methods, stages, blocks, tick)
    names = [m.name for m in methods]
    counts = _counts(frame, true, blocks, walked)
    others = {name: other for name, other in (others or {}).items() if since is None or name != base}
    told = truth is not None
    notes = _notes(knowledge, counts, told, rivals_know_truth, others)
    return Audit(judged(walked, stages, names, base), counts, notes, base, grown(walked, stages, names, base), told)


def _counts(frame: pd.DataFrame, true: Ints, blocks: list[Block], walked: Walked) -> dict[str, int]:
    later = np.concatenate([b.rows for b in blocks])
    return {
        "jobs": len(frame),
        "without_day": int(frame[DAY].isna().sum()),
        "past_only": blocks[0].past,
        "later": len(later),
        "scored": len(walked.rows),
        "not_told": int((true[later] == NOT_KNOWN).sum()),
        "times_learned": len(blocks),
        "groups_met": len(np.unique(walked.truth)),
    }


def _notes(
    knowledge: Knowledge, counts: dict[str, int], told: bool, rivals_know_truth: bool, others: Mapping[str, Knowledge]
) -> tuple[str, ...]:
    window = f"{knowledge.log.window_days:.0f}"
    notes = []
    if told:
        notes.append("Forecasts are held against the truth table, which learning never sees.")
    else:
        notes.append(
            f"Forecasts are held against the log's own word: one repair (or repairs of one kind), the complaint gone, and not "
            f"back within {window} days. Jobs with several faults, or that nobody put right, are not among them. What was done "
            "is partly habit: numbers that forecast it better need not be nearer the truth, so look at what they say as well."
        )
    if counts["not_told"]:
        notes.append(
            f"{counts['not_told']} of {counts['later']} later jobs do not tell what put them right and are not scored."
        )
    if counts["without_day"]:
        notes.append(f"{counts['without_day']} jobs have no day and are left out.")
    if rivals_know_truth:
        notes.append("The general methods were also told the truth of past jobs, which a shop does not have.")
    notes += [
        f"'{name}' was judged as it is: if it was learned from these very jobs, it has seen the answers."
        for name in others
    ]
    return tuple(notes)
