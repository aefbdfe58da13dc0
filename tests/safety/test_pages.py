"""Laws over the page of every check and repair, told from random machine states: what comes off goes back on, nothing is touched
before it is proved dead, a soap test says what a bubble means."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calls import command, looked_at
from faultodds.advice.doing import closing_lines, instructions
from faultodds.advice.machine import CLOSED_UP, MachineStates, State
from faultodds.knowledge.fitted import kinds
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge
from faultodds.safety.sequence import Line

PAGES = 1500
CLAUSE = re.compile(r"[^.;:,]+")
# What is taken off or out on a page, by the words that name it there and where it is put back.
NAMED = {
    "wire": r"\b(?:wires?|plugs?|door switch)\b(?! the dryer)",
    "screw": r"\b(?:screws?|bracket)\b",
    "drum": r"\bdrum\b",
    "belt": r"\bbelt\b",
    "front support": r"\bfront support\b",
    "cover": r"\bcover\b",
    "clamp": r"\bclamp\b",
    "wheel": r"\bwheel\b",
    "console": r"\bconsole\b",
    "knob": r"\bknob\b",
    "screen": r"\bscreen\b",
    "grille": r"\bgrille\b",
    "burner tube": r"\bburner tube\b",
    "duct": r"\btransition duct\b",
}
OFF = re.compile(r"\b(?:[Pp]ull|[Uu]nplug|[Uu]ndo|[Tt]ake|off|out|apart|forwards?|[Ll]ift|[Ss]lip|[Ss]lide)\b")
BACK = re.compile(
    r"\b(?:back|home|[Rr]efit|on again|in again|every screw|pushed on|plugged in|over the motor pulley)\b"
)
# The dryer's own plug, a screen of the hood that stays out, and what is no part that comes off.
NOT_OFF = re.compile(
    r"[Pp]lug out|[Pp]ull the plug|half out|strip of paper|off the burner tube|any screen|Duct off|out of reach|screen in|lamp"
)
TOUCH = re.compile(
    r"\b(?:[Uu]nplug the door switch|[Pp]ull (?:that|both|the (?:coil|two|wires)|its|one|those|their)|[Cc]lip insulated"
    r"|[Pp]robes? on|each of its terminals|wires off\b|[Cc]lips off)"
)
PROVED = re.compile(
    r"[Mm]eter on AC volts, a range over 120\D.*?prove.*?(?:cord|harness).*?\b0 V\b.*?proved? again", re.S
)
SOAP = re.compile(r"\bsoap[- ]test|\bsoap cock|leak fluid", re.I)


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return load("gas_dryer")


def pages(k: Knowledge, count: int) -> Iterator[tuple[str, State, list[Line]]]:
    """(name, state before, lines to the machine closed up again): each work from closed up first, then any from random states."""
    machine, rng = MachineStates(k), np.random.default_rng(21)
    names, state = [*k.check, *k.repair], CLOSED_UP
    for at in range(len(names) + count):
        name = names[at] if at < len(names) else str(rng.choice(names))
        start = CLOSED_UP if at < len(names) else state
        (told,) = instructions(k, machine, [name], start)
        yield name, start, [*told.lines, *closing_lines(k, told.after)]
        state = CLOSED_UP if rng.random() < 0.2 else told.after


def clauses(text: str) -> list[tuple[int, str]]:
    """The clauses of a text with where each begins."""
    return [(found.start(), found[0]) for found in CLAUSE.finditer(text)]


def left_off(k: Knowledge, count: int = PAGES) -> list[str]:
    """What is taken off on a page, or with the panel, and not put back by the time it is closed up; wires and plugs with a tug."""
    found: dict[str, None] = {}
    for name, start, lines in pages(k, count):
        text = " ".join(line.text for line in lines)
        said = clauses(text)
        for what, pattern in NAMED.items():
            named = [(at, each) for at, each in said if re.search(pattern, each, re.I)]
            off = [at for at, each in named if OFF.search(each) and not BACK.search(each) and not NOT_OFF.search(each)]
            back = [at for at, each in named if BACK.search(each)]
            if off and not (back and max(back) > max(off)):
                found[f"{name}: {what}"] = None
            if off and what == "wire" and "tug" not in text[max(off) :]:
                found[f"{name}: {what} without a tug, from {sorted(start)}"] = None
    return list(found)


def touched_live(k: Knowledge, count: int = PAGES) -> list[str]:
    """Pages where a wire is touched before it is proved dead: meter, setting, where, and the meter proved again. Behind a panel
    that was open before, a caution says so; after live work it is proved anew."""
    found: dict[str, None] = {}
    for name, start, lines in pages(k, count):
        proved, panels = False, {i for i in start if k.access[i].requires}
        for line in lines:
            if line.move is not None and line.move.item == "unplugged" and not line.move.opens:
                proved = False
            said = " ".join(k.caution[c].text for c in line.cautions)
            proved |= bool(panels and "dead" in said)
            shown, touch = PROVED.search(line.text), TOUCH.search(line.text)
            proved |= line.part == "unfit" and "0 V" in line.text[: touch.start() if touch else None]
            here = touch is not None and line.part in ("move", "fit", "steps", "unfit") and bool(_inside(k, line))
            if touch and here and not proved and not (shown and shown.end() <= touch.start()):
                found[f"{name}: {line.text[: touch.end()]}"] = None
            proved |= bool(shown)
    return list(found)


def _inside(k: Knowledge, line: Line) -> set[str]:
    """The panels that a line works behind, or opens."""
    if line.move is not None:
        items = {line.move.item} if line.move.opens else set()
    else:
        work: Any = k.check.get(line.work) or k.repair[line.work]
        items = {*work.access}
    return {i for i in items if k.access[i].requires and k.access[i].blocks_running and not k.access[i].lets_out}


def no_meaning(k: Knowledge) -> list[str]:
    """Every text of a page that tells of a soap test and not what a bubble means."""
    texts = {f"access.{n}": (a.open_step, a.close_step) for n, a in k.access.items()}
    texts |= {f"caution.{n}": (c.text,) for n, c in k.caution.items()}
    for name, work in {**k.check, **k.repair}.items():
        parts = (work.run_first, work.fit, work.steps, work.unfit, work.tight, work.prove)
        texts[name] = tuple(text for part in parts for text in part)
    means = re.compile(r"[Bb]ubbl\w+[^.]*\b(?:cock|gas|out)\b|no soap test")
    return [
        f"{n}: {text}" for n, each in texts.items() for text in each if SOAP.search(text) and not means.search(text)
    ]


def test_what_comes_off_goes_back_on(dryer: Knowledge) -> None:
    """Over every check and repair, from closed up and from random states, on every kind of machine."""
    for kind in kinds(dryer):
        assert left_off(kind, PAGES // 4) == []


def test_nothing_is_touched_before_it_is_proved_dead(dryer: Knowledge) -> None:
    """The meter, its setting, where it is put, and that it is proved on both sides of the reading."""
    for kind in kinds(dryer):
        assert touched_live(kind, PAGES // 4) == []


def test_a_soap_test_says_what_a_bubble_means(dryer: Knowledge) -> None:
    """Wherever one is told."""
    assert no_meaning(dryer) == []


def edited(k: Knowledge, group: str, name: str, **changes: Any) -> Knowledge:
    """The file with one entry changed."""
    table = getattr(k, group)
    return replace(k, **{group: {**table, name: replace(table[name], **changes)}})


@pytest.mark.parametrize(
    ("group", "name"),
    [
        ("check", "igniter_ohms"), ("check", "coil_ohms_hot"), ("check", "flame_sensor_hot"), ("check", "timer_contacts"),
        ("check", "cycling_bench_heat"), ("check", "lint_screen_look"), ("check", "lint_path_look"),
        ("repair", "rollers"), ("repair", "blower_wheel"), ("repair", "drum_seals"), ("repair", "motor"),
    ],
)  # fmt: skip
def test_a_part_left_off_is_seen(dryer: Knowledge, group: str, name: str) -> None:
    """A page whose last words about putting back are gone."""
    work = getattr(dryer, group)[name]
    bare = ["; ".join(c for _, c in clauses(step) if not BACK.search(c)) for step in work.steps]
    close = {i: replace(a, close_step="Refit it.") for i, a in dryer.access.items() if a.blocks_running}
    planted = edited(replace(dryer, access={**dryer.access, **close}), group, name, steps=bare)
    assert any(each.startswith(name) for each in left_off(planted, 0))


def test_a_panel_closed_with_no_tug_is_seen(dryer: Knowledge) -> None:
    """Wires back and nobody tugs at them."""
    work = dryer.check["fuse_continuity"]
    bare = edited(dryer, "check", "fuse_continuity", steps=[s.replace("tug", "look") for s in work.steps])
    bare = edited(bare, "access", "front_open", close_step=dryer.access["front_open"].close_step.replace("tug", "look"))
    assert "fuse_continuity: wire without a tug, from []" in left_off(bare, 0)


@pytest.mark.parametrize("item", ["front_open", "lower_open", "rear_open"])
def test_a_proof_too_late_is_seen(dryer: Knowledge, item: str) -> None:
    """Left out, without its setting, without its place, or after the first touch."""
    step = dryer.access[item].open_step
    shown = PROVED.search(step)
    assert shown
    for text in (
        step.replace(shown[0], ""),
        step.replace("AC volts", "volts"),
        step.replace("cord", "wires").replace("harness", "wires"),
        f"{step.replace(shown[0], 'Unplug the door switch, pull its wires')} {shown[0]}",
    ):
        assert any(touched_live(kind, 0) for kind in kinds(edited(dryer, "access", item, open_step=text))), text


def test_clips_taken_off_after_live_work_with_no_proof_are_seen(dryer: Knowledge) -> None:
    """It was live a moment ago."""
    bare = [text.replace("0 V", "") for text in dryer.check["burner_voltage"].unfit]
    assert touched_live(edited(dryer, "check", "burner_voltage", unfit=bare), 0)


def test_a_soap_test_with_no_meaning_is_seen(dryer: Knowledge) -> None:
    """In the item, and in a page."""
    assert no_meaning(edited(dryer, "access", "gas_shut", close_step="Open the cock; soap-test it, then plug in."))
    assert no_meaning(edited(dryer, "repair", "open_cock", steps=["Soap-test the joints at the cock."]))


@pytest.mark.parametrize("shown", ["high", "normal"])
def test_gas_too_high_ends_dead(tmp_path: Path, shown: str) -> None:
    """Its page ends there: the job takes it to be shut off with the panel off, and undo takes that back with it; else it is closed
    up and proved."""
    command("job", "new", "--found", "heat=cools_off", "--data", str(tmp_path))
    with looked_at(tmp_path) as visit:
        visit.find("manifold_pressure", shown, by="licensed gas fitter, on site")
        dead = frozenset({"unplugged", "gas_shut", "front_open"})
        assert visit.state == (dead if shown == "high" else CLOSED_UP)
        visit.undo()
        assert visit.state == CLOSED_UP and not any(p.finding.name == "manifold_pressure" for p in visit.job.findings)
