"""Harbour Lane Appliance Service at work: what its technicians do on a batch of calls, and how that ends.

One `visit` takes N machines: every technician goes down an order of checks, stops when something explains the
complaint, changes what it points to (or guesses), and may run a verification. Customers whose machine does
not do its work, or blows its new fuse, come back; their second visit is a job of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from .cases import Cases
from .checks import fitted, read
from .findings import (
    AIR,
    CHECK_CODE,
    CHECK_NAMES,
    GUESSES,
    IS_AIR,
    NONE,
    POINTS,
    REPAIR_CODE,
    REPAIR_NAMES,
    TECH_NAMES,
)
from .instruments import Reading, View
from .machines import Machines
from .psychro import Array, Codes, Flags
from .repairs import REPAIRS, restore
from .runs import as_used, bench, verification
from .simulation import simulate
from .symptoms import Troubles, troubles
from .technicians import TECHNICIANS

MAX_REPAIRS = 4
# What nobody in this shop thinks of looking at.
NOT_DONE = frozenset({"air_opening_look"})
DT, MINUTES = 30.0, 66.0


@dataclass
class Visit:
    """What happened on N visits.

    tech : technician codes. code, value : outcome code and reading of every check (checks, N). done : which
    were done. repairs : repair codes in order, `NONE` for no more (MAX_REPAIRS, N). verified : outcome code,
    `NONE` when not run. works : by the physics. back_days : days until the callback, NaN when there is none.
    after : the machines as left.
    """

    tech: Codes
    code: Codes
    value: Array
    done: Flags
    repairs: Codes
    verified: Codes
    works: Flags
    back_days: Array
    after: Machines


def _read_all(v: View, skill: Array, rng: Generator) -> tuple[Codes, Array]:
    """Read every check on every machine, done or not: arrays (checks, N) of outcome codes and values."""
    blank = Reading(np.full(len(v.m), np.nan), np.zeros(len(v.m), np.intp))
    readings = [blank if name in NOT_DONE else read(name, v, rng, skill) for name in CHECK_NAMES]
    return np.stack([r.code for r in readings]), np.stack([r.value for r in readings])


@dataclass
class _Plan:
    """State of the N walks down the orders: repairs found so far, air known to be short, still looking."""

    repairs: Codes
    count: Codes
    short_of_air: Flags
    active: Flags
    done: Flags


def _new_plan(n: int) -> _Plan:
    return _Plan(
        np.full((MAX_REPAIRS, n), NONE, np.intp),
        np.zeros(n, np.intp),
        np.zeros(n, bool),
        np.ones(n, bool),
        np.zeros((len(CHECK_NAMES), n), bool),
    )


def _prompted(plan: _Plan, t: Troubles, fits: Flags, code: Codes, skill: Array, rng: Generator) -> None:
    """First look at what the complaint itself points to: a still or noisy drum, an auto cycle that ends
    wrongly.
    """
    attentive = rng.random(len(skill)) < 0.25 + 0.7 * skill
    prompts = (
        (t.still | t.noise, ("belt_rollers_look", "level_check")),
        (t.auto & ~t.slow & ~t.no_heat, ("sensor_bar_test", "level_check", "load_questions")),
        (t.slow & (rng.random(len(skill)) < 0.4), ("load_questions", "spun_load_weight")),
    )
    for which, checks in prompts:
        for check in checks:
            rows = np.flatnonzero(which & attentive & plan.active & fits[CHECK_CODE[check]])
            for level in np.unique(skill[rows]):
                _look(plan, rows[skill[rows] == level], check, code, float(level), rng)


def _walk(plan: _Plan, fits: Flags, code: Codes, tech: Codes, rng: Generator) -> None:
    """Go down every technician's order until something explains the complaint or patience is out."""
    for number, person in enumerate(TECHNICIANS.values()):
        mine = np.flatnonzero((tech == number) & plan.active)
        patience = plan.done[:, mine].sum(axis=0) + 7 + rng.poisson(13.0 * person.skill, len(mine))
        for check in person.order:
            here = CHECK_CODE[check]
            goes = (
                plan.active[mine]
                & (plan.done[:, mine].sum(axis=0) < patience)
                & fits[here, mine]
                & ~plan.done[here, mine]
            )
            _look(plan, mine[goes], check, code, person.skill, rng)


def _look(plan: _Plan, rows: Codes, check: str, code: Codes, skill: float, rng: Generator) -> None:
    """Do one check on some machines and note what it points to; most technicians stop at the first
    explanation.
    """
    row = CHECK_CODE[check]
    plan.done[row, rows] = True
    outcome = code[row, rows]
    plan.short_of_air[rows] |= AIR[row, outcome]
    repair = POINTS[row, outcome]
    new = (repair != NONE) & (plan.count[rows] < MAX_REPAIRS - 1) & ~(plan.repairs[:, rows] == repair).any(axis=0)
    hit = rows[new]
    plan.repairs[plan.count[hit], hit] = repair[new]
    plan.count[hit] += 1
    fuse = repair[new] == REPAIR_CODE["thermal_fuse"]  # a blown fuse has a cause; the better technicians go on
    goes_on = rng.random(len(hit)) < np.where(fuse, 0.35 + 0.6 * skill, 0.08 + 0.3 * skill)
    plan.active[hit] &= goes_on


def _add(plan: _Plan, rows: Codes, repair: Codes | int) -> None:
    """Add a repair to some plans that still have room."""
    room = plan.count[rows] < MAX_REPAIRS
    rows = rows[room]
    plan.repairs[plan.count[rows], rows] = repair if isinstance(repair, int) else repair[room]
    plan.count[rows] += 1


