from .classifier import CauseClassifier as CauseClassifier
from .intervals import Interval as Interval, bootstrap as bootstrap
from .methods import LEARNED as LEARNED
from .results import Audit as Audit, Row as Row, verdict as verdict
from .run import audit as audit
from .stages import chosen as chosen
from .truth import read_truth as read_truth
from .scores import (
    Decomposition as Decomposition, brier_scores as brier_scores, decompose_groups as decompose_groups,
    log_scores as log_scores,
)
