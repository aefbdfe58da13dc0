"""What a rule for the next move costs over a whole job, worked out branch by branch.

For teaching and for tests: rules side by side on small problems, against each other and against the exact optimum
(`exact.py`). A rule sees beliefs over classes, as the advice does, and says what to do in each.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from faultodds.advice import (
    CHECK,
    DEPTH,
    MANY_BIT_PRICES,
    MONEY,
    NOTHING_TOLD,
    REFER,
    REPAIR,
    RUN,
    SOUND,
    Choice,
    Front,
    Move,
    Policy,
    Rollout,
)
from faultodds.knowledge import Floats

Rule = Callable[[Front], Choice]

# Branches less likely than this are not followed but taken to cost what they would if the truth were told.
NEVER = 3e-6
# The least branch that a rule follows when it prices a move.
FOLLOWED = 1e-2
# The rule of information alone repairs when a class is this likely, or when no check tells anything.
SURE = 0.9


def cost_of_rule(policy: Policy, rule: Rule) -> float:
    """Expected cost of the whole job from the belief now when every move is the rule's; every branch is followed.

    What is still open after `DEPTH` moves is handed over.
    """
    rollout, problem = Rollout(policy, NEVER), policy.problem
    cost, front = 0.0, rollout.start(problem.weights, 1)
    for _ in range(DEPTH):
        rare = front.weights.sum(axis=1) <= NEVER
        cost += float(policy.told(problem.by_class(front.weights[rare]), front.state[rare])[:, MONEY].sum())
        front = front.pick(~rare)
        if not len(front):
            break
        choice = rule(front)
        front, spent = rollout.step(front, choice.move, choice.which)
        cost += float(spent[:, MONEY].sum())
    return cost + float(front.weights.sum()) * problem.refer_cost


def base_rule(policy: Policy, share: float) -> Rule:
    """The base policy, a bit priced at `share` of the job's cost if the truth were told."""
    return lambda front: policy.choose(
        policy.problem.by_class(front.weights), front.state, front.done, share * policy.scale
    )


def rollout_rule(policy: Policy) -> Rule:
    """Rollout at every move: whatever is cheapest when the best of several base policies goes on from there."""
    rollout = Rollout(policy, FOLLOWED)
    moves = _moves(policy)
    prices = np.array(MANY_BIT_PRICES) * policy.scale

    def choose(front: Front) -> Choice:
        # Each belief is priced as if it were sure to be reached, so that rare ones are followed as far as common ones.
        here = front.pick(np.arange(len(front)))
        here.weights = front.weights / front.weights.sum(axis=1, keepdims=True)
        return _cheapest(policy, here, moves, rollout.prices_from(here, moves, prices).min(axis=0))

    return choose


def one_step_rule(policy: Policy) -> Rule:
    """One-step look-ahead: a check pays when its price and the repairs-only job after it cost less than that job now."""
    rollout = Rollout(policy, FOLLOWED)
    moves = _moves(policy)
    price = np.array([MANY_BIT_PRICES[1]]) * policy.scale

    def choose(front: Front) -> Choice:
        blind = front.pick(np.arange(len(front)))
        blind.done = np.ones_like(front.done)
        return _cheapest(policy, front, moves, rollout.prices_from(blind, moves, price)[0])

    return choose


def information_rule(policy: Policy) -> Rule:
    """Information alone: the check with the most bits for its price until one class is likely enough, then its repair."""

    def choose(front: Front) -> Choice:
        weights = policy.problem.by_class(front.weights)
        total = weights.sum(axis=1, keepdims=True)
        spent = np.maximum(policy.ledger.check_cost[front.state], 1e-9)
        bits = policy.bits(weights)
        worth = np.where(front.done | ~policy.ordinary, -1.0, bits / (total * spent))
        which = worth.argmax(axis=1) if worth.shape[1] else np.zeros(len(front), dtype=np.int64)
        likeliest = weights.argmax(axis=1)
        sure = weights.max(axis=1) >= SURE * total[:, 0]
        told = worth.max(axis=1) > NOTHING_TOLD if worth.shape[1] else np.zeros(len(front), dtype=bool)
        check = told & ~sure
        mask = policy.problem.masks[likeliest]
        bundle = np.array([_bundle_of(policy, int(m)) for m in mask], dtype=np.int64)
        refer = (bundle < 0) & (mask != SOUND)
        move = np.where(check, CHECK, np.where(refer, REFER, np.where(mask == SOUND, RUN, REPAIR)))
        return Choice(move, np.where(check, which, np.maximum(bundle, 0)))

    return choose


def _bundle_of(policy: Policy, mask: int) -> int:
    """The bundle that is exactly these repairs, or the first of their repairs; -1 when there is none."""
    masks = policy.ledger.bundle_masks
    exact = np.flatnonzero(masks == mask) if mask > 0 else np.zeros(0, dtype=np.int64)
    some = np.flatnonzero((masks & mask) == masks) if mask > 0 else exact
    return int(exact[0]) if len(exact) else int(some[0]) if len(some) else -1


def _moves(policy: Policy) -> list[Move]:
    checks = [Move(CHECK, c) for c in np.flatnonzero(policy.ordinary).tolist()]
    return [*checks, *(Move(REPAIR, u) for u in range(len(policy.problem.bundles)))]


def _cheapest(policy: Policy, front: Front, moves: list[Move], cost: Floats) -> Choice:
    """The cheapest move in each branch from `cost` (B, len(moves)); handing over where that costs less."""
    cost = cost.copy()
    for column, move in enumerate(moves):
        if move.kind == CHECK:
            cost[front.done[:, move.which], column] = np.inf
    best = cost.argmin(axis=1)
    kind = np.array([m.kind for m in moves], dtype=np.int64)[best]
    which = np.array([m.which for m in moves], dtype=np.int64)[best]
    refer = front.weights.sum(axis=1) * policy.problem.refer_cost < cost.min(axis=1)
    return Choice(np.where(refer, REFER, kind), which)
