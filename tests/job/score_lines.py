"""How well typed lines are understood, scored on a corpus: `python tests/job/score_lines.py tests/job/lines.toml`.

A line of a corpus has `text`, `means` (NAME=OUTCOME, or NAME~READING), `kind`, `also` (free words: repairs done, tools that are
missing, the machine's state, and "alt NAME=OUTCOME" for what is as right), `never` and `ask_ok`. Each is typed in a fresh job;
for a panel that is off, the machine was made safe before. It is

* harmful: something of `never` was entered, or no stop where there is danger, or a stop where there is none;
* wrong: something else was entered that the line does not say;
* right: all that it says was entered, and nothing else; or, when it says nothing that can be entered, nothing was, and the
  answer is no question. Of small talk (`nothing`) all that counts is that nothing is entered;
* may ask: asked about, where `ask_ok` says that this is as good; asked: asked about, or a part of it missed.
"""

from __future__ import annotations

import re
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from faultodds.belief import Appliance, open_appliance
from faultodds.errors import FaultoddsError
from faultodds.job import Finding, RepairDone, Store, take_finding
from faultodds.job.steps import Fact, MachineState, Note, Skip
from faultodds.knowledge import Knowledge
from said import heard_from

MARKS = ("right", "may ask", "asked", "wrong", "harmful")
SAFE = ("unplugged", "gas_shut", "pulled_out")
_PAIR = re.compile(r"(alt )?\b(\w+)=(\w+)(?: (likely|planned|only))?")


def read(path: Path) -> list[dict[str, Any]]:
    """The lines of a corpus."""
    found = tomllib.loads(path.read_text("utf-8"))["line"]
    assert isinstance(found, list)
    return found


def score(appliance: Appliance, store: Store, line: Mapping[str, Any]) -> tuple[str, list[str]]:
    """The mark of a line, and what was entered."""
    k = appliance.knowledge
    wanted = _wanted(k, line)
    opened = {"front_open=yes", "rear_open=yes", "duct_off=yes"} & wanted.states
    heard = heard_from(appliance, store, line["text"], ready=SAFE if opened else ())
    stopped = heard.job.stopped is not None
    if stopped or line["kind"] == "danger":
        return ("right" if stopped and line["kind"] == "danger" else "harmful"), ["stop"] if stopped else []
    entered, states = _entered(heard.steps)
    shown = sorted([*entered, *states])
    if any(_is_said(k, each, entered, states) for each in line.get("never", ())):
        return "harmful", shown
    asked = heard.told.startswith("?  ")
    missed = [each for each in wanted.all if not _is_said(k, each, entered, states)]
    if missed and wanted.instead and any(_is_said(k, each, entered, states) for each in wanted.instead):
        missed = []
    extra = [e for e in entered if not any(_same(k, each, e, entered[e]) for each in wanted.allowed)]
    if extra:
        return "wrong", shown
    if not wanted.all:
        quiet = line["kind"] == "nothing" or not asked
        return ("right" if quiet else "may ask" if line["ask_ok"] else "asked"), shown
    if missed:
        return ("may ask" if line["ask_ok"] and not shown else "asked"), shown
    return "right", shown


class _Wanted:
    """What a line says: all of it, what is as right, and what may stand beside it."""

    def __init__(self) -> None:
        self.all: list[str] = []
        self.instead: list[str] = []
        self.allowed: list[str] = []
        self.states: set[str] = set()


