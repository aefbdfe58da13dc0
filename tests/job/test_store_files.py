"""Files the store must migrate, refuse or wait for: older, newer, foreign, damaged, read-only, locked."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import pytest
from hypothesis import given, settings, strategies as st

from faultodds.errors import StoreError
from faultodds.job import job_line
from faultodds.job.database import write_ahead
from faultodds.job.explain import story
from faultodds.job.steps import KINDS, Closed, Fact, Finding, Note
from faultodds.job.store import Store

ELSEWHERE = "To keep jobs somewhere else, set FAULTODDS_DATA to a folder of yours and repeat the command."

# A store as version 1 wrote it, one job closed and one open; spelt out, so it cannot change with the code.
VERSION_1 = """
PRAGMA application_id = 1718576228; CREATE TABLE jobs (id INTEGER PRIMARY KEY AUTOINCREMENT, appliance TEXT
NOT NULL, revision TEXT NOT NULL, title TEXT NOT NULL, opened_at TEXT NOT NULL, outcome TEXT); CREATE TABLE
steps (job_id INTEGER NOT NULL REFERENCES jobs (id), seq INTEGER NOT NULL, at TEXT NOT NULL, kind TEXT NOT
NULL, payload TEXT NOT NULL, PRIMARY KEY (job_id, seq)); INSERT INTO jobs VALUES (1, 'gas_dryer', '',
'slow', '2025-03-04T08:30:00.000000+00:00', 'gone'); INSERT INTO jobs VALUES (7, 'gas_dryer', '', 'cold',
'2025-03-05T08:30:00.000000+00:00', NULL); INSERT INTO steps VALUES (1, 1,
'2025-03-04T08:31:00.000000+00:00', 'fact', '{"name": "fuel", "value": "natural"}'); INSERT INTO steps
VALUES (1, 2, '2025-03-04T08:32:00.000000+00:00', 'closed', '{"outcome": "gone", "on": null, "note": ""}');
INSERT INTO steps VALUES (7, 1, '2025-03-05T08:31:00.000000+00:00', 'finding', '{"name": "heat", "outcome":
"none", "likelihood": null, "raw": null, "take": 0}'); INSERT INTO steps VALUES (7, 2,
'2025-03-05T08:32:00.000000+00:00', 'undo', '{"seq": 1}'); PRAGMA user_version = 1;
"""


def make(path: Path, script: str) -> Path:
    with closing(sqlite3.connect(path)) as raw:
        raw.executescript(script)
    return path


def refusal(path: Path) -> str:
    """What opening and listing the store says."""
    with pytest.raises(StoreError) as caught, Store.open(path, busy_seconds=0.2) as store:
        store.list()
    return str(caught.value)


def test_version_1_is_migrated(tmp_path: Path) -> None:
    """A version 1 file keeps its jobs, takes minutes from then on, and goes on counting ids from the last."""
    path = make(tmp_path / "jobs.sqlite", VERSION_1)
    with Store.open(path) as store:
        old, cold = store.get("1"), store.get("7")
        assert [step.payload for step in old.steps] == [Fact("fuel", "natural"), Closed("gone")]
        assert (old.outcome, old.opened_at, old.minutes) == (
            "gone",
            datetime(2025, 3, 4, 8, 30, tzinfo=UTC),
            None,
        )
        assert (cold.steps, cold.undone[0].payload, cold.last_seq) == ((), Finding("heat", "none"), 2)
        assert store.append("7", Note("meter borrowed"), minutes=6).minutes == 6
        assert store.new_job("gas_dryer").id == "8"
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("PRAGMA user_version").fetchone() == (3,)
    with Store.open(path) as store:
        assert store.get("7").minutes == 6


def test_migration_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A migration is all or nothing: when a statement fails, the file keeps its old version and jobs."""
    path = make(tmp_path / "jobs.sqlite", VERSION_1)
    steps_to_2 = (
        "ALTER TABLE steps ADD COLUMN minutes REAL",
        "ALTER TABLE no_such_table ADD COLUMN more REAL",
    )
    with monkeypatch.context() as patch:
        patch.setattr("faultodds.job.database.MIGRATIONS", ((), steps_to_2))
        assert "could not be read or written (no such table: no_such_table)" in refusal(path)
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("PRAGMA user_version").fetchone() == (1,)
        assert "minutes" not in [row[1] for row in raw.execute("PRAGMA table_info(steps)")]
    with Store.open(path) as store:
        assert store.get("1").outcome == "gone"


