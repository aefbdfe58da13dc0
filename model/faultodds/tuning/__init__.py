"""Learning from a shop's own jobs: `fit` for the numbers, `gibbs.sample` for how sure they are, `draw.draw_log` for practice logs.

Nothing here is on the everyday path; pandas, scipy and scikit-learn are imported where they are used.
"""

from faultodds.tuning.draw import draw_log
from faultodds.tuning.fit import Learned, fit
from faultodds.tuning.settings import Settings

__all__ = ["Learned", "Settings", "draw_log", "fit"]
