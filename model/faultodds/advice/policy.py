"""The base policy: a quick, sensible rule for what to do next, applied to many beliefs at once.

It values what is not known yet at a price per bit: a belief is taken to cost what its repairs cost if the truth were told,
plus `bit_price` for every bit that is missing about *which repairs are needed*. So a check is worth its bits times that
price, less its own; a repair is worth what it may finish. Nothing is spent on telling apart what the same repair fixes.
On its own it is a fair technician; following it to the end of the job from every first move (`rollout.py`) is what
makes good advice out of it.

Beliefs are rows of weights over classes and need not sum to 1: every price grows in proportion to its row, so a row weighed
with the chance of getting there gives its part of an expectation. Shapes: B beliefs, K classes, C checks, R outcomes;
`bit_price` is one price, or one for each belief (B,).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TypeAlias

import numpy as np
from msgspec import Struct

from faultodds.advice.classes import HOPELESS, SOUND
from faultodds.advice.ledger import CHECK, REFER, REPAIR, RUN, Ledger
from faultodds.advice.problem import Problem
from faultodds.knowledge import Bools, Floats, Ints, Places

Prices: TypeAlias = float | Floats

# What can be told from nothing in single precision.
TINY = 1e-38
# Bundles looked at for each belief: the ones with the best chance of finishing the job for their price.
TRIED = 2
# A check that tells fewer bits than this about the repairs needed tells nothing.
NOTHING_TOLD = 1e-5


class Move(Struct, frozen=True):
    """A first move: `kind` is CHECK, REPAIR, RUN or REFER; `which` the check or bundle."""

    kind: int
    which: int = 0


class Choice(Struct, frozen=True):
    """What the policy does in each belief: `move` (CHECK, REPAIR, RUN or REFER) and `which` check or bundle."""

    move: Ints
    which: Ints


class Shifts(Struct, frozen=True):
    """Where each of U bundles takes n things, those alone that it takes elsewhere: from `starts[u]` to `starts[u + 1]` the
    `source` and `target` of each, and how much of it goes (`success`, (U,))."""

    starts: Places
    source: Places
    target: Places
    success: Floats

    @staticmethod
    def of(left: Places, success: Floats) -> Shifts:
        """From (U, n) places."""
        bundle, source = np.nonzero(left != np.arange(left.shape[1]))
        starts = np.searchsorted(bundle, np.arange(len(left) + 1))
        return Shifts(starts, source, left[bundle, source], success)

    def on(self, weights: Floats, bundle: Ints) -> Floats:
        """(B, n) each row's weights after its bundle."""
        count = (self.starts[1:] - self.starts[:-1])[bundle]
        first = np.repeat(self.starts[bundle] - np.cumsum(count) + count, count)
        place = first + np.arange(len(first))
        row = np.repeat(np.arange(len(weights)) * weights.shape[1], count)
        out = weights.copy().reshape(-1)
        source = row + self.source[place]
        took = np.repeat(self.success[bundle], count) * out[source]
        out[source] -= took
        np.add.at(out, row + self.target[place], took)
        return out.reshape(weights.shape)


