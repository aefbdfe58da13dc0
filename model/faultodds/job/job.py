"""One service call: an ordered list of steps, and what stands once they are all read.

A `Job` keeps the steps only; every view of it (`findings`, `repairs`, `outcome` ...) is worked out from them, so undoing the
last step gives back the earlier answer exactly.

Two counters place a finding. `stage` is the number of repairs done before it: what was seen before a repair
is evidence about the machine as it was, what was seen after it about the machine as it is. `visit` starts
at 1 and goes up when the complaint comes back. Only the standard library is imported here.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from datetime import date, datetime, timedelta

from msgspec import Struct
from msgspec.structs import replace

from faultodds.errors import StoreError
from faultodds.job.steps import (
    AWAITED,
    Closed,
    Danger,
    Fact,
    Finding,
    Hands,
    Kept,
    MachineState,
    Note,
    Payload,
    RepairDone,
    Safe,
    Skip,
    Step,
    summary,
)

# The title of a stop for a yes to all stop signs at once, of which it is not told which.
UNTOLD = "one of the stop signs, not told which"
# What a note begins with that tells of a machine nobody has said plainly how it is.
UNSETTLED = "How the machine is was not settled"
# And the other notes in the program's own words: what was asked first, what was not taken, whose numbers are used.
ASKED = "Asked first, and no to all: "
NOT_SAFE = "Not taken as safe: "
ADVISED_WITH = "advised with revision "
OWN_NOTES = (UNSETTLED, ASKED, NOT_SAFE, ADVISED_WITH)


def _is_unsettled(payload: Payload) -> bool:
    return isinstance(payload, Note) and payload.text.startswith(UNSETTLED)


class PlacedFinding(Struct, frozen=True):
    """A finding that counts, with its `stage` (repairs before it), `visit` (from 1) and step."""

    finding: Finding
    stage: int
    visit: int
    step: Step


class Return(Struct, frozen=True):
    """A complaint that came back: on which day, how many days after the machine was last worked on, after how many repairs."""

    on: date
    days: int
    stage: int


class Job(Struct, frozen=True):
    """One service call. `steps` are the ones that stand; `undone` the ones taken back, kept all the same.

    `last_seq` numbers the last change of any kind, undo included: while it is the same, nothing has happened. `source` and
    `fingerprint`: the knowledge file it was started on, as it is typed, and its content (empty for a job of an older store).
    `data`: the folder of its store, where that is not the usual one.
    """

    id: str
    appliance: str
    revision: str
    opened_at: datetime
    title: str = ""
    steps: tuple[Step, ...] = ()
    undone: tuple[Step, ...] = ()
    last_seq: int = 0
    source: str = ""
    fingerprint: str = ""
    data: str = ""

    @property
    def typed(self) -> str:
        """What to type for the job: its number, and where it is when that has to be said."""
        return f"{self.id} --data {shlex.quote(self.data)}" if self.data else self.id

    def plus(self, step: Step) -> Job:
        """The job with one more step; `StoreError` when it is closed and the step is work on the machine."""
        self._refuse_if_closed(step.payload)
        self._refuse_early_callback(step.payload)
        return replace(self, steps=(*self.steps, step), last_seq=step.seq)

    def minus_last(self) -> tuple[Job, Step]:
        """The job without its last standing step, and that step; `StoreError` when there is none.

        Whose hands it is stands: what a job has switched off is not switched on again by taking something back.
        """
        last = next((step for step in reversed(self.steps) if not isinstance(step.payload, Hands)), None)
        if last is None:
            raise StoreError(f"job {self.id} has nothing to undo. Type `faultodds job show {self.typed}`.")
        return self.minus(last), last

    def minus(self, step: Step) -> Job:
        """The job without one of its standing steps, wherever it stands; what came after it is left alone."""
        undone = tuple(sorted((*self.undone, step), key=lambda each: each.seq))
        left = tuple(each for each in self.steps if each is not step)
        return replace(self, steps=left, undone=undone, last_seq=self.last_seq + 1)

    def latest(self, name: str) -> tuple[Step, ...]:
        """The standing steps that make up the latest entry of a fact, finding, repair or skip of this name; a finding with
        those that it took the place of. Empty when there is none; `StoreError` when the job is closed."""
        if self.is_closed:
            raise StoreError(
                f"job {self.id} is closed ({self.outcome}), so '{name}' was not taken back. If it was closed by mistake, "
                f"type `faultodds job undo {self.typed}` first."
            )
        named = [
            s
            for s in self.steps
            if isinstance(s.payload, Fact | Finding | RepairDone | Skip) and s.payload.name == name
        ]
        last = named[-1:]
        if last and isinstance(last[0].payload, Finding):
            return next(self.in_place_of(p) for p in self._placed_findings() if p.step is last[0])
        return tuple(last)

    def in_place_of(self, placed: PlacedFinding) -> tuple[Step, ...]:
        """The steps of a finding and of those in the same place, which it took or which took its."""
        return tuple(p.step for p in self._placed_findings() if _place(p) == _place(placed))

    def without_place_of(self, finding: Finding) -> Job:
        """The job as it was before what `finding`, entered now, would take the place of."""
        here = PlacedFinding(finding, self.stage, self.visit, Step(self.last_seq + 1, self.opened_at, finding))
        job = self
        for step in self.in_place_of(here):
            job = job.minus(step)
        return job

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
            key = _place(placed)
            if key in standing and _adds_nothing(finding, standing[key].finding):
                continue
            standing.pop(key, None)
            standing[key] = placed
        return tuple(standing.values())

    def replaced_since(self, seq: int) -> list[PlacedFinding]:
        """The findings that counted at step `seq`, and whose place those entered since have taken."""
        kept = {p.step.seq for p in self.findings}
        entered = {_place(p) for p in self._placed_findings() if p.step.seq > seq}
        earlier = replace(self, steps=tuple(step for step in self.steps if step.seq <= seq)).findings
        return [old for old in earlier if old.step.seq not in kept and _place(old) in entered]

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
    def awaited(self) -> tuple[str, ...]:
        """The repairs that somebody else has been called for, and that are not entered as done."""
        return tuple(name for name, reason in self.skipped.items() if reason == AWAITED)

    @property
    def skipped_before_repair(self) -> frozenset[str]:
        """What was skipped before the last repair: what the customer could not answer then is looked for now."""
        last = max((i for i, step in enumerate(self.steps) if isinstance(step.payload, RepairDone)), default=0)
        since = {step.payload.name for step in self.steps[last:] if isinstance(step.payload, Skip)}
        return frozenset(self.skipped.keys() - since) if last else frozenset()

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
    def qualified(self) -> bool:
        """Whether work for qualified people is offered on this job."""
        said = [step.payload.qualified for step in self.steps if isinstance(step.payload, Hands)]
        return said[-1] if said else True

    @property
    def notes(self) -> tuple[str, ...]:
        """Free text entered, in order."""
        return tuple(step.payload.text for step in self.steps if isinstance(step.payload, Note))

    def kept(self, name: str) -> tuple[str, ...]:
        """What is kept of one kind (`steps.KEPT`), in order, each once."""
        given = [s.payload.value for s in self.steps if isinstance(s.payload, Kept) and s.payload.name == name]
        return tuple(dict.fromkeys(given))

    @property
    def stopped(self) -> Danger | None:
        """What was told of danger, as one, until somebody says that it is safe."""
        from faultodds.safety import together

        return Danger(together(self.dangers)) if self.dangers else None

    @property
    def dangers(self) -> list[str]:
        """What was shown of each danger told of since it was safe last; a yes of which it is told next to what is left out."""
        told: list[str] = []
        before = ""
        for step in self.steps:
            match step.payload:
                case Safe():
                    told = []
                case Danger(shown):
                    told = [*(each for each in told if each is not before), shown]
            before = shown if isinstance(step.payload, Danger) and shown.startswith(f"STOP. {UNTOLD}") else ""
        return told

    @property
    def unsettled(self) -> str:
        """What was noted of a machine whose state nobody said plainly, until somebody does."""
        told = [s.payload for s in self.steps if isinstance(s.payload, MachineState) or _is_unsettled(s.payload)]
        return told[-1].text if told and isinstance(told[-1], Note) else ""

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
    def returns(self) -> tuple[Return, ...]:
        """Every time the complaint came back, in order."""
        found: list[Return] = []
        left, stage = self.opened_at.date(), 0
        for step in self.steps:
            match step.payload:
                case Closed("came_back", date() as on):
                    found.append(Return(on, max(0, (on - left).days), stage))
                    left = on
                case Closed(_, date() as on):
                    left = on
                case RepairDone():
                    left, stage = step.at.date(), stage + 1
                case Finding() | Closed():
                    left = step.at.date()
        return tuple(found)

    @property
    def begun(self) -> int:
        """Repairs done before this visit."""
        return self.returns[-1].stage if self.returns else 0

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
        if self.is_closed and not isinstance(payload, Note | Kept | Closed | Danger | Safe):
            came_back = f"`faultodds job close {self.typed} came_back --on YYYY-MM-DD`"
            raise StoreError(
                f"job {self.id} is closed ({self.outcome}), so '{summary(payload)}' was not added. "
                f"If the complaint came back, type {came_back}. "
                f"If it was closed by mistake, type `faultodds job undo {self.typed}`."
            )

    def _refuse_early_callback(self, payload: Payload) -> None:
        # One day of slack: the date is the shop's, the opening time is UTC.
        earliest = self.opened_at.date() - timedelta(days=1)
        if isinstance(payload, Closed) and payload.on is not None and payload.on < earliest:
            what = "come back" if payload.outcome == "came_back" else f"ended {payload.outcome}"
            raise StoreError(
                f"job {self.id} was opened on {self.opened_at.date()}, so it cannot have {what} on {payload.on}. "
                "Check the date (YYYY-MM-DD) and enter it again."
            )


def _place(placed: PlacedFinding) -> tuple[int, int, str, int]:
    """Findings in the same place stand in for one another."""
    return placed.visit, placed.stage, placed.finding.name, placed.finding.take


def _adds_nothing(new: Finding, old: Finding) -> bool:
    """True when `new` says the same as `old` and brings no raw reading: the old one, with its own, stays."""
    return (new.outcome, new.likelihood) == (old.outcome, old.likelihood) and new.raw is None