def _conclude(plan: _Plan, m: Machines, code: Codes, cold: Flags, tech: Codes, rng: Generator) -> None:
    """Turn "short of air" into duct or hood, unless the duct was found to make no difference; the rest into
    guesses.
    """
    n = len(tech)
    has_air = ((plan.repairs != NONE) & IS_AIR[plan.repairs]).any(axis=0)
    static, off = CHECK_CODE["static_pressure"], CHECK_CODE["duct_off_run"]
    cleared = (plan.done[static] & (code[static] == 1)) | (plan.done[off] & (code[off] == 0))
    duct = plan.short_of_air & ~has_air & ~(cleared & (rng.random(n) < 0.7))
    sees_hood = (m.hood_closed > 0.45) & (rng.random(n) < 0.85)
    _add(plan, np.flatnonzero(duct & sees_hood), REPAIR_CODE["clear_hood"])
    _add(plan, np.flatnonzero(duct & ~sees_hood), REPAIR_CODE["clean_duct"])
    readiness = np.array([t.guesses for t in TECHNICIANS.values()])[tech]
    chance = np.where(plan.count == 0, 0.35 + readiness, 0.3 * readiness)
    for is_cold, names in GUESSES.items():
        rows = np.flatnonzero((cold == is_cold) & (rng.random(n) < chance))
        _add(plan, rows, rng.choice([REPAIR_CODE[name] for name in names], len(rows)))


def mend(m: Machines, sound: Machines, repairs: Codes, rng: Generator) -> Machines:
    """Carry out the repairs (MAX_REPAIRS, N) on a copy of the machines."""
    after = m.copy()
    for code, name in enumerate(REPAIR_NAMES):
        rows = np.flatnonzero((repairs == code).any(axis=0))
        if not len(rows):
            continue
        plan = REPAIRS[name]
        share = np.where(rng.random(len(rows)) < plan.succeeds, 1.0, plan.otherwise)
        restore(after, sound, name, share, rows)
    return after


def _rerun(before: View, after: Machines) -> View:
    """Run the machines again that a repair has changed."""
    changed = np.flatnonzero((before.m.data != after.data).any(axis=0))
    used, verified = before.used.copy(), before.verified.copy()
    if len(changed):
        part = after.take(changed)
        used.put(changed, simulate(part, as_used(part, MINUTES), DT))
        verified.put(changed, simulate(part, verification(part), DT))
    return View(after, used, before.bench, verified)


def visit(cases: Cases, tech: Codes, rng: Generator) -> Visit:
    """Send technicians to N machines and return what they did and how it ended."""
    m, sound, used, normal_min = cases.now, cases.sound, cases.used, cases.normal_min
    seen = View(m, used, simulate(m, bench(m), DT), simulate(m, verification(m), DT))
    skill = np.array([t.skill for t in TECHNICIANS.values()])[tech]
    code, value = _read_all(seen, skill, rng)
    fits = np.stack([fitted(name, m) for name in CHECK_NAMES])
    plan = _new_plan(len(m))
    _prompted(plan, troubles(seen, normal_min), fits, code, skill, rng)
    _walk(plan, fits, code, tech, rng)
    cold = used.flame_min < 3.0
    _conclude(plan, m, code, cold, tech, rng)
    after = _rerun(seen, mend(m, sound, plan.repairs, rng))
    verified = np.where(rng.random(len(m)) < 0.15 + 0.7 * skill, read("verification_run", after, rng, skill).code, NONE)
    again = np.flatnonzero(verified > 0)
    if len(again):
        _second_try(plan, again, fits, code, cold, tech, rng)
        after = _rerun(after, mend(after.m, sound, np.where(verified > 0, plan.repairs, NONE), rng))
        second = read("verification_run", after, rng, skill).code
        verified[again] = second[again]
    works = ~troubles(after, normal_min).any()
    return Visit(tech, code, value, plan.done, plan.repairs, verified, works, _callbacks(after, works, rng), after.m)


def _second_try(plan: _Plan, rows: Codes, fits: Flags, code: Codes, cold: Flags, tech: Codes, rng: Generator) -> None:
    """When the wet load stays wet: go on down the order, and guess if that finds nothing either."""
    plan.active[:] = False
    plan.active[rows] = True
    before = plan.count.copy()
    _walk(plan, fits, code, tech, rng)
    empty = rows[plan.count[rows] == before[rows]]
    for is_cold, names in GUESSES.items():
        some = empty[cold[empty] == is_cold]
        _add(plan, some, rng.choice([REPAIR_CODE[name] for name in names], len(some)))


def _callbacks(after: View, works: Flags, rng: Generator) -> Array:
    """Days until the customer calls again, NaN when not within a reasonable time."""
    n = len(works)
    close = after.used.peak_fuse_c > after.m.fuse_open_c - 3.0
    calls = np.where(works & ~close, rng.random(n) < 0.012, rng.random(n) < 0.7)
    days = np.ceil(np.where(works & ~close, rng.uniform(1.0, 60.0, n), np.minimum(rng.gamma(1.3, 9.0, n), 90.0)))
    return np.where(calls, np.maximum(days, 1.0), np.nan)


def assign(cases: Cases, rng: Generator) -> Codes:
    """Give every call a technician; the quick one gets most."""
    return rng.choice(len(TECH_NAMES), len(cases), p=[0.22, 0.27, 0.23, 0.28])