class Policy:
    """The base policy for one problem."""

    def __init__(self, problem: Problem, ledger: Ledger) -> None:
        self.problem = problem
        self.ledger = ledger
        self.sound = problem.masks == SOUND
        self.like = problem.class_mean(problem.suspect_likelihood)
        self.starts = np.array([r.start for r in problem.rows.values()], dtype=np.int64)
        # Running the machine is a move of its own; here, not in the tree, its verdict is taken as sure.
        verify = problem.knowledge.costs.verify
        self.ordinary = np.array([n != verify for n in problem.check_names], dtype=bool)

    @cached_property
    def _noise(self) -> Floats:
        """(C, K) entropy of each check's outcome when the class is known, bits."""
        terms = -xlogx(self.like)
        return (
            np.asarray(np.add.reduceat(terms, self.starts, axis=0))
            if len(self.starts)
            else np.zeros((0, len(self.sound)))
        )

    @cached_property
    def scale(self) -> float:
        """Money that prices of bits are measured in: what the job costs if the truth were told and it can be done here."""
        weight = np.where(self.problem.masks == HOPELESS, 0.0, self.problem.class_weights)
        return max(float(self.ledger.class_cost[0] @ weight) / max(float(weight.sum()), 1e-9), 1e-9)

    def missing_bits(self, weights: Floats) -> Floats:
        """(B,) entropy of the classes times the weight of the row."""
        total = weights.sum(axis=1)
        return np.asarray(xlogx(total) - xlogx(weights).sum(axis=1))

    def value(self, weights: Floats, state: Ints, bit_price: Prices) -> Floats:
        """(B,) price taken for going on from each belief."""
        known = (weights * self.ledger.class_cost[state]).sum(axis=1)
        value: Floats = known + bit_price * self.missing_bits(weights)
        return value

    def choose(self, weights: Floats, state: Ints, done: Bools, bit_price: Prices) -> Choice:
        """The policy's move in each belief, REFER where it knows nothing to do; `done` (B, C) marks the checks that would
        show nothing new. What handing over costs does not enter into it."""
        missing = self.missing_bits(weights)
        check, best_check = self._best_check(weights, state, done, bit_price, missing)
        repair, best_repair = self._best_repair(weights, state, bit_price)
        costs = np.stack([check, repair, self._run(weights, state, bit_price, missing)])
        move = costs.argmin(axis=0)
        which = np.where(move == CHECK, best_check, np.where(move == REPAIR, best_repair, 0))
        return Choice(np.where(np.isinf(costs.min(axis=0)), REFER, move).astype(np.int64), which)

    def bits(self, weights: Floats) -> Floats:
        """(B, C) what each check tells about the class, in bits times the weight of the row."""
        total, chance = weights.sum(axis=1, keepdims=True), weights @ self.like.T
        told: Floats = xlogx(total) - np.add.reduceat(xlogx(chance), self.starts, axis=1) - weights @ self._noise.T
        return told

    def check_values(
        self, weights: Floats, state: Ints, done: Bools, bit_price: Prices, missing: Floats | None = None
    ) -> Floats:
        """(B, C) price of doing each check now; infinite where it is done, tells nothing, or is the
        verification run.

        `missing` is `missing_bits(weights)`, for those who have it already.
        """
        ledger, total = self.ledger, weights.sum(axis=1, keepdims=True)
        bits = self.bits(weights)
        known = weights @ ledger.class_cost.T
        after = np.take_along_axis(known, ledger.check_next[state], axis=1)
        missing = self.missing_bits(weights) if missing is None else missing
        price = np.reshape(bit_price, (-1, 1))
        cost = total * ledger.check_cost[state] + after + price * np.maximum(missing[:, None] - bits, 0.0)
        return np.where(done | ~self.ordinary | (bits < NOTHING_TOLD * total), np.inf, cost)

    def estimates(self, weights: Floats, moves: Sequence[Move], bit_price: Prices) -> Floats:
        """(B, len(moves)) the policy's own price of each first move from the beliefs `weights` (B, K) and the state now."""
        count, bundles = len(weights), len(self.problem.bundles)
        state = np.zeros(count, dtype=np.int64)
        done = np.zeros((count, len(self.problem.check_names)), dtype=bool)
        by_check = self.check_values(weights, state, done, bit_price) if len(self.starts) else done
        which, many = np.tile(np.arange(bundles), count), np.repeat(weights, bundles, axis=0)
        by_bundle = self.repair_values(many, np.zeros_like(which), which, bit_price).reshape(count, bundles)
        run = self._run(weights, state, bit_price, self.missing_bits(weights))[:, None]
        prices = {CHECK: by_check, REPAIR: by_bundle, RUN: run}
        return np.stack([prices[m.kind][:, m.which] for m in moves], axis=1)

    def repair_values(self, weights: Floats, state: Ints, bundle: Ints, bit_price: Prices) -> Floats:
        """(B,) price of each belief's bundle and what comes after it."""
        onward = self.value(self.left_of(weights, bundle), self.ledger.bundle_next[state, bundle], bit_price)
        cost: Floats = weights.sum(axis=1) * self.ledger.bundle_cost[state, bundle] + onward
        return cost

    def _best_check(
        self, weights: Floats, state: Ints, done: Bools, bit_price: Prices, missing: Floats
    ) -> tuple[Floats, Ints]:
        if not len(self.starts):
            return np.full(len(weights), np.inf), np.zeros(len(weights), dtype=np.int64)
        cost = self.check_values(weights, state, done, bit_price, missing)
        which = cost.argmin(axis=1)
        return cost[np.arange(len(cost)), which], which

    def _best_repair(self, weights: Floats, state: Ints, bit_price: Prices) -> tuple[Floats, Ints]:
        rows, tried = np.arange(len(weights)), min(TRIED, len(self.problem.bundles))
        if not tried:
            return np.full(len(weights), np.inf), np.zeros(len(weights), dtype=np.int64)
        index = (
            (weights @ self.finishes.T) * self.ledger.bundle_success / np.maximum(self.ledger.bundle_cost[state], 1e-9)
        )
        bundle = np.empty((tried, len(weights)), dtype=np.int64)
        for place in range(tried):
            bundle[place] = index.argmax(axis=1)
            index[rows, bundle[place]] = -1.0
        price = np.tile(np.broadcast_to(bit_price, len(weights)), tried)
        cost = self.repair_values(np.tile(weights, (tried, 1)), np.tile(state, tried), bundle.reshape(-1), price)
        best = cost.reshape(tried, -1).argmin(axis=0)
        return cost.reshape(tried, -1)[best, rows], bundle[best, rows]

    @cached_property
    def finishes(self) -> Floats:
        """(U, K) 1 where a bundle leaves nothing wrong of a class that has something wrong."""
        masks = self.problem.masks
        ends = (masks > 0) & ((masks & ~self.ledger.bundle_masks[:, None]) == SOUND)
        return np.asarray(ends, dtype=self.problem.precision)

    def _run(self, weights: Floats, state: Ints, bit_price: Prices, missing: Floats) -> Floats:
        """(B,) price of running the machine: what is sound is done, the rest goes on."""
        sound, total, rows = weights[:, self.sound].sum(axis=1), weights.sum(axis=1), np.arange(len(weights))
        # What is sound costs nothing more, and of the bits only those about the rest are still missing.
        known = (weights @ self.ledger.class_cost.T)[rows, self.ledger.verify_next[state, 0]]
        bits = np.maximum(missing - xlogx(total) + xlogx(sound) + xlogx(total - sound), 0.0)
        cost = total * self.ledger.verify_cost[state, 0] + known + bit_price * bits
        return np.where(sound > 0, cost, np.inf)

    @cached_property
    def _class_left(self) -> Shifts:
        """The class of what a bundle leaves of a class."""
        masks = self.problem.masks
        rest = np.where(masks == HOPELESS, HOPELESS, masks & ~self.ledger.bundle_masks[:, None])
        order = np.argsort(masks)
        left = order[np.minimum(np.searchsorted(masks, rest, sorter=order), len(masks) - 1)]
        return Shifts.of(left, self.ledger.bundle_success)

    def left_of(self, weights: Floats, bundle: Ints) -> Floats:
        """(B, K) what is still wrong after each belief's bundle: its repairs taken away where they took."""
        rest = self._class_left.on(weights, bundle)
        rest[:, self.sound] = 0.0
        return rest

    @cached_property
    def _left(self) -> Shifts:
        return Shifts.of(self.ledger.left, self.ledger.bundle_success)

    def after_repair(self, weights: Floats, bundle: Ints) -> Floats:
        """(B, A) chances of the active suspects after each belief's bundle."""
        return self._left.on(weights, bundle)

    # --- what a run and leaving make of a belief ---

    def failing(self, weights: Floats) -> list[Floats]:
        """(B, A) what is left after each thing that a run may show when it is not good."""
        return [weights * shows for shows in self.problem.run_fails]

    def ended(self, weights: Floats) -> Floats:
        """(B, 3) money, minutes and jobs finished today of what passes a run: the technician leaves, and comes back to
        what was not right."""
        out = np.zeros((len(weights), 3))
        out[:, [0, 2]] = weights @ self._ends
        return out

    @cached_property
    def _ends(self) -> Floats:
        """(A, 2) the money and the jobs finished of each active suspect that is run: what passes is left."""
        each = np.stack([self.left_wrong, self.sound], axis=1)[self.problem.class_of]
        return np.asarray(each * self.problem.run_passes[:, None], dtype=self.problem.precision)

    @cached_property
    def left_wrong(self) -> Floats:
        """(K,) price of leaving each class as it is: a callback and its repairs, or nothing where nothing is wrong."""
        price = self.problem.callback_cost + self.ledger.least_cost[0]
        return np.asarray(np.where(self.sound, 0.0, price), dtype=self.problem.precision)

    def told(self, weights: Floats, state: Ints) -> Floats:
        """(B, 3) money, minutes and jobs finished today when the class of each belief (B, K) is told and its repairs are
        done."""
        rows, states = np.arange(len(weights)), len(self.ledger.states)
        every = weights @ self._told
        return np.stack([every[rows, state], every[rows, states + state], every[:, -1]], axis=1)

    @cached_property
    def _told(self) -> Floats:
        """(K, 2 S + 1) money and minutes of each class from each state, and the jobs finished."""
        tables = [self.ledger.class_cost, self.ledger.class_minutes, self._class_today[None]]
        return np.ascontiguousarray(np.concatenate(tables).T)

    @cached_property
    def by_others(self) -> Bools:
        """(U,) whether part of a bundle is somebody else's work."""
        repair = self.problem.knowledge.repair
        return np.array([any(repair[n].by_others for n in names) for names in self.problem.bundles], dtype=bool)

    @cached_property
    def _class_today(self) -> Floats:
        """(K,) 1 where the technician can put the class right."""
        p, repair = self.problem, self.problem.knowledge.repair
        theirs = np.array([repair[n].by_others for n in p.needed], dtype=bool)
        ours = (p.masks != HOPELESS) & ~(self.ledger.needs[:, theirs] > 0).any(axis=1)
        return np.asarray(ours, dtype=self.problem.precision)


def xlogx(p: Floats) -> Floats:
    """p log2 p, 0 at 0."""
    out: Floats = p * np.log2(np.maximum(p, TINY))
    return out
