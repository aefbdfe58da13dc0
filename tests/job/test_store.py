"""The store's everyday work: jobs in and out, undo, lists, two views of one job, export."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import count
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import given, settings, strategies as st

from faultodds.errors import FaultoddsError, StaleJobError, StoreError, UnknownName
from faultodds.job import database
from faultodds.job.steps import Closed, Fact, Finding, MachineState, Note, Payload, RepairDone, Skip
from faultodds.job.store import Store, store_path

START = datetime(2025, 3, 4, 8, 30, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store whose clock moves on a second at each step."""
    ticks = count()
    with Store.open(tmp_path, clock=lambda: START + timedelta(seconds=next(ticks))) as opened:
        yield opened


def test_job_is_the_same_after_reopening(tmp_path: Path) -> None:
    """A job read back by a later process equals the one that was built, undone steps and minutes included."""
    with Store.open(tmp_path, clock=lambda: START) as store:
        job = store.new_job("gas_dryer", revision="2025-03-01", title='Mrs Example\'s dryer, "slow"')
        store.append(job.id, Fact("fuel", "natural"))
        store.append(job.id, Finding("coil_ohms", "good", raw="1.15k"), minutes=4)
        store.undo(job.id)
        store.append(job.id, Finding("coil_ohms", "off", raw="OL"), minutes=2.5)
        job = store.append(job.id, Closed("gone", date(2025, 3, 4), "dry in 40 minutes"))
    with Store.open(tmp_path) as store:
        assert store.get(job.id) == job
    assert job.minutes == 2.5
    assert [step.seq for step in job.steps] == [1, 4, 5]
    assert [step.payload for step in job.undone] == [Finding("coil_ohms", "good", raw="1.15k")]
    assert job.revision == "2025-03-01"


def test_undo_keeps_the_row(store: Store) -> None:
    """An undo adds a row and removes none, so nothing that was entered is lost."""
    job = store.new_job("gas_dryer")
    before = store.append(job.id, Fact("fuel", "natural"))
    store.append(job.id, Finding("heat", "none"))
    job, step = store.undo(job.id)
    assert step.payload == Finding("heat", "none")
    assert (job.steps, job.findings) == (before.steps, ())
    with sqlite3.connect(store.path) as raw:
        kinds = [kind for (kind,) in raw.execute("SELECT kind FROM steps ORDER BY seq")]
    raw.close()
    assert kinds == ["fact", "finding", "undo"]


def test_undo_past_the_beginning(store: Store) -> None:
    """Undo goes back step by step to the empty job, then says there is nothing left."""
    job = store.new_job("gas_dryer")
    for outcome in ("none", "normal"):
        store.append(job.id, Finding("heat", outcome))
    assert store.undo(job.id)[0].findings[0].finding.outcome == "none"
    assert store.undo(job.id)[0].findings == ()
    with pytest.raises(StoreError) as caught:
        store.undo(job.id)
    assert str(caught.value) == f"job 1 has nothing to undo. Type `faultodds job show {job.typed}`."
    assert store.append(job.id, Finding("heat", "none")).last_seq == 5


def test_job_entered_later(store: Store) -> None:
    """A job entered days afterwards can be given its own opening time, in any time zone, kept as UTC."""
    east = timezone(timedelta(hours=2))
    job = store.new_job("gas_dryer", opened_at=datetime(2024, 12, 30, 9, 0, tzinfo=east))
    assert job.opened_at.isoformat() == "2024-12-30T07:00:00+00:00"
    assert store.append(job.id, Closed("came_back", date(2025, 1, 3))).outcome == "came_back"
    assert store.get(job.id).opened_at == job.opened_at


def test_ids_count_up_and_may_be_typed_with_a_hash(store: Store) -> None:
    """Ids are 1, 2, 3; '#2' and ' 2 ' find job 2."""
    assert [store.new_job("gas_dryer").id for _ in range(3)] == ["1", "2", "3"]
    assert store.get("#2").id == store.get(" 2 ").id == "2"


