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

from faultodds.advice import SOUND, Policy
from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats

MOST_CELLS = 5_000_000
# A repair that did not take may be tried again, this often in all; what more would bring is under a hundredth of a percent.
TIMES = 5


def cheapest_job(policy: Policy) -> float:
    """Expected cost of the cheapest plan for a problem with one fault at a time and something surely wrong.

    Plans are made of the open checks (each at most once), the needed repairs (each at most `TIMES` times, with its run),
    leaving when the run was good, with the callback that follows where it was mistaken, and handing over. Raises
    FaultoddsError when the problem is too large or may have nothing or several things wrong.
    """
    p, ledger = policy.problem, policy.ledger
    wrong = p.masks != SOUND
    masks, prior = p.masks[wrong], p.class_weights[wrong]
    if p.class_weights[~wrong].sum() > 0 or any(m & (m - 1) for m in masks[prior > 0].tolist() if m > 0):
        raise FaultoddsError(
            "the exact plan is for problems with exactly one fault; this one may have none or several."
        )
    checks = [(c, rows) for c, (n, rows) in enumerate(p.rows.items()) if policy.ordinary[c]]
    sizes = [rows.stop - rows.start + 1 for _, rows in checks]
    singles = len(p.needed)
    if float(np.prod(sizes, dtype=float)) * (TIMES + 1) ** singles * len(ledger.states) > MOST_CELLS:
        raise FaultoddsError(f"the exact plan would need over {MOST_CELLS:,} cells; take checks or faults out.")
    tries = np.array(list(itertools.product(range(TIMES + 1), repeat=singles)), dtype=np.int64).reshape(-1, singles)
    fixes = ((np.maximum(masks, 0)[None, :] & ledger.bundle_masks[:singles, None]) > 0) & (masks > 0)
    fails = np.where(fixes, 1.0 - ledger.bundle_success[:singles, None], 1.0)
    passes = policy.like_of_run[wrong]
    left = np.prod(fails[None] ** tries[:, :, None], axis=1) * (1.0 - passes) ** tries.sum(axis=1, keepdims=True)
    leaving = fails * passes * policy.left_wrong[wrong]
    value: dict[tuple[int, ...], Floats] = {}
    like = policy.like[:, wrong]
    for seen in sorted(itertools.product(*map(range, sizes)), key=lambda h: -sum(o > 0 for o in h)):
        weight = prior.copy()
        for (_, rows), o in zip(checks, seen, strict=True):
            weight = weight * (like[rows.start + o - 1] if o else 1.0)
        value[seen] = _layer(policy, checks, seen, weight * left, tries, leaving, value)
    return float(value[(0,) * len(checks)][0, 0])


def _layer(
    policy: Policy,
    checks: Sequence[tuple[int, slice]],
    seen: tuple[int, ...],
    weights: Floats,
    tries: np.ndarray[tuple[int, int], np.dtype[np.int64]],
    leaving: Floats,
    value: dict[tuple[int, ...], Floats],
) -> Floats:
    """(T, S) cost from each count of repairs tried and machine state, for one history of checks; `leaving` (U, K) is what a
    mistaken good run after each repair costs."""
    p, ledger = policy.problem, policy.ledger
    total = weights.sum(axis=1)[:, None]
    out = np.repeat(total * p.refer_cost, len(ledger.states), axis=1)
    for i, (c, rows) in enumerate(checks):
        if not seen[i]:
            parts = [value[(*seen[:i], o + 1, *seen[i + 1 :])] for o in range(rows.stop - rows.start)]
            after = np.sum(parts, axis=0)
            out = np.minimum(out, total * ledger.check_cost[:, c] + after[:, ledger.check_next[:, c]])
    stride = (TIMES + 1) ** np.arange(tries.shape[1] - 1, -1, -1)
    done = tries.sum(axis=1)
    for count in range(int(done.max()) - 1, -1, -1):
        for u in range(tries.shape[1]):
            retry = np.flatnonzero((done == count) & (tries[:, u] < TIMES))
            onward = out[retry + stride[u]][:, ledger.bundle_next[:, u]]
            paid = total[retry] * ledger.bundle_cost[:, u] + (weights[retry] @ leaving[u])[:, None]
            out[retry] = np.minimum(out[retry], paid + onward)
    return out


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