def test_newer_file_is_refused(tmp_path: Path) -> None:
    """A file from a newer faultodds is refused, named, and not touched."""
    path = make(tmp_path / "jobs.sqlite", VERSION_1 + "PRAGMA user_version = 9;")
    before = path.read_bytes()
    assert refusal(path) == (
        f"{path} was written by a newer faultodds (store version 9; this one reads up to 3). "
        "It was left alone. Update this faultodds and type the command again."
    )
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"not a database, a shopping list\n" * 40, b"\x00" * 4096, bytes(range(256)) * 20])
def test_other_files_are_refused(tmp_path: Path, content: bytes) -> None:
    """A file that is no database is refused and left byte for byte."""
    path = tmp_path / "list.txt"
    path.write_bytes(content)
    assert refusal(path) == f"{path} is not a job store. It was left alone. {ELSEWHERE}"
    assert path.read_bytes() == content
    assert os.listdir(tmp_path) == ["list.txt"]


def test_other_programs_database_is_refused(tmp_path: Path) -> None:
    """Another program's SQLite file gets no tables of ours."""
    path = make(tmp_path / "photos.db", "CREATE TABLE photos (name TEXT);")
    before = path.read_bytes()
    assert refusal(path) == f"{path} is another program's database. It was left alone. {ELSEWHERE}"
    assert path.read_bytes() == before


def test_empty_file_becomes_a_store(tmp_path: Path) -> None:
    """A file of no bytes, as a kill at the very start leaves, is a new store."""
    path = tmp_path / "jobs.sqlite"
    path.touch()
    with Store.open(path) as store:
        assert store.new_job("gas_dryer").id == "1"


def full_store(path: Path) -> bytes:
    with Store.open(path) as store:
        for _ in range(20):
            store.append(store.new_job("gas_dryer").id, Note("note " * 2000))
    return path.read_bytes()


@pytest.mark.parametrize("spoil", ["middle", "cut short"])
def test_damaged_file_is_named_and_left(tmp_path: Path, spoil: str) -> None:
    """A store with overwritten pages, or cut short, is reported as damaged and left as it is."""
    path = tmp_path / "jobs.sqlite"
    whole = full_store(path)
    half = len(whole) // 2
    spoilt = whole[:half] if spoil == "cut short" else whole[:4096] + b"\xa5" * half + whole[4096 + half :]
    path.write_bytes(spoilt)
    assert refusal(path) == (
        f"{path} is damaged (database disk image is malformed). It was left as it is. Keep a copy, "
        "rename it to jobs-damaged.sqlite (with any jobs.sqlite-wal beside it), and type the command again "
        "to start afresh."
    )
    assert path.read_bytes() == spoilt


# What another hand, or a bad disk, may leave in one column of a row.
ODD: st.SearchStrategy[object] = st.one_of(
    st.none(),
    st.text(max_size=12),
    st.binary(max_size=12),
    st.integers(-(2**63), 2**63 - 1),
    st.floats(),
    st.sampled_from(
        ["{", "[]", "5", "9" * 5000, "[" * 5000, '{"seq": [1]}', "{}", "2062-01-01", "finding", "undo", "danger"]
    ),
    st.builds(
        lambda *parts: json.dumps(
            dict(zip(("name", "outcome", "likelihood", "raw", "take", "changes"), parts, strict=True))
        ),
        *[
            st.one_of(st.none(), st.text(max_size=5), st.integers(), st.lists(st.integers(), max_size=2))
            for _ in range(6)
        ],
    ),
)


@settings(max_examples=120, deadline=None)
@given(
    kind=ODD | st.sampled_from(sorted(KINDS)), payload=ODD, at=ODD | st.just("2025-03-04T08:30:00+00:00"), minutes=ODD
)
def test_a_damaged_row_sets_its_job_aside_and_no_other(
    kind: object, payload: object, at: object, minutes: object
) -> None:
    """Whatever stands in a row: its job is named as damaged or can be told and gone on with; the others are as before."""
    with TemporaryDirectory() as folder, Store.open(folder) as store:
        sound = store.append(store.new_job("gas_dryer").id, Note("mine"))
        spoilt = store.new_job("gas_dryer").id
        with closing(sqlite3.connect(store.path)) as raw, raw:
            raw.execute("UPDATE jobs SET title = CAST(x'fffe' AS TEXT) WHERE id = 2")
            try:
                raw.execute("INSERT INTO steps VALUES (2, 1, ?, ?, ?, ?)", (at, kind, payload, minutes))
            except (sqlite3.Error, OverflowError):
                return  # not even SQLite takes it
        found = store.list()
        assert [job for job in found if job.id == sound.id] == [sound]
        assert store.get(sound.id) == sound
        assert store.append(sound.id, Note("more")).notes == ("mine", "more")
        if spoilt in store.damaged:
            assert store.damaged[spoilt].startswith(f"job 2 in {store.path} is damaged (")
            assert "every other job can be used as before" in store.damaged[spoilt]
            with pytest.raises(StoreError, match=r"job 2 in .* is damaged"):
                store.append(spoilt, Note("not here"))
        else:
            (job,) = (job for job in found if job.id == spoilt)
            assert json.dumps([job_line(job), [each.text for each in story(job)], job.minutes])


