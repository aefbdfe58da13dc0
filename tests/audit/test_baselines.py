"""The rivals: same columns, gaps handled fairly, nothing from thin air."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from sklearn.naive_bayes import CategoricalNB

from coded_logs import LOG, TRUTH
from faultodds.audit.baselines import BASELINES, as_numbers, naive_bayes
from faultodds.audit.stages import STAGES, seen_by
from faultodds.audit.truth import truth_labels
from faultodds.knowledge.loading import load
from faultodds.tuning.groups import repair_groups

DRYER = load("gas_dryer")
GROUPS = repair_groups(DRYER)


def test_naive_bayes_without_gaps_is_scikit_learns() -> None:
    """On full tables the sums are those of CategoricalNB with the same added counts."""
    rng = np.random.default_rng(0)
    y = rng.integers(0, 4, 300)
    x = ((y[:, None] + rng.integers(0, 3, (300, 5))) % 3).astype(float)
    known = CategoricalNB(alpha=1.0).fit(x[:200], y[:200])
    share = np.log(np.bincount(y[:200]) / 200)
    ours = naive_bayes(x[:200], y[:200], x[200:], 4)
    added = np.log((np.bincount(y[:200]) + 1.0) / 204)
    theirs = known.predict_joint_log_proba(x[200:]) - share + added
    expected = np.exp(theirs - theirs.max(axis=1, keepdims=True))
    assert ours == pytest.approx(expected / expected.sum(axis=1, keepdims=True), abs=1e-12)


def test_in_naive_bayes_a_gap_says_nothing() -> None:
    """A job with a gap gets what it would get if the column did not exist."""
    rng = np.random.default_rng(1)
    y = rng.integers(0, 3, 200)
    x = ((y[:, None] + rng.integers(0, 2, (200, 3))) % 3).astype(float)
    new = x[150:].copy()
    new[:, 1] = np.nan
    without = naive_bayes(x[:150][:, [0, 2]], y[:150], new[:, [0, 2]], 3)
    assert naive_bayes(x[:150], y[:150], new, 3) == pytest.approx(without, abs=1e-12)


def test_columns_are_outcome_numbers_and_gaps_stay_gaps() -> None:
    """The normal outcome is 0, a split counts as its likelier outcome, columns that the log lacks are all gaps."""
    frame = pd.DataFrame(
        {"found:heat": ["normal", None, "none"], "found:igniter_ohms": [None, "open:0.7|normal:0.3", None]}
    )
    numbers = as_numbers(frame, DRYER)
    names = [*DRYER.context, *DRYER.equipment, *DRYER.observables]
    assert numbers.shape == (3, len(names))
    heat, igniter = numbers[:, names.index("heat")], numbers[:, names.index("igniter_ohms")]
    assert heat == pytest.approx([0.0, np.nan, 2.0], nan_ok=True)
    assert igniter == pytest.approx([np.nan, 2.0, np.nan], nan_ok=True)
    assert np.isnan(numbers).sum() == numbers.size - 3


@pytest.mark.parametrize("name", list(BASELINES))
def test_every_rival_learns_something_and_states_chances(name: str) -> None:
    """Trained on 160 jobs, each names the right group more often than the commonest group would; groups never met get 0."""
    labels = truth_labels(TRUTH, list(LOG["job"]), DRYER, GROUPS)
    x = as_numbers(seen_by(LOG, DRYER, STAGES[-1]), DRYER)
    p = BASELINES[name](x[:160], labels[:160], x[160:], len(GROUPS.names))
    assert p.shape == (len(LOG) - 160, len(GROUPS.names))
    assert p.sum(axis=1) == pytest.approx(1.0)
    assert p.min() >= 0.0
    right = (p.argmax(axis=1) == labels[160:]).mean()
    commonest = np.bincount(labels[:160]).argmax()
    assert right > (labels[160:] == commonest).mean() + 0.02
    unmet = np.setdiff1d(np.arange(len(GROUPS.names)), labels[:160])
    assert (p[:, unmet] == 0.0).all()


@pytest.mark.parametrize("name", list(BASELINES))
def test_rivals_with_one_group_or_no_column_state_the_past_shares(name: str) -> None:
    """A past with a single group, or with nothing but gaps, is no error."""
    one = BASELINES[name](np.zeros((5, 2)), np.full(5, 2, dtype=np.int64), np.zeros((3, 2)), 4)
    assert one.argmax(axis=1).tolist() == [2, 2, 2]
    gaps = BASELINES[name](np.full((6, 2), np.nan), np.array([0, 0, 0, 0, 1, 1]), np.full((2, 2), np.nan), 4)
    assert gaps.sum(axis=1) == pytest.approx(1.0)
    assert (gaps[:, 0] > gaps[:, 1]).all()
