"""Jobs of the shop in chunks: first visits and callbacks as arrays, before anybody writes them down."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.random import PCG64, Generator, SeedSequence

from .cases import Cases, draw_cases, modes_left, take_cases
from .errors import SimError
from .facts import equipment, told_facts
from .instruments import View
from .psychro import Array, Codes
from .runs import as_used
from .shop import DT, MINUTES, Visit, assign, visit
from .simulation import simulate
from .symptoms import complaint, time_ratio

CHUNK = 8192
JOBS_A_DAY, LONGEST_DAYS = 1.6, 1095.0
CALLBACK_DAYS = 30.0
SHOP_STREAM = 7  # keeps the log's random numbers apart from those of `call.calls`


@dataclass
class Jobs:
    """N jobs, every field an array over them.

    first : row of the first visit of the same trouble in this chunk (its own row for a first visit).
    """

    cases: Cases
    visit: Visit
    told: dict[str, Codes]
    facts: dict[str, Codes]
    day: Array
    first: Codes

    def __len__(self) -> int:
        return len(self.day)

    @property
    def equipment(self) -> Mapping[str, Codes]:
        """Codes of what is built into every machine."""
        return equipment(self.cases.houses)

    @property
    def ratio(self) -> Array:
        """Drying time over normal as the customer has it."""
        return time_ratio(self.cases.used, self.cases.normal_min)


def _complaint(cases: Cases, rng: Generator) -> dict[str, Codes]:
    """What the customers say of the machines as they are now; nobody has run them on the bench yet."""
    seen = View(cases.now, cases.used, cases.used, cases.used)
    return complaint(seen, cases.normal_min, cases.houses.candour, rng)


def _first_visits(n: int, rng: Generator, days: tuple[float, float], town: int) -> Jobs:
    cases = draw_cases(n, rng, DT, MINUTES, days, town)
    told = _complaint(cases, rng)
    done = visit(cases, assign(cases, rng), rng)
    facts = dict(told_facts(cases.houses, cases.sudden(), rng))
    return Jobs(cases, done, told, facts, cases.houses.day.astype(float), np.arange(n))


def _callbacks(jobs: Jobs, rng: Generator) -> Jobs:
    """The second visits to customers of `jobs` who called again within the shop's window."""
    rows = np.flatnonzero(jobs.visit.back_days <= CALLBACK_DAYS)
    cases = take_cases(jobs.cases, rows)
    cases.now = jobs.visit.after.take(rows)
    cases.used = simulate(cases.now, as_used(cases.now, MINUTES), DT)
    cases.present = modes_left(cases.now, cases.sound, cases.present)
    tech = np.where(rng.random(len(rows)) < 0.45, jobs.visit.tech[rows], assign(cases, rng))
    told = _complaint(cases, rng)
    facts = {name: codes[rows] for name, codes in jobs.facts.items()}
    day = jobs.day[rows] + jobs.visit.back_days[rows]
    return Jobs(cases, visit(cases, tech, rng), told, facts, day, rows)


def chunk_size(jobs: int) -> int:
    """Households in a chunk of a log of `jobs` rows."""
    return int(min(CHUNK, max(jobs, 64)))


def chunks(jobs: int, seed: int, town: int = 0) -> Iterator[tuple[Jobs, Jobs]]:
    """Yield (first visits, callbacks) until there are at least `jobs` rows; the same for the same `jobs`,
    seed and town.
    """
    if jobs < 1:
        raise SimError(f"cannot write a log of {jobs} jobs; give a number of 1 or more")
    size, made, number = chunk_size(jobs), 0, 0
    span = min(jobs / JOBS_A_DAY, LONGEST_DAYS)
    pieces = -(-jobs // size)
    while made < jobs:
        rng = Generator(PCG64(SeedSequence(seed, spawn_key=(SHOP_STREAM, number))))
        start = span * (number % pieces) / pieces
        first = _first_visits(size, rng, (start, start + span / pieces), town)
        second = _callbacks(first, rng)
        made, number = made + len(first) + len(second), number + 1
        yield first, second
