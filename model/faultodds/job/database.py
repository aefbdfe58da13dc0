"""The job store's file: its tables and how they came to be, the connection, and SQLite's errors in plain words.

The file is in write-ahead mode with full synchronising: what a transaction has written survives `kill -9`.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

import sqlalchemy as sa
from msgspec import Struct

from faultodds.errors import StoreError
from faultodds.files import DATA_VARIABLE, made_folder

# The four bytes "fodd" in the file header: another program's SQLite file is never taken for a job store.
APPLICATION_ID: Final = 0x666F6464

_METADATA = sa.MetaData()
JOBS = sa.Table(
    "jobs",
    _METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("appliance", sa.Text),
    sa.Column("revision", sa.Text),
    sa.Column("title", sa.Text),
    sa.Column("opened_at", sa.Text),
    sa.Column("outcome", sa.Text),  # `Job.outcome`, kept in step: open jobs are found quickly
    sa.Column("source", sa.Text),  # the knowledge file it was started on, and its content
    sa.Column("fingerprint", sa.Text),
)
STEPS = sa.Table(
    "steps",
    _METADATA,
    sa.Column("job_id", sa.Integer, primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True),
    sa.Column("at", sa.Text),
    sa.Column("kind", sa.Text),  # a key of `jobs.KINDS`, or "undo" with {"seq": n}
    sa.Column("payload", sa.Text),
    sa.Column("minutes", sa.Float),
)

# Entry n-1 takes a file from version n-1 to n. Entries are history: never edit one, add the next.
MIGRATIONS: Final[tuple[tuple[str, ...], ...]] = (
    (
        f"PRAGMA application_id = {APPLICATION_ID}",
        "CREATE TABLE jobs (id INTEGER PRIMARY KEY AUTOINCREMENT, appliance TEXT NOT NULL, "
        "revision TEXT NOT NULL, title TEXT NOT NULL, opened_at TEXT NOT NULL, outcome TEXT)",
        "CREATE TABLE steps (job_id INTEGER NOT NULL REFERENCES jobs (id), seq INTEGER NOT NULL, "
        "at TEXT NOT NULL, kind TEXT NOT NULL, payload TEXT NOT NULL, PRIMARY KEY (job_id, seq))",
    ),
    ("ALTER TABLE steps ADD COLUMN minutes REAL",),
    (
        "ALTER TABLE jobs ADD COLUMN source TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE jobs ADD COLUMN fingerprint TEXT NOT NULL DEFAULT ''",
    ),
)


_ELSEWHERE: Final = f"To keep jobs somewhere else, set {DATA_VARIABLE} to a folder of yours and repeat the command."

# What SQLite's error means to the person at the terminal, by the start of its name.
_PLAIN_WORDS: Final = {
    "SQLITE_NOTADB": f"{{file}} is not a job store. It was left alone. {_ELSEWHERE}",
    "SQLITE_BUSY": (
        "{file} was still being written by another terminal or program after {seconds:g} s. Nothing was "
        "saved here. Finish or close the other one and type the command again."
    ),
    "SQLITE_READONLY": f"{{file}} is read-only, so nothing was saved. Make it writable, or: {_ELSEWHERE}",
    "SQLITE_CANTOPEN": f"{{file}} cannot be opened; it or its folder may be closed to you. {_ELSEWHERE}",
    "SQLITE_FULL": (
        "the disk that holds {file} is full; the last entry was not saved. Free some space, enter it again."
    ),
    "": (
        "{file} could not be read or written ({reason}); the last entry was not saved. Check the disk, then "
        f"type `faultodds job list` to see what is there. {_ELSEWHERE}"
    ),
}


_SHOWN: Final = 10


def _error_name(error: BaseException | None) -> str:
    return str(getattr(error, "sqlite_errorname", None) or "")


def damaged(file: Path, reason: str) -> str:
    return (
        f"{file} is damaged ({reason}). It was left as it is. Keep a copy, rename it to {file.stem}-damaged"
        f"{file.suffix} (with any {file.name}-wal beside it), and type the command again to start afresh."
    )


def damaged_job(file: Path, job: int, reason: str) -> str:
    return (
        f"job {job} in {file} is damaged ({reason}) and was set aside; every other job can be used as before. What is left of it "
        "stays in the file. To go on with the call, start it anew: faultodds bench."
    )


def damaged_rows(file: Path, asked: str, count: int, sound: Sequence[int]) -> str:
    rows = "1 job that is" if count == 1 else f"{count:,} jobs that are"
    shown = ", ".join(map(str, sound[:_SHOWN])) + (" ..." if len(sound) > _SHOWN else "")
    rest = f"Jobs that can be opened: {shown}." if sound else "No job in it can be opened."
    return f"no job '{asked}' can be found, and {file} has {rows} damaged; it may be among them. {rest} Keep a copy of the file."


class StoreFile(Struct, frozen=True):
    """The store's file, and how long to wait for another terminal to finish writing to it."""

    path: Path
    busy_seconds: float

    @contextmanager
    def plain_errors(self) -> Iterator[None]:
        """Turn what SQLite raises into a `StoreError` that says what to do."""
        try:
            yield
        except sa.exc.DBAPIError as error:
            raise StoreError(self._plain_words(error.orig)) from error
        except sqlite3.Error as error:
            raise StoreError(self._plain_words(error)) from error
        except UnicodeDecodeError as error:  # SQLite quotes what it cannot make out, and that is no text
            raise StoreError(damaged(self.path, "its tables cannot be made out")) from error

    def _plain_words(self, error: BaseException | None) -> str:
        name = _error_name(error)
        if name.startswith("SQLITE_CORRUPT"):
            return damaged(self.path, str(error))
        if name.startswith("SQLITE_IOERR") and _no_room(self.path.parent):
            name = "SQLITE_FULL"  # SQLite cannot tell what it keeps beside the file from the disk itself
        words = next(words for start, words in _PLAIN_WORDS.items() if name.startswith(start))
        return words.format(file=self.path, reason=error, seconds=self.busy_seconds)


