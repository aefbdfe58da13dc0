"""One service call: what is typed, its steps, the store, how it stands, and why."""

from faultodds.job import typed
from faultodds.job.explain import Line, Tells, job_answer, job_line, now_answer, reminders, story, tells, why_asked
from faultodds.job.open_job import Visit
from faultodds.job.steps import Closed, Finding, Job, Payload, Repair, Step, summary
from faultodds.job.store import Store, store_path
from faultodds.job.taking import (
    Taken,
    evidence_of,
    fixed,
    pair,
    situation_of,
    state_after,
    steps_for_one_shot,
    take_fact,
    take_finding,
    take_skip,
    take_state,
)
from faultodds.job.typed import asked
