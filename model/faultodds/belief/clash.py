"""Findings that no suspect explains: which of them clash."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from faultodds.belief.evidence import Evidence, RepairEffect, TimePassed, distinct, suspect_likelihood
from faultodds.belief.suspects import Suspects
from faultodds.errors import ClashError
from faultodds.knowledge import Bools, Floats

# A relative chance this small is taken for "cannot be": far under any table's floor, far over rounding.
IMPOSSIBLE = 1e-13
COVER_STEPS = 20_000
Places = npt.NDArray[np.int32]


def ruling_out(suspects: Suspects, evidence: Evidence, prior: Floats) -> Bools:
    """(finding, case) which findings rule out which cases; a case is a suspect and a way its repairs went."""
    seen = distinct(evidence.seen)
    likelihoods = [suspect_likelihood(suspects, s) for s in seen]
    impossible = [like <= IMPOSSIBLE * like.max() for like in likelihoods]
    now: npt.NDArray[np.int32] = np.flatnonzero(prior > 0).astype(np.int32)
    pattern = np.zeros((len(now), len(seen)), dtype=bool)
    for point, step in enumerate((None, *evidence.course)):
        if isinstance(step, RepairEffect):
            took = suspects.removal(step.modes)[now]
            now = np.concatenate([took, now]) if step.success < 1.0 else took
            pattern = np.tile(pattern, (len(now) // len(pattern), 1))
        elif step is not None:
            now, pattern = _waited(suspects, step, now, pattern)
        for place, finding in enumerate(seen):
            if finding.stage + finding.visit == point:
                pattern[:, place] |= impossible[place][now]
        # Cases that are alike from here on are one.
        _, first = np.unique(np.column_stack([now, np.packbits(pattern, axis=1)]), axis=0, return_index=True)
        now, pattern = now[first], pattern[first]
    return np.unique(pattern.T, axis=1)


def _waited(suspects: Suspects, wait: TimePassed, now: Places, pattern: Bools) -> tuple[Places, Bools]:
    """The cases after some time: as they were, or with one mode more."""
    if wait.new > 0.0:
        row, _, more = suspects.one_more(now.astype(np.intp))
        now, pattern = np.concatenate([now, more.astype(np.int32)]), np.concatenate([pattern, pattern[row]])
    calls = np.where(now == suspects.sound, wait.if_right, wait.if_wrong) > 0.0
    return now[calls], pattern[calls]


def smallest_cover(patterns: Bools) -> list[int]:
    """The fewest rows of a (row, column) table that between them are true in every column; every row if none do.

    Looked for by size, branching on the column that the fewest rows cover. Exact for up to `COVER_STEPS` steps; past that
    rows are taken away one by one for as long as the rest still covers, which may leave a row too many.
    """
    every = list(range(len(patterns)))
    if not patterns.any(axis=0).all():
        return every
    steps = 0

    def search(left: Bools, size: int) -> list[int] | None:
        nonlocal steps
        steps += 1
        if not left.any():
            return []
        if size == 0 or steps > COVER_STEPS:
            return None
        columns = np.flatnonzero(left)
        column = columns[patterns[:, columns].sum(axis=0).argmin()]
        for row in np.flatnonzero(patterns[:, column]):
            rest = search(left & ~patterns[row], size - 1)
            if rest is not None:
                return [int(row), *rest]
        return None

    for size in every[1:]:
        found = search(np.ones(patterns.shape[1], dtype=bool), size)
        if found is not None:
            return sorted(found)
        if steps > COVER_STEPS:
            break
    for row in list(every):
        others = [r for r in every if r != row]
        if patterns[others].any(axis=0).all():
            every = others
    return every


def clash(evidence: Evidence, patterns: Bools) -> ClashError:
    """The error that names the smallest set of findings that no suspect explains."""
    seen = distinct(evidence.seen)
    names = [seen[i].label for i in smallest_cover(patterns)]
    facts = ", ".join(f"{k}={v}" for k, v in evidence.facts.items())
    given = f" (with {facts})" if facts else ""
    return ClashError(
        f"no fault or set of faults explains these findings together: {', '.join(names)}{given}. "
        "Look at one of them again, or undo the last finding.",
        names,
    )
