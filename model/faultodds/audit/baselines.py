"""Rivals from scikit-learn, given the same columns, the same past jobs and the same labels.

Settings are scikit-learn's own or common practice, fixed beforehand and the same at every stage; nothing is tuned on the jobs
that are scored. Gaps are handled in each method's natural way:

* logistic regression: one-hot columns, "not done" a level of its own;
* boosted trees: outcome numbers, a gap left a gap (the trees learn which way to send it);
* naive Bayes: a gap drops out of the product, so that "not done" neither speaks for nor against.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from faultodds.joblog import FACT, FOUND, weights
from faultodds.knowledge import Floats, Ints, Knowledge

if TYPE_CHECKING:
    import pandas as pd

#: Forecast of (N, K) groups for new jobs, from past jobs' columns and labels.
Baseline = Callable[[Floats, Ints, Floats, int], Floats]
#: Added to every count of naive Bayes and to every group's share (Laplace's rule).
ADDED = 1.0


def as_numbers(frame: pd.DataFrame, knowledge: Knowledge) -> Floats:
    """(N, F) outcome and value numbers of facts, symptoms and checks in file order, NaN where not known or not done.

    Columns that the frame does not have are NaN throughout, so that past and new jobs always fit. A split finding counts
    as its likelier outcome.
    """
    values = {FACT + n: list(f.values) for n, f in knowledge.context.items()}
    values |= {FACT + n: list(f.values) for n, f in knowledge.equipment.items()}
    values |= {FOUND + n: list(o.outcomes) for n, o in knowledge.observables.items()}
    out = np.full((len(frame), len(values)), np.nan)
    for place, (column, names) in enumerate(values.items()):
        if column in frame:
            out[:, place] = _numbers(frame[column], names)
    return out


def _numbers(column: pd.Series, names: list[str]) -> Floats:
    import pandas as pd

    codes, found = pd.factorize(column.astype(object))
    likelier = [max(parts.items(), key=lambda item: item[1])[0] for parts in (weights(str(cell)) for cell in found)]
    number = np.array([*(float(names.index(n)) for n in likelier), np.nan])
    return np.asarray(number[codes])


def logistic() -> Any:
    """Multinomial logistic regression, ridge penalty, on one-hot columns; not fitted yet."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import OneHotEncoder

    return make_pipeline(OneHotEncoder(handle_unknown="ignore"), LogisticRegression(C=1.0, max_iter=1000, tol=1e-3))


def logistic_regression(past: Floats, labels: Ints, new: Floats, groups: int) -> Floats:
    """Multinomial logistic regression, ridge penalty, on one-hot columns."""
    return _fitted(logistic(), gaps_as_level(past), labels, gaps_as_level(new), groups)


def gaps_as_level(x: Floats) -> Floats:
    """Outcome numbers with "not done" as one of them, -1."""
    return np.asarray(np.where(np.isnan(x), -1.0, x))


def boosted_trees(past: Floats, labels: Ints, new: Floats, groups: int) -> Floats:
    """Gradient-boosted trees: 40 rounds of small trees, slow and penalised, since the groups are many and the jobs few."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    model = HistGradientBoostingClassifier(
        max_iter=40,
        learning_rate=0.08,
        max_leaf_nodes=8,
        max_bins=16,  # no column has more outcomes; with more, most of the time would go into empty bins
        min_samples_leaf=10,
        l2_regularization=1.0,
        early_stopping=False,
        random_state=0,
    )
    used = ~np.isnan(past).all(axis=0)
    if not used.any():
        return _shares(labels, len(new), groups)
    return _fitted(model, past[:, used], labels, new[:, used], groups)


def _fitted(model: Any, past: Floats, labels: Ints, new: Floats, groups: int) -> Floats:
    if len(set(labels.tolist())) < 2:
        return _shares(labels, len(new), groups)
    from threadpoolctl import threadpool_limits

    # Many small trees on several threads spend their time waiting for one another.
    with threadpool_limits(1), warnings.catch_warnings():
        warnings.simplefilter(
            "ignore"
        )  # too few jobs in a group, not quite converged: no news to whoever reads an audit
        model.fit(past, labels)
    out = np.zeros((len(new), groups))
    out[:, model.classes_] = model.predict_proba(new)
    return out


def _shares(labels: Ints, jobs: int, groups: int) -> Floats:
    counts = np.bincount(labels, minlength=groups).astype(float)
    return np.repeat((counts / max(counts.sum(), 1.0))[None, :], jobs, axis=0)


def naive_bayes(past: Floats, labels: Ints, new: Floats, groups: int) -> Floats:
    """Categorical naive Bayes over the groups met so far; scikit-learn's takes no gaps, so its sums are done here."""
    met = np.unique(labels)
    log = np.repeat(np.log(np.bincount(labels, minlength=groups)[met] + ADDED)[None, :], len(new), axis=0)
    place = np.searchsorted(met, labels)
    for column in range(past.shape[1]):
        log += _log_chances(past[:, column], place, new[:, column], len(met))
    p = np.exp(log - log.max(axis=1, keepdims=True))
    out = np.zeros((len(new), groups))
    out[:, met] = p / p.sum(axis=1, keepdims=True)
    return out


def _log_chances(past: Floats, place: Ints, new: Floats, met: int) -> Floats:
    """(N, met) log chance of each new job's value in each group; 0 where there is a gap or a value nobody has met."""
    told = ~np.isnan(past)
    if not told.any():
        return np.zeros((len(new), met))
    width = int(past[told].max()) + 1
    counts = np.bincount(place[told] * width + past[told].astype(np.int64), minlength=met * width).reshape(met, width)
    log = np.log(counts + ADDED) - np.log((counts + ADDED).sum(axis=1, keepdims=True))
    known = ~np.isnan(new) & (new < width)
    out = np.zeros((len(new), met))
    out[known] = log[:, new[known].astype(np.int64)].T
    return out


BASELINES: dict[str, Baseline] = {
    "logistic regression": logistic_regression,
    "boosted trees": boosted_trees,
    "naive Bayes": naive_bayes,
}
