"""Walking forward: what is learned from, what is forecast, and that nothing is known before its time."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from coded_logs import LOG, TRUTH
from faultodds.audit.baselines import naive_bayes
from faultodds.audit.methods import Fixed, Forecast, Rival
from faultodds.audit.stages import STAGES, Stage
from faultodds.audit.truth import truth_labels
from faultodds.audit.walk import Block, blocks_of, walk
from faultodds.errors import FaultoddsError
from faultodds.knowledge import Ints
from faultodds.knowledge.loading import load
from faultodds.knowledge.tables import Floats
from faultodds.revisions.decisions import FILE
from faultodds.tuning.groups import NOT_KNOWN, log_labels, repair_groups

DRYER = load("gas_dryer")
GROUPS = repair_groups(DRYER)
TRUE = truth_labels(TRUTH, list(LOG["job"]), DRYER, GROUPS)
LAST = STAGES[-1:]


def _labels(past: pd.DataFrame) -> Ints:
    return log_labels(past, DRYER, GROUPS)


class Witness:
    """A method that remembers what it was shown."""

    name = "witness"

    def __init__(self) -> None:
        self.pasts: list[pd.DataFrame] = []
        self.seen: list[pd.DataFrame] = []

    def learn(self, past: pd.DataFrame, labels: Ints) -> Forecast:
        """Keep the past; forecast every group alike."""
        assert len(past) == len(labels)
        self.pasts.append(past)

        def forecast(stage: Stage, seen: pd.DataFrame) -> Floats:
            self.seen.append(seen)
            return np.full((len(seen), len(GROUPS.names)), 1.0 / len(GROUPS.names))

        return forecast


def test_blocks_are_whole_months_after_the_first_jobs() -> None:
    """Every later job is in one block; a block starts with a month and has at least the first jobs before it."""
    blocks = blocks_of(LOG, first_jobs=60, most=3)
    assert 1 <= len(blocks) <= 3
    rows = np.concatenate([b.rows for b in blocks])
    assert sorted(rows) == list(range(blocks[0].past, len(LOG)))
    for block in blocks:
        assert block.start.day == 1
        assert block.past >= 60
        assert (LOG["day"].iloc[block.rows] >= block.start).all()
        assert block.past == (LOG["day"] < block.start).sum()


def test_learning_sees_the_past_and_forecasting_the_jobs_alone() -> None:
    """Each block is learned from what came before it; what is forecast is each scored job's facts and findings."""
    witness = Witness()
    blocks = blocks_of(LOG, 60, 3)
    walked = walk(DRYER, LOG, TRUE, _labels, [witness], LAST, blocks)
    assert [p["day"].max() < b.start for p, b in zip(witness.pasts, blocks, strict=True)] == [True] * len(blocks)
    assert sum(map(len, witness.seen)) == len(walked.rows) == len(LOG) - blocks[0].past
    assert not {"repairs", "ended", "followed_days", "back_after_days", "day", "job"} & set(witness.seen[0].columns)
    assert (walked.truth == TRUE[walked.rows]).all()


def _shuffled_future(start: pd.Timestamp) -> pd.DataFrame:
    """The same log with everything that became known from a day on replaced by nonsense."""
    changed = LOG.copy()
    late = changed["day"] >= start
    rng = np.random.default_rng(0)
    for column in [c for c in changed if c.startswith(("fact:", "found:", "repairs"))]:
        changed.loc[late, column] = rng.permutation(changed.loc[late, column].to_numpy())
    still_to_come = ~late & (changed["day"] + pd.to_timedelta(changed["back_after_days"].fillna(0), unit="D") >= start)
    changed.loc[still_to_come, ["ended", "back_after_days"]] = ["gone", np.nan]
    return changed


def test_a_different_future_changes_no_earlier_forecast() -> None:
    """Forecasts of the first block are the same whatever the later jobs were and whoever came back later."""
    methods = [Fixed(FILE, DRYER, GROUPS), Rival("naive Bayes", naive_bayes, DRYER, GROUPS)]
    blocks = blocks_of(LOG, 60, 3)
    second = blocks[1].start
    one, other = (walk(DRYER, log, TRUE, _labels, methods, LAST, blocks) for log in (LOG, _shuffled_future(second)))
    first = np.isin(one.rows, blocks[0].rows)
    for method in methods:
        a, b = (w.forecasts["all", method.name] for w in (one, other))
        assert (a[first] == b[first]).all()
        assert not (a[~first] == b[~first]).all()


def test_jobs_that_do_not_tell_are_not_scored() -> None:
    """A job of which it is not known what put it right is learned from, but no forecast is held against it."""
    truth = TRUE.copy()
    truth[::3] = NOT_KNOWN
    walked = walk(DRYER, LOG, truth, _labels, [Witness()], LAST, blocks_of(LOG, 60, 2))
    assert (walked.truth != NOT_KNOWN).all()
    assert not np.isin(np.arange(0, len(LOG), 3), walked.rows).any()


def _no_days(log: pd.DataFrame) -> pd.DataFrame:
    return log.drop(columns="day")


def _few(log: pd.DataFrame) -> pd.DataFrame:
    return log.iloc[:40]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (_no_days, "this log has no days, so the past cannot be told from the future."),
        (_few, "this log has 40 jobs; an audit learns from the first 60"),
    ],
)
def test_logs_that_cannot_be_walked_are_refused(change: Callable[[pd.DataFrame], pd.DataFrame], said: str) -> None:
    """No days, or too few jobs: the message says what is missing and what to do."""
    with pytest.raises(FaultoddsError) as caught:
        blocks_of(change(LOG), 60, 3)
    assert str(caught.value).startswith(said)


def test_too_few_jobs_to_judge_by_are_refused() -> None:
    """Under twenty scored jobs there is no verdict, and the message says how to get more."""
    truth = np.full(len(LOG), NOT_KNOWN, dtype=np.int64)
    truth[-10:] = 0
    with pytest.raises(FaultoddsError, match="only 10 jobs after the first") as caught:
        walk(DRYER, LOG, truth, _labels, [Witness()], LAST, blocks_of(LOG, 60, 1))
    assert "--truth FILE" in str(caught.value)


def test_a_job_without_a_day_is_neither_past_nor_later() -> None:
    """Rows without a date take no part."""
    log = LOG.copy()
    log.loc[[5, 300], "day"] = pd.NaT
    blocks: list[Block] = blocks_of(log, 60, 2)
    assert not np.isin([5, 300], np.concatenate([b.rows for b in blocks])).any()
