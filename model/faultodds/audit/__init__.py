"""Would it have helped? A log played forward, beside general methods; and the scikit-learn estimator."""

from typing import TYPE_CHECKING, Any

from faultodds.audit.intervals import Interval
from faultodds.audit.methods import LEARNED
from faultodds.audit.results import Audit, Row, verdict
from faultodds.audit.run import audit
from faultodds.audit.stages import chosen
from faultodds.audit.truth import read_truth

if TYPE_CHECKING:
    from faultodds.audit.classifier import CauseClassifier


def __getattr__(name: str) -> Any:
    # scikit-learn is loaded when the estimator is asked for.
    if name in ("CauseClassifier",):
        from faultodds.audit import classifier

        return getattr(classifier, name)
    raise AttributeError(name)
