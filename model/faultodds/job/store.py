"""Jobs on disk: one SQLite file, one transaction a step, nothing a user entered ever deleted.

Rows of the table `steps` are only ever added. An undo is a row as well, so the whole history can be read
back. The file is in write-ahead mode with full synchronising: a step that `append` has returned from
survives `kill -9`, and two terminals can work on one store; `together` makes several entries one. A job with a damaged row is set
aside and named, and the others go on. Where nothing can be written the jobs can be looked at. SQLAlchemy is slow to import, so
only the job commands import this module.

Job ids are the numbers 1, 2, 3 ...: the shortest thing that can be typed with gloves on or read out over a
telephone, given out by the database so that two terminals cannot get the same one, and never used twice.
The day a job was opened is a column, so an id need not carry it.
"""

from __future__ import annotations

import os
import sqlite3
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal

import sqlalchemy as sa

from faultodds.errors import FaultoddsError, StaleJobError, StoreError, unknown
from faultodds.files import data_folder
from faultodds.job.database import (
    JOBS,
    STEPS,
    StoreFile,
    damaged_rows,
    engine_of,
    for_looking,
    keep_private,
    make_folder,
    migrate,
    refuse_old,
    write_ahead,
)
from faultodds.job.job import Job
from faultodds.job.rows import add_row, add_undo, grouped, read_job, timestamp
from faultodds.job.steps import Payload, Step, kind_of, summary, to_json, utc_now

FILE_NAME: Final = "jobs.sqlite"
Status = Literal["all", "open", "closed"]
MOST_MINUTES: Final = 1440.0  # one entry takes a day at most
_CHUNK: Final = 200  # jobs read at a time: bounds memory, and no reader holds the file open for long


def store_path(path: str | os.PathLike[str] | None = None) -> Path:
    """Where the store is: `path` if given, else the folder in FAULTODDS_DATA, else the user's data folder.

    `path` may be the file or its folder; a path that does not exist yet is a file if its name has an ending.
    """
    if path is not None:
        given = Path(path).expanduser()
        is_folder = given.is_dir() or (not given.exists() and not given.suffix)
        return given / FILE_NAME if is_folder else given
    return data_folder() / FILE_NAME


