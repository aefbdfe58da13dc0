"""The textbook's short rules for one fault at a time: in which order to repair or look, and when to stop.

Each is exact under its own assumptions: exactly one fault, repairs that always take, every action paid in full when it is
begun, no shared access. Real jobs break all of these, which is what `advice.policy` and
`advice.rollout` are for; these rules are there to hold the larger machinery against.

Faults and actions are numbered from 0. `prior` (N,) are the faults' chances and may add up to less than 1: the rest is
something that none of the actions puts right. Costs are in any one unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats

# Every set of actions is looked at; each further action doubles the work.
MOST_ACTIONS = 16
ROUNDING = 1e-9


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


def dependent_order(prior: Sequence[float], fixes: Sequence[Sequence[int]], cost: Sequence[float]) -> Plan:
    """The cheapest order of actions when one action may put right several faults and a fault has several remedies.

    `fixes[a]` are the faults that action a puts right. p/C is no longer exact here; every set of actions is looked at. Jensen
    and others 2001. Raises FaultoddsError for a fault with no remedy or for over `MOST_ACTIONS` actions.
    """
    p, c = _actions(prior, fixes, cost)
    if len(fixes) > MOST_ACTIONS:
        raise FaultoddsError(f"{len(fixes)} actions are too many to try in every order; at most {MOST_ACTIONS} are.")

    @cache
    def best(done: frozenset[int]) -> tuple[float, tuple[int, ...]]:
        left = _left(p, fixes, done)
        if left <= ROUNDING:
            return 0.0, ()
        useful = [a for a in range(len(fixes)) if left - _left(p, fixes, done | {a}) > ROUNDING]
        found = []
        for a in useful:
            onward, rest = best(done | {a})
            found.append((left * float(c[a]) + onward, (a, *rest)))
        return min(found)

    total, order = best(frozenset())
    return Plan(order, total)


def dependent_order_greedy(prior: Sequence[float], fixes: Sequence[Sequence[int]], cost: Sequence[float]) -> Plan:
    """The same by the p/C rule at every step: quick, and sometimes dearer than `dependent_order`."""
    p, c = _actions(prior, fixes, cost)
    order: list[int] = []
    total, left = 0.0, 1.0
    while left > ROUNDING:
        gain = np.array([left - _left(p, fixes, {*order, a}) for a in range(len(fixes))])
        a = int(np.argmax(gain / c))
        total += left * float(c[a])
        order.append(a)
        left = _left(p, fixes, order)
    return Plan(tuple(order), total)


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


def isolation_by_information(prior: Sequence[float], like: Sequence[Floats], cost: Sequence[float]) -> float:
    """Expected cost of checks until one fault is left when each is picked by the information it gives for its price.

    Takes what `exact.cheapest_isolation` takes and is never under it. The first in the list is picked where equal. Raises
    FaultoddsError for uncertain checks and for faults that no check tells apart.
    """
    if any(not np.isin(x, (0.0, 1.0)).all() for x in like):
        raise FaultoddsError("isolation is worked out for checks that are certain: each chance 0 or 1.")
    p, c = np.asarray(prior, dtype=float), np.asarray(cost, dtype=float)

    def isolate(faults: list[int]) -> float:
        if len(faults) <= 1:
            return 0.0
        total = float(p[faults].sum())
        parts = [[[k for k in faults if row[k] > 0] for row in table] for table in like]
        bits = np.array([_bits(p[faults], [p[x] for x in split]) for split in parts])
        best = int(np.argmax(np.round(bits / c, 12)))
        if bits[best] <= ROUNDING:
            raise FaultoddsError(
                f"no check tells the faults {', '.join(map(str, faults))} apart; give them one number."
            )
        return total * float(c[best]) + sum(isolate(x) for x in parts[best])

    return isolate(list(range(len(p))))


def sequential_limits(false_alarm: float, miss: float) -> tuple[float, float]:
    """Likelihood ratios at which a test repeated until it is decided may stop: (say bad from here up, say good from here down).

    `false_alarm`: how often a good part may be called bad; `miss`: how often a bad one may be called good. Both are kept to
    within what the last reading overshoots by. Wald 1945.
    """
    if not (0 < false_alarm < 1 and 0 < miss < 1 and false_alarm + miss < 1):
        raise FaultoddsError(
            f"error rates {false_alarm:g} and {miss:g}: each must be between 0 and 1, and both together under 1."
        )
    return (1.0 - miss) / false_alarm, miss / (1.0 - false_alarm)


def _bits(weights: Floats, parts: Sequence[Floats]) -> float:
    """Information of a certain split, in bits times the total weight."""
    total = float(weights.sum())
    sums = [float(x.sum()) for x in parts]
    return sum(s * float(np.log2(total / s)) for s in sums if s > 0)


def _left(p: Floats, fixes: Sequence[Sequence[int]], done: Sequence[int] | set[int] | frozenset[int]) -> float:
    """Chance that the fault is still there when these actions have been done."""
    gone = {k for a in done for k in fixes[a]}
    return float(sum(x for k, x in enumerate(p.tolist()) if k not in gone))


def _faults(prior: Sequence[float], cost: Sequence[float]) -> tuple[Floats, Floats]:
    """Chances and costs as arrays, or an error that says what is wrong with them."""
    p, c = np.asarray(prior, dtype=float), np.asarray(cost, dtype=float)
    if p.shape != c.shape or p.ndim != 1:
        raise FaultoddsError(f"{p.size} chances and {c.size} costs: one of each for every fault.")
    _chances(p)
    _costs(c)
    return p, c


def _actions(prior: Sequence[float], fixes: Sequence[Sequence[int]], cost: Sequence[float]) -> tuple[Floats, Floats]:
    p, c = np.asarray(prior, dtype=float), np.asarray(cost, dtype=float)
    if len(fixes) != c.size:
        raise FaultoddsError(f"{len(fixes)} actions and {c.size} costs: one cost for every action.")
    _chances(p)
    _costs(c)
    if abs(p.sum() - 1.0) > 1e-6:
        raise FaultoddsError(f"the faults' chances add up to {p.sum():g}; they must add up to 1.")
    known = {k for faults in fixes for k in faults}
    wrong = sorted(known - set(range(p.size)))
    if wrong:
        raise FaultoddsError(f"an action puts right fault {wrong[0]}; faults are numbered 0 to {p.size - 1}.")
    open_ended = [k for k in range(p.size) if p[k] > 0 and k not in known]
    if open_ended:
        raise FaultoddsError(f"no action puts right fault {open_ended[0]}; add one that does, such as handing over.")
    return p, c


def _chances(p: Floats) -> None:
    if (p < 0).any() or p.sum() > 1.0 + 1e-6:
        raise FaultoddsError(f"chances {p.tolist()}: none may be under 0, and together they may not exceed 1.")


def _costs(c: Floats) -> None:
    if not (c > 0).all():
        raise FaultoddsError(f"costs {c.tolist()}: every one must be above 0.")
