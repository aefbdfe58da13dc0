"""Calls played in tests: a terminal session on a pipe, and a machine with known faults that answers every
check."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from faultodds.job.open_job import OpenJob
from faultodds.job.store import Store
from faultodds.knowledge.schema import Knowledge, repair_modes

SAFE = ("no", "no", "no", "no")
"""The answers to the four stop questions of the gas dryer."""
STRAIGHT_ON = (*SAFE, "done", "done")
"""A call on which nothing is told at the start."""


@dataclass(frozen=True)
class Ended:
    """How a command ended: exit code, and what it printed."""

    code: int
    out: str
    err: str


def command(*arguments: str, typed: Iterable[str] = ()) -> Ended:
    """Run one command line in this process with `typed` lines on its standard input."""
    from faultodds_cli.main import run

    out, err = io.StringIO(), io.StringIO()
    given = _stdin("".join(f"{line}\n" for line in typed))
    with given, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(list(arguments))
    return Ended(code, out.getvalue(), err.getvalue())


@contextlib.contextmanager
def _stdin(text: str) -> Iterator[None]:
    before, sys.stdin = sys.stdin, io.StringIO(text)
    try:
        yield
    finally:
        sys.stdin = before


def bench(data: Path, *typed: str, options: Iterable[str] = ()) -> Ended:
    """A guided call on the store in `data`."""
    return command("bench", *options, "--data", str(data), typed=typed)


@contextlib.contextmanager
def looked_at(data: Path, job: str = "1") -> Iterator[OpenJob]:
    """A stored job, opened by somebody else."""
    with Store.open(data) as store:
        yield OpenJob.resume(store, job)


@dataclass
class Machine:
    """A machine with known faults.

    `readings` is what each check shows while any fault is left, as the technician types it; a check not
    in it shows its normal outcome, as every check does once all faults are mended.
    """

    knowledge: Knowledge
    faults: set[str]
    readings: Mapping[str, str]
    asked: list[str] = field(default_factory=list)

    def shows(self, check: str) -> str:
        """What a check shows now."""
        self.asked.append(check)
        normal = next(iter(self.knowledge.observables[check].outcomes))
        return self.readings.get(check, normal) if self.faults else normal

    def mend(self, repair: str) -> None:
        """A repair takes away what it fixes."""
        self.faults -= set(repair_modes(self.knowledge, self.knowledge.repair[repair]))
