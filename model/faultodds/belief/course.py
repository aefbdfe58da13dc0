"""What the machine was and what it is now, after repairs that may not have taken and time in which a fault may have come.

Step by step, from what the machine may be to what it may be after the step: belief about it now is carried forward, belief
about it as it came in is what all later findings say, carried back. So twenty repairs cost little more than one.

A repair that did not take is less likely to take when it is done again. On one visit a fault that is still there after a
repair of it says that the repair did not take. Between visits the fault may have come anew, so for the repairs that are done
on both sides it is kept with each suspect whether they failed on what is there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from faultodds.belief.evidence import Evidence, RepairEffect, TimePassed
from faultodds.belief.suspects import Suspects
from faultodds.knowledge import Floats, Ints, Places

# Repairs done on both sides of a wait are bits of a mark; any beyond these are taken as if done on one visit.
MOST_KEPT = 40


class Course(Struct, frozen=True):
    """Joint weights with the evidence: `original` (H,) of what the machine was; `weight` (S,) of what it is, `now` (S,), and
    of which mode has come in the last wait, `came` (S,), -1 for none or not asked for."""

    original: Floats
    now: Places
    came: Places
    weight: Floats


class Passage(Struct, frozen=True):
    """One step: from which state to which (places) with what `chance`, and the suspect `now` of each state after it."""

    source: Places
    target: Places
    chance: Floats
    now: Places

    def on(self, weight: Floats) -> Floats:
        """(S,) weights of the states before it, carried forward."""
        return np.bincount(self.target, weight[self.source] * self.chance, minlength=len(self.now)).astype(float)

    def back(self, said: Floats) -> Floats:
        """(S,) what is said of the states after it, carried back."""
        return np.bincount(self.source, self.chance * said[self.target]).astype(float)


class _Step(Struct, frozen=True):
    """What may become of each state: from which (a place), to which suspect and mark, with what chance."""

    source: Places
    now: Places
    mark: Ints
    chance: Floats


class _Marks(Struct, frozen=True):
    """A mark is a bit for each repair of `bits` that failed on what is there, and above them, from 1, the mode that came."""

    bits: Mapping[str, int]
    gone: Sequence[tuple[npt.NDArray[np.bool_], int]]

    @staticmethod
    def of(suspects: Suspects, evidence: Evidence) -> _Marks:
        """Those of the repairs that were done before and after some time that passed."""
        names, waits = [r.name for r in evidence.repairs], evidence.waits
        both = [n for n in dict.fromkeys(names) if any(n in names[: w.stage] and n in names[w.stage :] for w in waits)]
        bits = {name: 1 << place for place, name in enumerate(both[:MOST_KEPT])}
        every = np.arange(len(suspects.member))
        modes = {r.name: r.modes for r in evidence.repairs}
        return _Marks(bits, [(suspects.removal(modes[n]) == every, bit) for n, bit in bits.items()])

    def forget(self, now: Places, mark: Ints) -> Ints:
        """That a repair failed counts for as long as something that it puts right is there."""
        for gone, bit in self.gone:
            mark = np.where(gone[now], mark & ~bit, mark)
        return mark


def course(
    suspects: Suspects,
    evidence: Evidence,
    prior: Floats,
    stages: Sequence[Floats],
    new_faults: Floats,
    ask_came: bool = False,
) -> Course:
    """Follow the machine through its repairs and waits.

    `stages`: (H,) likelihood of what was seen before the first and after each step; `new_faults` (M,): which mode a new fault is;
    `ask_came`: keep which one came in the last wait.
    """
    steps, came = passages(suspects, evidence, new_faults, ask_came)
    weight, now = prior * stages[0], np.arange(len(prior))
    for step, like in zip(steps, stages[1:], strict=True):
        weight, now = step.on(weight) * like[step.now], step.now
    said: Floats = np.ones(len(now))
    for step, like in zip(reversed(steps), reversed(stages[1:]), strict=True):
        said = step.back(like[step.now] * said)
    return Course(prior * stages[0] * said, now, came, weight)


def passages(
    suspects: Suspects, evidence: Evidence, new_faults: Floats, ask_came: bool = False
) -> tuple[list[Passage], Places]:
    """Every step of the evidence's course, and which mode has come in the last wait to each state after them, -1 for none or
    not asked for. What was seen has no part in it. Before the first step the states are the suspects."""
    marks, size, done = _Marks.of(suspects, evidence), len(suspects.member), set[str]()
    now, mark = np.arange(size), np.zeros(size, dtype=np.int64)
    last = evidence.waits[-1] if ask_came and evidence.waits else None
    passed: list[Passage] = []
    for step in evidence.course:
        if isinstance(step, TimePassed):
            made = _waited(suspects, step, now, mark, new_faults, len(marks.bits) if step is last else None)
        else:
            made = _repaired(suspects, step, now, mark, marks, step.name in done)
            done.add(step.name)
        now, mark, target = _alike(made.now, made.mark, size)
        passed.append(Passage(made.source, target, made.chance, now))
    return passed, (mark >> len(marks.bits)) - 1


def _alike(now: Places, mark: Ints, size: int) -> tuple[Places, Ints, Places]:
    """The distinct states, and the place of each one's own; every suspect where nothing is marked."""
    if not mark.any():
        return np.arange(size), np.zeros(size, dtype=np.int64), now
    values, which = np.unique(mark, return_inverse=True)
    states, target = np.unique(now * len(values) + which, return_inverse=True)
    return states // len(values), values[states % len(values)], target


def _repaired(suspects: Suspects, repair: RepairEffect, now: Places, mark: Ints, marks: _Marks, again: bool) -> _Step:
    """What took, then what did not."""
    bit = marks.bits.get(repair.name)
    after = suspects.removal(repair.modes)[now].astype(np.intp)
    acts = after != now
    tried = np.full(len(acts), again) if bit is None else (mark & bit) > 0
    takes = np.where(acts, np.where(tried, repair.takes_again, repair.success), 1.0)
    failed = np.flatnonzero(takes < 1.0)
    source = np.concatenate([np.arange(len(now)), failed])
    where = np.concatenate([after, now[failed]])
    marked = np.concatenate([mark, mark[failed] | (bit or 0)])
    return _Step(source, where, marks.forget(where, marked), np.concatenate([takes, 1.0 - takes[failed]]))


def _waited(
    suspects: Suspects, wait: TimePassed, now: Places, mark: Ints, new_faults: Floats, shift: int | None
) -> _Step:
    """As it was, then with one mode more, which is marked above `shift` bits. A set that is no suspect does not come about."""
    row, mode, more = suspects.one_more(now) if wait.new > 0.0 else (np.zeros(0, dtype=np.intp),) * 3
    chance = wait.new * new_faults[mode]
    stays = 1.0 - np.bincount(row, chance, minlength=len(now))
    where = np.concatenate([now, more])
    marked = mark[row] if shift is None else mark[row] + ((mode + 1) << shift)
    calls = np.where(where == suspects.sound, wait.if_right, wait.if_wrong)
    return _Step(
        np.concatenate([np.arange(len(now)), row]),
        where,
        np.concatenate([mark, marked]),
        np.concatenate([stays, chance]) * calls,
    )
