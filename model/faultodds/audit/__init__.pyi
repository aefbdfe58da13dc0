from .classifier import CauseClassifier as CauseClassifier
from .in_use import (
    against_in_use as against_in_use, judged_log as judged_log, keep as keep, learned_from as learned_from,
)
from .intervals import Interval as Interval, bootstrap as bootstrap, wilson as wilson
from .methods import LEARNED as LEARNED
from .results import Audit as Audit, CurvePoint as CurvePoint, Row as Row, is_worse as is_worse, verdict as verdict
from .run import audit as audit
from .stages import chosen as chosen
from .truth import read_truth as read_truth
from .scores import (
    Decomposition as Decomposition, brier_scores as brier_scores, decompose_groups as decompose_groups,
    log_scores as log_scores,
)
