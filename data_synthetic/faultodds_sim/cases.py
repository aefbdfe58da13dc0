"""Service calls as they come in: households, what has failed there, what that has brought on, and who calls.

Causes compete: a household calls in proportion to the sum of its yearly rates, and the cause is drawn in
proportion to each. Restriction then trips limits and blows fuses through the physics, and whoever has no
trouble does not call.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from . import faults
from .errors import SimError
from .faults import ABRUPT
from .hazards import CODE, MODE_NAMES, draw_severity, yearly_rates
from .households import Houses, draw_houses, sound_machines
from .instruments import View
from .machines import INDEX, Machines
from .names import NOTHING
from .psychro import Array, Codes, Flags
from .repairs import CURES, REPAIRS
from .runs import Run, as_used
from .simulation import simulate
from .symptoms import troubles

COMPANION_YEARS = 0.3  # how long a second fault may have gone unnoticed


@dataclass
class Cases:
    """N calls: households, their machines sound and as found, and which modes are there (modes, N) with which
    cause.
    """

    houses: Houses
    sound: Machines
    now: Machines
    present: Flags
    main: Codes
    severity: Array
    used: Run
    normal_min: Array

    def __len__(self) -> int:
        return len(self.main)

    def modes(self, row: int) -> frozenset[str]:
        """Names of the modes that one machine has."""
        return frozenset(MODE_NAMES[i] for i in np.flatnonzero(self.present[:, row]))

    def sudden(self) -> Flags:
        """Whether the trouble came at once: a part that has gone open, a blown fuse, a shut cock."""
        abrupt = np.array([name in ABRUPT for name in MODE_NAMES])
        return np.asarray((self.present & abrupt[:, None]).any(axis=0))


def _pick_cause(rates: Array, rng: Generator) -> Codes:
    """Draw one mode a household in proportion to its rates."""
    ladder = np.cumsum(rates, axis=0)
    return np.asarray((ladder < rng.random(rates.shape[1]) * ladder[-1]).sum(axis=0), np.intp)


def _who_has_a_fault(n: int, rng: Generator, days: tuple[float, float], town: int) -> tuple[Houses, Array, Codes]:
    """Draw `n` households that a fault has come to, their rates, and the fault."""
    pool = draw_houses(4 * n, rng, days)
    rates = yearly_rates(pool, town)
    total = rates.sum(axis=0)
    chosen = rng.choice(len(pool), n, p=total / total.sum())
    houses, rates = pool.take(chosen), rates[:, chosen]
    return houses, rates, _pick_cause(rates, rng)


def _companions(rates: Array, main: Codes, rng: Generator) -> Flags:
    """Which other modes have crept in unnoticed; one cause with no part behind it comes alone."""
    others = rng.random(rates.shape) < rates * COMPANION_YEARS
    alone = np.array([CODE[NOTHING], CODE["unlisted"]])
    others[alone] = False
    others[:, main == CODE[NOTHING]] = False
    others[CODE["duct.partly_blocked"]] &= ~(main == CODE["duct.nearly_blocked"])
    _bring_on(others, main, rng)
    return _one_a_component(others, main)


#: cause -> (what it brings on, chance)
_BRINGS = (
    ("lint_screen.torn", "lint_path.packed", 0.45),
    ("lint_screen.torn", "blower.clogged", 0.25),
    ("rollers.dragging", "belt.slipping", 0.3),
    ("rollers.dragging", "motor.weak", 0.2),
    ("use.overloaded", "belt.slipping", 0.05),
    ("duct.nearly_blocked", "lint_path.packed", 0.12),
    ("transition.come_off", "lint_path.packed", 0.1),
    ("drum_seals.worn", "lint_path.packed", 0.1),
    ("lint_path.packed", "burner.fouled", 0.06),
)


def _bring_on(others: Flags, main: Codes, rng: Generator) -> None:
    for cause, brought, chance in _BRINGS:
        others[CODE[brought]] |= (main == CODE[cause]) & (rng.random(len(main)) < chance)


def _one_a_component(others: Flags, main: Codes) -> Flags:
    """A component is in one mode at a time: the main cause's, else the first drawn."""
    component = np.array([name.split(".")[0] for name in MODE_NAMES])
    for name in np.unique(component):
        rows = np.flatnonzero(component == name)
        taken = np.isin(main, rows)
        for row in rows:
            others[row] &= ~taken
            taken = taken | others[row]
    others[main, np.arange(len(main))] = True
    return others


