"""Scores and intervals: held against scikit-learn and scipy, and by what must always be true of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st
from scipy.stats import binomtest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss, log_loss, top_k_accuracy_score

from faultodds.audit import scores
from faultodds.audit.intervals import Interval, bootstrap, mean_difference, wilson
from faultodds.knowledge.tables import Floats


def _drawn(seed: int, jobs: int = 200, groups: int = 6) -> tuple[Floats, scores.Ints]:
    """Forecasts, and truths drawn from them: exactly right forecasts."""
    rng = np.random.default_rng(seed)
    p = rng.dirichlet(np.full(groups, 0.6), jobs)
    truth = np.array([rng.choice(groups, p=row) for row in p])
    return p, truth.astype(np.int64)


SEEDS = st.integers(0, 2**31)


@given(SEEDS)
def test_scores_equal_scikit_learns(seed: int) -> None:
    """Log score, Brier score and top-k are the ones that scikit-learn computes."""
    p, truth = _drawn(seed)
    labels = range(p.shape[1])
    assert scores.log_scores(p, truth).mean() == pytest.approx(log_loss(truth, p, labels=labels), abs=1e-9)
    whole = brier_score_loss(scores.one_hot(truth, 6), p, scale_by_half=False)
    assert scores.brier_scores(p, truth).mean() == pytest.approx(whole, abs=1e-9)
    for k in (1, 3):
        assert scores.among_top(p, truth, k).mean() == pytest.approx(
            top_k_accuracy_score(truth, p, k=k, labels=labels), abs=1e-9
        )


@given(SEEDS)
def test_the_calibration_curve_equals_scikit_learns(seed: int) -> None:
    """Ten bins of equal width hold the same means as scikit-learn's curve of the same yes-or-no forecast."""
    p, truth = _drawn(seed)
    stated, right = scores.favourites(p, truth)
    happened, said = calibration_curve(right, stated, n_bins=10)
    bins = scores.curve(p, truth)
    assert bins.happened == pytest.approx(happened)
    assert bins.stated == pytest.approx(said)
    assert bins.jobs.sum() == len(p)


@given(SEEDS)
def test_the_parts_of_the_brier_score_add_up(seed: int) -> None:
    """Reliability less resolution plus uncertainty plus leftover is the score, group by group and in all."""
    p, truth = _drawn(seed)
    whole = scores.decompose_groups(p, truth)
    assert whole.score == pytest.approx(scores.brier_scores(p, truth).mean())
    rebuilt = whole.reliability - whole.resolution + whole.uncertainty + whole.leftover
    assert rebuilt == pytest.approx(whole.score)
    exact = scores.decompose_groups(np.round(p, 1), truth, edges=None)
    assert exact.leftover == pytest.approx(0.0, abs=1e-12)
    assert min(whole.reliability, whole.resolution, whole.uncertainty) >= 0.0


def test_overconfident_forecasts_are_shown_up() -> None:
    """Sharpened forecasts have a calibration error far over luck, exactly right ones one near it."""
    p, truth = _drawn(1, 4000)
    sharp = p**3 / (p**3).sum(axis=1, keepdims=True)
    luck = scores.calibration_by_luck(p)
    assert scores.binary_calibration_error(*scores.favourites(p, truth)) < 2.5 * luck
    assert scores.binary_calibration_error(*scores.favourites(sharp, truth)) > 5 * luck
    assert scores.log_scores(sharp, truth).mean() > scores.log_scores(p, truth).mean()


def test_impossible_things_that_happen_cost_much_and_no_more() -> None:
    """A chance of 0 for what turned out costs 27.6, not infinity."""
    p = np.array([[1.0, 0.0]])
    assert scores.log_scores(p, np.array([1]))[0] == pytest.approx(27.631, abs=1e-3)
    assert scores.log_scores(p, np.array([0]))[0] == 0.0


def test_of_equal_chances_the_earlier_group_comes_first() -> None:
    """Ties do not depend on luck: the earlier column counts as the likelier."""
    p = np.full((1, 4), 0.25)
    assert [bool(scores.among_top(p, np.array([g]), 1)[0]) for g in range(4)] == [True, False, False, False]
    assert [bool(scores.among_top(p, np.array([g]), 3)[0]) for g in range(4)] == [True, True, True, False]


@given(st.integers(1, 300), st.data())
def test_wilson_equals_scipys(jobs: int, data: st.DataObject) -> None:
    """The interval of a share is the one scipy computes."""
    right = data.draw(st.integers(0, jobs))
    low, high = wilson(np.array([float(right)]), np.array([float(jobs)]))
    known = binomtest(right, jobs).proportion_ci(0.95, method="wilson")
    assert (low[0], high[0]) == pytest.approx((known.low, known.high), abs=1e-9)


def test_a_paired_difference_covers_the_truth_as_often_as_it_says() -> None:
    """Over 200 samples of paired scores the 95 % interval holds the true difference 90 to 99 % of the time."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(200):
        shared = rng.normal(size=80)
        one, other = shared + 0.1 + 0.3 * rng.normal(size=80), shared
        d = mean_difference(one, other)
        held += d.low <= 0.1 <= d.high
    assert 0.90 <= held / 200 <= 0.99


def test_intervals_are_the_same_every_time_and_say_when_they_are_clear() -> None:
    """The bootstrap draws the same jobs every time; an interval on one side of 0 is clear, one that holds 0 is not."""
    x = np.random.default_rng(5).normal(0.5, 1.0, 100)
    again = [bootstrap(lambda rows: float(x[rows].mean()), 100) for _ in range(2)]
    assert again[0] == again[1]
    assert [Interval(0.0, a, b).clear for a, b in ((-2.0, -1.0), (-1.0, 1.0), (1.0, 2.0))] == [-1, 0, 1]
