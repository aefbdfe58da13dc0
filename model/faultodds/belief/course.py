"""What the machine was and what it is now, after repairs that may not have taken and time in which a fault may have come.

Step by step, from what the machine may be to what it may be after the step: belief about it now is carried forward, belief
about it as it came in is what all later findings say, carried back. So twenty repairs cost little more than one.

A repair that did not take may have failed for a reason that lasts (a wrong part, the real fault beside it): then it never
takes on what is there. So each further failure makes the next likelier. For the repairs done more than once it is kept with
each suspect whether they failed so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from faultodds.belief.evidence import Evidence, RepairEffect, TimePassed
from faultodds.belief.suspects import Suspects
from faultodds.knowledge import Floats, Ints, Places

# Repairs done more than once are bits of a mark; any beyond these are taken to fail by chance alone.
MOST_KEPT = 40
# A table of states may be so many times as long as what is in it.
FULL = 8


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
    """A mark is a bit for each repair of `bits` that never takes on what is there, and above them, from 1, the mode that came."""

    bits: Mapping[str, int]
    gone: Sequence[tuple[npt.NDArray[np.bool_], int]]

    @staticmethod
    def of(suspects: Suspects, evidence: Evidence) -> _Marks:
        """Those of the repairs that were done more than once."""
        times = Counter(r.name for r in evidence.repairs)
        bits = {name: 1 << place for place, name in enumerate([n for n in times if times[n] > 1][:MOST_KEPT])}
        every = np.arange(len(suspects.member))
        modes = {r.name: r.modes for r in evidence.repairs}
        return _Marks(bits, [(suspects.removal(modes[n]) == every, bit) for n, bit in bits.items()])

    def forget(self, now: Places, mark: Ints) -> Ints:
        """That a repair never takes counts for as long as something that it puts right is there."""
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
    marks, size = _Marks.of(suspects, evidence), len(suspects.member)
    now, mark = np.arange(size), np.zeros(size, dtype=np.int64)
    last = evidence.waits[-1] if ask_came and evidence.waits else None
    passed: list[Passage] = []
    for step in evidence.course:
        if isinstance(step, TimePassed):
            made = _waited(suspects, step, now, mark, new_faults, len(marks.bits) if step is last else None)
        else:
            made = _repaired(suspects, step, now, mark, marks)
        now, mark, target = _alike(made.now, made.mark, size)
        passed.append(Passage(made.source, target, made.chance, now))
    return passed, (mark >> len(marks.bits)) - 1


def _alike(now: Places, mark: Ints, size: int) -> tuple[Places, Ints, Places]:
    """The distinct states, and the place of each one's own; every suspect where nothing is marked."""
    if not mark.any():
        return np.arange(size), np.zeros(size, dtype=np.int64), now
    values = np.concatenate([[0], np.unique(mark[mark > 0])])
    key = now * len(values) + np.searchsorted(values, mark)
    if size * len(values) > FULL * len(key):
        states, target = np.unique(key, return_inverse=True)
    else:  # of few marks, as nearly always, a table of what there is takes a fraction of the time
        there = np.zeros(size * len(values), dtype=bool)
        there[key] = True
        states, target = np.flatnonzero(there), (np.cumsum(there) - 1)[key]
    return states // len(values), values[states % len(values)], target


def _repaired(suspects: Suspects, repair: RepairEffect, now: Places, mark: Ints, marks: _Marks) -> _Step:
    """What took, what failed by chance, what failed for a reason that lasts."""
    bit = marks.bits.get(repair.name, 0)
    after = suspects.removal(repair.modes)[now].astype(np.intp)
    acts, never = after != now, (mark & bit) > 0
    takes = np.where(acts, np.where(never, 0.0, repair.success), 1.0)
    lasts = np.where(never, 1.0, repair.lasting if bit else 0.0)
    took, failed, stuck = (
        np.flatnonzero(takes),
        np.flatnonzero((takes < 1) & (lasts < 1)),
        np.flatnonzero(acts & (lasts > 0)),
    )
    source = np.concatenate([took, failed, stuck])
    where = np.concatenate([after[took], now[failed], now[stuck]])
    marked = np.concatenate([mark[took], mark[failed], mark[stuck] | bit])
    chance = [takes[took], ((1.0 - takes) * (1.0 - lasts))[failed], ((1.0 - takes) * lasts)[stuck]]
    return _Step(source, where, marks.forget(where, marked), np.concatenate(chance))


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