class Store:
    """The jobs of one user. Open it with `Store.open`, best in a `with` statement; use it from one thread.

    Every method raises `StoreError` when the file cannot be read or written; then nothing has been saved. `closed_because`: why
    the jobs can only be looked at, empty when they can be written. `joined`: whether it is within `together`; `kept`: whether
    what the last `together` entered is on disk. `damaged`: the jobs that the last `list` set aside, with why.
    """

    def __init__(self, file: StoreFile, clock: Callable[[], datetime], busy_seconds: float) -> None:
        self._file = file
        self.clock = clock
        self.damaged: dict[str, str] = {}
        self.closed_because = ""
        self.kept = True
        self.joined = False
        self._written: sa.RootTransaction | None = None
        self._failed: StoreError | None = None
        with ExitStack() as undone:
            self._connection = self._connected(undone, busy_seconds)
            self._left = undone.pop_all()

    def _connected(self, left: ExitStack, busy_seconds: float) -> sa.Connection:
        """The connection to the file, or to what can be looked at of it; what is to be let go of at the end goes to `left`."""
        file = self._file
        try:
            make_folder(file.path)
            with file.plain_errors(), ExitStack() as undone:
                connection = engine_of(file).connect()
                undone.callback(connection.close)
                migrate(connection, file.path)
                keep_private(file.path)
                write_ahead(connection, busy_seconds)
                left.push(undone.pop_all())
                return connection
        except StoreError as error:
            uri = left.enter_context(for_looking(file, error))
            if uri is None:
                raise
            self.closed_because = str(error)
            with file.plain_errors():
                connection = engine_of(file, uri).connect()
                left.callback(connection.close)
                refuse_old(connection, file.path, error)
                return connection

    @property
    def path(self) -> Path:
        """The file that holds the jobs."""
        return self._file.path

    @classmethod
    def open(
        cls,
        path: str | os.PathLike[str] | None = None,
        *,
        busy_seconds: float = 5.0,
        clock: Callable[[], datetime] = utc_now,
    ) -> Store:
        """Open the store at `store_path(path)`, making it if it is not there and migrating it if it is older.

        One that is there and cannot be written is opened to be looked at. `busy_seconds` is how long to wait for another terminal
        to finish writing; `clock` gives the UTC time.
        """
        return cls(StoreFile(store_path(path), busy_seconds), clock, busy_seconds)

    def close(self) -> None:
        """Let go of the file. Nothing is waiting to be saved: each step was saved when it was added."""
        self._left.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    @contextmanager
    def together(self) -> Iterator[None]:
        """Make everything entered within one transaction: all of it is on disk at the end, or none after a kill, a failure of the
        disk or any error of the program's own. What another `FaultoddsError` breaks off is kept as far as it got.
        """
        if self.joined:
            yield
            return
        self.joined = True
        try:
            yield
        except FaultoddsError:
            self._settle(keep=True)
            raise
        except BaseException:
            self._settle(keep=False)
            raise
        else:
            self._settle(keep=True)
        finally:
            self.joined = False

    def settle(self) -> None:
        """Within `together`: put on disk what was entered so far, before somebody is told of it, or asked."""
        self._settle(keep=True)

    def _settle(self, *, keep: bool) -> None:
        written, self._written = self._written, None
        failed, self._failed = self._failed, None
        self.kept = False
        if written is not None:
            with self._file.plain_errors():
                try:
                    if keep and failed is None:
                        written.commit()
                finally:
                    written.close()
        if keep and failed is not None:
            raise failed
        self.kept = keep

    def new_job(
        self,
        appliance: str,
        *,
        revision: str = "",
        title: str = "",
        opened_at: datetime | None = None,
        source: str = "",
        fingerprint: str = "",
    ) -> Job:
        """Start a job, now or at `opened_at` when it is entered later.

        `revision` names the priors in use; empty stands for the knowledge file as shipped. `source` and `fingerprint` as in `Job`.
        """
        appliance, revision, title, source = (_storable(text) for text in (appliance, revision, title, source))
        opened_at = (opened_at or self.clock()).astimezone(UTC)
        row = {
            "appliance": appliance,
            "revision": revision,
            "title": title,
            "source": source,
            "fingerprint": fingerprint,
        }
        with self._transaction("IMMEDIATE") as connection:
            statement = sa.insert(JOBS).values(**row, opened_at=timestamp(opened_at)).returning(JOBS.c.id)
            number = connection.execute(statement).scalar_one()
        return Job(
            str(number), appliance, revision, opened_at, title,
            source=source, fingerprint=fingerprint, data=_elsewhere(self.path),
        )  # fmt: skip

    def append(
        self, job_id: str, payload: Payload, minutes: float | None = None, expected_seq: int | None = None
    ) -> Job:
        """Add one step and return the job with it; once this returns, the step is on disk.

        Give the `last_seq` of the job you decided on as `expected_seq`: `StaleJobError` then tells of steps
        that another terminal entered meanwhile. `StoreError` when the job is closed; `UnknownName` when
        there is none.
        """
        return self.append_all(job_id, [(payload, minutes)], expected_seq)

    def append_all(
        self, job_id: str, entries: Sequence[tuple[Payload, float | None]], expected_seq: int | None = None
    ) -> Job:
        """Add several steps, each with its minutes, in one transaction: all of them are on disk once this returns, or none."""
        with self._transaction("IMMEDIATE") as connection:
            job = self._load(connection, job_id)
            _refuse_stale(job, expected_seq, "; ".join(summary(payload) for payload, _ in entries))
            for payload, minutes in entries:
                _refuse_minutes(minutes)
                step = Step(job.last_seq + 1, self.clock(), payload, minutes)
                job = job.plus(step)
                row = {"kind": kind_of(payload), "payload": to_json(payload), "minutes": step.minutes}
                add_row(connection, job, step.at, row)
        return job

    def undo(self, job_id: str, expected_seq: int | None = None) -> tuple[Job, Step]:
        """Take back the last step that stands: the job without it, and the step (the file keeps it)."""
        with self._transaction("IMMEDIATE") as connection:
            before = self._load(connection, job_id)
            _refuse_stale(before, expected_seq, "undo")
            job, step = before.minus_last()
            add_undo(connection, job, self.clock(), step)
        return job, step

    def take_back(self, job_id: str, name: str, expected_seq: int | None = None) -> tuple[Job, tuple[Step, ...]]:
        """Take back the latest entry of this name (`Job.latest`) and nothing after it: the job, and the steps (the file keeps
        them; none when there is no such entry)."""
        with self._transaction("IMMEDIATE") as connection:
            job = self._load(connection, job_id)
            _refuse_stale(job, expected_seq, f"take back {name}")
            steps = job.latest(name)
            for step in steps:
                job = job.minus(step)
                add_undo(connection, job, self.clock(), step)
        return job, steps

    def set_revision(self, job_id: str, revision: str) -> Job:
        """Advise the job with other learned numbers from now on. Say so in a note: this keeps only the latest."""
        with self._transaction("IMMEDIATE") as connection:
            key = int(self._load(connection, job_id).id)
            connection.execute(sa.update(JOBS).where(JOBS.c.id == key).values(revision=_storable(revision)))
            return self._load(connection, job_id)

    def get(self, job_id: str) -> Job:
        """The job with this id; `UnknownName`, with the nearest id, when there is none."""
        with self._transaction("DEFERRED") as connection:
            return self._load(connection, job_id)

    def list(self, status: Status = "all", limit: int | None = None) -> tuple[Job, ...]:
        """Jobs, newest first; damaged ones are left out, and are in `damaged` then. A job whose complaint came back is open."""
        chosen = sa.select(JOBS).where(_WITH_STATUS[status]).order_by(JOBS.c.id.desc()).limit(limit)
        with self._transaction("DEFERRED") as connection:
            headers = connection.execute(chosen).all()
            chunks = [headers[start : start + _CHUNK] for start in range(0, len(headers), _CHUNK)]
            found = [each for chunk in chunks for each in self._assemble(connection, chunk)]
        self.damaged = {job_id: str(job) for job_id, job in found if isinstance(job, StoreError)}
        return tuple(job for _, job in found if isinstance(job, Job))

    @contextmanager
    def _transaction(self, mode: Literal["DEFERRED", "IMMEDIATE"]) -> Iterator[sa.Connection]:
        connection = self._connection
        if mode == "IMMEDIATE" and self.closed_because:
            raise StoreError(self.closed_because)
        if self._failed is not None:
            raise self._failed
        with self._noted_failure(), self._file.plain_errors():
            if self.joined and self._written is None and mode == "IMMEDIATE":
                self._written = connection.execution_options(sqlite_begin=mode).begin()
            # A writer asks for the write lock at once: what it reads cannot change before it writes.
            inner = connection.begin_nested if self._written else connection.execution_options(sqlite_begin=mode).begin
            with inner():
                yield connection

    @contextmanager
    def _noted_failure(self) -> Iterator[None]:
        """After a failure of the disk within `together` SQLite may have taken back all of it: nothing more is entered then."""
        try:
            yield
        except StoreError as error:
            if self.joined and isinstance(error.__cause__, sa.exc.DBAPIError | sqlite3.Error):
                self._failed = error
            raise

    def _load(self, connection: sa.Connection, job_id: str) -> Job:
        number = job_id.strip().removeprefix("#")
        # Longer numbers than 18 digits do not fit SQLite's integers.
        if number.isascii() and number.isdigit() and len(number) <= 18:
            headers = connection.execute(sa.select(JOBS).where(JOBS.c.id == int(number))).all()
            if headers:
                job = self._assemble(connection, headers)[0][1]
                if isinstance(job, StoreError):
                    raise job
                return job
        raise _unknown_job(connection, self.path, job_id)

    def _assemble(
        self, connection: sa.Connection, headers: Sequence[sa.Row[Any]]
    ) -> Sequence[tuple[str, Job | StoreError]]:
        """Each job with its id, or what is wrong with it."""
        ids = [header.id for header in headers]
        chosen = sa.select(STEPS).where(STEPS.c.job_id.in_(ids)).order_by(STEPS.c.job_id, STEPS.c.seq)
        rows_of = defaultdict(tuple, grouped(connection.execute(chosen).all()))
        return [
            (str(header.id), read_job(self.path, _elsewhere(self.path), header, rows_of[header.id]))
            for header in headers
        ]


