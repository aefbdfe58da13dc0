"""One service call: an ordered list of steps, and what stands once they are all read.

A step is one thing the technician entered: a fact, a finding, a repair, a check that cannot be done now, a
change to the machine's state, a note, or the closing. A `Job` keeps the steps only; every view of it
(`findings`, `repairs`, `outcome` ...) is worked out from them, so undoing the last step gives back the
earlier answer exactly.

Two counters place a finding. `stage` is the number of repairs done before it: what was seen before a repair
is evidence about the machine as it was, what was seen after it about the machine as it is. `visit` starts
at 1 and goes up when the complaint comes back. Only the standard library is imported here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict, replace
from datetime import UTC, date, datetime, timedelta
from typing import Final, TypeAlias

from faultodds.errors import FaultoddsError, StoreError, unknown
from faultodds.records import dataclass

OUTCOMES: Final = ("gone", "came_back", "referred")


@dataclass(frozen=True)
class Finding:
    """What a symptom or check showed: one `outcome`, or a `likelihood` for each outcome when it is uncertain.

    `raw` is the text as typed ("1.15k"). `take` above 0 marks a deliberate re-measurement: it counts as
    further evidence, where a plain repeat (`take` 0) stands in for the earlier one.
    """

    name: str
    outcome: str | None = None
    likelihood: dict[str, float] | None = None
    raw: str | None = None
    take: int = 0

    def __post_init__(self) -> None:
        _need_text("finding", self.name)
        if (self.outcome is None) == (self.likelihood is None):
            found = "neither" if self.outcome is None else "both"
            raise FaultoddsError(
                f"{self.name}: a finding is one outcome, or a likelihood for each outcome; here is {found}. "
                f"Type {self.name}=OUTCOME, or give a raw reading."
            )
        if self.outcome is not None:
            _need_text(f"outcome of {self.name}", self.outcome)
        if self.likelihood is not None:
            object.__setattr__(self, "likelihood", _checked_likelihood(self.name, self.likelihood))
        if self.take < 0:
            raise FaultoddsError(f"{self.name}: take {self.take} is below 0. Leave it out, or count from 1.")


@dataclass(frozen=True)
class Repair:
    """A repair that was carried out."""

    name: str

    def __post_init__(self) -> None:
        _need_text("repair", self.name)


@dataclass(frozen=True)
class Fact:
    """A context or equipment fact asked at intake."""

    name: str
    value: str

    def __post_init__(self) -> None:
        _need_text("fact", self.name)
        _need_text(f"value of {self.name}", self.value)


@dataclass(frozen=True)
class Skip:
    """A check or repair that cannot be done now, and why."""

    name: str
    reason: str = ""

    def __post_init__(self) -> None:
        _need_text("check to skip", self.name)


@dataclass(frozen=True)
class MachineState:
    """Changes to the machine's state: access item ("unplugged", "front_open") -> now so, or not."""

    changes: dict[str, bool]

    def __post_init__(self) -> None:
        object.__setattr__(self, "changes", {name: bool(done) for name, done in self.changes.items()})


@dataclass(frozen=True)
class Note:
    """Free text; never evidence."""

    text: str


@dataclass(frozen=True)
class Closed:
    """How the call ended: complaint `gone`, `came_back` on a date (opens the job again), or `referred`."""

    outcome: str
    on: date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.outcome not in OUTCOMES:
            raise unknown("outcome of a job", self.outcome, OUTCOMES)
        if self.outcome == "came_back" and self.on is None:
            raise FaultoddsError("came_back needs the day the complaint came back. Give it as YYYY-MM-DD.")


Payload: TypeAlias = Finding | Repair | Fact | Skip | MachineState | Note | Closed
Row: TypeAlias = dict[str, str | int | float | None]

KINDS: Final[dict[str, type[Payload]]] = {
    "finding": Finding,
    "repair": Repair,
    "fact": Fact,
    "skip": Skip,
    "machine_state": MachineState,
    "note": Note,
    "closed": Closed,
}
_KIND_OF: Final = {payload_type: kind for kind, payload_type in KINDS.items()}


def kind_of(payload: Payload) -> str:
    """The short word under which a payload is stored."""
    return _KIND_OF[type(payload)]


def to_json(payload: Payload) -> str:
    """A payload as JSON text; `from_json` gives it back equal."""
    return json.dumps(asdict(payload), default=date.isoformat, allow_nan=False)


