"""Random job states, reached by walking jobs through the program's own entries: what is known, found, repaired, skipped and
open part-way through a call.

A walk has a machine with faults behind it, drawn from the appliance's own model. At each step something is entered: a
fact, what a symptom or check shows of that machine (now and then a slip, a doubt or a contradiction), a repair, a panel opened
or shut by hand, work skipped, a tool that is not there, danger and later the all-clear, an undo, a closing, a callback.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, cast

import numpy as np

from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance
from faultodds.belief.evidence import Evidence
from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job.job import Job
from faultodds.job.open_job import OpenJob
from faultodds.job.standing import believe
from faultodds.job.steps import Payload, Step
from faultodds.knowledge.schema import Knowledge, repair_modes
from faultodds.safety import told_over

DAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
# A job is walked for so many steps, then another begins.
SHORTEST, LONGEST = 6, 30
# Of findings, the share that the machine itself shows; the rest are slips, doubts and contradictions.
SHOWN, DOUBTED = 0.75, 0.1
# The share of findings that are about what stops a run or lets a hazard out, whatever the machine.
HAZARDS = 0.08
DANGERS = ("smells of gas", "co alarm is going", "customer has a headache", "smoke from the back")


class NoDisk:
    """A job store that keeps one job in memory, where every entry is kept as it is made."""

    joined = kept = True

    def __init__(self, appliance: str) -> None:
        self.job = Job("1", appliance, "file", DAY)

    def append_all(
        self, job_id: str, entries: Sequence[tuple[Payload, float | None]], expected_seq: int | None = None
    ) -> Job:
        """The job with more steps."""
        for payload, minutes in entries:
            self.job = self.job.plus(Step(self.job.last_seq + 1, DAY, payload, minutes))
        return self.job

    def clock(self) -> datetime:
        """When it is: some weeks on."""
        return DAY + timedelta(days=40)

    def take_back(self, job_id: str, name: str, expected_seq: int | None = None) -> tuple[Job, tuple[Step, ...]]:
        """The job without the latest entry of a name."""
        steps = self.job.latest(name)
        for step in steps:
            self.job = self.job.minus(step)
        return self.job, steps

    def undo(self, job_id: str, expected_seq: int | None = None) -> tuple[Job, Step]:
        """The job without its last step."""
        self.job, step = self.job.minus_last()
        return self.job, step


@dataclass(frozen=True)
class JobState:
    """What the advice is asked about."""

    evidence: Evidence
    situation: Situation


def random_job_states(appliance: Appliance, count: int, seed: int) -> Iterator[JobState]:
    """`count` states that advice can be given on, no two of them neighbours; the same for the same seed."""
    rng, made = np.random.default_rng(seed), 0
    for visit in walks(appliance, seed):
        if made == count:
            return
        if rng.random() < 0.2 and visit.job.stopped is None and not visit.job.is_closed and visit.clash() is None:
            made += 1
            yield JobState(believe(appliance, visit.job).evidence, visit.situation)


def walks(appliance: Appliance, seed: int) -> Iterator[OpenJob]:
    """Jobs as they stand after each thing entered, one walk after another; the same for the same seed."""
    rng = np.random.default_rng(seed)
    while True:
        store = cast(Any, NoDisk(appliance.knowledge.appliance.id))
        qualified = None if rng.random() < 0.75 else False
        walk = _Walk(OpenJob(appliance, store, store.job, qualified=qualified), rng)
        for _ in range(int(rng.integers(SHORTEST, LONGEST))):
            walk.step()
            yield walk.visit


class _Walk:
    """One job being walked, with the machine behind it."""

    def __init__(self, visit: OpenJob, rng: np.random.Generator) -> None:
        self.visit, self.rng = visit, rng
        s = visit.appliance.suspects
        self.cause = int(rng.choice(len(s.share), p=s.share))
        given = s.given_main[self.cause]
        self.truth = int(rng.choice(len(given), p=given / given.sum()))
        self.visit.keep_hands()
        k = visit.knowledge
        told = [n for n, seen in k.observables.items() if seen.lets_out or seen.stops or seen.stops_away]
        never = [n for item in k.access.values() for n in item.not_while if n in s.observables]
        self.hazards = sorted({*told, *never})

    @property
    def k(self) -> Knowledge:
        return self.visit.knowledge

    def step(self) -> None:
        """Enter one thing; what the job refuses changes nothing."""
        usual: list[tuple[Callable[[], object], float]] = [
            (self.fact, 3),
            (self.find, 9),
            (self.fix, 2),
            (self.hand, 2),
            (self.skip, 0.7),
            (self.tool, 0.3),
            (self.undo, 0.7),
            (self.danger, 0.3),
            (self.close, 0.3),
        ]
        if self.visit.job.stopped is not None:
            usual = [(self.safe, 2), (self.close, 1), (self.danger, 1)]
        elif self.visit.job.is_closed:
            usual = [(self.come_back, 2), (self.undo, 1)]
        weights = np.array([w for _, w in usual])
        with contextlib.suppress(FaultoddsError, SafetyStop):
            usual[int(self.rng.choice(len(usual), p=weights / weights.sum()))][0]()

    def any_of(self, names: Any) -> str:
        """One of some names."""
        return str(self.rng.choice(list(names)))

    def fact(self) -> None:
        """A fact, mostly as the cause has it."""
        s, k = self.visit.appliance.suspects, self.k
        name = self.any_of([*k.context, *k.equipment])
        values = list((k.context.get(name) or k.equipment[name]).values)
        if name in s.facts and self.rng.random() < SHOWN:
            chances = s.facts[name][:, self.cause]
            self.visit.fact(name, s.fact_values[name][int(self.rng.choice(len(chances), p=chances / chances.sum()))])
        else:
            self.visit.fact(name, self.any_of(values))

    def find(self) -> None:
        """A symptom or check, mostly as the machine shows it."""
        s, k = self.visit.appliance.suspects, self.k
        name = self.any_of(s.observables) if self.rng.random() < 0.85 else k.costs.verify
        again = bool(self.rng.random() < 0.2)
        if self.rng.random() < HAZARDS:
            name = self.any_of(self.hazards)
            self.visit.find(name, self.any_of(s.observables[name]), again=again)
            return
        outcomes = s.observables[name]
        roll = self.rng.random()
        if roll < DOUBTED:
            self.visit.find(name, f"{outcomes[-1]} {self.rng.integers(5, 96)} / {outcomes[0]} 50", again=again)
        elif roll < DOUBTED + SHOWN:
            chances = s.likelihood[s.rows[name], self.truth]
            self.visit.find(name, outcomes[int(self.rng.choice(len(chances), p=chances / chances.sum()))], again=again)
        else:
            self.visit.find(name, self.any_of(outcomes), again=again)

    def fix(self) -> None:
        """A repair, mostly one that the machine needs; it mostly takes."""
        s, k = self.visit.appliance.suspects, self.k
        needed = [n for n in k.repair if set(repair_modes(k, k.repair[n])) & set(s.names(self.truth))]
        name = self.any_of(needed if needed and self.rng.random() < 0.6 else k.repair)
        self.visit.fix(name)
        if name in self.visit.job.awaited:
            return
        if self.rng.random() < k.repair[name].success:
            self.truth = int(s.removal(repair_modes(k, k.repair[name]))[self.truth])

    def hand(self) -> None:
        """An access item opened or shut by hand."""
        self.visit.set_open(self.any_of(self.k.access), bool(self.rng.random() < 0.6))

    def skip(self) -> None:
        """Work that cannot be done."""
        self.visit.skip(self.any_of([*self.k.check, *self.k.repair]), "not today")

    def tool(self) -> None:
        """A tool that is not there."""
        self.visit.without(self.any_of(sorted({t for c in self.k.check.values() for t in c.tools})))

    def undo(self) -> None:
        """The last thing taken back."""
        self.visit.undo()

    def danger(self) -> None:
        """Danger told of."""
        self.visit.note(self.any_of(DANGERS))

    def safe(self) -> None:
        """The all-clear, of all that may have been told of."""
        self.visit.safe("; ".join(told_over(hazard) for hazard in ("gas", "co", "fire", "ill")))

    def close(self) -> None:
        """The call ended."""
        self.visit.close(self.any_of(["gone", "referred"]), note="all well, dried a load")

    def come_back(self) -> None:
        """The complaint came back."""
        self.visit.close("came_back", "2026-03-20")