_WITH_STATUS: Final[dict[str, sa.ColumnElement[bool]]] = {
    "all": sa.true(),
    "open": sa.or_(JOBS.c.outcome.is_(None), JOBS.c.outcome == "came_back"),
    "closed": JOBS.c.outcome.in_(("gone", "referred")),
}


def _refuse_stale(job: Job, expected_seq: int | None, wanted: str) -> None:
    if expected_seq is None or expected_seq == job.last_seq:
        return
    newer = [step for step in (*job.steps, *job.undone) if step.seq > expected_seq]
    news = "; ".join(summary(step.payload) for step in newer) or "a step was undone"
    raise StaleJobError(
        f"job {job.id} was changed in another terminal since you looked: {news}. '{wanted}' was not saved. "
        f"Type `faultodds job show {job.typed}` to see it as it is now, then enter yours if it still holds.",
        job,
    )


def _unknown_job(connection: sa.Connection, path: Path, job_id: str) -> FaultoddsError:
    heads = connection.execute(sa.select(JOBS).order_by(JOBS.c.id.desc())).all()
    ids = [int(head.id) for head in heads]
    times = Counter(ids)
    chunks = (ids[start : start + _CHUNK] for start in range(0, len(ids), _CHUNK))
    # A damaged table may list a row that is not found by its number, or one number again and again.
    reached = {n for chunk in chunks for n in connection.scalars(sa.select(JOBS.c.id).where(JOBS.c.id.in_(chunk)))}
    sound = [
        head.id
        for head in heads
        if head.id in reached
        and head.id > 0
        and times[head.id] == 1
        and isinstance(read_job(path, "", head, ()), Job)
        and str(head.id) != job_id.strip().removeprefix("#")
    ]
    headless = set(connection.scalars(sa.select(STEPS.c.job_id).distinct())) - set(ids)
    if lost := len(heads) - len(sound) + len(headless):
        return StoreError(damaged_rows(path, job_id, lost, sound))
    next_step = "Type `faultodds job list` to see them." if ids else "Type `faultodds job new` to start one."
    return unknown("job", job_id, map(str, ids), next_step)


def _refuse_minutes(minutes: float | None) -> None:
    if minutes is not None and minutes > MOST_MINUTES:
        raise FaultoddsError(
            f"{minutes:g} minutes is over a day. Give what this one entry took, {MOST_MINUTES:g} at most."
        )


def _storable(text: str) -> str:
    """Text with invalid Unicode spelt out: a terminal can pass it on, and SQLite stores UTF-8 only."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _elsewhere(path: Path) -> str:
    """Where a store is, as it is typed; empty for the usual place."""
    if path == store_path():
        return ""
    return str(path.parent if path.name == FILE_NAME else path)
