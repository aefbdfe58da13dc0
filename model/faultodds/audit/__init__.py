"""Would it have helped? A log played forward, beside general methods; and the scikit-learn estimator."""

from faultodds.audit.intervals import Interval
from faultodds.audit.methods import LEARNED
from faultodds.audit.results import Audit, Row, verdict
from faultodds.audit.run import audit
from faultodds.audit.stages import chosen
from faultodds.audit.truth import read_truth
