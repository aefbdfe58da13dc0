"""Exact plans for small problems: dynamic programming over everything that can be known and done.

Two objectives. `cheapest_job` is the expected cost of a working machine (checks, repairs with their runs, handing over),
from the same tables as the advice, so it is what the advice is measured against. `cheapest_isolation` is the expected cost of
checks until it is known which fault it is (Pattipati and Alexandridis 1990). Both are for teaching and for tests: the work grows
with the product of all that may be seen and done.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import cache

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from faultodds.advice import SOUND, Policy
from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Singles = npt.NDArray[np.float32]

MOST_CELLS = 60_000_000
# A repair that did not take may be tried again while more than this share of its fault would still be there.
STILL_THERE = 5e-4


class _Table(Struct):
    """What the plans are made of. Shapes: S machine states, K faults, U repairs, T counts of tries.

    `checks`: for each open check its likelihoods (outcomes, K), prices and next states (S,). `count` (T,): tries in all;
    `onward` (T, U): place of the counts after one more try, -1 after the last; `last` (T, U): whether it is the last. `left`
    (T, K): share of each fault still there; `fails` (U, K): share that one try leaves; `passes` (K,): share of a fault that a
    run misses; `mistaken` (K,): what that costs. `told` (S, K): the least that each fault costs once it is told.
    """

    policy: Policy
    prior: Floats
    checks: list[tuple[Floats, Floats, Ints]]
    count: Ints
    onward: Ints
    last: Bools
    left: Floats
    fails: Floats
    passes: Floats
    mistaken: Floats
    told: Floats


def cheapest_job(policy: Policy, still_there: float = STILL_THERE) -> float:
    """Expected cost of the cheapest plan for a problem with one fault at a time and something surely wrong.

    Plans are made of the open checks (each at most once), the needed repairs, each with its run and tried again until it
    takes, leaving when the run was good, with the callback that follows where it was mistaken, and handing over. Where less
    than `still_there` of a fault is left after the tries of its repair, that rest is taken to be told: knowing more never
    costs more, so the answer is at most the optimum, and nearer to it the smaller `still_there` is. Raises FaultoddsError
    when the problem is too large or may have nothing or several things wrong.
    """
    table = _table(policy, still_there)
    states, counts = len(policy.ledger.states), len(table.count)
    cells = float(np.prod([len(like) + 1.0 for like, _, _ in table.checks])) * counts * states
    if cells > MOST_CELLS:
        raise FaultoddsError(f"the exact plan would need over {MOST_CELLS:,} cells; take checks or faults out.")
    many = range(len(table.checks))
    value: dict[tuple[int, ...], Singles] = {}
    for size in reversed(range(len(table.checks) + 1)):
        value |= {done: _known(table, done, value) for done in itertools.combinations(many, size)}
        value = {done: v for done, v in value.items() if len(done) == size}
    return float(value[()][0, 0])


def _table(policy: Policy, still_there: float) -> _Table:
    p, ledger = policy.problem, policy.ledger
    wrong = p.masks != SOUND
    masks, prior = p.masks[wrong], p.class_weights[wrong]
    if p.class_weights[~wrong].sum() > 0 or any(m & (m - 1) for m in masks[prior > 0].tolist() if m > 0):
        raise FaultoddsError(
            "the exact plan is for problems with exactly one fault; this one may have none or several."
        )
    like = policy.like[:, wrong]
    checks = [
        (like[rows], ledger.check_cost[:, c], ledger.check_next[:, c])
        for c, rows in enumerate(p.rows.values())
        if policy.ordinary[c]
    ]
    success = ledger.bundle_success[: len(p.needed)]
    fixes = ((np.maximum(masks, 0)[None, :] & ledger.bundle_masks[: len(p.needed), None]) > 0) & (masks > 0)
    passes, fails = (
        policy.problem.class_mean(policy.problem.run_passes)[wrong],
        np.where(fixes, 1.0 - success[:, None], 1.0),
    )
    with np.errstate(divide="ignore"):
        most = np.maximum(np.ceil(np.log(still_there) / np.log(1.0 - success) - 1e-9), 1.0).astype(np.int64)
    tries, onward = _tries(most)
    gone = ((tries == most) @ fixes.astype(np.int64)) > 0
    left = np.prod(fails[None] ** tries[:, :, None], axis=1) * (1.0 - passes) ** tries.sum(axis=1, keepdims=True)
    last = tries[np.maximum(onward, 0), np.arange(len(most))] == most
    table = _Table(
        policy, prior, checks, tries.sum(axis=1), onward, last, np.where(gone, 0.0, left), fails, passes,
        policy.left_wrong[wrong], np.zeros((0, 0)),
    )  # fmt: skip
    table.told = _told(table)
    return table


def _told(table: _Table) -> Floats:
    """(S, K) the least that each fault costs once it is told."""
    ledger, refer = table.policy.ledger, table.policy.problem.refer_cost
    cost = np.full((len(ledger.states), len(table.prior)), refer)
    before = np.full_like(cost, np.inf)
    while np.abs(before - cost).max() > 1e-9 * refer:
        before = cost
        for _, price, after in table.checks:
            cost = np.minimum(cost, price[:, None] + before[after])
        for u, fails in enumerate(table.fails):
            again = (1.0 - table.passes) * before[ledger.bundle_next[:, u]] + table.passes * table.mistaken
            cost = np.minimum(cost, ledger.bundle_cost[:, u : u + 1] + fails * again)
    return np.asarray(cost)


def _tries(most: Ints) -> tuple[Ints, Ints]:
    """(T, U) the counts of tries, each up to its most, and (T, U) places of the counts after one more try."""
    tries = np.indices(tuple(most + 1)).reshape(len(most), -1).T
    stride = np.cumprod(np.concatenate([[1], most[:0:-1] + 1]))[::-1]
    return tries, np.where(tries < most, np.arange(len(tries))[:, None] + stride, -1)


def _known(table: _Table, done: tuple[int, ...], value: dict[tuple[int, ...], Singles]) -> Singles:
    """(outcomes of each check done, T, S) cost from every count of repairs tried and machine state; `value`: the same with one
    more check done."""
    ledger, refer = table.policy.ledger, table.policy.problem.refer_cost
    weight = table.prior
    for c in done:
        weight = weight[..., None, :] * table.checks[c][0]
    total = (weight @ table.left.T).astype(np.float32)
    out = np.repeat(total[..., None] * np.float32(refer), len(ledger.states), axis=-1)
    for c, (_, price, after) in enumerate(table.checks):
        if c not in done:
            more = tuple(sorted((*done, c)))
            parts = value[more].sum(axis=more.index(c))
            np.minimum(out, total[..., None] * price.astype(np.float32) + parts[..., after], out=out)
    _repairs(table, weight, total, out)
    return out


def _repairs(table: _Table, weight: Floats, total: Singles, out: Singles) -> None:
    """Better `out` (..., T, S) by the repairs, the most tried first; `weight` (..., K), `total` (..., T)."""
    ledger = table.policy.ledger
    for tried in range(int(table.count.max()) - 1, -1, -1):
        for u, fails in enumerate(table.fails):
            rows = np.flatnonzero((table.count == tried) & (table.onward[:, u] >= 0))
            left = table.left[rows] * fails
            own = table.last[rows, u][:, None] & (fails < 1.0)
            for s in range(len(ledger.states)):
                price, after = np.float32(ledger.bundle_cost[s, u]), ledger.bundle_next[s, u]
                known = np.where(own, (1.0 - table.passes) * table.told[after], 0.0)
                paid = (weight @ (left * (table.passes * table.mistaken + known)).T).astype(np.float32)
                onward = total[..., rows] * price + paid + out[..., table.onward[rows, u], after]
                out[..., rows, s] = np.minimum(out[..., rows, s], onward)


def cheapest_isolation(
    prior: Sequence[float], like: Sequence[Floats], cost: Sequence[float]
) -> tuple[float, list[float]]:
    """Expected cost of checks until one fault is left, and that cost for each check done first.

    `prior` (K,) chances of the faults; `like[c]` (outcomes, K) chances of each check's outcomes, 0 or 1; `cost[c]` its price.
    A check that splits nothing has an infinite price as a first move. Raises FaultoddsError for uncertain checks.
    """
    if any(not np.isin(x, (0.0, 1.0)).all() for x in like):
        raise FaultoddsError("isolation is worked out for checks that are certain: each chance 0 or 1.")
    weight = np.asarray(prior, dtype=float)

    def by_first(faults: frozenset[int]) -> list[float]:
        out = []
        for table, price in zip(like, cost, strict=True):
            parts = [frozenset(k for k in faults if row[k] > 0) for row in table]
            split = max(len(x) for x in parts) < len(faults)
            total = float(weight[sorted(faults)].sum())
            out.append(total * price + sum(best(x) for x in parts) if split else float("inf"))
        return out

    @cache
    def best(faults: frozenset[int]) -> float:
        return 0.0 if len(faults) <= 1 else min(by_first(faults))

    every = frozenset(range(len(weight)))
    return best(every), by_first(every)
