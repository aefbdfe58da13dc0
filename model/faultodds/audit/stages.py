"""How far a job had come when it is judged: after the complaint, after so many checks, after all of them.

A log does not say in which order checks were done. They are taken in the order of the minutes they need from a closed-up
machine, getting at the part included, since that is how most people work; of equal minutes the one earlier in the
knowledge file comes first. Every forecaster gets the same columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from faultodds.advice import CLOSED_UP, MachineStates
from faultodds.errors import FaultoddsError
from faultodds.joblog import BACK_AFTER, CAME_BACK, DAY, ENDED, FACT, FOLLOWED, FOUND, GONE
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Stage:
    """A moment in a job: `checks` is how many of its recorded checks are known by then, None for all."""

    name: str
    checks: int | None

    @property
    def title(self) -> str:
        """In words."""
        if self.checks is None:
            return "after all checks"
        if self.checks == 0:
            return "after the complaint"
        return f"after {self.checks} check{'s' if self.checks > 1 else ''}"


COMPLAINT = "complaint"
ALL_CHECKS = "all"
STAGES = (Stage(COMPLAINT, 0), Stage("1", 1), Stage("2", 2), Stage("4", 4), Stage(ALL_CHECKS, None))


def chosen(text: str | None) -> tuple[Stage, ...]:
    """Stages from "complaint,1,2,4,all", in the order of a job; the usual five for None. Raises FaultoddsError."""
    if text is None:
        return STAGES
    found = {_stage(word.strip()) for word in text.split(",") if word.strip()}
    if not found:
        raise FaultoddsError("--stages names no stage. Type for example --stages complaint,2,all.")
    return tuple(sorted(found, key=lambda s: np.inf if s.checks is None else s.checks))


def _stage(word: str) -> Stage:
    if word in (COMPLAINT, "0"):
        return Stage(COMPLAINT, 0)
    if word == ALL_CHECKS:
        return Stage(ALL_CHECKS, None)
    if not word.isdecimal():
        raise FaultoddsError(
            f"--stages {word}: a stage is 'complaint', a number of checks, or 'all'. "
            "Type for example --stages complaint,1,2,4,all."
        )
    return Stage(str(int(word)), int(word))


def order_of_checks(knowledge: Knowledge) -> list[str]:
    """Checks by minutes from a closed-up machine, access and closing up included."""
    ways = MachineStates(knowledge)
    minutes = {n: ways.to_work(CLOSED_UP, check).charged + check.minutes for n, check in knowledge.check.items()}
    return sorted(minutes, key=lambda n: minutes[n])


def seen_by(frame: pd.DataFrame, knowledge: Knowledge, stage: Stage) -> pd.DataFrame:
    """What is known of each job at a stage: its facts, symptoms and first checks; nothing of repairs or how it ended."""
    known = [f"{FACT}{n}" for n in (*knowledge.context, *knowledge.equipment)]
    known += [f"{FOUND}{n}" for n in knowledge.symptom]
    checks = [f"{FOUND}{n}" for n in order_of_checks(knowledge) if f"{FOUND}{n}" in frame]
    out = frame[[c for c in known if c in frame] + checks].copy()
    if stage.checks is not None:
        _blank_later(out, checks, stage.checks)
    return out


def _blank_later(frame: pd.DataFrame, checks: Sequence[str], kept: int) -> None:
    """Take away, in place, all but each job's first `kept` recorded checks."""
    if not checks:
        return
    done = frame[list(checks)].notna().to_numpy()
    later = done & (np.cumsum(done, axis=1) > kept)
    for column, name in enumerate(checks):
        frame[name] = frame[name].mask(later[:, column])


def as_known_on(frame: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """The jobs visited before `day`, as the shop knew them on that day: who came back later had not come back yet."""
    import pandas as pd

    past = frame[frame[DAY] < day].copy()
    since = (day - past[DAY]).dt.days.astype(float)
    if FOLLOWED in past:
        past[FOLLOWED] = np.minimum(past[FOLLOWED].astype(float), since)
    if ENDED in past and BACK_AFTER in past:
        not_yet = (past[ENDED].astype(object) == CAME_BACK) & (past[BACK_AFTER].astype(float) >= since)
        past[ENDED] = past[ENDED].astype(object).mask(not_yet, GONE)
        past[BACK_AFTER] = past[BACK_AFTER].astype(float).mask(not_yet)
        # Their stay away is only as long as the time that has passed.
        past.loc[not_yet, FOLLOWED] = since[not_yet]
    return pd.DataFrame(past)
