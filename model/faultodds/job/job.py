"""One service call: an ordered list of steps, and what stands once they are all read.

A `Job` keeps the steps only; every view of it (`findings`, `repairs`, `outcome` ...) is worked out from them, so undoing the
last step gives back the earlier answer exactly.

Two counters place a finding. `stage` is the number of repairs done before it: what was seen before a repair
is evidence about the machine as it was, what was seen after it about the machine as it is. `visit` starts
at 1 and goes up when the complaint comes back. Only the standard library is imported here.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from faultodds.errors import StoreError
from faultodds.job.steps import (
    Closed,
    Danger,
    Fact,
    Finding,
    MachineState,
    Note,
    Payload,
    RepairDone,
    Safe,
    Skip,
    Step,
    summary,
)

Row: TypeAlias = dict[str, str | int | float | None]


class PlacedFinding(Struct, frozen=True):
    """A finding that counts, with its `stage` (repairs before it), `visit` (from 1) and step."""

    finding: Finding
    stage: int
    visit: int
    step: Step


class Job(Struct, frozen=True):
    """One service call. `steps` are the ones that stand; `undone` the ones taken back, kept all the same.

    `last_seq` numbers the last change of any kind, undo included: while it is the same, nothing has happened.
    """

    id: str
    appliance: str
    revision: str
    opened_at: datetime
    title: str = ""
    steps: tuple[Step, ...] = ()
    undone: tuple[Step, ...] = ()
    last_seq: int = 0

    def plus(self, step: Step) -> Job:
        """The job with one more step; `StoreError` when it is closed and the step is work on the machine."""
        self._refuse_if_closed(step.payload)
        self._refuse_early_callback(step.payload)
        return replace(self, steps=(*self.steps, step), last_seq=step.seq)

    def minus_last(self) -> tuple[Job, Step]:
        """The job without its last standing step, and that step; `StoreError` when there is none."""
        if not self.steps:
            raise StoreError(f"job {self.id} has nothing to undo. Type `faultodds job show {self.id}`.")
        step = self.steps[-1]
        undone = tuple(sorted((*self.undone, step), key=lambda each: each.seq))
        return replace(self, steps=self.steps[:-1], undone=undone, last_seq=self.last_seq + 1), step

    @property
    def facts(self) -> dict[str, str]:
        """Context and equipment facts; the last value given counts."""
        given = [step.payload for step in self.steps if isinstance(step.payload, Fact)]
        return {fact.name: fact.value for fact in given}

    @property
    def findings(self) -> tuple[PlacedFinding, ...]:
        """The findings that count: within a visit and stage one per name and take, the latest."""
        standing: dict[tuple[int, int, str, int], PlacedFinding] = {}
        for placed in self._placed_findings():
            finding = placed.finding
            key = (placed.visit, placed.stage, finding.name, finding.take)
            if key in standing and _adds_nothing(finding, standing[key].finding):
                continue
            standing.pop(key, None)
            standing[key] = placed
        return tuple(standing.values())

    @property
    def repairs(self) -> tuple[str, ...]:
        """Names of the repairs done, in order."""
        return tuple(step.payload.name for step in self.steps if isinstance(step.payload, RepairDone))

    @property
    def skipped(self) -> dict[str, str]:
        """Checks that cannot be done on this visit -> why; one done after all is no longer skipped."""
        skipped: dict[str, str] = {}
        for step in self.steps:
            match step.payload:
                case Skip(name, reason):
                    skipped[name] = reason
                case Finding(name) | RepairDone(name):
                    skipped.pop(name, None)
                case Closed():
                    skipped.clear()
        return skipped

    @property
    def machine_state(self) -> dict[str, bool]:
        """Access item -> done or not, as last entered on this visit.

        A closing clears it: the customer has plugged the machine in again, and believing it is still
        unplugged on the next visit could hurt someone.
        """
        state: dict[str, bool] = {}
        for step in self.steps:
            match step.payload:
                case MachineState(changes):
                    state.update(changes)
                case Closed():
                    state.clear()
        return state

    @property
    def notes(self) -> tuple[str, ...]:
        """Free text entered, in order."""
        return tuple(step.payload.text for step in self.steps if isinstance(step.payload, Note))

    @property
    def stopped(self) -> Danger | None:
        """The danger that was told of last, until somebody says that it is safe."""
        told = [step.payload for step in self.steps if isinstance(step.payload, Danger | Safe)]
        return told[-1] if told and isinstance(told[-1], Danger) else None

    @property
    def closings(self) -> tuple[Closed, ...]:
        """Every closing that stands, callbacks included, in order."""
        return tuple(step.payload for step in self.steps if isinstance(step.payload, Closed))

    @property
    def outcome(self) -> str | None:
        """The last of `gone`, `came_back`, `referred`; None while the call has not ended."""
        closings = self.closings
        return closings[-1].outcome if closings else None

    @property
    def is_closed(self) -> bool:
        """True when no work is waiting: a complaint that came back opens the job again."""
        return self.outcome in ("gone", "referred")

    @property
    def stage(self) -> int:
        """Repairs done so far; the stage the next finding belongs to."""
        return len(self.repairs)

    @property
    def visit(self) -> int:
        """1, and one more each time the complaint came back."""
        return 1 + sum(closing.outcome == "came_back" for closing in self.closings)

    @property
    def minutes(self) -> float | None:
        """Minutes entered in all, or None when none were."""
        given = [step.minutes for step in self.steps if step.minutes is not None]
        return sum(given) if given else None

    def next_take(self, name: str) -> int:
        """The `take` to give a deliberate re-measurement of `name` now (0 when it has not been taken yet)."""
        here = [
            placed.finding.take
            for placed in self.findings
            if (placed.finding.name, placed.stage, placed.visit) == (name, self.stage, self.visit)
        ]
        return max(here) + 1 if here else 0

    def _placed_findings(self) -> Iterator[PlacedFinding]:
        stage, visit = 0, 1
        for step in self.steps:
            match step.payload:
                case RepairDone():
                    stage += 1
                case Closed("came_back"):
                    visit += 1
                case Finding() as finding:
                    yield PlacedFinding(finding, stage, visit, step)

    def _refuse_if_closed(self, payload: Payload) -> None:
        if self.is_closed and not isinstance(payload, Note | Closed | Danger | Safe):
            came_back = f"`faultodds job close {self.id} came_back --on YYYY-MM-DD`"
            raise StoreError(
                f"job {self.id} is closed ({self.outcome}), so '{summary(payload)}' was not added. "
                f"If the complaint came back, type {came_back}. "
                f"If it was closed by mistake, type `faultodds job undo {self.id}`."
            )

    def _refuse_early_callback(self, payload: Payload) -> None:
        # One day of slack: the date is the shop's, the opening time is UTC.
        earliest = self.opened_at.date() - timedelta(days=1)
        if isinstance(payload, Closed) and payload.on is not None and payload.on < earliest:
            raise StoreError(
                f"job {self.id} was opened on {self.opened_at.date()}, so it cannot have ended "
                f"{payload.outcome} on {payload.on}. Check the date (YYYY-MM-DD) and enter it again."
            )


def export_row(job: Job) -> Row:
    """One job as one flat row, to learn from. A missing column was not done, which is not the same as normal.

    `fact.F`; `found.C`, `raw.C`, `minutes.C` for a finding before any repair, `found.C.after1` for one
    after the first repair, then `.visit2`, `.take1` where they apply; an uncertain finding is a JSON object
    of likelihoods. `repair.1`, `repair.1.at`, `repair.1.minutes` ...; `skipped.C` is the reason. Times are
    ISO, in UTC.
    """
    ended = [step for step in job.steps if isinstance(step.payload, Closed)]
    callbacks = [closing.on for closing in job.closings if closing.outcome == "came_back"]
    row: Row = {
        "job": job.id,
        "appliance": job.appliance,
        "revision": job.revision,
        "title": job.title,
        "opened_at": job.opened_at.isoformat(),
        "last_step_at": job.steps[-1].at.isoformat() if job.steps else None,
        "ended_at": ended[-1].at.isoformat() if ended else None,
        "minutes": job.minutes,
        "outcome": job.outcome,
        "first_outcome": job.closings[0].outcome if ended else None,
        "came_back_on": str(callbacks[0]) if callbacks else None,
        "visits": job.visit,
    }
    row.update({f"fact.{name}": value for name, value in job.facts.items()})
    for placed in job.findings:
        row.update(_finding_columns(placed))
    for number, step in enumerate((s for s in job.steps if isinstance(s.payload, RepairDone)), start=1):
        row.update(_repair_columns(number, step))
    row.update({f"skipped.{name}": reason for name, reason in _never_done(job).items()})
    return row


def _never_done(job: Job) -> dict[str, str]:
    """Skipped on some visit and done on none: `Job.skipped` forgets at a closing, learning must not."""
    skips = {step.payload.name: step.payload.reason for step in job.steps if isinstance(step.payload, Skip)}
    done = {placed.finding.name for placed in job.findings} | set(job.repairs)
    return {name: reason for name, reason in skips.items() if name not in done}


def _finding_columns(placed: PlacedFinding) -> Row:
    finding = placed.finding
    after = f".after{placed.stage}" if placed.stage else ""
    visit = f".visit{placed.visit}" if placed.visit > 1 else ""
    take = f".take{finding.take}" if finding.take else ""
    place = f"{finding.name}{after}{visit}{take}"
    shown = finding.outcome if finding.likelihood is None else json.dumps(finding.likelihood, sort_keys=True)
    columns: Row = {f"found.{place}": shown}
    if finding.raw is not None:
        columns[f"raw.{place}"] = finding.raw
    if placed.step.minutes is not None:
        columns[f"minutes.{place}"] = placed.step.minutes
    return columns


def _repair_columns(number: int, step: Step) -> Row:
    assert isinstance(step.payload, RepairDone)
    place = f"repair.{number}"
    columns: Row = {place: step.payload.name, f"{place}.at": step.at.isoformat()}
    if step.minutes is not None:
        columns[f"{place}.minutes"] = step.minutes
    return columns


def _adds_nothing(new: Finding, old: Finding) -> bool:
    """True when `new` says the same as `old` and brings no raw reading: the old one, with its own, stays."""
    return (new.outcome, new.likelihood) == (old.outcome, old.likelihood) and new.raw is None
