"""The scikit-learn classifier: scikit-learn's own checks, gaps, and a whole appliance behind it."""

from __future__ import annotations

import pickle
from typing import Any

import numpy as np
import pandas as pd
import pytest
from sklearn.base import clone
from sklearn.datasets import load_iris, load_wine
from sklearn.exceptions import NotFittedError
from sklearn.model_selection import cross_val_score
from sklearn.utils.estimator_checks import check_estimator, parametrize_with_checks

from coded_logs import LOG, TRUTH
from faultodds.audit.baselines import as_numbers, logistic_regression
from faultodds.audit.classifier import CauseClassifier
from faultodds.audit.methods import OMITTED_TARGET
from faultodds.errors import FaultoddsError, UnknownName
from faultodds.knowledge.loading import load
from faultodds.tuning.draw import draw_log
from faultodds.tuning.groups import repair_groups
from run_cli import write_toy
from toys import toy


@parametrize_with_checks([CauseClassifier(), CauseClassifier(worth=5.0, bins=3)])  # type: ignore[untyped-decorator]
def test_scikit_learns_own_checks(estimator: Any, check: Any) -> None:
    """Everything scikit-learn asks of a classifier."""
    check(estimator)


@pytest.mark.parametrize(("data", "least"), [(load_iris, 0.9), (load_wine, 0.92)])
def test_plain_numbers_can_be_cross_validated(data: Any, least: float) -> None:
    """On two well-known tables the little network is right nine times in ten."""
    x, y = data(return_X_y=True)
    assert cross_val_score(CauseClassifier(), x, y).mean() > least


def test_a_gap_says_nothing() -> None:
    """A row of nothing but gaps gets the shares of the classes; a gap equals a column that was never there."""
    x, y = load_iris(return_X_y=True)
    shares = CauseClassifier().fit(x, y[:150]).predict_proba(np.full((1, 4), np.nan))
    assert shares[0] == pytest.approx([1 / 3] * 3)
    gap = x.copy()
    gap[:, 2] = np.nan
    whole = CauseClassifier().fit(x, y).predict_proba(gap)
    assert whole == pytest.approx(CauseClassifier().fit(x[:, [0, 1, 3]], y).predict_proba(x[:, [0, 1, 3]]))


def test_counting_is_dirichlets() -> None:
    """One column of two values, by hand: (worth * start + count) / (worth + total)."""
    x, y = np.array([[0.0], [0], [0], [1], [1]]), np.array(["a", "a", "a", "a", "b"])
    p = CauseClassifier(worth=2.0).fit(x, y).predict_proba(np.array([[1.0]]))[0]
    overall = (0.5 + 2) / (1 + 5)  # the spread of the column over all rows, worth one row itself
    a = (1 + 4) / (2 + 5) * (2 * overall + 1) / (2 + 4)
    b = (1 + 1) / (2 + 5) * (2 * overall + 1) / (2 + 1)
    assert p == pytest.approx([a / (a + b), b / (a + b)])


COLUMNS = [c for c in LOG if c.startswith(("fact:", "found:"))]


