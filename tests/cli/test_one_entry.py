"""One typed entry is one transaction: a disk that fails at any write within it leaves nothing of it, said or saved."""

from __future__ import annotations

import contextlib
import io
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from faultodds.belief import Appliance, open_appliance
from faultodds.errors import SafetyStop, StoreError
from faultodds.job import OpenJob, Store, rows, store as store_module
from faultodds.job.steps import Note
from faultodds_cli.bench.call import BenchCall
from faultodds_cli.bench.lines import take
from faultodds_cli.shared.talk import Talk
from run_cli import faultodds, write_toy


@pytest.fixture(scope="module")
def toy(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The toy as a file."""
    return str(write_toy(tmp_path_factory.mktemp("toy") / "toy.toml"))


@pytest.fixture
def ready(toy: str) -> Appliance:
    """The toy, compiled."""
    return open_appliance(toy)


class FailingDisk:
    """Fails at the write of this number, counted from 0, and at every later one."""

    def __init__(self, patch: pytest.MonkeyPatch, at: int) -> None:
        self.writes = 0
        real = store_module.add_row

        def write(*given: Any) -> None:
            self.writes += 1
            if self.writes > at:
                error = sqlite3.OperationalError("disk I/O error")
                error.sqlite_errorname = "SQLITE_IOERR_WRITE"
                raise error
            real(*given)

        for module in (store_module, rows):  # an undo is written as a row as well
            patch.setattr(module, "add_row", write)


def printed(call: BenchCall, line: str) -> str:
    """What a line of the guided call is answered with."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        take(call, line)
    return " ".join(out.getvalue().split())


LINES = ["slow=yes listen=weak", "fuse_test=closed listen=weak", "repair new_fuse", "undo"]


@pytest.mark.parametrize("line", LINES)
def test_a_line_of_the_guided_call_is_one_entry(tmp_path: Path, ready: Appliance, line: str) -> None:
    """At each of its writes in turn: nothing of it is in the store, nothing of it is said, and typed again it is taken."""
    with Store.open(tmp_path) as store:
        for at in range(12):
            visit = OpenJob.start(store, ready)
            visit.find("fuse_test", "open")
            before = visit.job
            call = BenchCall(visit, Talk(), told={"fuse_test", "listen", "new_fuse", "run_test"})
            with pytest.MonkeyPatch.context() as patch:
                disk = FailingDisk(patch, at)
                said = printed(call, line)
            if disk.writes <= at:
                break
            assert "could not be read or written (disk I/O error)" in said
            assert not any(word in said for word in ("Noted", "Repaired", "Taken back", "taken to be", "slow = "))
            assert visit.job == before == store.get(before.id)
            printed(call, line)
            assert visit.job == store.get(before.id) != before
        assert at > 1, "the line is of several writes"


def test_danger_is_told_whatever_becomes_of_the_disk(tmp_path: Path, ready: Appliance) -> None:
    """Where it cannot be kept the call stops all the same; where another terminal was quicker it is kept."""
    with Store.open(tmp_path) as store, Store.open(tmp_path) as other:
        visit = OpenJob.start(store, ready)
        with pytest.MonkeyPatch.context() as patch:
            FailingDisk(patch, 0)
            with pytest.raises(SafetyStop, match=r"(?s)could not be kept with job 1: .*disk I/O error"):
                printed(BenchCall(visit, Talk()), "I smell gas")
        assert store.get("1").stopped is None
        other.append("1", Note("from another terminal"))
        with pytest.raises(SafetyStop, match="stands still until it is safe"):
            printed(BenchCall(visit, Talk()), "I smell gas")
        assert store.get("1").stopped is not None


def test_a_new_job_with_all_it_begins_with_is_one_entry(tmp_path: Path, toy: str) -> None:
    """At each write in turn: no job, and the number is given to the next."""
    argv = ["job", "new", "--appliance", toy, "--found", "slow=yes", "--found", "fuse_test=open", "--no-qualified-work"]
    for at in range(9):
        with pytest.MonkeyPatch.context() as patch:
            disk = FailingDisk(patch, at)
            ran = faultodds(*argv, "--data", str(tmp_path))
        if disk.writes <= at:
            break
        assert (ran.code, ran.out) == (2, "")
        assert faultodds("job", "list", "--data", str(tmp_path), "--json").answer["jobs"] == []
    assert at > 2
    assert ran.code == 0
    assert "Job 1 is started." in ran.out


def enter_with_a_failure(visit: OpenJob) -> None:
    """Three notes as one entry; the disk fails at the second and is well again at the third; who types does not hear of it."""
    with visit.together():
        visit.note("one")
        with pytest.MonkeyPatch.context() as patch, contextlib.suppress(StoreError):
            FailingDisk(patch, 0)
            visit.note("two")
        with contextlib.suppress(StoreError):
            visit.note("three")


def test_after_a_failure_nothing_more_is_entered(tmp_path: Path, ready: Appliance) -> None:
    """What has been caught on the way is told at the end all the same: a part of an entry is never kept alone."""
    with Store.open(tmp_path) as store:
        visit = OpenJob.start(store, ready)
        before = visit.job
        with pytest.raises(StoreError, match="disk I/O error"):
            enter_with_a_failure(visit)
        assert visit.job == before == store.get(before.id)
        visit.note("four")
        assert store.get(before.id).notes == ("four",)
