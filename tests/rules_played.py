"""What a rule for the next move costs over a whole job, worked out branch by branch.

Rules side by side on small problems, against each other and against the exact optimum (`exact_plans.py`). A rule
sees beliefs over classes, as the advice does, and says what to do in each.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from msgspec.structs import replace

from faultodds.advice.advisor import best_move
from faultodds.advice.classes import SOUND
from faultodds.advice.ledger import CHECK, REFER, REPAIR, RUN, Ledger
from faultodds.advice.machine import MachineStates, State
from faultodds.advice.policy import NOTHING_TOLD, Choice, Move, Policy
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import MANY_BIT_PRICES
from faultodds.advice.rollout import DEPTH, MONEY, Front, Rollout
from faultodds.advice.situation import Situation
from faultodds.belief import Appliance, Belief, Evidence, WeighedFinding, infer, repair_effect
from faultodds.knowledge import Floats

Ints = npt.NDArray[np.int64]

Rule = Callable[[Front], Choice]

# Branches less likely than this are not followed but taken to cost what they would if the truth were told.
NEVER = 3e-6
# Branches less likely than this are not asked of the advice but played on by the better of its base policies.
SELDOM = 1e-3
# The least branch that a rule follows when it prices a move.
FOLLOWED = 1e-2
# The rule of information alone repairs when a class is this likely, or when no check tells anything.
SURE = 0.9
ROUNDING = 1e-9


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


def cost_of_advice(appliance: Appliance) -> float:
    """Expected cost of a whole job that nothing is known of yet, done as `best_move` says; branches over `SELDOM` are followed.

    The advice is asked anew after every finding and repair, with the belief and the machine state that a job would have then.
    A check done once is not done again: after a repair the advice would, and so may do better than any plan of `exact_plans.py`.
    It may also go on after a good run, or put a fault as good as found right before a run.
    """
    problem = Problem(appliance, infer(appliance.suspects, Evidence()), Situation())
    left = np.zeros(len(problem.belief.now))
    left[problem.active] = _policy(problem).left_wrong[problem.class_of]
    job = _Job(appliance, MachineStates(appliance.knowledge), left, problem.rate)
    return job.cost(Evidence(), Situation().state, 1.0, 0)


def _policy(problem: Problem) -> Policy:
    return Policy(problem, Ledger(problem))


class _Job(Struct):
    """A job followed branch by branch; `left` (H,) is what leaving each suspect as it is costs."""

    appliance: Appliance
    machine: MachineStates
    left: Floats
    rate: float

    def cost(self, evidence: Evidence, state: State, chance: float, moves: int) -> float:
        """Expected cost from here on, times the chance of getting here."""
        verify = self.appliance.knowledge.costs.verify
        once = frozenset(f.name for f in evidence.seen if f.name != verify)
        belief, where = infer(self.appliance.suspects, evidence), Situation(state, once)
        if chance <= SELDOM:
            policy = _policy(Problem(self.appliance, belief, where))
            prices = np.array(MANY_BIT_PRICES) * policy.scale
            return chance * float(Rollout(policy, SELDOM).whole(policy.problem.weights, prices)[:, MONEY].min())
        move = best_move(self.appliance, belief, where, self.machine)
        if move.kind == "stop":
            return chance * float(belief.now @ self.left)
        if move.kind == "refer" or moves >= 2 * DEPTH:
            return chance * self.appliance.knowledge.costs.refer
        names = (move.name, *move.together)
        spent, state = self._doing(names, state)
        after = self._shown(move.name, belief) if move.kind == "check" else [(self._mended(names, evidence), 1.0)]
        return chance * spent + sum(self.cost(e, state, chance * p, moves + 1) for e, p in after)

    def _doing(self, names: tuple[str, ...], state: State) -> tuple[float, State]:
        """Price of some work, with its way and the closing up owed, and the machine state after it."""
        spent, k = 0.0, self.appliance.knowledge
        for name in names:
            work = k.check.get(name) or k.repair[name]
            way = self.machine.to_work(state, work)
            spent, state = spent + (way.charged + work.minutes) * self.rate + work.cost, way.after
        return spent, state

    def _shown(self, name: str, belief: Belief) -> list[tuple[Evidence, float]]:
        """What a check may show, and how likely."""
        s, evidence = belief.suspects, belief.evidence
        take = sum(f.name == name for f in evidence.seen)
        chances = (s.likelihood[s.rows[name]] @ belief.now).tolist()
        shown = [
            WeighedFinding(name, {o: 1.0}, len(evidence.repairs), take, len(evidence.waits))
            for o in s.observables[name]
        ]
        return [(evidence.plus(f), p) for f, p in zip(shown, chances, strict=True) if p > 0]

    def _mended(self, names: tuple[str, ...], evidence: Evidence) -> Evidence:
        k = self.appliance.knowledge
        return replace(evidence, repairs=(*evidence.repairs, *(repair_effect(k, n) for n in names)))


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
    """One-step look-ahead as published by Heckerman, Breese and Rommelse 1995, for problems with something surely wrong.

    Theirs: each check is priced at its own cost plus, weighed by the chances of its outcomes, what the best sequence of repairs
    costs after each; the check that comes to least is done if that is less than the best sequence costs now, else the first
    repair of that sequence, or the call for service that ends it; and all is worked out anew after each finding. Added here
    (`repair_sequence`): access that checks and repairs share, repairs that may not take, the run after each of them, which
    may miss what is wrong, and the callback that follows.
    """
    rollout = Rollout(policy)
    checks = np.flatnonzero(policy.ordinary)

    def choose(front: Front) -> Choice:
        now, first = repair_sequence(policy, front)
        row, check = (x.reshape(-1) for x in np.indices((len(front), len(checks))))
        many = front.pick(row)
        many.move = np.arange(len(many))
        after, spent = rollout.step(many, np.full(len(many), CHECK), checks[check])
        onward = np.bincount(after.move, repair_sequence(policy, after)[0], minlength=len(many))
        cost = (spent[:, MONEY] + onward).reshape(len(front), len(checks))
        cost[front.done[:, checks]] = np.inf
        best = cost.argmin(axis=1) if len(checks) else np.zeros(len(front), dtype=np.int64)
        look = cost.min(axis=1, initial=np.inf) < now * (1.0 - ROUNDING)
        which = np.where(look, checks[best] if len(checks) else 0, np.maximum(first, 0))
        return Choice(np.where(look, CHECK, np.where(first < 0, REFER, REPAIR)), which)

    return choose


def repair_sequence(policy: Policy, front: Front) -> tuple[Floats, Ints]:
    """(B,) cost of the best sequence of repairs without a check from each branch, and (B,) its first bundle, -1 for handing over.

    Repairs go in order of the chance that the next try finishes the job for its price from where the technician stands, each
    followed by its run, and the job is handed over after the number of them that makes the whole cheapest. That is the best
    of all orders where the price of a repair does not depend on what was done before it and a run misses nothing.
    """
    ledger, refer = policy.ledger, policy.problem.refer_cost
    weights, state = front.weights, front.state
    spent, first = np.zeros(len(front)), np.full(len(front), -1, dtype=np.int64)
    best, opening = weights.sum(axis=1) * refer, first.copy()
    for place in range(DEPTH):
        if not len(front) or not policy.problem.bundles or (spent >= best).all():
            break
        chance = (policy.problem.by_class(weights) @ policy.finishes.T) * ledger.bundle_success
        bundle = (chance / np.maximum(ledger.bundle_cost[state], 1e-9)).argmax(axis=1)
        opening = bundle if place == 0 else opening
        after = policy.after_repair(weights, bundle)
        spent = spent + weights.sum(axis=1) * ledger.bundle_cost[state, bundle] + policy.ended(after)[:, MONEY]
        weights, state = sum(policy.failing(after)), ledger.bundle_next[state, bundle]
        whole = spent + weights.sum(axis=1) * refer
        first, best = np.where(whole < best, opening, first), np.minimum(whole, best)
    return best, first


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