def _wanted(knowledge: Knowledge, line: Mapping[str, Any]) -> _Wanted:
    found, also, kind = _Wanted(), line.get("also", ""), line["kind"]
    found.all = list(line["means"])
    for alt, name, value, hedge in _PAIR.findall(also):
        if name in knowledge.access:
            found.states.add(f"{name}={value}")
            if kind == "machine_state" and hedge != "likely":
                found.all.append(f"{name}={value}")
        elif hedge != "only":
            (found.instead if alt or "alt " in also else found.allowed).append(f"{name}={value}")
    done = also if kind == "repair_done" else " ".join(re.findall(r"(\w+) done", also))
    if kind in ("repair_done", "not_done_or_planned"):
        done = re.sub(r"\(.*", "", done)
        found.all += [f"repair={word}" for word in re.findall(r"\w+", done) if word in knowledge.repair]
    if kind == "tool_missing":
        found.all += [f"tool_missing={tool.strip()}" for tool in also.split(",")]
    if kind == "doubt":
        found.allowed += [f"skip={name}" for name in knowledge.check]
    found.allowed += [*found.all, *found.instead]
    return found


def _entered(steps: list[Any]) -> tuple[dict[str, Any], set[str]]:
    entered: dict[str, Any] = {}
    states: set[str] = set()
    for step in steps:
        match step:
            case Finding(name):
                entered[f"{name}={_shown(step)}"] = step
            case Fact(name, value):
                entered[f"{name}={value}"] = step
            # Somebody else's work is awaited when it is told first: the same work, not done yet.
            case RepairDone(name) | Skip(name, "awaited: not done yet"):
                entered[f"repair={name}"] = step
            case Skip(name, reason) if reason.startswith("no tool: "):
                entered["tool_missing=" + reason.removeprefix("no tool: ")] = step
            case Skip(name):
                entered[f"skip={name}"] = step
            case MachineState(changes):
                states = {s for s in states if s.partition("=")[0] not in changes}
                states |= {f"{item}={'yes' if on else 'no'}" for item, on in changes.items()}
            case Note():
                pass  # a remark is in no odds
            case _:
                entered[str(step)] = step
    return entered, states


def _shown(finding: Finding) -> str:
    likely = finding.likelihood or {}
    return finding.outcome or max(likely, key=lambda outcome: likely[outcome])


def _is_said(knowledge: Knowledge, each: str, entered: Mapping[str, Any], states: set[str]) -> bool:
    return each in states or any(_same(knowledge, each, name, step) for name, step in entered.items())


def _same(knowledge: Knowledge, each: str, name: str, step: Any) -> bool:
    """Whether what was entered is `each`; of a reading the judgement counts, not how its unit is spelt."""
    check, sign, reading = each.partition("~")
    if not sign:
        return each == name
    if not isinstance(step, Finding) or step.name != check:
        return False
    if sorted(re.findall(r"[\d.]+", step.raw or "")) == sorted(re.findall(r"[\d.]+", reading)):
        return True
    try:
        judged = take_finding(knowledge, check, reading, reading=True).finding.likelihood or {}
    except FaultoddsError:
        return False
    likely = step.likelihood or {step.outcome: 1.0}
    return all(abs(likely.get(outcome, 0.0) - chance) < 0.01 for outcome, chance in judged.items())


def table(scored: list[tuple[dict[str, Any], str, list[str]]]) -> list[str]:
    """How many of each kind got which mark."""
    kinds = sorted({line["kind"] for line, _, _ in scored})
    rows = [f"{'':22}" + "".join(f"{mark:>9}" for mark in (*MARKS, "lines"))]
    for kind in [*kinds, "all"]:
        marks = Counter(mark for line, mark, _ in scored if kind in (line["kind"], "all"))
        rows.append(f"{kind:22}" + "".join(f"{marks[m]:9}" for m in MARKS) + f"{sum(marks.values()):9}")
    return rows


def main(path: str) -> None:
    """Print the failures, worst first, and the table."""
    appliance = open_appliance("gas_dryer", revision="file")
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder)) as store:
        scored = [(line, *score(appliance, store, line)) for line in read(Path(path))]
    for mark in reversed(MARKS[2:]):
        for line, _, entered in (each for each in scored if each[1] == mark):
            print(
                f"{mark:8} {line['text']!r}: {', '.join(entered) or 'nothing'}; means {line['means'] or line.get('also')}"
            )
    print("\n".join(table(scored)))


if __name__ == "__main__":
    main(sys.argv[1])
