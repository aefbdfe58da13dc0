"""One-step look-ahead on the expected cost of repair (Heckerman, Breese and Rommelse 1995).

Each check is priced as: do it, then follow the base policy from whatever it shows. That is set against the best the base
policy can do now. A check that cannot change what is done next only adds its own cost, so it is never chosen; and
information alone earns nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from faultodds.advice.machine import State
from faultodds.advice.problem import Price, Problem
from faultodds.tables import Floats

Move = Literal["repair", "verify", "stop", "refer"]
# A class less likely than this adds cents at most to the cost under full information.
NEGLIGIBLE_CLASS = 1e-6
_MOVES: tuple[Move, ...] = ("repair", "verify", "stop", "refer")


@dataclass(frozen=True)
class Terminal:
    """What the base policy does without looking further: `cost`, `move` and, for a repair, `bundle`; arrays over beliefs."""

    cost: Floats
    move: np.ndarray[tuple[int], np.dtype[np.int64]]
    bundle: np.ndarray[tuple[int], np.dtype[np.int64]]

    def move_name(self, row: int) -> Move:
        """The move of one belief."""
        return _MOVES[int(self.move[row])]


@dataclass(frozen=True)
class CheckPrice:
    """One check: its own price, the expected cost of the whole job if it is done now, and what it may show."""

    name: str
    price: Price
    expected_cost: float
    bits: float
    outcomes: dict[str, float]


@dataclass(frozen=True)
class RepairPrice:
    """One repair first: chance that it alone leaves a sound machine, its price, and the expected cost of the job."""

    name: str
    price: Price
    chance: float
    expected_cost: float


def base_values(problem: Problem, weights: Floats, first_cost: Floats, verify_cost: Floats, may_stop: Floats) -> Terminal:
    """The base policy's value for B beliefs over classes.

    `weights` (B, K) rows sum to 1; `first_cost` (B, U); `verify_cost` (B,); `may_stop` (B,) is 1 where the machine has
    passed its verification run, so that leaving is an option: it costs a callback if something is wrong after all.
    """
    order = problem.order
    unsolved = order.unsolved(weights)
    wrong = unsolved.sum(axis=1)
    options = np.full((len(_MOVES), len(weights)), np.inf)
    bundle = np.zeros(len(weights), dtype=np.int64)
    if problem.bundles:
        repair = order.values(weights, first_cost, problem.later_costs)
        options[0], bundle = repair.cost, repair.first
    # Looking whether the machine works matters only where it may well do so.
    look = np.flatnonzero((1.0 - wrong > 0.02) | (may_stop > 0))
    if len(look):
        safe = np.where(wrong[look] > 0, wrong[look], 1.0)[:, None]
        after = _if_wrong(problem, unsolved[look] / safe, first_cost[look])
        options[1, look] = verify_cost[look] + wrong[look] * after
        callback = problem.knowledge.costs.callback + problem.knowledge.costs.travel
        options[2, look] = np.where(may_stop[look] > 0, wrong[look] * (callback + after), np.inf)
    options[3] = order.refer
    move = options.argmin(axis=0)
    return Terminal(options[move, np.arange(len(weights))], move.astype(np.int64), bundle)


def _if_wrong(problem: Problem, weights: Floats, first_cost: Floats) -> Floats:
    """Expected cost once it is known that something is wrong."""
    refer = np.full(len(weights), problem.order.refer)
    if not problem.bundles:
        return refer
    return np.minimum(refer, problem.order.values(weights, first_cost, problem.later_costs).cost)


def value_now(problem: Problem) -> Terminal:
    """The base policy's value for the belief as it is."""
    state = problem.situation.state
    return base_values(
        problem,
        problem.class_weights[None, :],
        problem.bundle_costs(state)[None, :],
        np.array([problem.verify_cost(state)]),
        np.array([float(problem.verified)]),
    )