def from_json(kind: str, text: str) -> Payload:
    """The payload that `to_json` wrote; `ValueError`, `TypeError` or `KeyError` when the text is not one."""
    record = json.loads(text)
    if record.get("on") is not None:
        record["on"] = date.fromisoformat(record["on"])
    return KINDS[kind](**record)


def summary(payload: Payload) -> str:
    """One line that says what was entered, for lists and for "undone: ..."."""
    match payload:
        case Finding():
            return _finding_summary(payload)
        case Repair(name):
            return f"repair {name}"
        case Fact(name, value):
            return f"{name} = {value}"
        case Skip(name, reason):
            return f"skip {name}" + (f" ({reason})" if reason else "")
        case MachineState(changes):
            return ", ".join(f"{name}: {'yes' if done else 'no'}" for name, done in changes.items())
        case Note(text):
            return f"note: {text}"
        case Closed(outcome, on, _):
            return f"closed: {outcome}" + (f" on {on}" if on else "")


@dataclass(frozen=True)
class Step:
    """One entry of a job: its place `seq` (from 1), when (`at`, UTC), what, and the `minutes` it took."""

    seq: int
    at: datetime
    payload: Payload
    minutes: float | None = None

    def __post_init__(self) -> None:
        if self.minutes is None:
            return
        if not (math.isfinite(self.minutes) and self.minutes >= 0):
            raise FaultoddsError(f"{self.minutes:g} minutes is not a time. Give 0 or more, such as 2.5.")
        object.__setattr__(self, "minutes", float(self.minutes))


@dataclass(frozen=True)
class PlacedFinding:
    """A finding that counts, with its `stage` (repairs before it), `visit` (from 1) and step."""

    finding: Finding
    stage: int
    visit: int
    step: Step


@dataclass(frozen=True)
class Job:
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
        return tuple(step.payload.name for step in self.steps if isinstance(step.payload, Repair))

    @property
    def skipped(self) -> dict[str, str]:
        """Checks that cannot be done on this visit -> why; one done after all is no longer skipped."""
        skipped: dict[str, str] = {}
        for step in self.steps:
            match step.payload:
                case Skip(name, reason):
                    skipped[name] = reason
                case Finding(name) | Repair(name):
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
                case Repair():
                    stage += 1
                case Closed("came_back"):
                    visit += 1
                case Finding() as finding:
                    yield PlacedFinding(finding, stage, visit, step)

    def _refuse_if_closed(self, payload: Payload) -> None:
        if self.is_closed and not isinstance(payload, Note | Closed):
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


def utc_now() -> datetime:
    """The time now, in UTC."""
    return datetime.now(UTC)


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
    for number, step in enumerate((s for s in job.steps if isinstance(s.payload, Repair)), start=1):
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
    assert isinstance(step.payload, Repair)
    place = f"repair.{number}"
    columns: Row = {place: step.payload.name, f"{place}.at": step.at.isoformat()}
    if step.minutes is not None:
        columns[f"{place}.minutes"] = step.minutes
    return columns


def _adds_nothing(new: Finding, old: Finding) -> bool:
    """True when `new` says the same as `old` and brings no raw reading: the old one, with its own, stays."""
    return (new.outcome, new.likelihood) == (old.outcome, old.likelihood) and new.raw is None


def _finding_summary(finding: Finding) -> str:
    if finding.likelihood is None:
        shown = str(finding.outcome)
    else:
        shown = " / ".join(f"{outcome} {weight:g}" for outcome, weight in finding.likelihood.items())
    raw = f" ({finding.raw})" if finding.raw is not None else ""
    again = f", take {finding.take + 1}" if finding.take else ""
    return f"{finding.name} = {shown}{raw}{again}"


def _checked_likelihood(name: str, likelihood: Mapping[str, float]) -> dict[str, float]:
    weights = {outcome: float(weight) for outcome, weight in likelihood.items()}
    sound = all(math.isfinite(weight) and weight >= 0 for weight in weights.values())
    if not sound or not any(weights.values()):
        shown = ", ".join(f"{outcome} {weight:g}" for outcome, weight in weights.items()) or "nothing"
        raise FaultoddsError(
            f"{name}: likelihoods must be 0 or more with at least one above 0; found {shown}. "
            f"Give each outcome a weight, for example 70 and 30."
        )
    return weights


def _need_text(what: str, text: str) -> None:
    if not text.strip():
        raise FaultoddsError(f"the {what} is blank. Give its name, for example lint_screen_look.")