def test_locked_store_says_who_to_close(tmp_path: Path) -> None:
    """While another program holds the write lock, a writer gives up after the wait; readers need not wait."""
    with Store.open(tmp_path, busy_seconds=0.2) as store:
        store.new_job("gas_dryer")
        with closing(sqlite3.connect(store.path)) as other:
            other.execute("BEGIN IMMEDIATE")
            assert store.get("1").steps == ()
            with pytest.raises(StoreError) as caught:
                store.append("1", Note("x"))
        assert str(caught.value) == (
            f"{store.path} was still being written by another terminal or program after 0.2 s. "
            "Nothing was saved here. Finish or close the other one and type the command again."
        )
        assert store.append("1", Note("x")).notes == ("x",)


def test_write_ahead_mode_waits_for_a_reader(tmp_path: Path) -> None:
    """Turning write-ahead mode on waits, within the time allowed, until other programs have read."""
    with Store.open(tmp_path) as store:
        store.new_job("gas_dryer")
    with closing(sqlite3.connect(store.path, check_same_thread=False)) as other:
        other.execute("PRAGMA journal_mode = DELETE")
        other.execute("BEGIN")
        other.execute("SELECT * FROM jobs").fetchall()
        text = refusal(tmp_path)
        assert f"{store.path} was still being written by another terminal or program after 0.2 s." in text
        release = threading.Timer(0.3, other.rollback)
        release.start()
        with Store.open(tmp_path) as again:
            assert again.get("1").steps == ()
        release.join()
    with closing(sqlite3.connect(store.path)) as raw:
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("wal",)


class BusyAtFirst:
    """A connection on which SQLite twice refuses write-ahead mode without waiting.

    It does so when two terminals open a store that is not in that mode yet in the same instant: measured,
    12 of 400 openings, five at a time, failed without a second try.
    """

    def __init__(self, raw: sqlite3.Connection) -> None:
        self.raw, self.refusals = raw, 2

    def execute(self, statement: str) -> sqlite3.Cursor:
        if "=" in statement and self.refusals:
            self.refusals -= 1
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorname = "SQLITE_BUSY"
            raise error
        return self.raw.execute(statement)


def test_write_ahead_mode_is_tried_again(tmp_path: Path) -> None:
    """When SQLite refuses write-ahead mode without waiting, it is asked again, and not for ever."""
    with closing(sqlite3.connect(tmp_path / "jobs.sqlite")) as raw:
        busy = BusyAtFirst(raw)
        connection = SimpleNamespace(connection=SimpleNamespace(driver_connection=busy))
        with pytest.raises(sqlite3.OperationalError, match="database is locked"):
            write_ahead(connection, busy_seconds=-1)
        write_ahead(connection, busy_seconds=5)
        assert busy.refusals == 0
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_full_disk_saves_nothing_and_says_so(tmp_path: Path) -> None:
    """When the file cannot grow, the entry is refused whole and what was there stays."""
    with Store.open(tmp_path) as store:
        job = store.append(store.new_job("gas_dryer").id, Note("first"))
        with store._transaction("DEFERRED") as connection:
            connection.exec_driver_sql("PRAGMA max_page_count = 8")
        with pytest.raises(StoreError) as caught:
            store.append("1", Note("x" * 100_000))
        assert str(caught.value) == (
            f"the disk that holds {store.path} is full; the last entry was not saved. Free some space, enter it again."
        )
        assert store.get("1") == job


def test_folder_that_cannot_be_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A data folder that is really a file is refused by name."""
    (tmp_path / "shop").write_text("a file")
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "shop"))
    with pytest.raises(StoreError) as caught:
        Store.open()
    assert str(caught.value) == (
        f"the folder {tmp_path / 'shop'} for the job store cannot be made: File exists. {ELSEWHERE}"
    )
    with pytest.raises(StoreError, match="for the job store cannot be made: Not a directory"):
        Store.open(tmp_path / "shop" / "inner" / "jobs.sqlite")


def test_folder_in_place_of_the_file(tmp_path: Path) -> None:
    """A folder that has the store's name is refused by name."""
    (tmp_path / "jobs.sqlite").mkdir()
    text = f"{tmp_path / 'jobs.sqlite'} cannot be opened; it or its folder may be closed to you. {ELSEWHERE}"
    assert refusal(tmp_path) == text


