"""Runs one typed line through the guided call and says what became of it, in the program's own terms."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable
from typing import NamedTuple
from unittest import mock

from faultodds.belief import Appliance
from faultodds.errors import SafetyStop
from faultodds.job import UNSETTLED, Finding, OpenJob, Payload, RepairDone, Store
from faultodds.job.job import Job
from faultodds.job.steps import Fact, MachineState, Note, Skip
from faultodds_cli.bench import intake, lines
from faultodds_cli.bench.call import BenchCall
from faultodds_cli.bench.commands import exact
from faultodds_cli.shared.talk import Talk


class Heard(Talk):
    """Nothing is printed, and nothing is asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.told: list[str] = []

    def ask(self, question: str = "", any_line: bool = False) -> str | None:
        return None

    def say(self, lines: str | Iterable[str] = "") -> None:
        self.told += [lines] if isinstance(lines, str) else list(lines)

    def tell(self, text: str, first: str = "") -> None:
        self.told.append(first + text)

    def rule(self) -> None:
        return None


class Entered(NamedTuple):
    """What a line became: the steps, the job then, and what was said back."""

    steps: list[Payload]
    job: Job
    told: str


def heard_from(
    appliance: Appliance,
    store: Store,
    line: str,
    prompt: str = "any",
    ready: Iterable[str] = (),
    answers: Iterable[str] = (),
) -> Entered:
    """A line typed in a job of its own, and `answers` behind it; `ready` is open or shut off before."""
    visit = OpenJob.start(store, appliance)
    if ready:
        visit.set_state(dict.fromkeys(ready, True))
    before = len(visit.job.steps)
    talk = Heard()
    call = BenchCall(visit, talk)
    call.show = lambda: None  # type: ignore[method-assign]
    # With a question on the screen a bare yes or no would answer it.
    with mock.patch("faultodds.advice.advisor.priced_questions", return_value=[]), contextlib.suppress(SafetyStop):
        if prompt == "complaint" and exact(line.split()[0]) is None:
            call.numbered = call.symptoms()
            intake._take_complaint(call, line)
        else:
            for each in (line, *answers):
                lines.take(call, each)
    entered = [step.payload for step in visit.job.steps[before:] if not _is_unsettled(step.payload)]
    return Entered(entered, visit.job, " ".join(talk.told))


def becomes(
    appliance: Appliance,
    store: Store,
    line: str,
    prompt: str = "any",
    ready: Iterable[str] = (),
    answers: Iterable[str] = (),
) -> tuple[list[str], str]:
    """What was entered ("heat=none", "gas_shut: yes", "no tool: multimeter", "stop"), and what was said back."""
    steps, job, told = heard_from(appliance, store, line, prompt, ready, answers)
    if job.stopped:
        return ["stop"], job.stopped.text
    # the opening and shutting that a finding brings is not what was typed
    found = any(isinstance(s, Finding | RepairDone) for s in steps)
    words = [_word(s) for s in steps if not (found and isinstance(s, MachineState))]
    words = [each for word in words for each in (word.split(", ") if re.match(r"\w+: (?:yes|no)\b", word) else [word])]
    return list(dict.fromkeys(words)), told


def _is_unsettled(payload: Payload) -> bool:
    """Nobody answered how the machine is: that is noted, and was not typed."""
    return isinstance(payload, Note) and payload.text.startswith(UNSETTLED)


def _word(payload: Payload) -> str:
    match payload:
        case Finding(name, outcome, likelihood):
            return f"{name}={outcome or max(likelihood or {}, key=lambda o: (likelihood or {})[o])}"
        case Fact(name, value):
            return f"{name}={value}"
        case RepairDone(name):
            return f"repair={name}"
        case Skip(name, reason):
            return reason or f"skip {name}"
        case MachineState(changes):
            return ", ".join(f"{name}: {'yes' if done else 'no'}" for name, done in changes.items())
        case Note(text):
            return f"note: {text}"
    return str(payload)