def make_folder(file: Path) -> None:
    """The folder of a store, and a new file for the user's eyes only; SQLite gives what it keeps beside it the same mode."""
    try:
        made_folder(file.parent)
        with suppress(OSError):  # it is there, or cannot be made: that is said when it is opened
            os.close(os.open(file, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        problem = f"the folder {file.parent} for the job store cannot be made: {reason}."
        raise StoreError(f"{problem} {_ELSEWHERE}") from error


def keep_private(file: Path) -> None:
    """Close a store, and what SQLite keeps beside it, to other eyes."""
    for path in (file, *(file.with_name(file.name + end) for end in ("-wal", "-shm"))):
        with suppress(OSError):
            if path.stat().st_mode & 0o077:
                path.chmod(0o600)


# Errors on opening that leave a file that is there to be looked at.
_LEAST_ROOM: Final = 1 << 18
_LOOKED_AT: Final = ("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_FULL", "SQLITE_IOERR")


def _no_room(folder: Path) -> bool:
    try:
        return shutil.disk_usage(folder).free < _LEAST_ROOM
    except OSError:
        return False


@contextmanager
def for_looking(file: StoreFile, error: BaseException) -> Iterator[str | None]:
    """Where a store can be looked at that cannot be opened as usual because of `error`: on a disk that is full, or that may only
    be read, SQLite cannot keep what it notes beside the file. The name is SQLite's (a URI), None when there is no way.

    What was written and is not yet in the file itself (the write-ahead log) is read from a copy elsewhere.
    """
    cause = getattr(error.__cause__, "orig", error.__cause__)
    beside = file.path.with_name(file.path.name + "-wal")
    if not _error_name(cause).startswith(_LOOKED_AT) or not file.path.is_file() or not file.path.stat().st_size:
        yield None
    elif not beside.exists() or not beside.stat().st_size:
        yield f"{file.path.absolute().as_uri()}?mode=ro&immutable=1"
    else:
        place = _copied([file.path, beside])
        try:
            yield None if place is None else (place / file.path.name).as_uri()
        finally:
            if place is not None:
                shutil.rmtree(place, ignore_errors=True)


def _copied(files: list[Path]) -> Path | None:
    """A folder of the user's own with copies of these files, wherever there is room for them."""
    for folder in (tempfile.gettempdir(), "/dev/shm"):
        with suppress(OSError):
            place = Path(tempfile.mkdtemp(prefix="faultodds-", dir=folder))
            try:
                for file in files:
                    shutil.copyfile(file, place / file.name)
            except OSError:
                shutil.rmtree(place, ignore_errors=True)
                raise
            return place
    return None


def engine_of(file: StoreFile, uri: str | None = None) -> sa.Engine:
    """The engine of a store; of what lies at `uri` instead, when that is given."""

    def opened() -> sqlite3.Connection:
        return sqlite3.connect(uri or file.path, timeout=file.busy_seconds, uri=uri is not None)

    engine = sa.create_engine("sqlite://", creator=opened, poolclass=sa.NullPool)

    @sa.event.listens_for(engine, "connect")
    def _set_up(raw: sqlite3.Connection, _record: object) -> None:
        raw.text_factory = _text
        raw.isolation_level = None  # the "begin" below is the only one; the driver must not add its own
        raw.execute("PRAGMA synchronous = FULL")
        raw.execute("PRAGMA foreign_keys = ON")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        mode = connection.get_execution_options().get("sqlite_begin", "IMMEDIATE")
        connection.exec_driver_sql(f"BEGIN {mode}")

    return engine


def _text(data: bytes) -> str:
    """Text as stored; what no longer is text keeps nobody from the rest of the file."""
    return data.decode("utf-8", "replace")


def migrate(connection: sa.Connection, file: Path) -> None:
    """Bring the file to the newest version in one transaction; refuse, untouched, a foreign or newer one."""
    with connection.execution_options(sqlite_begin="DEFERRED").begin():
        version = _version(connection, file)
    if version == len(MIGRATIONS):
        return
    with connection.execution_options(sqlite_begin="IMMEDIATE").begin():
        # Asked again under the write lock: another terminal may have done it meanwhile.
        for number in range(_version(connection, file), len(MIGRATIONS)):
            for statement in MIGRATIONS[number]:
                connection.exec_driver_sql(statement)
            connection.exec_driver_sql(f"PRAGMA user_version = {number + 1}")


def refuse_old(connection: sa.Connection, file: Path, error: StoreError) -> None:
    """Raise for a file that would have to be brought to the newest version first, and cannot."""
    with connection.execution_options(sqlite_begin="DEFERRED").begin():
        if _version(connection, file) != len(MIGRATIONS):
            raise error


def _version(connection: sa.Connection, file: Path) -> int:
    version = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
    owner = int(connection.exec_driver_sql("PRAGMA application_id").scalar_one())
    is_empty = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one() == 0
    if owner != APPLICATION_ID and not (is_empty and version == 0 and owner == 0):
        raise StoreError(f"{file} is another program's database. It was left alone. {_ELSEWHERE}")
    if version > len(MIGRATIONS):
        raise StoreError(
            f"{file} was written by a newer faultodds (store version {version}; this one reads up to "
            f"{len(MIGRATIONS)}). It was left alone. Update this faultodds and type the command again."
        )
    return version


def write_ahead(connection: sa.Connection, busy_seconds: float) -> None:
    """Turn write-ahead mode on, once a file. SQLite does not wait for its turn here, so this does.

    A file system that cannot do it keeps the rollback journal: as safe against a kill, only slower.
    """
    raw = connection.connection.driver_connection
    assert raw is not None
    deadline = time.monotonic() + busy_seconds
    while raw.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        try:
            raw.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if not _error_name(error).startswith("SQLITE_BUSY") or time.monotonic() > deadline:
                raise
            time.sleep(0.02)