def price_checks(problem: Problem) -> list[CheckPrice]:
    """Every check open now, cheapest expected job first (file order where equal)."""
    names = list(problem.checks)
    if not names:
        return []
    s = problem.belief.suspects
    blocks = [s.likelihood[s.rows[n]][:, problem.active] for n in names]
    like = np.concatenate(blocks)
    joint = like * problem.weights
    chance = joint.sum(axis=1)
    weights = _by_class(problem, joint) / np.where(chance > 0, chance, 1.0)[:, None]
    prices = {n: problem.price_check(n) for n in names}
    owner = [n for n, b in zip(names, blocks, strict=True) for _ in b]
    by_state = {p.way.after: problem.bundle_costs(p.way.after) for p in prices.values()}
    verify_by_state = {state: problem.verify_cost(state) for state in by_state}
    states: list[State] = [prices[n].way.after for n in owner]
    terminal = base_values(
        problem,
        weights,
        np.stack([by_state[st] for st in states]),
        np.array([verify_by_state[st] for st in states]),
        _may_stop(problem, names),
    )
    out = []
    start = 0
    for name, block in zip(names, blocks, strict=True):
        rows = slice(start, start + len(block))
        start += len(block)
        expected = prices[name].cost + float(chance[rows] @ terminal.cost[rows])
        outcomes = dict(zip(s.observables[name], chance[rows].tolist(), strict=True))
        out.append(CheckPrice(name, prices[name], expected, _bits(block, problem.weights, chance[rows]), outcomes))
    return sorted(out, key=lambda c: c.expected_cost)


def _may_stop(problem: Problem, names: list[str]) -> Floats:
    """1 for each outcome row after which leaving is an option."""
    rows: list[float] = []
    for name in names:
        good = name == problem.knowledge.costs.verify
        count = len(problem.belief.suspects.observables[name])
        rows += [float(problem.verified or (good and i == 0)) for i in range(count)]
    return np.array(rows)


def _by_class(problem: Problem, joint: Floats) -> Floats:
    """(B, K) sum of each row over the suspects of each class."""
    masks, which = problem.classes
    order = np.argsort(which, kind="stable")
    starts = np.searchsorted(which[order], np.arange(len(masks)))
    sums: Floats = np.add.reduceat(joint[:, order], starts, axis=1)
    return sums


def _bits(like: Floats, weights: Floats, chance: Floats) -> float:
    """Information the check gives about which suspect is the truth, in bits."""
    return max(0.0, float(_entropy(chance[:, None])[0] - _entropy(like) @ weights))


def _entropy(p: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(p > 0, p * np.log2(p), 0.0)
    return np.asarray(-terms.sum(axis=0))


def price_repairs(problem: Problem) -> list[RepairPrice]:
    """Every needed repair done first, cheapest expected job first."""
    if not problem.bundles:
        return []
    singles = [i for i, names in enumerate(problem.bundles) if len(names) == 1]
    forced = np.array(singles, dtype=np.int64)
    weights = np.repeat(problem.class_weights[None, :], len(singles), axis=0)
    first = np.repeat(problem.bundle_costs(problem.situation.state)[None, :], len(singles), axis=0)
    values = problem.order.values(weights, first, problem.later_costs, forced)
    chances = problem.order.chances(problem.class_weights[None, :], np.zeros(1, dtype=np.int64))[0]
    out = [
        RepairPrice(names[0], problem.price_repairs(names), float(chances[i]), float(cost))
        for i, cost in zip(singles, values.cost, strict=True)
        for names in [problem.bundles[i]]
    ]
    return sorted(out, key=lambda r: r.expected_cost)


def full_information_cost(problem: Problem) -> float:
    """Expected cost if the truth were told for free: each class goes straight to its own repairs, or is handed over."""
    total = 0.0
    for mask, weight in zip(problem.classes[0], problem.class_weights.tolist(), strict=True):
        if mask == 0 or weight < NEGLIGIBLE_CLASS:
            continue
        names = [n for i, n in enumerate(problem.needed) if mask > 0 and mask >> i & 1]
        cost = problem.price_repairs(names).cost if names else problem.refer_cost
        total += weight * min(cost, problem.refer_cost)
    return total
