"""The same learning as a scikit-learn classifier, for those who want to cross-validate it beside others.

    from faultodds.audit import CauseClassifier
    cross_val_score(CauseClassifier("gas_dryer"), log, causes, scoring="accuracy")

Importing this module imports scikit-learn; no everyday command does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.multiclass import check_classification_targets
from sklearn.utils.validation import check_consistent_length, check_is_fitted, column_or_1d, validate_data

from faultodds.knowledge import Floats, Ints

if TYPE_CHECKING:
    from faultodds.audit.taught import Taught


class CauseClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Chance of each cause from facts, symptoms and checks, most of which may be missing.

    Without an appliance it is a small Bayesian network learned by Dirichlet counting: the class is the cause, each column of
    numbers is cut into bins at its quantiles and depends on the cause alone. A missing value (NaN) means "not done" and drops
    out; it is never taken for a value of its own.

    With an appliance it starts from that knowledge file and learns every number in it from the rows (`faultodds.tuning`). `X`
    is then a DataFrame with columns of a clean log (`fact:NAME`, `found:NAME`), and `y` names main causes, or repair groups
    (the repair that put the machine right; `faultodds.tuning.groups`).

    Parameters
    ----------
    appliance: None, the name of a shipped appliance, or the path of a knowledge file.
    worth: how many jobs the starting numbers count for. Without an appliance they are the same for every cause (each column's
        overall spread), so this is how strongly small causes are pulled towards the rest.
    bins: without an appliance, the most bins a column is cut into.

    Attributes
    ----------
    classes_ (K,) causes in `y`, sorted. n_features_in_, and feature_names_in_ for a DataFrame: as scikit-learn defines them.
    """

    def __init__(self, appliance: str | None = None, worth: float | None = None, bins: int = 8) -> None:
        self.appliance = appliance
        self.worth = worth
        self.bins = bins

    def __sklearn_tags__(self) -> Any:
        """Missing values are welcome; with an appliance, columns hold words."""
        tags = super().__sklearn_tags__()
        tags.input_tags.allow_nan = True
        tags.input_tags.string = tags.input_tags.categorical = self.appliance is not None
        tags.input_tags.two_d_array = self.appliance is None
        return tags

    def fit(self, X: Any, y: Any) -> CauseClassifier:
        """Learn from rows `X` (N, F) whose causes `y` (N,) are known."""
        if self.appliance is not None:
            return self._fit_appliance(X, y)
        X, y = validate_data(self, X, y, dtype=np.float64, ensure_all_finite="allow-nan")
        check_classification_targets(y)
        self.classes_, place = np.unique(y, return_inverse=True)
        worth = 1.0 if self.worth is None else float(self.worth)
        counts = np.bincount(place, minlength=len(self.classes_)).astype(float)
        self.log_share_ = np.log(_counted(counts, np.full(len(counts), 1.0 / len(counts)), worth))
        self.edges_ = [_edges(column, self.bins) for column in X.T]
        self.log_chances_ = [
            _log_chances(_binned(column, edges), place, len(self.classes_), len(edges) + 1, worth)
            for column, edges in zip(X.T, self.edges_, strict=True)
        ]
        return self

    def predict_proba(self, X: Any) -> Floats:
        """(N, K) chance of each of `classes_`; rows sum to 1."""
        check_is_fitted(self, "classes_")
        if self.appliance is not None:
            return self._taught.chances(self._frame(X, reset=False))
        X = validate_data(self, X, dtype=np.float64, ensure_all_finite="allow-nan", reset=False)
        log = np.repeat(self.log_share_[None, :], len(X), axis=0)
        for column, edges, chances in zip(X.T, self.edges_, self.log_chances_, strict=True):
            done = ~np.isnan(column)
            log[done] += chances[:, _binned(column[done], edges)].T
        p = np.exp(log - log.max(axis=1, keepdims=True))
        return np.asarray(p / p.sum(axis=1, keepdims=True))

    def predict(self, X: Any) -> Any:
        """(N,) the likeliest cause of each row."""
        p = self.predict_proba(X)
        return self.classes_[p.argmax(axis=1)]

    def _fit_appliance(self, X: Any, y: Any) -> CauseClassifier:
        from faultodds.audit.taught import teach

        frame = self._frame(X, reset=True)
        if y is None:
            raise ValueError("requires y to be passed, but the target y is None")
        if not len(frame):
            raise ValueError("Found array with 0 sample(s) while a minimum of 1 is required.")
        y = column_or_1d(y, warn=True)
        check_consistent_length(frame, y)
        check_classification_targets(y)
        answers = y.astype(str)
        assert self.appliance is not None
        self._taught: Taught = teach(self.appliance, frame, answers, self.worth)
        self.classes_ = self._taught.classes
        return self

    def _frame(self, X: Any, reset: bool) -> Any:
        """The rows as they came, their columns counted and remembered, or compared with those of `fit`."""
        if not hasattr(X, "columns"):
            from faultodds.errors import FaultoddsError

            raise FaultoddsError(
                "with an appliance, X is a DataFrame with columns such as 'fact:age' and 'found:heat'; "
                f"this is {type(X).__name__}. For plain numbers use CauseClassifier() without an appliance."
            )
        validate_data(self, X, skip_check_array=True, reset=reset)
        return X


def _counted(counts: Floats, start: Floats, worth: float) -> Floats:
    """Chances after counting: the start counts as `worth` jobs. Sums to 1 over the last axis."""
    return np.asarray((worth * start + counts) / (worth + counts.sum(axis=-1, keepdims=True)))


def _edges(column: Floats, bins: int) -> Floats:
    """Inner edges that cut a column's known values into at most `bins` bins of about as many values each."""
    known = column[~np.isnan(column)]
    if not len(known):
        return np.zeros(0)
    values = np.unique(known)
    if len(values) <= bins:
        return np.asarray((values[1:] + values[:-1]) / 2.0)
    return np.unique(np.quantile(known, np.linspace(0.0, 1.0, bins + 1)[1:-1]))


def _binned(column: Floats, edges: Floats) -> Ints:
    """Bin of each value; -1 for a missing one."""
    return np.where(np.isnan(column), -1, np.searchsorted(edges, column, side="right"))


def _log_chances(binned: Ints, place: Ints, classes: int, bins: int, worth: float) -> Floats:
    """(K, bins) log chance of each bin given the class; starts from the spread over all classes, no bin quite empty."""
    done = binned >= 0
    counts = np.bincount(place[done] * bins + binned[done], minlength=classes * bins).reshape(classes, bins)
    overall = _counted(counts.sum(axis=0).astype(float), np.full(bins, 1.0 / bins), 1.0)
    return np.asarray(np.log(_counted(counts.astype(float), overall, worth)))