def _give(now: Machines, present: Flags, main: Codes, rng: Generator) -> Array:
    """Apply every mode that is there; return the severity of the main cause."""
    severity = np.ones(len(main))
    for code, mode in enumerate(MODE_NAMES):
        rows = np.flatnonzero(present[code])
        if mode == NOTHING or len(rows) == 0:
            continue
        level = draw_severity(mode, len(rows), rng)
        faults.apply(now, mode, level, rows)
        severity[rows] = np.where(main[rows] == code, level, severity[rows])
    return severity


def _wear_out(now: Machines, present: Flags, used: Run, houses: Houses, rng: Generator) -> Codes:
    """Blow the fuses and wear the limits that the physics has overheated; return the rows that changed."""
    n = len(now)
    blown = used.fuse_blew > 0.5
    present[CODE["thermal_fuse.open"]] |= blown
    now.fuse_ohm[blown] = 1e9
    weeks = rng.exponential(9.0, n)
    worn = rng.random(n) < -np.expm1(-0.6e-4 * used.limit_trips * houses.loads * weeks)
    worn &= ~present[CODE["high_limit.open"]] & ~present[CODE["high_limit.trips_low"]]
    gone = worn & (rng.random(n) < 0.3)
    for mode, which in (("high_limit.open", gone), ("high_limit.trips_low", worn & ~gone)):
        rows = np.flatnonzero(which)
        present[CODE[mode]] |= which
        faults.apply(now, mode, draw_severity(mode, len(rows), rng), rows)
    return np.flatnonzero(blown | worn)


def modes_left(after: Machines, sound: Machines, present: Flags) -> Flags:
    """Which of the modes (modes, N) are still there, judged by the parameters that their repair would put
    back.
    """
    left = present.copy()
    for code, mode in enumerate(MODE_NAMES):
        if mode not in CURES or not present[code].any():
            continue
        rows = [INDEX[field] for field in REPAIRS[CURES[mode][0]].fields]
        left[code] &= (after.data[rows] != sound.data[rows]).any(axis=0)
    return left


def _draw(n: int, rng: Generator, dt: float, minutes: float, days: tuple[float, float], town: int) -> Cases:
    """Draw `n` machines with a fault, let the faults bring each other on, and keep those whose customer would
    call.
    """
    houses, rates, main = _who_has_a_fault(n, rng, days, town)
    sound = sound_machines(houses, rng)
    present = _companions(rates, main, rng)
    now = sound.copy()
    severity = _give(now, present, main, rng)
    normal = simulate(sound, as_used(sound, 60.0), dt, until_dry=True).dry_min
    used = simulate(now, as_used(now, minutes), dt)
    changed = _wear_out(now, present, used, houses, rng)
    if len(changed):
        part = now.take(changed)
        used.put(changed, simulate(part, as_used(part, minutes), dt))
    cases = Cases(houses, sound, now, present, main, severity, used, normal)
    view = View(now, used, used, used)
    t = troubles(view, normal)
    slow = used.dry_min / normal > houses.tolerance
    calls = slow | t.no_heat | t.auto | t.still | t.noise | ((t.hot | t.humid | t.lint) & (rng.random(n) < 0.6))
    mistaken = (main == CODE[NOTHING]) & ~t.any()
    return take_cases(cases, np.flatnonzero((calls & (main != CODE[NOTHING])) | mistaken))


def take_cases(c: Cases, rows: Codes) -> Cases:
    """Return some of the calls."""
    return Cases(
        c.houses.take(rows),
        c.sound.take(rows),
        c.now.take(rows),
        c.present[:, rows],
        c.main[rows],
        c.severity[rows],
        c.used.take(rows),
        c.normal_min[rows],
    )


def draw_cases(
    n: int,
    rng: Generator,
    dt: float = 20.0,
    minutes: float = 90.0,
    days: tuple[float, float] = (0.0, 365.0),
    town: int = 0,
) -> Cases:
    """Draw `n` service calls of a town (`hazards.town_factors`).

    More are drawn than asked for, since not every fault makes a call; SimError if too few do.
    """
    for factor in (1.45, 2.5, 5.0):
        cases = _draw(int(n * factor) + 24, rng, dt, minutes, days, town)
        if len(cases) >= n:
            return take_cases(cases, np.arange(n))
    raise SimError(f"only {len(cases)} of {n} simulated households would call; check the hazards")