@pytest.mark.parametrize("wrong", ["99", "", "abc", "1.5", "-1", "²", "9" * 40, "1; DROP TABLE jobs"])
def test_unknown_job(store: Store, wrong: str) -> None:
    """An id that is not there is refused with the ids there are and what to type; nothing else happens."""
    for _ in range(2):
        store.new_job("gas_dryer")
    with pytest.raises(UnknownName) as caught:
        store.append(wrong, Note("lost?"))
    assert str(caught.value).startswith(f"there is no job called '{wrong}'.")
    assert str(caught.value).endswith("Known: 2, 1. Type `faultodds job list` to see them.")
    assert [job.steps for job in store.list()] == [(), ()]


def test_unknown_job_names_the_nearest(store: Store) -> None:
    """A slip of one digit is met with the nearest id."""
    for _ in range(12):
        store.new_job("gas_dryer")
    with pytest.raises(UnknownName, match=r"there is no job called '122'\. Did you mean '12'\?"):
        store.get("122")


def test_unknown_job_in_an_empty_store(store: Store) -> None:
    """In an empty store the message says how to start a job."""
    with pytest.raises(UnknownName) as caught:
        store.get("1")
    assert str(caught.value) == "there is no job called '1'. Known: none. Type `faultodds job new` to start one."


def test_list_newest_first_and_by_status(store: Store) -> None:
    """Lists are newest first; a complaint that came back is open; undoing a closing opens the job."""
    for _ in range(4):
        store.new_job("gas_dryer")
    store.append("1", Closed("gone"))
    store.append("2", Closed("referred"))
    store.append("3", Closed("gone"))
    assert [job.id for job in store.list()] == ["4", "3", "2", "1"]
    assert [job.id for job in store.list("open")] == ["4"]
    assert [job.id for job in store.list("closed", limit=2)] == ["3", "2"]
    store.append("1", Closed("came_back", date(2025, 3, 30)))
    store.undo("3")
    assert [job.id for job in store.list("open")] == ["4", "3", "1"]
    assert [job.id for job in store.list("closed")] == ["2"]


def test_refused_step_saves_nothing(store: Store) -> None:
    """A step that is refused leaves the job as it was."""
    job = store.append(store.new_job("gas_dryer").id, Closed("gone"))
    with pytest.raises(StoreError, match=r"job 1 is closed \(gone\), so 'repair belt_idler' was not added"):
        store.append("1", RepairDone("belt_idler"))
    with pytest.raises(FaultoddsError, match="-1 minutes is not a time"):
        store.append("1", Note("x"), minutes=-1)
    assert store.get("1") == job


def test_stale_view_is_refused(tmp_path: Path) -> None:
    """A step decided on an old view is refused, with what the other terminal entered and the job as it is."""
    with Store.open(tmp_path) as here, Store.open(tmp_path) as there:
        seen = here.new_job("gas_dryer")
        now = there.append("1", Finding("fuse_continuity", "open", raw="OL"))
        with pytest.raises(StaleJobError) as caught:
            here.append("1", RepairDone("clean_duct"), expected_seq=seen.last_seq)
        assert str(caught.value) == (
            "job 1 was changed in another terminal since you looked: fuse_continuity = open (OL). "
            f"'repair clean_duct' was not saved. Type `faultodds job show {seen.typed}` to see it as it is now, "
            "then enter yours if it still holds."
        )
        assert caught.value.job == now == here.get("1")
        assert here.append("1", RepairDone("clean_duct"), expected_seq=now.last_seq).repairs == ("clean_duct",)


def test_undo_elsewhere_makes_a_view_stale(tmp_path: Path) -> None:
    """An undo in the other terminal counts as a change, for adding and for undoing."""
    with Store.open(tmp_path) as here, Store.open(tmp_path) as there:
        here.new_job("gas_dryer")
        here.append("1", Fact("fuel", "natural"))
        seen = here.append("1", Finding("heat", "none"))
        there.undo("1")
        with pytest.raises(StaleJobError, match="since you looked: a step was undone"):
            here.append("1", Note("x"), expected_seq=seen.last_seq)
        with pytest.raises(StaleJobError, match="'undo' was not saved"):
            here.undo("1", expected_seq=seen.last_seq)
        assert here.get("1").facts == {"fuel": "natural"}