@pytest.fixture(scope="module")
def toy_file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A small knowledge file."""
    return str(write_toy(tmp_path_factory.mktemp("toy") / "toy.toml"))


def test_an_appliance_learns_what_its_file_does_not_know(toy_file: str) -> None:
    """Taught with jobs of a shop whose shares differ, it forecasts that shop better than an untaught file does."""
    raw_components = {
        "pump": {"title": "pump", "modes": {"dead": {"title": "d", "share": 3}, "weak": {"title": "w", "share": 60}}},
        "belt": {"title": "belt", "modes": {"broken": {"title": "b", "share": 20}}},
        "fuse": {"title": "fuse", "modes": {"open": {"title": "o", "share": 2}}},
    }
    log = draw_log(toy(component=raw_components), 900, seed=4, missing=0.5, truth=True)
    x, y = log.filter(regex="^found:"), log["cause"].astype(str)
    few = CauseClassifier(toy_file, worth=1e6).fit(x[:600], y[:600])
    taught = CauseClassifier(toy_file).fit(x[:600], y[:600])
    place = [list(taught.classes_).index(c) for c in y[600:]]
    losses = [-np.log(m.predict_proba(x[600:])[np.arange(300), place]).mean() for m in (few, taught)]
    assert losses[1] < losses[0] - 0.1


def test_an_appliance_can_be_cross_validated_on_causes_and_on_repair_groups() -> None:
    """Both kinds of answer work with clone and cross_val_score, and beat always naming the commonest."""
    groups = repair_groups(load("gas_dryer"))
    causes = TRUTH["main_cause"].to_numpy()
    known = {**groups.of_main, "unlisted": groups.of_main["unlisted.present"]}
    by_group = np.array([groups.names[known[c]] for c in causes])
    rows = np.arange(140)
    for answers in (causes, by_group):
        model = clone(CauseClassifier("gas_dryer"))
        score = cross_val_score(model, LOG[COLUMNS].iloc[rows], answers[rows], cv=2)
        commonest = pd.Series(answers[rows]).value_counts(normalize=True).iloc[0]
        assert score.mean() > commonest + 0.15
    assert OMITTED_TARGET > 0


def test_what_an_appliance_cannot_take_is_refused_in_a_sentence(toy_file: str) -> None:
    """Plain numbers, columns that are neither fact nor finding, and answers it does not know."""
    frame = pd.DataFrame({"found:listen": ["hums", "weak", "silent"]})
    with pytest.raises(FaultoddsError, match=r"with an appliance, X is a DataFrame .* this is ndarray"):
        CauseClassifier(toy_file).fit(np.zeros((2, 2)), ["pump.dead", "pump.weak"])
    with pytest.raises(FaultoddsError, match="the column 'bill' is neither a fact nor a finding"):
        CauseClassifier(toy_file).fit(frame.assign(bill=1.0), ["pump.dead"] * 3)
    with pytest.raises(UnknownName, match=r"no main cause or repair group called 'pump.ded'"):
        CauseClassifier(toy_file).fit(frame, ["pump.ded", "pump.weak", "pump.weak"])


def test_what_scikit_learn_asks_holds_for_an_appliance_as_far_as_its_input_allows(toy_file: str) -> None:
    """Its input is words, not a table of numbers, and it says so: scikit-learn's own checks then ask what can be asked. The rest by
    hand: the same twice, in any order of rows, row by row, after a pickle; parameters and rows left alone; bad answers refused."""
    check_estimator(CauseClassifier(toy_file), on_skip=None)
    log = draw_log(toy(), 240, seed=6, missing=0.4, truth=True)
    x, y = log.filter(regex="^found:"), log["cause"].astype(str)
    given = x.copy()
    with pytest.raises(NotFittedError):
        CauseClassifier(toy_file).predict(x)
    model = CauseClassifier(toy_file)
    assert model.fit(x, y) is model
    chances = model.predict_proba(x)
    assert chances.sum(axis=1) == pytest.approx(np.ones(len(x)))
    assert np.array_equal(chances, clone(model).fit(x, y).predict_proba(x))
    order = np.random.default_rng(1).permutation(len(x))
    assert model.predict_proba(x.iloc[order]) == pytest.approx(chances[order])
    assert np.vstack([model.predict_proba(x.iloc[n : n + 1]) for n in range(20)]) == pytest.approx(chances[:20])
    assert np.array_equal(pickle.loads(pickle.dumps(model)).predict_proba(x), chances)
    assert model.get_params() == CauseClassifier(toy_file).get_params() and x.equals(given)
    assert (model.n_features_in_, list(model.feature_names_in_)) == (x.shape[1], list(x.columns))
    for bad in (y[:10], None, np.linspace(0, 1, len(y)), np.full(len(y), np.nan)):
        with pytest.raises(ValueError, match=r"."):
            CauseClassifier(toy_file).fit(x, bad)
    with pytest.raises(ValueError, match="0 sample"):
        CauseClassifier(toy_file).fit(x.iloc[:0], y[:0])


def test_on_a_shop_that_differs_it_forecasts_better_than_logistic_regression() -> None:
    """Taught the causes of 240 jobs, on the next 160: a smaller log loss than logistic regression on the same columns."""
    x, y = LOG[COLUMNS], TRUTH["main_cause"].to_numpy().astype(str)
    classes, codes = np.unique(y[:240], return_inverse=True)
    dryer = load("gas_dryer")
    rival = logistic_regression(as_numbers(x[:240], dryer), codes, as_numbers(x[240:400], dryer), len(classes))
    met = np.isin(y[240:400], classes)
    place = np.searchsorted(classes, y[240:400][met])
    own = CauseClassifier("gas_dryer").fit(x.iloc[:240], y[:240]).predict_proba(x.iloc[240:400])
    losses = [-np.log(p[met][np.arange(met.sum()), place]).mean() for p in (own, rival)]
    assert losses[0] < losses[1] - 0.3
