"""What checks are made of: the view of N machines, eyes, hands and meters with their errors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.random import Generator

from .machines import Machines
from .psychro import Array, Codes, Flags
from .runs import Run, as_used, bench, verification
from .simulation import simulate

OL = np.inf  # over the meter's range


@dataclass
class View:
    """N machines and how they run: as the customer uses them, on the technician's bench run, and when
    verified.
    """

    m: Machines
    used: Run
    bench: Run
    verified: Run


class Reading(NamedTuple):
    """Value (N, NaN when there is none) and outcome code (N) of one check."""

    value: Array
    code: Codes


Check = Callable[[View, Generator, Array], Reading]


def view(m: Machines, dt: float = 20.0) -> View:
    """Run N machines in the three ways that checks look at."""
    return View(m, simulate(m, as_used(m), dt), simulate(m, bench(m), dt), simulate(m, verification(m), dt))


_SCENARIOS = {"used": as_used, "bench": bench, "verified": verification}


class LateView(View):
    """A view whose runs are made when they are first looked at, in steps of `dt` seconds."""

    def __init__(self, m: Machines, dt: float = 20.0) -> None:
        self.m, self._dt = m, dt

    def __getattr__(self, name: str) -> Run:
        """Make and keep the run of that name."""
        if name not in _SCENARIOS:
            raise AttributeError(name)
        run = simulate(self.m, _SCENARIOS[name](self.m), self._dt)
        setattr(self, name, run)
        return run


def to_f(t_c: Array) -> Array:
    """Degrees F."""
    return t_c * 1.8 + 32.0


def look(v: View, *rules: Flags) -> Reading:
    """Code of the last rule (N, bool) that holds, counted from 1; 0 when none does."""
    code = np.zeros(len(v.m), np.intp)
    for number, rule in enumerate(rules, start=1):
        code = np.where(rule, number, code)
    return Reading(np.full(len(v.m), np.nan), code)


def blur(x: Array, rng: Generator, skill: Array, spread: float) -> Array:
    """A quantity judged by eye or hand; the less skill, the wider."""
    return x + rng.normal(size=len(x)) * spread * (1.6 - skill)


def metered(x: Array, rng: Generator, relative: float, least: float) -> Array:
    """A quantity read off an instrument with a rated error; infinite stays infinite."""
    return x * (1.0 + relative * rng.normal(size=len(x))) + least * rng.normal(size=len(x))


def ohms(x: Array, rng: Generator) -> Array:
    """A meter's reading (ohm), with lead resistance left in, OL above 20 M."""
    read = np.maximum(metered(x, rng, 0.006, 0.08), 0.0)
    return np.where(x > 2e7, OL, read)


def contact(field: str, bad_ohm: float) -> Check:
    """A continuity check of one switch: closed (0) or open (1)."""

    def check(v: View, rng: Generator, skill: Array) -> Reading:
        value = ohms(getattr(v.m, field), rng)
        return Reading(value, (value > bad_ohm).astype(np.intp))

    return check
