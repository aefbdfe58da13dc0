"""Reads printed steps back: from the texts alone, with the knowledge file at hand, to what they tell a technician to do."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from faultodds.knowledge.schema import Check, Knowledge, Repair
from faultodds.safety.sequence import HANDS_OUT, Line, Move, Part

PARTS: tuple[Part, ...] = ("run_first", "fit", "steps", "unfit", "tight", "prove")
PERHAPS = re.compile(r"Perhaps [^:]+ \(\w+\): .*\b\d+ min at most\.$")
NUMBERED = re.compile(r"^ {1,3}(\d+)\. (.*)$")


def read_back(k: Knowledge, names: Sequence[str], texts: Iterable[str]) -> list[Line]:
    """The lines that some printed steps are, for the work they were printed for; a text that the file does not have fails."""
    moves = {a.open_step: Move(n, True) for n, a in k.access.items()}
    moves |= {a.close_step: Move(n, False) for n, a in k.access.items()}
    beside = [t.partition("{minutes}") for each in k.observables.values() for t in each.stops_away.values()]
    out: list[Line] = []
    for text in texts:
        if text in moves:
            out.append(Line(text, moves[text]))
            continue
        work, part = _step(k, names, text, out, beside)
        out.append(Line(text, None, work, part))
    return out


def _step(
    k: Knowledge, names: Sequence[str], text: str, before: Sequence[Line], beside: Iterable[tuple[str, str, str]]
) -> tuple[str, Part]:
    if PERHAPS.match(text) or any(text.startswith(a) and text.endswith(b) for a, _, b in beside):
        return names[-1], "watch"
    if text == HANDS_OUT:
        return next(line.work for line in reversed(before) if line.work), "clear"
    told = {(line.work, line.part) for line in before if line.text == text}
    for name in names:
        work: Check | Repair = k.check.get(name) or k.repair[name]
        for part in PARTS:
            if text in getattr(work, part) and (name, part) not in told:
                return name, part
        for item in work.access:
            if k.access[item].watch and text == k.access[item].watch.format(minutes=f"{work.run_minutes:g}"):
                return name, "watch"
    raise AssertionError(f"'{text}' is no step of {names}")


def printed_steps(lines: Iterable[str]) -> list[list[str]]:
    """The numbered lists on a screen, each step's text joined again; a list begins where the numbers begin again."""
    lists: list[list[str]] = []
    inside = False
    for line in lines:
        found = NUMBERED.match(line)
        if found:
            if found[1] == "1":
                lists.append([])
            lists[-1].append(found[2])
            inside = True
        elif inside and line.startswith("      ") and not line.strip().startswith("!!"):
            lists[-1][-1] += " " + line.strip()
        else:
            inside = False
    return lists
