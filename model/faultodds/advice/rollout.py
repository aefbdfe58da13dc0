"""Rollout: price each first move by following the base policy to the end of the job after it.

One step of policy improvement over the base policy (Bertsekas and Castanon 1999): never worse in expectation than the
policy it follows, and measured far closer to the best plan. The tree of what may happen is worked out level by
level for all first moves together. A branch less likely than `least` is not followed but taken to cost what its repairs
cost if the truth were told, plus a price per bit that is missing. That price is read off the same tree: it is what makes
stopping at coarser branches (`COARSER` times as likely) give the same cost as going on from them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from faultodds.advice.policy import CHECK, REFER, REPAIR, RUN, Bools, Move, Policy
from faultodds.advice.problem import Ints
from faultodds.knowledge import Floats

LEAST = 0.01
# So small a least that every branch is followed.
EVERY = 1e-7
DEPTH = 40
# When what is still followed adds up to fewer than this many least branches for a first move, the rest is settled.
TAIL = 5.0
COARSER = 4.0
# The most a bit may be taken to cost at a branch that is not followed, as a share of the job's cost if the truth were told.
MOST_BIT_PRICE = 2.5
MONEY, BITS, COARSE_MONEY, COARSE_BITS = range(4)


class Front(Struct):
    """The branches still followed: their first move, weights, machine state, checks done, and whether a coarser tree would
    have stopped before them."""

    move: Ints
    weights: Floats
    state: Ints
    done: Bools
    beyond: Bools

    def __len__(self) -> int:
        return len(self.move)

    def pick(self, rows: Bools | Ints) -> Front:
        """Some of the branches."""
        return Front(self.move[rows], self.weights[rows], self.state[rows], self.done[rows], self.beyond[rows])

    @staticmethod
    def join(parts: Sequence[Front]) -> Front:
        """Branches put together."""
        return Front(
            np.concatenate([p.move for p in parts]),
            np.concatenate([p.weights for p in parts]),
            np.concatenate([p.state for p in parts]),
            np.concatenate([p.done for p in parts]),
            np.concatenate([p.beyond for p in parts]),
        )


class Rollout:
    """Prices of first moves for one problem."""

    def __init__(self, policy: Policy, least: float = LEAST) -> None:
        self.policy = policy
        self.ledger = policy.ledger
        self.least = least

    def whole(self, weights: Floats, bit_prices: Floats) -> Floats:
        """(P,) the base policy's cost of the whole job from `weights` (K,) at each of P prices of a bit."""
        count = len(bit_prices)
        return self._settled(self._follow(self.start(weights, count), bit_prices, np.zeros((count, 4))), bit_prices)

    def prices(self, weights: Floats, moves: Sequence[Move], bit_prices: Floats) -> Floats:
        """(P, len(moves)) expected cost of the job from `weights` (K,) for each first move, following the base policy at
        each of P prices of a bit after it."""
        return self.prices_from(self.start(weights, 1), moves, bit_prices)[:, 0]

    def prices_from(self, front: Front, moves: Sequence[Move], bit_prices: Floats) -> Floats:
        """(P, B, len(moves)) the same from each of B branches; a check that is done already is priced as if it were not."""
        shape = (len(bit_prices), len(front), len(moves))
        price, branch, move = (x.reshape(-1) for x in np.indices(shape))
        many = front.pick(branch)
        many.move = np.arange(len(many))
        kind = np.array([m.kind for m in moves], dtype=np.int64)[move]
        which = np.array([m.which for m in moves], dtype=np.int64)[move]
        cost = np.zeros((len(many), 4))
        after = self.step(many, kind, which, cost)
        return self._settled(self._follow(after, bit_prices[price], cost), bit_prices[price]).reshape(shape)

    def _settled(self, cost: Floats, price: Floats) -> Floats:
        """Prices of first moves from their trees: money, plus the bits of the branches not followed at the price that makes
        the coarser trees with the same base policy cost as much."""
        out = cost[:, MONEY].copy()
        for bit_price in dict.fromkeys(price.tolist()):
            rows = price == bit_price
            money, bits, coarse_money, coarse_bits = cost[rows].sum(axis=0)
            told = coarse_bits - bits
            branch = (money - coarse_money) / told if told > 1e-9 else bit_price
            branch = min(max(branch, 0.0), MOST_BIT_PRICE * self.policy.scale)
            out[rows] += branch * cost[rows, BITS]
        return out

    def start(self, weights: Floats, count: int) -> Front:
        """`count` branches at the belief `weights` (K,) and the state now."""
        checks = len(self.policy.problem.check_names)
        return Front(
            np.arange(count),
            np.repeat(weights[None], count, axis=0),
            np.zeros(count, dtype=np.int64),
            np.zeros((count, checks), dtype=bool),
            np.zeros(count, dtype=bool),
        )

    def _follow(self, front: Front, bit_price: Floats, cost: Floats) -> Floats:
        """`cost` (moves, 4) with the cost of following the base policy from every branch added, by first move."""
        for _ in range(DEPTH):
            weight = front.weights.sum(axis=1)
            coarse = ~front.beyond & (weight < COARSER * self.least)
            self._settle(front.pick(coarse), cost[:, COARSE_MONEY:])
            front.beyond = front.beyond | coarse
            followed = np.bincount(front.move, np.where(weight < self.least, 0.0, weight), minlength=len(cost))
            small = (weight < self.least) | (followed < TAIL * self.least)[front.move]
            self._leave(front.pick(small), cost)
            front = front.pick(~small)
            if not len(front):
                return cost
            choice = self.policy.choose(front.weights, front.state, front.done, bit_price[front.move])
            front = self.step(front, choice.move, choice.which, cost)
        self._leave(front, cost)
        return cost

    def _leave(self, front: Front, cost: Floats) -> None:
        """Settle branches for good, in the coarser tree too where it was still following them."""
        self._settle(front, cost[:, MONEY:COARSE_MONEY])
        self._settle(front.pick(~front.beyond), cost[:, COARSE_MONEY:])

    def _settle(self, front: Front, cost: Floats) -> None:
        if len(front):
            known = (front.weights * self.ledger.class_cost[front.state]).sum(axis=1)
            np.add.at(cost, front.move, np.stack([known, self.policy.missing_bits(front.weights)], axis=1))

    def step(self, front: Front, kind: Ints, which: Ints, cost: Floats) -> Front:
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
        np.add.at(cost[:, MONEY], front.move, paid)
        np.add.at(cost[:, COARSE_MONEY], front.move, np.where(front.beyond, 0.0, paid))
        return Front.join(parts) if parts else front.pick(np.zeros(0, dtype=np.int64))

    def _after_check(self, front: Front, which: Ints) -> Front:
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

    def _after_repair(self, front: Front, which: Ints) -> Front:
        weights = self.policy.after_repair(front.weights, which)
        return Front(front.move, weights, self.ledger.bundle_next[front.state, which], front.done, front.beyond)

    def _after_run(self, front: Front, _which: Ints) -> Front:
        weights = np.where(self.policy.sound, 0.0, front.weights)
        return Front(front.move, weights, self.ledger.verify_next[front.state], front.done, front.beyond)
