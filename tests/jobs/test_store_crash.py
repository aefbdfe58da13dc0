"""The store against kill -9, and two terminals at once."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from faultodds.jobs import Finding
from faultodds.store import Store

WORKER = Path(__file__).with_name("store_worker.py")
pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")


def start(path: Path, tag: str, count: int = 0) -> subprocess.Popen[str]:
    command = [sys.executable, str(WORKER), str(path), tag, str(count)]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def let_go(worker: subprocess.Popen[str]) -> None:
    assert worker.stdin is not None
    worker.stdin.write("go\n")
    worker.stdin.flush()


def wait_until_ready(worker: subprocess.Popen[str]) -> None:
    assert worker.stdout is not None
    assert worker.stdout.readline() == "ready\n"


def acknowledged(worker: subprocess.Popen[str]) -> list[tuple[int, str]]:
    """The complete acknowledgements in what the worker printed; a line cut off by the kill is none."""
    shown, _ = worker.communicate()
    whole = [line.split() for line in shown.splitlines(keepends=True) if line.endswith("\n")]
    return [(int(seq), raw) for seq, raw in whole if seq != "job"]


def stored(path: Path) -> dict[int, str]:
    """Every step in the store, after SQLite has checked the whole file."""
    with Store.open(path) as store:
        steps = [step for job in store.list() for step in job.steps]
    with sqlite3.connect(path) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    raw.close()
    assert all(isinstance(step.payload, Finding) for step in steps)
    return {step.seq: str(step.payload.raw)[:20] for step in steps if isinstance(step.payload, Finding)}


def test_every_acknowledged_step_survives_kill_9(tmp_path: Path) -> None:
    """Killed 15 times at random moments, the store opens, is sound, and holds every acknowledged step.

    Each kill may leave at most one step that was saved but not yet acknowledged, and never half of one.
    """
    path, rng = tmp_path / "jobs.sqlite", random.Random(11)
    promised: dict[int, str] = {}
    following = start(path, "k0")
    for kill in range(15):
        worker = following
        wait_until_ready(worker)
        let_go(worker)
        time.sleep(rng.uniform(0.0, 0.15))
        os.kill(worker.pid, signal.SIGKILL)
        following = start(path, f"k{kill + 1}")  # imports while this one is looked at
        promised.update(acknowledged(worker))
        assert worker.returncode == -signal.SIGKILL
        kept = stored(path)
        assert {seq: kept.get(seq) for seq in promised} == promised
        assert sorted(kept) == list(range(1, len(kept) + 1))
        assert len(kept) <= len(promised) + kill + 1
    following.communicate("")
    assert len(promised) > 30


def test_killed_while_the_store_is_made(tmp_path: Path) -> None:
    """A kill in the first milliseconds of a new store leaves one that opens and works."""
    for number, delay in enumerate((0.002, 0.008, 0.014, 0.02)):
        path = tmp_path / str(number) / "jobs.sqlite"
        worker = start(path, "new")
        wait_until_ready(worker)
        let_go(worker)
        time.sleep(delay)
        os.kill(worker.pid, signal.SIGKILL)
        promised = dict(acknowledged(worker))
        kept = stored(path)
        assert {seq: kept.get(seq) for seq in promised} == promised
        with Store.open(path) as store:
            job = store.new_job("gas_dryer")
            assert store.append(job.id, Finding("heat", "none")).last_seq == 1


def test_two_terminals_lose_nothing(tmp_path: Path) -> None:
    """Two processes that make one new store together and fill one job at once keep every step, each in its order."""
    path = tmp_path / "jobs.sqlite"
    with Store.open(path) as store:
        job_id = store.new_job("gas_dryer").id
    workers = [start(path, tag, 40) for tag in ("a", "b")]
    for worker in workers:
        wait_until_ready(worker)
    for worker in workers:
        let_go(worker)
    acks = [acknowledged(worker) for worker in workers]
    assert [worker.returncode for worker in workers] == [0, 0]
    assert [len(each) for each in acks] == [40, 40]
    kept = stored(path)
    assert kept == dict(acks[0]) | dict(acks[1])
    assert len(kept) == 80
    for tag, each in zip("ab", acks, strict=True):
        in_order = [raw for _, raw in sorted(each)]
        assert [raw.rstrip("x") for raw in in_order] == [f"{tag}.{number}" for number in range(40)]
    assert job_id == "1"


def test_terminals_that_make_a_new_store_together(tmp_path: Path) -> None:
    """Four processes that open one store that is not there yet all get it, and every job and step is kept."""
    path = tmp_path / "new folder" / "jobs.sqlite"
    workers = [start(path, tag, 3) for tag in "abcd"]
    for worker in workers:
        wait_until_ready(worker)
    for worker in workers:
        let_go(worker)
    acks = [acknowledged(worker) for worker in workers]
    assert [worker.returncode for worker in workers] == [0, 0, 0, 0]
    with Store.open(path) as store:
        kept = sorted(
            str(step.payload.raw)
            for job in store.list()
            for step in job.steps
            if isinstance(step.payload, Finding)
        )
    assert kept == sorted(raw for each in acks for _, raw in each)
    assert len(kept) == 12
