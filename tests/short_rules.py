"""The textbook's short rules for one fault at a time: in which order to repair or look, and when to stop.

Each is exact under its own assumptions: exactly one fault, repairs that always take, every action paid in full when it is
begun, no shared access. Real jobs break all of these, which is what `policy.py`, `rollout.py` and `exact_plans.py` are
for; these rules are there to hold the larger machinery against.

Faults and actions are numbered from 0. `prior` (N,) are the faults' chances and may add up to less than 1: the rest is
something that none of the actions puts right. Costs are in any one unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats


@dataclass(frozen=True)
class Plan:
    """Actions in the order to do them until the fault is gone, and the expected cost of doing so."""

    order: tuple[int, ...]
    cost: float


@dataclass(frozen=True)
class ServicePlan:
    """A plan that ends with a call for service; `by_prefix` (N + 1,): its cost when calling after that many actions."""

    order: tuple[int, ...]
    cost: float
    by_prefix: tuple[float, ...]


@dataclass(frozen=True)
class CheckValue:
    """What one check is worth before the repairs.

    `without`: cost of the repairs with no check; `after`: their expected cost once its answer is known, the check itself
    unpaid; `value`: the difference, so it pays when it costs less; `perfect`: what being told the truth would save;
    `chances`: how likely each answer is.
    """

    without: float
    after: float
    value: float
    perfect: float
    chances: tuple[float, ...]


def repair_order(prior: Sequence[float], cost: Sequence[float]) -> Plan:
    """The cheapest order of repairs: the highest chance for its price first, p/C (file order where equal).

    Kadane and Simon 1977; Kalagnanam and Henrion 1988; Heckerman, Breese and Rommelse 1995.
    """
    p, c = _faults(prior, cost)
    order = np.argsort(-p / c, kind="stable")
    return Plan(tuple(order.tolist()), cost_in_order(prior, cost, order.tolist()))


def cost_in_order(prior: Sequence[float], cost: Sequence[float], order: Sequence[int]) -> float:
    """Expected cost of repairing in a given order until the fault is gone."""
    p, c = _faults(prior, cost)
    left = 1.0 - np.concatenate([[0.0], np.cumsum(p[list(order)])])[:-1]
    return float(left @ c[list(order)])


def inspection_order(prior: Sequence[float], inspect: Sequence[float], repair: Sequence[float]) -> Plan:
    """The cheapest order of looking at each part and repairing the one that is bad: p/Co, `inspect` being Co.

    What a repair costs changes the total but not the order: the bad part is repaired whenever it is found. Heckerman, Breese
    and Rommelse 1995.
    """
    p, c = _faults(prior, inspect)
    order = np.argsort(-p / c, kind="stable").tolist()
    return Plan(tuple(order), inspection_cost(prior, inspect, repair, order))


def inspection_cost(
    prior: Sequence[float], inspect: Sequence[float], repair: Sequence[float], order: Sequence[int]
) -> float:
    """Expected cost of looking in a given order, each part looked at before it is repaired, the last one too."""
    p, r = _faults(prior, repair)
    return cost_in_order(prior, inspect, order) + float(p @ r)


def with_service(prior: Sequence[float], cost: Sequence[float], service: float) -> ServicePlan:
    """Repairs in the p/C order, then a call for service that puts anything right: after how many?

    Every prefix is priced. The next repair pays when p/C exceeds (what is still wrong) / `service`, and as both fall along the
    way, a repair that does not pay by itself may lead to one that does: stopping at the first that does not is not always best.
    Heckerman, Breese and Rommelse 1995.
    """
    if not service > 0:
        raise FaultoddsError(f"the price of a service call is {service:g}; it must be above 0.")
    order = repair_order(prior, cost).order
    left = 1.0 - np.concatenate([[0.0], np.cumsum(np.asarray(prior, dtype=float)[list(order)])])
    paid = [cost_in_order(prior, cost, order[:n]) for n in range(len(order) + 1)]
    by_prefix = [spent + float(rest) * service for spent, rest in zip(paid, left, strict=True)]
    best = int(np.argmin(by_prefix))
    return ServicePlan(order[:best], by_prefix[best], tuple(by_prefix))


def value_of_check(prior: Sequence[float], cost: Sequence[float], like: Floats) -> CheckValue:
    """What a check is worth when repairs in the best order follow it: one-step look-ahead.

    `like` (R, N): chance of each of R answers under each fault; its columns sum to 1. Heckerman, Breese and Rommelse 1995.
    """
    p, c = _faults(prior, cost)
    table = np.asarray(like, dtype=float)
    if table.ndim != 2 or table.shape[1] != len(p) or not np.allclose(table.sum(axis=0), 1.0):
        raise FaultoddsError(f"a check on {len(p)} faults needs a column for each, and every column must sum to 1.")
    if abs(p.sum() - 1.0) > 1e-6:
        raise FaultoddsError(f"the faults' chances add up to {p.sum():g}; to value a check they must add up to 1.")
    without = repair_order(prior, cost).cost
    chances = table @ p
    after = sum(
        chance * repair_order((row * p / chance).tolist(), cost).cost
        for row, chance in zip(table, chances.tolist(), strict=True)
        if chance > 0
    )
    return CheckValue(without, float(after), without - float(after), without - float(p @ c), tuple(chances.tolist()))


def _faults(prior: Sequence[float], cost: Sequence[float]) -> tuple[Floats, Floats]:
    """Chances and costs as arrays, or an error that says what is wrong with them."""
    p, c = np.asarray(prior, dtype=float), np.asarray(cost, dtype=float)
    if p.shape != c.shape or p.ndim != 1:
        raise FaultoddsError(f"{p.size} chances and {c.size} costs: one of each for every fault.")
    if (p < 0).any() or p.sum() > 1.0 + 1e-6:
        raise FaultoddsError(f"chances {p.tolist()}: none may be under 0, and together they may not exceed 1.")
    if not (c > 0).all():
        raise FaultoddsError(f"costs {c.tolist()}: every one must be above 0.")
    return p, c
