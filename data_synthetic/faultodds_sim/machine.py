"""One dryer on the bench: a machine with chosen faults, for drills, notebooks and the fixed sheet."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from . import faults
from .checks import View, view
from .drum import simulate
from .machines import Machines, typical
from .runs import Run, as_used


def dryer(modes: Mapping[str, float] | None = None, **parameters: float) -> Machines:
    """Return one typical dryer with `modes` (name -> severity) and other parameters of `machines.FIELDS` set.

    The equipment follows the faults: a thermistor fault gives a board. Raises `UnknownNameError` for a
    strange mode.
    """
    m = typical(1)
    for mode in modes or {}:
        field, value = faults.MODE_NEEDS.get(mode, ("", 0.0))
        if field:
            getattr(m, field)[:] = value
    for name, number in parameters.items():
        getattr(m, name)[:] = number
    for mode, severity in (modes or {}).items():
        faults.apply(m, mode, severity)
    return m


def run(m: Machines, minutes: float = 70.0, dt: float = 5.0) -> Run:
    """Run machines as their customers use them, with the curves kept in `Run.trace`."""
    return simulate(m, as_used(m, minutes), dt, trace=True)


def look(m: Machines) -> View:
    """Return everything the checks need for these machines."""
    return view(m)


def minutes_to_dry(m: Machines) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Minutes until the customer's usual load is dry; infinite when it never is."""
    return simulate(m, as_used(m)).dry_min
