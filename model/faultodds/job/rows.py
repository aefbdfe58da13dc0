"""A job's rows in its store: written, and read back as a job."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from faultodds.errors import FaultoddsError, StoreError
from faultodds.job.database import JOBS, STEPS, damaged_job
from faultodds.job.job import Job
from faultodds.job.steps import Step, from_json


def grouped(rows: Sequence[sa.Row[Any]]) -> Iterator[tuple[int, tuple[sa.Row[Any], ...]]]:
    """The steps of each job, from rows in the order of their jobs."""
    for job_id, group in itertools.groupby(rows, key=lambda row: int(row.job_id)):
        yield job_id, tuple(group)


def add_row(connection: sa.Connection, job: Job, at: datetime, row: dict[str, Any]) -> None:
    """Write the change that made `job` what it is now, and its outcome."""
    key = int(job.id)
    connection.execute(sa.insert(STEPS).values(job_id=key, seq=job.last_seq, at=timestamp(at), **row))
    connection.execute(sa.update(JOBS).where(JOBS.c.id == key).values(outcome=job.outcome))


def add_undo(connection: sa.Connection, job: Job, at: datetime, step: Step) -> None:
    """Write that `step` was taken back."""
    add_row(connection, job, at, {"kind": "undo", "payload": json.dumps({"seq": step.seq}), "minutes": None})


def read_job(path: Path, data: str, header: sa.Row[Any], rows: Sequence[sa.Row[Any]]) -> Job | StoreError:
    """A job from its rows; `data`: where its store is, as it is typed. What is wrong with it where a row is damaged."""
    try:
        head = (header.appliance, header.revision, header.title, header.source, header.fingerprint)
        if not all(isinstance(text, str) for text in head):
            raise TypeError("its head is no text")
        taken_back = {json.loads(row.payload)["seq"] for row in rows if row.kind == "undo"}
        steps = [
            Step(row.seq, moment(row.at), from_json(row.kind, row.payload), row.minutes)
            for row in rows
            if row.kind != "undo"
        ]
        opened_at = moment(header.opened_at)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError, OverflowError, FaultoddsError) as error:
        return StoreError(damaged_job(path, header.id, " ".join(f"{type(error).__name__}: {error}".split())[:200]))
    return Job(
        id=str(header.id),
        appliance=header.appliance,
        revision=header.revision,
        opened_at=opened_at,
        title=header.title,
        steps=tuple(step for step in steps if step.seq not in taken_back),
        undone=tuple(step for step in steps if step.seq in taken_back),
        last_seq=rows[-1].seq if rows else 0,
        source=header.source,
        fingerprint=header.fingerprint,
        data=data,
    )


def moment(text: str) -> datetime:
    """A moment in UTC. Raises ValueError for any other text."""
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError(f"{text} is no moment in UTC")
    return at


def timestamp(at: datetime) -> str:
    """A moment as it is stored."""
    return at.isoformat(timespec="microseconds")
