"""What the machine was and what it is now, after repairs that may not have taken and time in which a fault may have come.

Belief is kept over pairs, what it was and what it is, each once: a repair that takes nothing away from a suspect leaves one
pair, whether it took or not, so repairs do not double the pairs; there are as many as ways in which the few modes of each
suspect can have gone, or one mode come.

A repair that did not take is less likely to take when it is done again. On one visit a fault that is still there after a
repair of it says that the repair did not take. Between visits the fault may have come anew, so for the repairs that are done
on both sides it is kept with the pair whether they failed on what is there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from msgspec.structs import replace

from faultodds.belief.evidence import Evidence, RepairEffect, TimePassed
from faultodds.belief.suspects import Ints, Suspects
from faultodds.knowledge import Floats

Places = npt.NDArray[np.intp]
# Repairs done on both sides of a wait are bits of a 64-bit mask; any beyond these are taken as if on one visit.
MOST_KEPT = 60


class _Pairs(Struct, frozen=True):
    """(P,) what the machine was, what it is, which repairs failed on what is there (bits), and the joint weight."""

    was: Places
    now: Places
    failed: Ints
    weight: Floats

    def pick(self, rows: Places) -> _Pairs:
        return _Pairs(self.was[rows], self.now[rows], self.failed[rows], self.weight[rows])

    def joined(self, other: _Pairs, suspects: int) -> _Pairs:
        """Both together, alike pairs as one."""
        was, now = np.concatenate([self.was, other.was]), np.concatenate([self.now, other.now])
        failed, place = np.unique(np.concatenate([self.failed, other.failed]), return_inverse=True)
        pairs, where = np.unique((was * suspects + now) * len(failed) + place, return_inverse=True)
        weight = np.bincount(where, np.concatenate([self.weight, other.weight]), minlength=len(pairs))
        pairs, place = np.divmod(pairs, len(failed))
        was, now = np.divmod(pairs, suspects)
        return _Pairs(was, now, failed[place], weight)


def course(
    suspects: Suspects,
    evidence: Evidence,
    prior: Floats,
    stages: Sequence[Floats],
    new_faults: Floats,
    last_visit: bool = False,
) -> tuple[Places, Places, Floats]:
    """What the machine was, what it is now, and the joint weight of the two. With `last_visit` it was what it was when it was
    last left.

    `stages`: (H,) likelihood of what was seen before the first and after each step of the course; `new_faults` (M,): which
    mode a new fault is.
    """
    start = np.arange(len(prior))
    pairs = _Pairs(start, start, np.zeros(len(prior), dtype=np.int64), prior * stages[0])
    kept, done = _kept(evidence), set[str]()
    remembered = [(r, kept[r.name]) for r in {r.name: r for r in evidence.repairs}.values() if r.name in kept]
    for step, like in zip(evidence.course, stages[1:], strict=True):
        if isinstance(step, TimePassed):
            pairs = replace(pairs, was=pairs.now) if last_visit else pairs
            pairs = _waited(suspects, pairs, step, new_faults)
        else:
            pairs = _repaired(suspects, pairs, step, kept.get(step.name), step.name in done)
            pairs = _forgetting(suspects, pairs, remembered)
            done.add(step.name)
        pairs = replace(pairs, weight=pairs.weight * like[pairs.now])
    return pairs.was, pairs.now, pairs.weight


def _kept(evidence: Evidence) -> dict[str, int]:
    """The repairs that were done before and after some time that passed, each with its bit."""
    names = [r.name for r in evidence.repairs]
    both = [n for n in dict.fromkeys(names) if any(n in names[: w.stage] and n in names[w.stage :] for w in evidence.waits)]
    return {name: 1 << place for place, name in enumerate(both[:MOST_KEPT])}


def _repaired(suspects: Suspects, pairs: _Pairs, repair: RepairEffect, bit: int | None, again: bool) -> _Pairs:
    after = suspects.removal(repair.modes)[pairs.now].astype(np.intp)
    acts = after != pairs.now
    tried = np.full(len(acts), again) if bit is None else (pairs.failed & bit) > 0
    takes = np.where(tried, repair.takes_again, repair.success)
    took = replace(pairs, now=after, weight=np.where(acts, takes * pairs.weight, pairs.weight))
    failed = np.flatnonzero(acts & (takes < 1.0))
    rest = pairs.pick(failed)
    rest = replace(rest, weight=(1.0 - takes[failed]) * rest.weight, failed=rest.failed | (bit or 0))
    return took.joined(rest, len(suspects.member))


def _forgetting(suspects: Suspects, pairs: _Pairs, kept: Sequence[tuple[RepairEffect, int]]) -> _Pairs:
    """That a repair failed counts for as long as something that it puts right is there."""
    for repair, bit in kept:
        gone = suspects.removal(repair.modes)[pairs.now] == pairs.now
        pairs = replace(pairs, failed=np.where(gone, pairs.failed & ~bit, pairs.failed))
    return pairs


def _waited(suspects: Suspects, pairs: _Pairs, wait: TimePassed, new_faults: Floats) -> _Pairs:
    """After some time: as it was, or with one mode more. A set that is no suspect does not come about."""
    if wait.new > 0.0:
        row, mode, more = suspects.one_more(pairs.now)
        chance = wait.new * new_faults[mode]
        came = replace(pairs.pick(row), now=more, weight=pairs.weight[row] * chance)
        stays = 1.0 - np.bincount(row, chance, minlength=len(pairs.now))
        pairs = replace(pairs, weight=pairs.weight * stays).joined(came, len(suspects.member))
    calls = np.where(pairs.now == suspects.sound, wait.if_right, wait.if_wrong)
    return replace(pairs, weight=pairs.weight * calls)
