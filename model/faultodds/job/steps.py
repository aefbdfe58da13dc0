"""What a technician enters in a job, one step at a time: a fact, a finding, a repair, a check that cannot be done now, a
change to the machine's state, whose hands it is, a note, or the closing. Only the standard library is imported here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Final, TypeAlias

import msgspec
from msgspec import Struct
from msgspec.structs import asdict, force_setattr

from faultodds.errors import FaultoddsError, unknown

OUTCOMES: Final = ("gone", "came_back", "referred")
ENDED: Final = {"gone": "fault gone", "came_back": "came back", "referred": "handed over"}
"""The outcomes of a job in words."""
KEPT: Final = {
    "model": "model",
    "serial": "serial number",
    "part": "part fitted",
    "photo": "photograph",
    "technician": "technician",
}
"""What can be kept with a job, in words."""


class Finding(Struct, frozen=True):
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
            force_setattr(self, "likelihood", _checked_likelihood(self.name, self.likelihood))
        if self.take < 0:
            raise FaultoddsError(f"{self.name}: take {self.take} is below 0. Leave it out, or count from 1.")


class RepairDone(Struct, frozen=True):
    """A repair that was carried out."""

    name: str

    def __post_init__(self) -> None:
        _need_text("repair", self.name)


class Fact(Struct, frozen=True):
    """A context or equipment fact asked at intake."""

    name: str
    value: str

    def __post_init__(self) -> None:
        _need_text("fact", self.name)
        _need_text(f"value of {self.name}", self.value)


# The reason of a `Skip` of work that somebody else has been called for.
AWAITED = "awaited: not done yet"


class Skip(Struct, frozen=True):
    """A check or repair that cannot be done now, and why."""

    name: str
    reason: str = ""

    def __post_init__(self) -> None:
        _need_text("check to skip", self.name)


class MachineState(Struct, frozen=True):
    """Changes to the machine's state: access item ("unplugged", "front_open") -> now so, or not."""

    changes: dict[str, bool]

    def __post_init__(self) -> None:
        force_setattr(self, "changes", {name: bool(done) for name, done in self.changes.items()})


class Hands(Struct, frozen=True):
    """Whether work for qualified people is offered from here on; it stays so until it is said otherwise."""

    qualified: bool


class Note(Struct, frozen=True):
    """Free text; never evidence."""

    text: str


class Kept(Struct, frozen=True):
    """Something kept with the job for the record, one of `KEPT`: a photograph is the name of its file in the folder `photos`
    beside the store. Never evidence."""

    name: str
    value: str

    def __post_init__(self) -> None:
        if self.name not in KEPT:
            raise unknown("thing to keep with a job", self.name, KEPT)
        _need_text(KEPT[self.name], self.value)


class Danger(Struct, frozen=True):
    """Danger was told of: `text` is what was shown, the sign and its steps. The job stands still until `Safe`."""

    text: str


class Safe(Struct, frozen=True):
    """Somebody said that it is safe again."""

    text: str = ""


class Closed(Struct, frozen=True):
    """How the call ended: complaint `gone`, `came_back` on a date (opens the job again), or `referred`."""

    outcome: str
    on: date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.outcome not in OUTCOMES:
            raise unknown("outcome of a job", self.outcome, OUTCOMES)
        if self.outcome == "came_back" and self.on is None:
            raise FaultoddsError(
                "came_back needs the day the complaint came back. Give it as YYYY-MM-DD: --on YYYY-MM-DD with faultodds job close, "
                "or close came back YYYY-MM-DD in a guided call."
            )


Payload: TypeAlias = Finding | RepairDone | Fact | Skip | MachineState | Hands | Note | Kept | Danger | Safe | Closed

KINDS: Final[dict[str, type[Payload]]] = {
    "finding": Finding,
    "repair": RepairDone,
    "fact": Fact,
    "skip": Skip,
    "machine_state": MachineState,
    "hands": Hands,
    "note": Note,
    "kept": Kept,
    "danger": Danger,
    "safe": Safe,
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
    """The payload that `to_json` wrote; `ValueError`, `TypeError`, `KeyError` or `RecursionError` when the text is not one."""
    return msgspec.convert(json.loads(text), type=KINDS[kind])


def summary(payload: Payload) -> str:
    """One line that says what was entered, for lists and for "undone: ..."."""
    match payload:
        case Finding():
            return _finding_summary(payload)
        case RepairDone(name):
            return f"repair {name}"
        case Fact(name, value):
            return f"{name} = {value}"
        case Skip(name, reason) if reason == AWAITED:
            return f"{name} {reason}"
        case Skip(name, reason):
            return f"skip {name}" + (f" ({reason})" if reason else "")
        case MachineState(changes):
            return ", ".join(f"{name}: {'yes' if done else 'no'}" for name, done in changes.items())
        case Hands(qualified):
            return f"work for qualified people: {'offered' if qualified else 'not offered'}"
        case Note(text):
            return f"note: {text}"
        case Kept(name, value):
            return f"{KEPT[name]}: {value}"
        case Danger(text):
            return text.partition("\n")[0]
        case Safe(text):
            return "safe again" + (f": {text}" if text else "")
        case Closed(outcome, on, note):
            return f"closed: {ENDED[outcome]}" + (f" on {on}" if on else "") + (f" ({note})" if note else "")


class Step(Struct, frozen=True):
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
        force_setattr(self, "minutes", float(self.minutes))


def utc_now() -> datetime:
    """The time now, in UTC."""
    return datetime.now(UTC)


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
