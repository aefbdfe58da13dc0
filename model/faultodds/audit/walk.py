"""Walking forward through a log: learn from the past as it was known then, forecast the months that come next.

No job is ever forecast with anything that was not known when it was visited: later jobs are out, and so are call-backs of
earlier customers that had not happened yet.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from faultodds.audit.methods import Method, floored
from faultodds.audit.stages import Stage, as_known_on, seen_by
from faultodds.errors import FaultoddsError
from faultodds.joblog import DAY
from faultodds.knowledge import Floats, Ints, Knowledge
from faultodds.tuning import NOT_KNOWN

if TYPE_CHECKING:
    import pandas as pd

#: Past jobs there must be before the first forecast, and times that everything is learned anew in one audit, unless told.
FIRST_JOBS, MOST_REFITS = 50, 6
#: Forecasts on fewer jobs than this say nothing worth printing.
FEWEST_SCORED = 20


@dataclass(frozen=True)
class Block:
    """Months forecast together: everything before `start` is the past, `rows` are the jobs to forecast."""

    start: pd.Timestamp
    rows: Ints
    past: int


@dataclass(frozen=True)
class Walked:
    """What a walk forecast. `rows` (N,) are row numbers in the log, `truth` (N,) what put each right,
    `forecasts[stage name, method name]` (N, K) the chances stated, `blocks` the times of learning.
    """

    rows: Ints
    truth: Ints
    forecasts: dict[tuple[str, str], Floats]
    blocks: tuple[Block, ...]


def blocks_of(
    frame: pd.DataFrame, first_jobs: int = FIRST_JOBS, most: int = MOST_REFITS, since: pd.Timestamp | None = None
) -> list[Block]:
    """The log's calendar months after the first `first_jobs` jobs, and after the day `since`, joined so that there are at most
    `most` blocks.

    Raises FaultoddsError for a log without days, or too short to learn from one part and forecast another.
    """
    days = _days(frame)
    months = days.to_period("M")
    starts = [m for m in months.unique().sort_values() if (months < m).sum() >= first_jobs]
    starts = [m for m in starts if since is None or m.start_time > since]
    if not starts and since is not None:
        raise FaultoddsError(
            f"no month of this log begins after {since:%Y-%m-%d}, the last day that those in use know."
        )
    if not starts:
        raise FaultoddsError(
            f"this log has {len(frame)} jobs; an audit learns from the first {first_jobs} and forecasts the months after "
            "them, and there are none. Type 'faultodds tune' to learn from it all the same, or give a longer log."
        )
    step = -(-len(starts) // most)
    joined = starts[::step]
    out = []
    for at, month in enumerate(joined):
        until = joined[at + 1] if at + 1 < len(joined) else None
        inside = (months >= month) & ((months < until) if until is not None else True)
        out.append(Block(month.start_time, np.flatnonzero(inside), int((months < month).sum())))
    return out


def _days(frame: pd.DataFrame) -> pd.DatetimeIndex:
    import pandas as pd

    if DAY not in frame or frame[DAY].isna().all():
        raise FaultoddsError(
            "this log has no days, so the past cannot be told from the future. Map a date column and import it again."
        )
    return pd.DatetimeIndex(frame[DAY])


def walk(
    knowledge: Knowledge,
    frame: pd.DataFrame,
    truth: Ints,
    past_labels: Callable[[pd.DataFrame], Ints],
    methods: Sequence[Method],
    stages: Sequence[Stage],
    blocks: Sequence[Block],
    tick: Callable[[str], None] = lambda what: None,
) -> Walked:
    """Forecast every job of the blocks of which it is known what put it right.

    `truth` (rows of the frame,) is what the forecasts are held against; `past_labels` gives the rivals the labels of a past
    frame as it was known then. `tick` is told what has been done.
    """
    parts: dict[tuple[str, str], list[Floats]] = {(s.name, m.name): [] for s in stages for m in methods}
    rows = []
    for block in blocks:
        scored = block.rows[truth[block.rows] != NOT_KNOWN]
        if not len(scored):
            continue
        rows.append(scored)
        past = as_known_on(frame, block.start)
        labels = past_labels(past)
        for method in methods:
            forecast = method.learn(past, labels)
            for stage in stages:
                seen = seen_by(frame.iloc[scored], knowledge, stage)
                parts[stage.name, method.name].append(floored(forecast(stage, seen)))
            tick(f"{block.start:%Y-%m}: {method.name}")
    every = np.concatenate([*rows, np.zeros(0, dtype=np.int64)])
    if len(every) < FEWEST_SCORED:
        raise FaultoddsError(
            f"only {len(every)} jobs after the first {blocks[0].past} tell what put them right (one repair, gone, not back "
            f"in {knowledge.log.window_days:.0f} days); {FEWEST_SCORED} is the least to judge by. Give a longer log, or a table "
            "of what was really wrong: --truth FILE."
        )
    joined = {key: np.concatenate(found) for key, found in parts.items()}
    return Walked(every, truth[every], joined, tuple(blocks))
