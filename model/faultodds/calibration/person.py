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
    sure the program's own odds were of their favourite at each step, from the same findings (`too_sure`). `given_away`: how much
    dearer its steps were than the best ones there, by what was known at each, so not by luck; None where nobody worked it out."""

    drill: str
    truth: str
    forecasts: list[dict[str, float]]
    cost: float = 0.0
    best: float = 0.0
    wrong_parts: int = 0
    slip: str = ""
    chosen: bool = False
    program: list[float] = []
    given_away: float | None = None


class Called(Struct, frozen=True):
    """One fault over all drills: how many calls were said to be it, all chances added up, and how many were; their difference
    with its interval."""

    name: str
    said: float
    was: int
    more: Interval


class Person(Struct, frozen=True):
    """A person over his drills: scores a step with intervals over drills, the Brier score taken apart, `sure` and `right` of his
    favourite fault (None where he never had one) with `too_sure`, their difference, and `program`, that of the program's own odds
    at the same steps (both None while the drills are too few), the faults, the curve by blocks of drills (Brier score, money
    lost), and money lost a drill. `verdict`: 1 for one who is too sure beyond chance and beyond what the program is, -1 for one
    who is too timid, else 0. `steps`: how often he said his odds; `no_favourite`: how often of those no fault led."""

    drills: int
    brier: Interval
    log: Interval
    even: tuple[float, float]
    parts: Decomposition
    sure: float | None
    right: float | None
    too_sure: Interval | None
    program: Interval | None
    verdict: int
    faults: list[Called]
    curve: list[tuple[float, float]]
    lost: Interval | None
    wrong_parts: int
    slips: int
    steps: int
    no_favourite: int


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
    led = [[favourite(f, d.truth, faults) for f in d.forecasts] for d in done]
    leads = np.array([sum(x is not None for x in each) for each in led])
    sure, right = (np.array([sum(x[i] for x in each if x is not None) for each in led]) for i in (0, 1))
    fair = np.array([not d.chosen for d in done]) & (leads > 0)
    beside = fair & np.array([len(d.program) == len(d.forecasts) for d in done])
    program = np.array(
        [sum(p for p, x in zip(d.program, each, strict=False) if x) for d, each in zip(done, led, strict=True)]
    )
    gap, own, beyond = (
        _a_step(x[rows], leads[rows]) if rows.sum() >= FEWEST else None
        for x, rows in ((sure - right, fair), (program, beside), (sure - right - program, beside))
    )
    some = fair if fair.any() else leads > 0
    ended = [d for d in done if not d.slip]
    lost = np.array([d.cost - d.best for d in ended])
    return Person(
        drills=len(done),
        brier=_a_step(quadratic, steps),
        log=_a_step(logs, steps),
        even=even(faults),
        parts=decompose_groups(np.concatenate(p), np.repeat(np.array(truth), steps)),
        sure=float(sure[some].sum() / leads[some].sum()) if some.any() else None,
        right=float(right[some].sum() / leads[some].sum()) if some.any() else None,
        too_sure=gap,
        program=own,
        verdict=0 if gap is None or (beyond is not None and beyond.clear != gap.clear) else gap.clear,
        faults=_called(p, truth, faults),
        curve=_curve(quadratic, steps, done),
        lost=bootstrap(lambda rows: float(lost[rows].mean()), len(ended)) if ended else None,
        wrong_parts=sum(d.wrong_parts for d in done),
        slips=sum(bool(d.slip) for d in done),
        steps=int(steps.sum()),
        no_favourite=int((steps - leads).sum()),
    )


def favourite(named: Mapping[str, float], truth: str, faults: Sequence[str]) -> tuple[float, float] | None:
    """The chance of the fault that a forecast says is likeliest, and 1 where it was the one (a part of 1 where several lead alike);
    None where no named fault leads: who has no idea, or gives the rest more than any, is not sure of the first on the list."""
    most = max(named.values(), default=0.0)
    row = spread(named, faults)
    if most <= 0.0 or most < float(row.max()):
        return None
    leaders = [name for name, p in named.items() if p == most]
    return most, (truth in leaders) / len(leaders)


def too_sure(named: Mapping[str, float], truth: str, faults: Sequence[str]) -> float:
    """How much too sure one forecast was of its favourite: its chance, less 1 where it was the one; 0 where none leads."""
    leads = favourite(named, truth, faults)
    return 0.0 if leads is None else leads[0] - leads[1]


def sure_curve(done: Sequence[Drilled], faults: Sequence[str]) -> tuple[CurvePoint, ...]:
    """How sure of the favourite fault against how often it was the one, by fifths of certainty, over drills that were not chosen
    for a trap. The steps of one drill share its luck: intervals (Wilson) go by the drills in a fifth, not by the steps."""
    found: dict[int, list[tuple[int, float, float]]] = {}
    for number, d in enumerate(done):
        for leads in [] if d.chosen else [favourite(f, d.truth, faults) for f in d.forecasts]:
            if leads is not None:
                found.setdefault(min(int(leads[0] * FIFTHS), FIFTHS - 1), []).append((number, *leads))
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
