"""What many drills say of one person: scores taken apart, how sure against how often right, which faults are called too often."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from faultodds.audit import CurvePoint, Decomposition, Interval, bootstrap, decompose_groups, wilson
from faultodds.calibration.scores import brier, even, log_loss, spread
from faultodds.knowledge import Floats

# Fewer drills than this say nothing of how sure somebody is; a block of the learning curve has so many.
FEWEST = 5
# A fault is called too often or too seldom from half a call on.
HALF_A_CALL = 0.5
FIFTHS = 5


class Drilled(Struct, frozen=True):
    """One drill that has ended. `forecasts`: the odds of each step, as they were taken; `truth`: the component that began it.
    `cost` and `best` are what it came to, and what the best plan's came to on the same call; `chosen`: whether the call was
    chosen for a trap, which says nothing of how sure one may be; `slip`: the safety slip that ended it. `program`: how much too
    sure the program's own odds were of their favourite at each step, from the same findings (`too_sure`)."""

    drill: str
    truth: str
    forecasts: list[dict[str, float]]
    cost: float = 0.0
    best: float = 0.0
    wrong_parts: int = 0
    slip: str = ""
    chosen: bool = False
    program: list[float] = []


class Called(Struct, frozen=True):
    """One fault over all drills: how many calls were said to be it, all chances added up, and how many were; their difference
    with its interval."""

    name: str
    said: float
    was: int
    more: Interval


class Person(Struct, frozen=True):
    """A person over his drills: scores a step with intervals over drills, the Brier score taken apart, `sure` and `right` of his
    favourite fault with `too_sure`, their difference, and `program`, that of the program's own odds at the same steps (both None
    while the drills are too few), the faults, the curve by blocks of drills (Brier score, money lost), and money lost a drill.
    `verdict`: 1 for one who is too sure beyond chance and beyond what the program is, -1 for one who is too timid, else 0."""

    drills: int
    brier: Interval
    log: Interval
    even: tuple[float, float]
    parts: Decomposition
    sure: float
    right: float
    too_sure: Interval | None
    program: Interval | None
    verdict: int
    faults: list[Called]
    curve: list[tuple[float, float]]
    lost: Interval | None
    wrong_parts: int
    slips: int


def person(done: Sequence[Drilled], faults: Sequence[str]) -> Person | None:
    """What the drills say, None when there are none with any odds in them. Drills are drawn anew whole, since the steps of one
    have its luck in common. Those chosen for a trap count for the scores, not for how sure."""
    done = [d for d in done if d.forecasts]
    if not done:
        return None
    p = [np.array([spread(f, faults) for f in d.forecasts]) for d in done]
    truth = [faults.index(d.truth) for d in done]
    steps = np.array([len(each) for each in p])
    quadratic = np.array([sum(brier(row, t) for row in rows) for rows, t in zip(p, truth, strict=True)])
    logs = np.array([sum(log_loss(row, t) for row in rows) for rows, t in zip(p, truth, strict=True)])
    fair = np.array([not d.chosen for d in done])
    sure = np.array([rows.max(axis=1).sum() for rows in p])
    right = np.array([float((rows.argmax(axis=1) == t).sum()) for rows, t in zip(p, truth, strict=True)])
    beside = fair & np.array([len(d.program) == len(d.forecasts) for d in done])
    program = np.array([sum(d.program) for d in done])
    gap, own, beyond = (
        _a_step(x[rows], steps[rows]) if rows.sum() >= FEWEST else None
        for x, rows in ((sure - right, fair), (program, beside), (sure - right - program, beside))
    )
    some = fair if fair.any() else np.ones(len(done), dtype=bool)
    ended = [d for d in done if not d.slip]
    lost = np.array([d.cost - d.best for d in ended])
    return Person(
        drills=len(done),
        brier=_a_step(quadratic, steps),
        log=_a_step(logs, steps),
        even=even(faults),
        parts=decompose_groups(np.concatenate(p), np.repeat(np.array(truth), steps)),
        sure=float(sure[some].sum() / steps[some].sum()),
        right=float(right[some].sum() / steps[some].sum()),
        too_sure=gap,
        program=own,
        verdict=0 if gap is None or (beyond is not None and beyond.clear != gap.clear) else gap.clear,
        faults=_called(p, truth, faults),
        curve=_curve(quadratic, steps, done),
        lost=bootstrap(lambda rows: float(lost[rows].mean()), len(ended)) if ended else None,
        wrong_parts=sum(d.wrong_parts for d in done),
        slips=sum(bool(d.slip) for d in done),
    )


def too_sure(named: Mapping[str, float], truth: str, faults: Sequence[str]) -> float:
    """How much too sure one forecast was of its favourite: its chance, less 1 where it was the one."""
    row = spread(named, faults)
    return float(row.max()) - float(faults[int(row.argmax())] == truth)


def sure_curve(done: Sequence[Drilled], faults: Sequence[str]) -> tuple[CurvePoint, ...]:
    """How sure of the favourite fault against how often it was the one, by fifths of certainty, over drills that were not chosen
    for a trap. The steps of one drill share its luck: intervals (Wilson) go by the drills in a fifth, not by the steps."""
    found: dict[int, list[tuple[int, float, bool]]] = {}
    for number, d in enumerate(done):
        for row in [] if d.chosen else [spread(f, faults) for f in d.forecasts]:
            sure = float(row.max())
            found.setdefault(min(int(sure * FIFTHS), FIFTHS - 1), []).append(
                (number, sure, int(row.argmax()) == faults.index(d.truth))
            )
    points = []
    for _, steps in sorted(found.items()):
        drills = len({number for number, _, _ in steps})
        right = float(np.mean([was for _, _, was in steps]))
        low, high = wilson(np.array([right * drills]), np.array([float(drills)]))
        points.append(
            CurvePoint(float(np.mean([p for _, p, _ in steps])), right, float(low[0]), float(high[0]), drills)
        )
    return tuple(points)


def _a_step(total: Floats, steps: Floats) -> Interval:
    return bootstrap(lambda rows: float(total[rows].sum() / steps[rows].sum()), len(total))


def _called(p: Sequence[Floats], truth: Sequence[int], faults: Sequence[str]) -> list[Called]:
    """Every fault that is called half a call too often or too seldom, the furthest first."""
    said = np.array([rows.mean(axis=0) for rows in p])
    was = np.eye(len(faults))[truth]
    more = said - was
    found = []
    for k, name in enumerate(faults):
        column = more[:, k] * len(more)
        if abs(column.mean()) >= HALF_A_CALL:
            over = bootstrap(lambda rows, c=column: float(c[rows].mean()), len(more))  # type: ignore[misc]
            found.append(Called(name, float(said[:, k].sum()), int(was[:, k].sum()), over))
    return sorted(found, key=lambda c: -abs(c.more.value))


def _curve(quadratic: Floats, steps: Floats, done: Sequence[Drilled]) -> list[tuple[float, float]]:
    """Brier score a step and money lost a drill, by blocks in the order they were done; what is left over joins the last."""
    blocks = max(len(done) // FEWEST, 1)
    cut = [slice(b * FEWEST, (b + 1) * FEWEST if b + 1 < blocks else len(done)) for b in range(blocks)]
    lost = [[d.cost - d.best for d in done[c] if not d.slip] for c in cut]
    return [
        (float(quadratic[c].sum() / steps[c].sum()), float(np.mean(money)) if money else float("nan"))
        for c, money in zip(cut, lost, strict=True)
    ]
