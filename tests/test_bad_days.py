"""Bad days: a disk that fills at any write, and a kill at any moment. What was acknowledged is there, whole; the rest is not.

More kills: FAULTODDS_KILLS=500 python -m pytest -n 0 tests/test_bad_days.py
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from faultodds.belief import Appliance, open_appliance
from faultodds.errors import FaultoddsError, RevisionError
from faultodds.files import DATA_VARIABLE, written_whole
from faultodds.job import OpenJob, Store
from faultodds.revisions import accepted, history
from faultodds.revisions.decisions import HISTORY, accept, shelf
from faultodds.shop import write_template
from killed import Worker
from run_cli import faultodds, write_toy
from shop_logs import small_log

KILLS = int(os.environ.get("FAULTODDS_KILLS", "40"))
ROOM = 256 * 1024


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped dryer."""
    return open_appliance("gas_dryer")


# --- a disk that fills ---


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    """A disk of 256 KB. Mounting one takes an administrator; without, the test is skipped."""
    folder = tmp_path / "small"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={ROOM}", "tmpfs", str(folder)], capture_output=True, check=False
    ) if sys.platform == "linux" and os.geteuid() == 0 else None  # fmt: skip
    if made is None or made.returncode:
        pytest.skip("no disk can be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


@contextlib.contextmanager
def room_left(folder: Path, blocks: int) -> Iterator[None]:
    """The disk with so many blocks of 4 KB left."""
    fill = folder / "fill"
    free = os.statvfs(folder).f_bavail
    with fill.open("wb") as handle:
        handle.write(bytes(max(free - blocks, 0) * os.statvfs(folder).f_frsize))
    try:
        yield
    finally:
        fill.unlink()


def job_tells(folder: Path) -> str:
    """All that the store says of its jobs, as text."""
    with Store.open(folder) as store:
        assert not store.damaged
        return json.dumps([(j.id, [str(s.payload) for s in j.steps], j.last_seq) for j in store.list()])


def test_a_job_on_a_disk_that_fills_is_whole_or_as_before_and_can_be_looked_at(small: Path, dryer: Appliance) -> None:
    """With every number of blocks left: an entry of several steps, a new job, an undo. Each is refused in words and nothing of it
    is there, or is all there; and on the full disk the jobs can be told all the while."""
    with Store.open(small) as store:
        visit = OpenJob.start(store, dryer)
        visit.facts([("fuel", "natural")])
    said: set[str] = set()
    for blocks in range(14):
        before = job_tells(small)
        with room_left(small, blocks):
            assert job_tells(small) == before
            for argv in (
                ["job", "find", "1", "dry_time=longer", "hood_flap=weak", "lint_screen_look=clean"],
                ["job", "new", "--title", "t" * 3000, "--fact", "control=board", "--found", "heat=none"],
                ["job", "undo", "1"],
            ):
                was = job_tells(small)
                ran = faultodds(*argv, "--data", str(small))
                now = job_tells(small)
                assert ran.code in (0, 2), ran.err
                assert (now != was) == (ran.code == 0), (blocks, argv, ran.said)
                said.add(ran.said)
                steps = json.loads(now)
                assert len(steps) == len(json.loads(was)) + (ran.code == 0 and argv[1] == "new")
                assert all(len(each[1]) >= 2 for each in steps[:-1])
    assert any("full" in text for text in said)
    assert "" in said


@pytest.mark.parametrize("killed", [False, True])
def test_jobs_on_a_disk_that_can_only_be_read_can_be_looked_at(small: Path, dryer: Appliance, killed: bool) -> None:
    """All that was acknowledged is told, what a killed program left in the write-ahead log too; what is entered is refused."""
    elsewhere = small.parent / "elsewhere"
    with Store.open(elsewhere) as store:
        visit = OpenJob.start(store, dryer, "slow")
        visit.facts([("fuel", "natural")])
        told = job_tells(elsewhere)
        if killed:
            shutil.copytree(elsewhere, small, dirs_exist_ok=True)
            assert (small / "jobs.sqlite-wal").stat().st_size
    if not killed:
        shutil.copytree(elsewhere, small, dirs_exist_ok=True)
    (small / "jobs.sqlite-shm").unlink(missing_ok=True)
    subprocess.run(["mount", "-o", "remount,ro", str(small)], check=True)
    assert job_tells(small) == told
    for argv in (["list"], ["show", "1"], ["next", "1"]):
        assert faultodds("job", *argv, "--data", str(small)).code == 0
    for argv in (["fact", "1", "control=board"], ["new"], ["undo", "1"]):
        ran = faultodds("job", *argv, "--data", str(small))
        assert ran.code == 2
        assert "error of its own" not in ran.said
        # A path that is longer than the screen is broken over two lines.
        assert str(small / "jobs.sqlite") in "".join(ran.said.split())
    assert job_tells(small) == told


def test_files_on_a_disk_that_fills_are_whole_or_as_before(small: Path, dryer: Appliance) -> None:
    """The writers of single files, with every number of blocks left: all of the file, or what was there, and nothing beside it."""
    wrote = refused = 0
    writers: list[Callable[[], object]] = [
        lambda: write_template(dryer.knowledge, small / "new" / "shop.toml"),
        lambda: _old(small / "log", b"x" * 30_000),
    ]
    (small / "log").write_bytes(b"old")
    for blocks in range(16):
        for write in writers:
            with room_left(small, blocks):
                names = {p: p.read_bytes() for p in small.rglob("*") if p.is_file() and p.name != "fill"}
                try:
                    write()
                    wrote += 1
                except (OSError, FaultoddsError):
                    refused += 1
                    left = {p: p.read_bytes() for p in small.rglob("*") if p.is_file() and p.name != "fill"}
                    assert left == names
            (small / "new" / "shop.toml").unlink(missing_ok=True)
    assert wrote
    assert refused


def test_an_import_on_a_disk_that_fills_is_all_there_or_not_at_all(
    small: Path, dryer: Appliance, tmp_path: Path
) -> None:
    """With room for less and less of it: the log is there with all its files, or nothing of it is, and the refusal is in words."""
    source = small_log(tmp_path)
    whole: set[str] = set()
    for blocks in (60, 0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 16):
        shutil.rmtree(small / "logs", ignore_errors=True)
        with room_left(small, blocks):
            ran = faultodds("log", "import", str(source), "--yes", "--data", str(small))
            names = {path.name for path in (small / "logs").glob("*")} if (small / "logs").exists() else set()
        whole = whole or names
        assert names == (whole if ran.code == 0 else set()), (blocks, ran.said)
        assert ran.code == 0 or "could not be written" in ran.said
        assert not list(small.rglob("*.new"))
    assert len(whole) > 4


def _old(path: Path, data: bytes) -> None:
    with written_whole(path) as beside:
        beside.write_bytes(data)


def test_a_decision_on_a_disk_that_fills_is_whole_or_not_made(small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Accepting over and over until nothing fits: what was refused changed nothing, what was not is there to the last letter."""
    monkeypatch.setenv(DATA_VARIABLE, str(small))
    accept("toy", "first")
    with room_left(small, 1):
        taken, refused = 1, 0
        for turn in range(300):
            name = f"2026-11-25-{'ab'[turn % 2] * 60}"
            before = (shelf("toy") / HISTORY).read_bytes()
            with contextlib.suppress(FaultoddsError):
                accept("toy", name)
                taken += 1
                assert accepted("toy") == name
                continue
            assert (shelf("toy") / HISTORY).read_bytes() == before
            with pytest.raises(RevisionError, match=r"written \(No space left on device\), so nothing has changed"):
                accept("toy", name)
            refused += 1
            break
        assert refused
    assert len(history("toy")) == taken
    assert all(d.action == "accept" for d in history("toy"))


def test_an_answer_that_cannot_be_printed_is_no_success() -> None:
    """A full disk behind standard output is told, with exit code 2."""
    if not Path("/dev/full").exists():
        pytest.skip("no full device here")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "faultodds_cli.main", "calc", "orifice", "42", "3.5inwc", "--json"],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert (done.returncode, "the disk is full or closed" in " ".join(done.stderr.split())) == (2, True)


# --- kills ---


def killed_after(worker: Worker, acknowledged: Path, seconds: float) -> list[list[str]]:
    """What one of them acknowledged before it was killed, so long after its first acknowledgement."""
    acknowledged.write_text("")

    def moment() -> None:
        give_up = time.monotonic() + 20
        while not acknowledged.read_text() and time.monotonic() < give_up:
            time.sleep(0.001)
        time.sleep(seconds)

    assert worker.killed("go", moment) == -signal.SIGKILL
    return [line.split() for line in acknowledged.read_text().splitlines()]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill -9")
def test_kills_at_any_moment_lose_nothing_acknowledged_and_leave_no_half(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that enters one thing after the other is killed again and again in the same folder: each entry that it acknowledged
    is there, of one that it did not there is all or nothing, and what it left beside its files is gone in the end."""
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    acknowledged = tmp_path / "acknowledged"
    worker = Worker("bad_day_worker.py", str(write_toy(tmp_path / "toy.toml")), str(acknowledged))
    chance = random.Random(5)
    told = 0
    for _ in range(KILLS):
        for kind, *what in killed_after(worker, acknowledged, chance.uniform(0.0, 0.05)):
            told += 1
            if kind == "job":
                assert _seen_on(tmp_path, what[0]) >= int(what[1])
            elif kind == "accept":
                assert what[0] in {d.revision for d in history("toy")}
        _no_half(tmp_path)
    worker.close()
    assert told > KILLS
    for left in tmp_path.glob(".*.new"):
        os.utime(left, (0, 0))
    with written_whole(tmp_path / "whole") as beside:
        beside.write_text("last")
    assert not list(tmp_path.glob(".*.new"))


def _seen_on(folder: Path, job: str) -> int:
    with Store.open(folder) as store:
        return store.get(job).last_seq


def _no_half(folder: Path) -> None:
    """Every entry of the worker's stands whole: 3 steps of a new job, 3 of two findings with the state they bring, 2 of an undo."""
    with Store.open(folder) as store:
        assert {job.last_seq for job in store.list()} <= {3, 7, 9}
        assert not store.damaged
    assert all(d.action != "damaged" for d in history("toy"))
    lines = (folder / "whole").read_text().splitlines() if (folder / "whole").exists() else [""]
    assert len(set(lines)) == 1
    assert len(lines) in (1, 20_000)
