"""Scores of forecasts against values from outside the project. Sources and status beside each check (D: derived, M: memory)."""

from __future__ import annotations

import numpy as np
import pytest

from faultodds.audit import scores
from faultodds.audit.intervals import wilson

STATED = np.array([0.9] * 4 + [0.6] * 3 + [0.2] * 3)
HAPPENED = np.array([1.0, 1, 1, 0, 1, 0, 1, 0, 0, 1])


def test_the_brier_score_taken_apart() -> None:
    """Ten forecasts: .224 = .0156667 - .0316667 + .24. Identity: Murphy 1973, J. Appl. Meteorol. 12:595; figures D."""
    found = scores.decompose(STATED, HAPPENED, edges=None)
    assert found.score == pytest.approx(0.224, abs=1e-12)
    assert found.reliability == pytest.approx(0.0156667, abs=1e-7)
    assert found.resolution == pytest.approx(0.0316667, abs=1e-7)
    assert found.uncertainty == pytest.approx(0.24, abs=1e-12)
    assert found.leftover == pytest.approx(0.0, abs=1e-12)


def test_calibration_error_and_log_score_of_the_same_forecasts() -> None:
    """Calibration error .12 with a bin for every value, log score .6612334 (same row, D)."""
    assert scores.binary_calibration_error(STATED, HAPPENED, edges=None) == pytest.approx(0.12, abs=1e-12)
    both = np.stack([1.0 - STATED, STATED], axis=1)
    assert scores.log_scores(both, HAPPENED.astype(np.int64)).mean() == pytest.approx(0.6612334, abs=1e-7)
    # The many-class form counts "yes" and "no" both, so it is twice the yes-or-no form.
    assert scores.brier_scores(both, HAPPENED.astype(np.int64)).mean() == pytest.approx(0.448, abs=1e-12)


def test_wilson_interval_of_a_small_sample() -> None:
    """81 of 263 at 95 %: .2553 to .3662 (Newcombe 1998, Statistics in Medicine 17:857, table I, score method; M)."""
    low, high = wilson(np.array([81.0]), np.array([263.0]))
    assert low[0] == pytest.approx(0.2553, abs=5e-5)
    assert high[0] == pytest.approx(0.3662, abs=5e-5)
