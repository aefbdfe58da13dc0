"""Rollout: price each first move by following the base policy to the end of the job after it.

One step of policy improvement over the base policy (Bertsekas and Castanon 1999): never worse in expectation than the
policy it follows, and measured far closer to the best plan. The tree of what may happen is worked out level by
level for all first moves together. A branch less likely than `least` is not followed but taken to cost what its repairs
cost if the truth were told, plus a price per bit that is missing; that price is set so that following fewer branches gives
the same cost as following more (`calibrate`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultodds.advice.policy import CHECK, REFER, REPAIR, RUN, Bools, Move, Policy, Prices
from faultodds.advice.problem import Ints
from faultodds.records import dataclass
from faultodds.tables import Floats

LEAST = 0.01
DEPTH = 40
# When what is still followed adds up to fewer than this many least branches for each first move, the rest is settled.
TAIL = 5.0
# Prices of a bit that the base policy is tried with, as shares of what the job would cost if the truth were told; the best
# of them is followed. The last is the most a bit may be taken to cost at a branch that is not followed.
BIT_PRICES = (0.25, 0.42)
MOST_BIT_PRICE = 2.5


@dataclass
class _Front:
    """The branches still followed: their first move, weights, machine state and checks done."""

    move: Ints
    weights: Floats
    state: Ints
    done: Bools

    def __len__(self) -> int:
        return len(self.move)

    def pick(self, rows: Bools | Ints) -> _Front:
        return _Front(self.move[rows], self.weights[rows], self.state[rows], self.done[rows])

    @staticmethod
    def join(parts: Sequence[_Front]) -> _Front:
        return _Front(
            np.concatenate([p.move for p in parts]),
            np.concatenate([p.weights for p in parts]),
            np.concatenate([p.state for p in parts]),
            np.concatenate([p.done for p in parts]),
        )


class Rollout:
    """Prices of first moves for one problem; `least` is the least branch followed, one for all or one for each first move."""

    def __init__(self, policy: Policy, least: float | Floats = LEAST) -> None:
        self.policy = policy
        self.ledger = policy.ledger
        self.least = np.asarray(least, dtype=float)

    def settled(self, cost: Floats, branch_bit_price: float) -> Floats:
        """Prices from what `prices` and `whole` return: money, plus the bits of the branches not followed."""
        return cost[..., 0] + branch_bit_price * cost[..., 1]

    def whole(self, weights: Floats, bit_prices: Floats) -> Floats:
        """(len(bit_prices), 2) the base policy's cost of the whole job from `weights` (K,) at each price of a bit (and each
        `least`): money, and bits of branches not followed."""
        return self._follow(self._start(weights, len(bit_prices)), bit_prices, len(bit_prices))

    def prices(self, weights: Floats, moves: Sequence[Move], bit_price: float) -> Floats:
        """(len(moves), 2) expected cost of the job for each first move from `weights` (K,): money, and bits."""
        start = self._start(weights, len(moves))
        kind = np.array([m.kind for m in moves], dtype=np.int64)
        which = np.array([m.which for m in moves], dtype=np.int64)
        paid = np.zeros((len(moves), 2))
        front = self._step(start, kind, which, paid)
        return paid + self._follow(front, bit_price, len(moves))

    def _start(self, weights: Floats, count: int) -> _Front:
        checks = len(self.policy.problem.check_names)
        return _Front(
            np.arange(count),
            np.repeat(weights[None], count, axis=0),
            np.zeros(count, dtype=np.int64),
            np.zeros((count, checks), dtype=bool),
        )

    def _follow(self, front: _Front, bit_price: Prices, count: int) -> Floats:
        """(count, 2) cost of following the base policy from every branch, added up by first move."""
        cost = np.zeros((count, 2))
        least, price = np.broadcast_to(self.least, count), np.broadcast_to(bit_price, count)
        for _ in range(DEPTH):
            weight = front.weights.sum(axis=1)
            followed = np.bincount(front.move, np.where(weight < least[front.move], 0.0, weight), minlength=count)
            small = (weight < least[front.move]) | (followed < TAIL * least)[front.move]
            self._settle(front.pick(small), cost)
            front = front.pick(~small)
            if not len(front):
                return cost
            choice = self.policy.choose(front.weights, front.state, front.done, price[front.move])
            front = self._step(front, choice.move, choice.which, cost)
        self._settle(front, cost)
        return cost

    def _settle(self, front: _Front, cost: Floats) -> None:
        if len(front):
            known = (front.weights * self.ledger.class_cost[front.state]).sum(axis=1)
            np.add.at(cost, front.move, np.stack([known, self.policy.missing_bits(front.weights)], axis=1))

    def _step(self, front: _Front, kind: Ints, which: Ints, cost: Floats) -> _Front:
        """Make one move in every branch: pay for it, and return the branches that come of it."""
        ledger, total = self.ledger, front.weights.sum(axis=1)
        paid = np.where(kind == REFER, total * self.policy.problem.refer_cost, 0.0)
        parts = []
        for move, after in ((CHECK, self._after_check), (REPAIR, self._after_repair), (RUN, self._after_run)):
            rows = np.flatnonzero(kind == move)
            if not len(rows):
                continue
            table = {CHECK: ledger.check_cost, REPAIR: ledger.bundle_cost, RUN: ledger.verify_cost[:, None]}[move]
            column = which[rows] if move != RUN else np.zeros(len(rows), dtype=np.int64)
            paid[rows] = total[rows] * table[front.state[rows], column]
            parts.append(after(front.pick(rows), column))
        np.add.at(cost[:, 0], front.move, paid)
        return _Front.join(parts) if parts else front.pick(np.zeros(0, dtype=np.int64))

    def _after_check(self, front: _Front, which: Ints) -> _Front:
        policy = self.policy
        sizes = np.diff([*policy.starts, len(policy.like)])[which]
        rows = np.repeat(np.arange(len(front)), sizes)
        within = np.arange(len(rows)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        outcome = policy.starts[which][rows] + within
        child = front.pick(rows)
        child.weights = child.weights * policy.like[outcome]
        child.state = self.ledger.check_next[child.state, which[rows]]
        child.done = child.done.copy()
        child.done[np.arange(len(rows)), which[rows]] = True
        return child

    def _after_repair(self, front: _Front, which: Ints) -> _Front:
        weights = self.policy.after_repair(front.weights, which)
        return _Front(front.move, weights, self.ledger.bundle_next[front.state, which], front.done)

    def _after_run(self, front: _Front, _which: Ints) -> _Front:
        weights = np.where(self.policy.sound, 0.0, front.weights)
        return _Front(front.move, weights, self.ledger.verify_next[front.state], front.done)


def calibrate(policy: Policy, weights: Floats, bit_prices: Floats, coarse: float, fine: float) -> tuple[Floats, Floats]:
    """For the base policy at each of `bit_prices` (P,): the price of a bit at branches not followed, and the cost of the
    whole job.

    The price makes following branches down to `coarse` and down to `fine` agree on the cost.
    """
    both = np.concatenate([bit_prices, bit_prices])
    least = np.repeat([coarse, fine], len(bit_prices))
    a, b = Rollout(policy, least).whole(weights, both).reshape(2, -1, 2)
    bits = a[:, 1] - b[:, 1]
    price = np.where(bits > 1e-9, (b[:, 0] - a[:, 0]) / np.where(bits > 1e-9, bits, 1.0), bit_prices)
    price = np.clip(price, 0.0, MOST_BIT_PRICE * policy.scale)
    return price, b[:, 0] + price * b[:, 1]
