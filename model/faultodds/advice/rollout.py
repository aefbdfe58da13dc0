"""Rollout: price each first move by following the base policy to the end of the job after it.

One step of policy improvement over the base policy (Bertsekas and Castanon 1999): never worse in expectation than the
policy it follows, and measured far closer to the best plan. The tree of what may happen is worked out level by level
for all first moves together, then priced from its ends back. On the way back every branch may be handed over, or left
where the machine has passed its run, if that costs less than going on: the best times to stop, not a guess of them. As
the base policy itself does not look at the price of handing over, the price of the job rises with it and is concave.

A run may pass a machine that is not right; then the technician leaves, and pays a callback and the repairs.

A branch less likely than `least` is not followed but taken to cost what its repairs cost if the truth were told, plus a
price per bit that is missing, read off the branches just above it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct, structs

from faultodds.advice.ledger import CHECK, REFER, REPAIR, RUN
from faultodds.advice.policy import Move, Policy
from faultodds.knowledge import Bools, Floats, Ints, Places

LEAST = 0.01
# So small a least that every branch is followed.
EVERY = 1e-7
DEPTH = 40
# When what is still followed adds up to fewer than this many least branches for a first move, the rest is settled.
TAIL = 5.0
# Branches of up to this many least branches show what a missing bit costs.
THIN = 4.0
# What a bit is taken to cost before that is known, as a share of what the job costs if the truth were told.
FIRST_BIT_PRICE = 0.4
FITS = 4
MONEY, MINUTES, TODAY = range(3)


class Front(Struct):
    """The branches still followed: their first move, weights, machine state, checks done, and whether the machine has
    passed a run since the last repair, so that it may be left."""

    move: Ints
    weights: Floats
    state: Ints
    done: Bools
    passed: Bools

    def __len__(self) -> int:
        return len(self.move)

    def pick(self, rows: Bools | Ints) -> Front:
        """Some of the branches."""
        return Front(self.move[rows], self.weights[rows], self.state[rows], self.done[rows], self.passed[rows])

    @staticmethod
    def join(parts: Sequence[Front]) -> Front:
        """Branches put together."""
        return Front(
            np.concatenate([p.move for p in parts]),
            np.concatenate([p.weights for p in parts]),
            np.concatenate([p.state for p in parts]),
            np.concatenate([p.done for p in parts]),
            np.concatenate([p.passed for p in parts]),
        )


class Level(Struct):
    """The branches that came up after as many moves, B of them.

    `parent` (B,): their place in the level before, or their first move; `move` (B,): their first move. `classes` (B, K):
    chances of the classes. `spent` (B, 3): money, minutes and jobs finished today by the policy's move from here; of a branch
    that is not followed, by the repairs of the told truth, and `bits` (B,) what was missing. `stop` (B, 3): the same for the
    best way to stop here. `thin` (T, 4): money, minutes, jobs finished and bits of the branches `thin_rows` as if they were not
    followed.
    """

    parent: Ints
    move: Ints
    followed: Bools
    classes: Floats
    spent: Floats
    bits: Floats
    stop: Floats
    thin: Floats
    thin_rows: Places


class Rollout:
    """Prices of first moves for one problem."""

    def __init__(self, policy: Policy, least: float = LEAST) -> None:
        self.policy = policy
        self.ledger = policy.ledger
        self.least = least

    def whole(self, weights: Floats, bit_prices: Floats) -> Floats:
        """(P, 3) money, minutes and chance of finishing today of the base policy from the active suspects' `weights` (A,)
        at each of P prices of a bit."""
        return self._ends(self.start(weights, len(bit_prices)), bit_prices, np.zeros(len(bit_prices), dtype=np.int64))

    def prices(self, weights: Floats, moves: Sequence[Move], bit_prices: Floats) -> Floats:
        """(P, len(moves)) expected cost of the job from the active suspects' `weights` (A,) for each first move, following
        the base policy at each of P prices of a bit after it."""
        return self.prices_from(self.start(weights, 1), moves, bit_prices)[:, 0]

    def prices_from(self, front: Front, moves: Sequence[Move], bit_prices: Floats) -> Floats:
        """(P, B, len(moves)) the same from each of B branches; a check that is done already is priced as if it were not."""
        shape = (len(bit_prices), len(front), len(moves))
        price, branch, move = (x.reshape(-1) for x in np.indices(shape))
        chosen = [moves[m] for m in move.tolist()]
        return self._priced(front.pick(branch), chosen, bit_prices[price], np.zeros_like(move)).reshape(shape)

    def prices_apart(self, weights: Floats, moves: Sequence[Sequence[Move]], bit_price: float) -> list[Floats]:
        """The same from each row of `weights` (B, A), as many moves of its own for each, every row priced as if it were alone."""
        branch = np.repeat(np.arange(len(weights)), [len(m) for m in moves])
        front = self.start(weights[0], len(branch))
        front.weights = weights[branch]
        chosen = [move for own in moves for move in own]
        prices = self._priced(front, chosen, np.full(len(branch), bit_price), branch)
        return [prices[branch == b] for b in range(len(weights))]

    def _priced(self, front: Front, moves: Sequence[Move], bit_price: Floats, apart: Ints) -> Floats:
        """(B,) money of one first move from each branch; what a missing bit costs is read off what belongs together (`apart`)."""
        front.move = np.arange(len(front))
        kind, which = np.array([(m.kind, m.which) for m in moves], dtype=np.int64).reshape(-1, 2).T
        after, spent = self.step(front, kind, which)
        return np.asarray((spent + self._ends(after, bit_price, apart))[:, MONEY])

    def start(self, weights: Floats, count: int) -> Front:
        """`count` branches at the active suspects' `weights` (A,) and the state now."""
        problem = self.policy.problem
        return Front(
            np.arange(count),
            np.repeat(weights[None], count, axis=0),
            np.zeros(count, dtype=np.int64),
            np.zeros((count, len(problem.check_names)), dtype=bool),
            np.full(count, problem.may_leave),
        )

    # --- growing the tree ---

    def _ends(self, front: Front, bit_price: Floats, apart: Ints) -> Floats:
        """(len(bit_price), 3) what following the base policy from every branch comes to, by first move."""
        levels = self._grown(front, bit_price)
        ends = self._values(levels, self._bit_price(levels, apart), slice(None))[0]
        return _gathered(levels[0].parent, ends, len(bit_price))

    def _grown(self, front: Front, bit_price: Floats) -> list[Level]:
        levels: list[Level] = []
        parent = front.move
        for depth in range(DEPTH + 1):
            weight = front.weights.sum(axis=1)
            followed = np.bincount(front.move, np.where(weight < self.least, 0.0, weight), minlength=len(bit_price))
            small = (weight < self.least) | (followed < TAIL * self.least)[front.move] | (depth == DEPTH)
            level = self._settled(front, parent, small, ~small & (weight < THIN * self.least))
            levels.append(level)
            front = front.pick(~small)
            if not len(front):
                break
            choice = self.policy.choose(level.classes[~small], front.state, front.done, bit_price[front.move])
            front, parent = self._onward(front, level, choice.move, choice.which)
        return levels

    def _settled(self, front: Front, parent: Ints, small: Bools, thin: Bools) -> Level:
        """A level with what is known of its branches without following them."""
        policy = self.policy
        classes = policy.problem.by_class(front.weights)
        spent, bits, rows = np.zeros((len(front), 3)), np.zeros(len(front)), np.flatnonzero(thin)
        spent[small] = policy.told(classes[small], front.state[small])
        bits[small] = policy.missing_bits(classes[small])
        told = np.column_stack([policy.told(classes[rows], front.state[rows]), policy.missing_bits(classes[rows])])
        return Level(parent, front.move, ~small, classes, spent, bits, self._stop(front, classes), told, rows)

    def _stop(self, front: Front, classes: Floats) -> Floats:
        """(B, 3) handing over, or leaving where the machine has passed its run and that costs less."""
        refer = np.zeros((len(front), 3))
        refer[:, MONEY] = front.weights.sum(axis=1) * self.policy.problem.refer_cost
        rows = np.flatnonzero(front.passed)
        if len(rows):
            leave = np.zeros((len(rows), 3))
            leave[:, MONEY] = classes[rows] @ self.policy.left_wrong
            leave[:, TODAY] = classes[rows][:, self.policy.sound].sum(axis=1)
            refer[rows] = np.where(leave[:, :1] < refer[rows][:, :1], leave, refer[rows])
        return refer

    def _onward(self, front: Front, level: Level, kind: Ints, which: Ints) -> tuple[Front, Ints]:
        place, first = np.flatnonzero(level.followed), front.move
        after, spent = self.step(structs.replace(front, move=np.arange(len(front))), kind, which)
        level.spent[place] = spent
        # A policy that knows nothing to do stops there.
        level.spent[place[kind == REFER]] = np.inf
        parent = place[after.move]
        after.move = first[after.move]
        return after, parent

    def step(self, front: Front, kind: Ints, which: Ints) -> tuple[Front, Floats]:
        """Make one move in every branch: the branches that come of it, and (B, 3) the money and minutes it takes and the
        jobs that end well by it."""
        policy, ledger, total = self.policy, self.ledger, front.weights.sum(axis=1)
        spent = np.zeros((len(front), 3))
        spent[:, MONEY] = np.where(kind == REFER, total * policy.problem.refer_cost, 0.0)
        parts = []
        for move in (CHECK, REPAIR, RUN):
            rows = np.flatnonzero(kind == move)
            if not len(rows):
                continue
            column = which[rows] if move != RUN else np.zeros(len(rows), dtype=np.int64)
            state, weight = front.state[rows], total[rows]
            spent[rows, MONEY] = weight * ledger.cost(move)[state, column]
            spent[rows, MINUTES] = weight * ledger.minutes(move)[state, column]
            picked = front.pick(rows)
            if move == CHECK:
                parts.append(self._after_check(picked, column))
                continue
            weights = picked.weights if move == RUN else policy.after_repair(picked.weights, column)
            spent[rows] += policy.ended(weights)
            if move == REPAIR:
                spent[rows[policy.by_others[column]], TODAY] = 0.0
            after, none = ledger.next_state(move)[state, column], np.zeros(len(rows), dtype=bool)
            parts += [Front(picked.move, left, after, picked.done, none) for left in policy.failing(weights)]
        return (Front.join(parts) if parts else front.pick(np.zeros(0, dtype=np.int64))), spent

    def _after_check(self, front: Front, which: Ints) -> Front:
        policy = self.policy
        sizes = np.diff([*policy.starts, len(policy.like)])[which]
        rows = np.repeat(np.arange(len(front)), sizes)
        within = np.arange(len(rows)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        outcome = policy.starts[which][rows] + within
        child = front.pick(rows)
        child.weights = child.weights * policy.problem.suspect_likelihood[outcome]
        child.state = self.ledger.check_next[child.state, which[rows]]
        child.done = child.done.copy()
        child.done[np.arange(len(rows)), which[rows]] = True
        problem = policy.problem
        child.passed = (child.passed | problem.frees[which[rows]]) & ~problem.forbids[outcome]
        return child

    # --- pricing it from its ends ---

    def _bit_price(self, levels: list[Level], apart: Ints) -> Floats:
        """(len(apart), 2) what a missing bit costs where the tree ends, at first and more with every move before, for each first
        move; those that belong together share it.

        Bits get dearer on the way, as the checks that tell most for their money are done first. Both numbers are fitted by
        least squares to the branches that are followed but only just (`THIN` least branches at most): what going on from
        them costs beyond the repairs of the told truth, against the bits that they miss. What going on costs depends on the
        price itself, so it is fitted a few times over.
        """
        price = np.tile([FIRST_BIT_PRICE * self.policy.scale, 0.0], (len(apart), 1))
        missed = [level.thin[:, 3:] * [1.0, place] for place, level in enumerate(levels)]
        x = np.concatenate(missed)
        if not len(x):
            return price
        weight = np.sqrt(1.0 / np.concatenate([level.classes[level.thin_rows].sum(axis=1) for level in levels]))
        x = x * weight[:, None]
        group = np.concatenate([apart[level.move[level.thin_rows]] for level in levels])
        groups = [(apart == g, np.flatnonzero(group == g)) for g in np.unique(group)]
        for _ in range(FITS):
            values = self._values(levels, price, slice(MONEY, MONEY + 1))
            beyond = [v[level.thin_rows, 0] - level.thin[:, MONEY] for v, level in zip(values, levels, strict=True)]
            y = np.concatenate(beyond) * weight
            for own, rows in groups:
                price[own] = _least_squares(x[rows], y[rows])
        return price

    def _values(self, levels: list[Level], price: Floats, kept: slice) -> list[Floats]:
        """(B, 3) of each level, or only the columns that are kept, the money among them: what its branches come to, each stopped
        where that is cheapest."""
        values: list[Floats] = []
        search_in = np.array([1.0, 1.0 / max(self.policy.problem.rate, 1e-9), 0.0])[kept]
        for place in range(len(levels) - 1, -1, -1):
            level = levels[place]
            search = level.bits * (price[:, 0] + place * price[:, 1])[level.move]
            sums = level.spent[:, kept] + search[:, None] * search_in
            if values:
                sums += _gathered(levels[place + 1].parent, values[-1], len(sums))
            stops = np.flatnonzero(level.stop[:, MONEY] < sums[:, MONEY])
            sums[stops] = level.stop[stops, kept]
            values.append(sums)
        return values[::-1]


def _least_squares(x: Floats, y: Floats) -> Floats:
    """(2,) the coefficients of two columns, neither below 0."""
    square, product = x.T @ x, x.T @ y
    alone = np.maximum(product / np.maximum(np.diag(square), 1e-300), 0.0)
    determinant = square[0, 0] * square[1, 1] - square[0, 1] ** 2
    if determinant > 1e-9 * square[0, 0] * square[1, 1]:
        both = (
            np.array(
                [
                    square[1, 1] * product[0] - square[0, 1] * product[1],
                    square[0, 0] * product[1] - square[0, 1] * product[0],
                ]
            )
            / determinant
        )
        if (both >= 0.0).all():
            return np.asarray(both)
        if both[0] < 0.0:
            return np.array([0.0, alone[1]])
    return np.array([alone[0], 0.0])


def _gathered(parent: Ints, value: Floats, count: int) -> Floats:
    """(count, 3) sums of `value` by parent."""
    out = np.empty((count, value.shape[1]))
    for column in range(value.shape[1]):
        out[:, column] = np.bincount(parent, value[:, column], minlength=count)
    return out
