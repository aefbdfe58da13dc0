"""The store against kill -9, and several terminals at once.

Longer: FAULTODDS_WRITERS=8 FAULTODDS_SECONDS=60 python -m pytest -n 0 tests/job/test_store_crash.py -k many
"""

from __future__ import annotations

import itertools
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from faultodds.job.steps import Finding
from faultodds.job.store import Store

WRITERS = int(os.environ.get("FAULTODDS_WRITERS", "4"))
SECONDS = float(os.environ.get("FAULTODDS_SECONDS", "1"))
WORKER = Path(__file__).with_name("store_worker.py")
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill -9")


class Terminals:
    """Starts other processes on a store, kills them, and reads what they acknowledged."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._numbers = itertools.count()
        command = [sys.executable, str(WORKER)]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def _ask(self, *words: object) -> int:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        print(*words, sep="\t", file=self._process.stdin, flush=True)
        return int(self._process.stdout.readline())

    def start(self, path: Path, tag: str, count: int = 0) -> tuple[int, Path]:
        acks = self._folder / f"acks{next(self._numbers)}"
        acks.touch()
        return self._ask("run", path, tag, count, acks), acks

    def wait(self, terminal: tuple[int, Path]) -> tuple[int, dict[int, str]]:
        """How the terminal ended, and the steps it acknowledged: seq -> raw."""
        ended = self._ask("wait", terminal[0])
        lines = [line.split() for line in terminal[1].read_text().splitlines()]
        return ended, {int(seq): raw for seq, raw in lines}

    def kill_after(self, terminal: tuple[int, Path], seconds: float, steps: int = 0) -> dict[int, str]:
        """Kill it this long after it has acknowledged so many steps; returns what it acknowledged."""
        give_up = time.monotonic() + 20
        while terminal[1].read_text().count("\n") < steps and time.monotonic() < give_up:
            time.sleep(0.001)
        time.sleep(seconds)
        os.kill(terminal[0], signal.SIGKILL)
        ended, promised = self.wait(terminal)
        assert ended == -signal.SIGKILL
        return promised

    def close(self) -> None:
        self._process.communicate()


@pytest.fixture(scope="module")
def terminals(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Terminals]:
    """Other terminals; the process that starts them ends with the tests."""
    started = Terminals(tmp_path_factory.mktemp("acknowledged"))
    yield started
    started.close()


def stored(path: Path) -> dict[int, str]:
    """Every step of the first job, seq -> raw, after SQLite has checked the whole file."""
    with Store.open(path) as store:
        steps = [step for job in store.list() for step in job.steps]
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    return {step.seq: str(step.payload.raw).split()[0] for step in steps if isinstance(step.payload, Finding)}


def test_every_acknowledged_step_survives_kill_9(tmp_path: Path, terminals: Terminals) -> None:
    """Killed 15 times at random moments, the store opens, is sound, and holds every acknowledged step.

    Each kill may leave at most one step that was saved but not yet acknowledged, and never half of one.
    """
    path, rng = tmp_path / "jobs.sqlite", random.Random(11)
    promised: dict[int, str] = {}
    for kill in range(15):
        terminal = terminals.start(path, f"k{kill}")
        promised |= terminals.kill_after(terminal, rng.uniform(0.0, 0.02), steps=rng.randint(0, 15))
        kept = stored(path)
        assert {seq: kept.get(seq) for seq in promised} == promised
        assert sorted(kept) == list(range(1, len(kept) + 1))
        assert len(kept) <= len(promised) + kill + 1
    assert len(promised) > 60


def test_killed_while_the_store_is_made(tmp_path: Path, terminals: Terminals) -> None:
    """A kill in the first milliseconds of a new store leaves one that opens and works."""
    for number in range(12):
        path = tmp_path / str(number) / "jobs.sqlite"
        promised = terminals.kill_after(terminals.start(path, "new"), 0.002 * number)
        kept = stored(path)
        assert {seq: kept.get(seq) for seq in promised} == promised
        with Store.open(path) as store:
            job = store.new_job("gas_dryer")
            assert store.append(job.id, Finding("heat", "none")).last_seq == 1


def test_two_terminals_lose_nothing(tmp_path: Path, terminals: Terminals) -> None:
    """Two processes that fill one job at the same time keep every step, each in its own order."""
    path = tmp_path / "jobs.sqlite"
    with Store.open(path) as store:
        store.new_job("gas_dryer")
    with closing(sqlite3.connect(path)) as gate:
        gate.execute("BEGIN IMMEDIATE")  # holds both at the start line
        started = [terminals.start(path, tag, 60) for tag in "ab"]
        time.sleep(0.1)
    (end_a, acks_a), (end_b, acks_b) = (terminals.wait(each) for each in started)
    assert (end_a, end_b) == (0, 0)
    assert list(acks_a.values()) == [f"a.{number}" for number in range(60)]
    assert list(acks_b.values()) == [f"b.{number}" for number in range(60)]
    assert stored(path) == acks_a | acks_b
    assert sorted(acks_a | acks_b) == list(range(1, 121))
    in_between = max(min(acks_a), min(acks_b)) < min(max(acks_a), max(acks_b))
    assert in_between, "the two did not overlap, so the test shows nothing"


def test_many_terminals_that_write_as_fast_as_they_can_lose_nothing(tmp_path: Path, terminals: Terminals) -> None:
    """Every step that was acknowledged is there as it was entered, in its terminal's order; of the rest at most one each."""
    path = tmp_path / "jobs.sqlite"
    with Store.open(path) as store:
        store.new_job("gas_dryer")
    tags = "abcdefghijklmnop"[:WRITERS]
    started = [terminals.start(path, tag) for tag in tags]
    time.sleep(SECONDS)
    acks = [terminals.kill_after(each, 0.0, steps=1) for each in started]
    kept, promised = stored(path), {seq: raw for each in acks for seq, raw in each.items()}
    print(f"{WRITERS} terminals, {SECONDS:g} s: {len(promised)} steps acknowledged, {len(kept)} kept")
    assert sum(map(len, acks)) == len(promised)
    assert {seq: kept.get(seq) for seq in promised} == promised
    assert sorted(kept) == list(range(1, len(kept) + 1))
    assert len(kept) <= len(promised) + WRITERS
    for tag in tags:
        mine = [raw for _, raw in sorted(kept.items()) if raw.startswith(f"{tag}.")]
        assert mine == [f"{tag}.{number}" for number in range(len(mine))]


def test_terminals_that_make_a_new_store_together(tmp_path: Path, terminals: Terminals) -> None:
    """Four processes that open a store that is not there yet all get the same one, and every step is kept."""
    path = tmp_path / "new folder" / "jobs.sqlite"
    path.parent.mkdir()
    with closing(sqlite3.connect(path)) as gate:
        gate.execute("BEGIN IMMEDIATE")  # all four see a file of no bytes and wait to make the tables
        started = [terminals.start(path, tag, 3) for tag in "abcd"]
        time.sleep(0.2)
    ends = [terminals.wait(each) for each in started]
    assert [ended for ended, _ in ends] == [0, 0, 0, 0]
    with Store.open(path) as store:
        findings = [step.payload for job in store.list() for step in job.steps]
    kept = sorted(str(finding.raw) for finding in findings if isinstance(finding, Finding))
    assert kept == sorted(f"{tag}.{number}" for tag in "abcd" for number in range(3))
    assert kept == sorted(raw for _, acks in ends for raw in acks.values())
