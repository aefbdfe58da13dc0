"""A simulated log with the codes behind its words, to hold an import against, cell by cell."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from faultodds_sim import joblog as sim
from faultodds_sim.facts import EQUIPMENT, FACTS
from faultodds_sim.findings import CHECK_CODE, REPAIR_NAMES
from faultodds_sim.jobs import Jobs, chunks
from faultodds_sim.logwords import NUMBERS
from faultodds_sim.names import CHECKS, SYMPTOMS


@dataclass
class Behind:
    """A log as it is written down, and for each ticket the jobs and the row that it was written from."""

    log: pd.DataFrame
    jobs: dict[str, tuple[Jobs, int]]

    def meant(self, ticket: str, column: str) -> str | None:
        """What the technician meant in a column of the clean log that is words; None where it is a number or not done."""
        jobs, row = self.jobs[ticket]
        kind, _, name = column.partition(":")
        if name in SYMPTOMS:
            return _named(SYMPTOMS[name], jobs.told[name][row])
        if name in NUMBERS:
            return None
        if kind == "fact":
            known = {**FACTS, **EQUIPMENT}[name]
            if name in ("vent_length", "duct_cleaned", "loads_per_week", "age"):
                return None  # written as a number that need not agree with what was told
            return _named(known, {**jobs.facts, **jobs.equipment}[name][row])
        if kind == "after":
            return _named(CHECKS[name], jobs.visit.verified[row])
        return _named(CHECKS[name], jobs.visit.code[CHECK_CODE[name], row])

    def value(self, ticket: str, check: str) -> float:
        """The number that was read off the instrument."""
        jobs, row = self.jobs[ticket]
        return float(jobs.visit.value[CHECK_CODE[check], row])

    def repairs(self, ticket: str) -> set[str]:
        """The repairs done."""
        jobs, row = self.jobs[ticket]
        return {REPAIR_NAMES[code] for code in jobs.visit.repairs[:, row] if code >= 0}


def _named(names: tuple[str, ...], code: int) -> str | None:
    return names[code] if code >= 0 else None


def simulated(jobs: int, seed: int) -> Behind:
    """A log of about `jobs` rows, made as `faultodds_sim.make_log` makes it."""
    first, second = next(chunks(jobs, seed))
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(8, 0))))
    log, _ = sim._frames(first, second, 1000, rng)
    day = np.concatenate([first.day, second.day])
    place = np.empty(len(day), int)
    place[np.argsort(day, kind="stable")] = np.arange(len(day))
    tickets = [f"HL-{1000 + p}" for p in place]
    return Behind(log, dict(zip(tickets, _rows(first, second), strict=True)))


def _rows(first: Jobs, second: Jobs) -> Iterator[tuple[Jobs, int]]:
    for part in (first, second):
        yield from ((part, row) for row in range(len(part)))
