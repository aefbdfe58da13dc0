"""A gas dryer and a repair shop simulated from physics, for trials, drills and practice logs.

Knows nothing of the model.

Everything here is invented and synthetic. Start with `faultodds_sim.call.calls`.
"""

__version__ = "0.1.0"