# As an ordinary user: the administrator, whom file permissions do not stop, steps down first.
ORDINARY_USER = """
import os, sys
from faultodds.errors import StoreError
from faultodds.job.steps import Note
from faultodds.job.store import Store
import sqlalchemy.dialects.sqlite  # while the packages can still be read: they may lie in the administrator's folder
Store.open(sys.argv[1]).close()
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
for path in sys.argv[2:]:
    try:
        with Store.open(path) as store:
            store.append("1", Note("x"))
        print("saved")
    except StoreError as error:
        print(error)
"""


def said_to_ordinary_user(*paths: Path) -> list[str]:
    """What each store says when an ordinary user adds a note to it."""
    with tempfile.TemporaryDirectory() as scratch:
        command = [sys.executable, "-c", ORDINARY_USER, scratch, *map(str, paths)]
        shown = subprocess.run(command, capture_output=True, text=True, check=False)
    assert shown.stderr == ""
    return shown.stdout.splitlines()


@pytest.fixture
def shared_folder() -> Iterator[Path]:
    """A folder that another user can reach, which pytest's own temporary folders are not."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    for inner in folder.iterdir():
        inner.chmod(0o755)
    shutil.rmtree(folder)


@pytest.mark.skipif(os.name != "posix", reason="file permissions of POSIX systems")
def test_read_only(shared_folder: Path) -> None:
    """A closed folder, empty or with a store, and a closed file are refused and left as they are."""
    empty, used, closed_file, free = (shared_folder / name for name in ("empty", "used", "closed_file", "free"))
    empty.mkdir(mode=0o555)
    paths = [folder / "jobs.sqlite" for folder in (used, closed_file, free)]
    for path in paths:
        with Store.open(path) as store:
            store.new_job("gas_dryer")
    for path, file_mode, folder_mode in zip(paths, (0o444, 0o444, 0o666), (0o555, 0o777, 0o777), strict=True):
        path.chmod(file_mode)
        path.parent.chmod(folder_mode)
    before = [path.read_bytes() for path in paths[:2]]
    said = said_to_ordinary_user(empty, *paths)
    cannot = "cannot be opened; it or its folder may be closed to you."
    assert said[0] == f"{empty / 'jobs.sqlite'} {cannot} {ELSEWHERE}"
    read_only = "is read-only, so nothing was saved. Make it writable, or:"
    # SQLite releases differ in which of the two they notice first.
    assert said[1] in [f"{paths[0]} {words} {ELSEWHERE}" for words in (cannot, read_only)]
    assert said[2] == f"{paths[1]} {read_only} {ELSEWHERE}"
    assert said[3] == "saved", "an ordinary user can write where it is allowed, so the refusals mean something"
    assert [path.read_bytes() for path in paths[:2]] == before


def test_four_bytes_overwritten_are_told_as_damage(tmp_path: Path) -> None:
    """In the table of jobs and in how it is laid down: a job opens or damage is told of; no number is guessed at."""
    path = tmp_path / "jobs.sqlite"
    with Store.open(path) as store:
        for n in range(8):
            store.append(store.new_job("gas_dryer", title=f"job {n + 1}").id, Note("filter full"))
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA journal_mode = DELETE")
        page = 4096 * (raw.execute("SELECT rootpage FROM sqlite_master WHERE name = 'jobs'").fetchone()[0] - 1)
    whole = path.read_bytes()
    rows = [whole.index(f"job {n + 1}".encode()) - 22 for n in range(8)]
    told: set[str] = set()
    for place in [
        *range(page, page + 24, 3),
        *(at + n for at in rows for n in (0, 4, 8)),
        whole.index(b"AUTOINCREMENT"),
    ]:
        for bytes_ in (b"\0\0\0\0", b"\xff\xfe\xff\xff"):
            path.write_bytes(whole[:place] + bytes_ + whole[place + 4 :])
            try:
                with Store.open(path) as store:
                    assert len(set(ids := [job.id for job in store.list()])) == len(ids)
                    for n in range(1, 9):
                        assert store.get(str(n)).id == str(n)
            except StoreError as error:  # and no UnknownName
                told.add(str(error))
    assert any("Jobs that can be opened: " in text for text in told)
    assert any("its tables cannot be made out" in text for text in told)