def test_safe_settings(store: Store) -> None:
    """The connection waits for others, syncs fully and writes ahead: survival rests on it."""
    with store._transaction("DEFERRED") as connection:
        settings_in_use = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "synchronous", "busy_timeout", "foreign_keys")
        }
    assert settings_in_use == {
        "journal_mode": "wal",
        "synchronous": 2,
        "busy_timeout": 5000,
        "foreign_keys": 1,
    }


def test_tables_match_the_file(store: Store) -> None:
    """The columns the queries know are the columns that the migrations make."""
    with store._transaction("DEFERRED") as connection:
        inspector = sa.inspect(connection)
        in_file = {name: [c["name"] for c in inspector.get_columns(name)] for name in ("jobs", "steps")}
    known = {table.name: [column.name for column in table.columns] for table in database._METADATA.sorted_tables}
    assert in_file == known


@pytest.mark.parametrize("argument", ["given", "given/mine.sqlite"])
def test_path_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, argument: str) -> None:
    """An explicit path wins over FAULTODDS_DATA, which wins over the user's data folder."""
    monkeypatch.setattr("platformdirs.user_data_dir", lambda name, appauthor: str(tmp_path / name))
    monkeypatch.delenv("FAULTODDS_DATA", raising=False)
    assert store_path() == tmp_path / "faultodds" / "jobs.sqlite"
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "shop"))
    assert store_path() == tmp_path / "shop" / "jobs.sqlite"
    wanted = tmp_path / ("given/mine.sqlite" if "." in argument else "given/jobs.sqlite")
    assert store_path(tmp_path / argument) == wanted
    with Store.open(tmp_path / argument) as store:
        assert store.path == wanted
    assert wanted.is_file()
    monkeypatch.setenv("FAULTODDS_DATA", " ")
    assert store_path() == tmp_path / "faultodds" / "jobs.sqlite"


ANY_TEXT = st.one_of(
    st.text(max_size=40),
    st.text(st.characters(), max_size=20),  # lone surrogates too, as a terminal with a wrong locale can pass them
    st.sampled_from(['it\'s "quoted"; -- %s ?', "kΩ · 7 µA · 汉字 · 🔥", "\x00\r\n\t", "long " * 4_000]),
)
NAME = ANY_TEXT.filter(lambda text: bool(text.strip()))
WEIGHTS = st.dictionaries(NAME, st.floats(0, 1e300), min_size=1, max_size=4).filter(lambda w: any(w.values()))
PAYLOADS: st.SearchStrategy[Payload] = st.one_of(
    st.builds(Finding, NAME, outcome=NAME, raw=st.none() | ANY_TEXT, take=st.integers(0, 9)),
    st.builds(Finding, NAME, likelihood=WEIGHTS, raw=st.none() | ANY_TEXT),
    st.builds(RepairDone, NAME),
    st.builds(Fact, NAME, NAME),
    st.builds(Skip, NAME, ANY_TEXT),
    st.builds(MachineState, st.dictionaries(ANY_TEXT, st.booleans(), max_size=4)),
    st.builds(Note, ANY_TEXT),
    st.builds(Closed, st.just("came_back"), st.dates(date(2026, 1, 1)), ANY_TEXT),
)
ENTRIES = st.lists(st.tuples(PAYLOADS, st.none() | st.floats(0, 1440), st.booleans()), max_size=6)


@settings(max_examples=40, deadline=None)
@given(title=ANY_TEXT, entries=ENTRIES)
def test_round_trip(
    tmp_path_factory: pytest.TempPathFactory, title: str, entries: list[tuple[Payload, float, bool]]
) -> None:
    """Whatever text and numbers a job is given, and whatever is undone, it is read back equal."""
    path = tmp_path_factory.getbasetemp() / "round_trip.sqlite"
    with Store.open(path, clock=lambda: START) as store:
        job = store.new_job("gas_dryer", title=title)
        for payload, minutes, take_back in entries:
            job = store.append(job.id, payload, minutes)
            if take_back:
                job, step = store.undo(job.id)
                assert step.payload == payload
    with Store.open(path) as store:
        again = store.get(job.id)
        listed = store.list(limit=1)[0]
    assert again == listed == job
    assert [step.payload for step in again.steps] == [payload for payload, _, undone in entries if not undone]
    assert [step.minutes for step in again.steps] == [minutes for _, minutes, undone in entries if not undone]
    assert again.title == title.encode("utf-8", "backslashreplace").decode()
