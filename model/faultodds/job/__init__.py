"""One service call: what is typed, its steps, the store, how it stands, and why."""

from typing import TYPE_CHECKING, Any

from faultodds.job import typed
from faultodds.job.explain import StoryLine, Tells, job_answer, job_line, now_answer, reminders, story, tells, why_asked
from faultodds.job.job import Job
from faultodds.job.open_job import OpenJob
from faultodds.job.steps import Closed, Finding, Payload, RepairDone, Step, summary
from faultodds.job.taking import (
    JudgedFinding,
    evidence_of,
    pair,
    repair_effect,
    situation_of,
    state_after,
    steps_for_one_shot,
    take_fact,
    take_finding,
    take_skip,
    take_state,
)
from faultodds.job.typed import asked

if TYPE_CHECKING:
    from faultodds.job.store import Store, store_path


def __getattr__(name: str) -> Any:
    # SQLAlchemy takes longer to import than an answer, so the store is loaded when it is asked for.
    if name in ("Store", "store_path"):
        from faultodds.job import store

        return getattr(store, name)
    raise AttributeError(name)
