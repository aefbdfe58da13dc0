"""Drifts and leanings: found with their size and date where they are planted, hardly ever where nothing is."""

from __future__ import annotations

import numpy as np
import pytest

from faultodds.tuning.drift import MonthSums
from faultodds.tuning.leanings import drifts, leans

MONTHS = [f"2025-{m:02d}" for m in range(1, 9)]
CAUSES = ("a", "b", "c", "d")


def drawn(rng: np.random.Generator, jobs: int, early: float, late: float, cut: float | None = None) -> MonthSums:
    """A log in which cause "a" goes from one share to the other, evenly or at once, and each job is known as chances only."""
    sums = MonthSums(len(CAUSES))
    for at in np.arange(jobs) / jobs:
        share = early + (late - early) * (at if cut is None else float(at >= cut))
        true = rng.choice(4, p=[share, *([(1 - share) / 3] * 3)])
        chances = rng.dirichlet(0.5 + 20.0 * (np.arange(4) == true))
        sums.add([MONTHS[int(at * len(MONTHS))]], chances[None, :])
    return sums


def test_where_nothing_moves_hardly_any_drift_is_told() -> None:
    """At a level of one in twenty, about so many of 300 still logs are called moving."""
    rng = np.random.default_rng(1)
    told = sum(bool(drifts(drawn(rng, 120, 0.25, 0.25), CAUSES)) for _ in range(300))
    assert told <= 30


@pytest.mark.parametrize("seed", range(12))
def test_a_planted_drift_is_told_with_its_size(seed: int) -> None:
    """From 6 to 34 % in eight months and 600 jobs: that cause first, the right way, about half the way in each half."""
    (first, *_) = drifts(drawn(np.random.default_rng(seed), 600, 0.06, 0.34), CAUSES)
    assert first.cause == "a"
    assert 0.05 < first.late - first.early < 0.35
    assert first.first == MONTHS[0] < first.since <= first.last == MONTHS[-1]


@pytest.mark.parametrize("seed", range(8))
def test_a_jump_is_dated(seed: int) -> None:
    """A share that jumps at three quarters of the log is told from about there on."""
    found = drifts(drawn(np.random.default_rng(seed), 400, 0.1, 0.5, 0.75), CAUSES)
    assert abs(MONTHS.index(next(d for d in found if d.cause == "a").since) - 6) <= 1


def test_leanings_are_found_where_planted_and_hardly_ever_elsewhere() -> None:
    """One branch that has far more of one repair is named; labels drawn by lot are not, but for one log in twenty or so."""
    rng = np.random.default_rng(4)
    false = 0
    for _ in range(200):
        labels, lot = rng.integers(-1, 3, 200), rng.choice(["north", "quay", ""], 200)
        false += bool(leans(labels, {"branch": lot, "age": rng.choice(["x", "y", "z"], 200)}, CAUSES))
    assert false <= 20
    where = np.repeat(["north", "quay"], 100)
    labels = np.where(where == "north", rng.choice(3, 200, p=[0.6, 0.2, 0.2]), rng.choice(3, 200, p=[0.2, 0.4, 0.4]))
    (first, *_) = leans(labels, {"branch": where}, CAUSES)
    assert (first.repair, {first.label: first.here > first.elsewhere}) in (
        ("a", {"north": True}), ("a", {"quay": False})
    )  # fmt: skip
