"""The exact plan against a plain recursion, and the advice and the published one-step rule against the exact plan.

The problems have shared access, checks that are sharp or poor, repairs that may not take, runs that miss and cheap handing over.
`tests/benchmarks/bench_optimal.py` prints the same comparison for 300 larger ones, other rules beside it.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from exact_plans import cheapest_isolation, cheapest_job
from faultodds.advice.advisor import best_move
from faultodds.advice.policy import Policy
from faultodds.advice.ranking import MANY_BIT_PRICES
from faultodds.advice.rollout import Rollout
from faultodds.errors import FaultoddsError
from faultodds.textbook.sequences import value_of_check
from rules_played import (
    base_rule,
    cost_of_advice,
    cost_of_rule,
    information_rule,
    one_step_rule,
    repair_sequence,
    rollout_rule,
)
from small_problems import random_appliance, random_problem

SEEDS = st.integers(0, 2**20)
PROBLEMS, SIZE = 16, {"faults": 5, "checks": 3}
MEAN, WORST = 0.003, 0.03


def test_the_advice_is_near_the_optimum() -> None:
    """Over random problems, doing what the advice says costs on average at most 0.3 % over the optimum, at worst 3 %.

    Information alone is far outside of both, so the limits can be missed.
    """
    excess = np.empty((PROBLEMS, 2))
    for seed in range(PROBLEMS):
        ranking = random_problem(seed, **SIZE)
        costs = (
            cost_of_advice(ranking.problem.appliance),
            cost_of_rule(ranking.policy, information_rule(ranking.policy)),
        )
        excess[seed] = np.array(costs) / cheapest_job(ranking.policy) - 1.0
    mean, worst = excess.mean(axis=0), excess.max(axis=0)
    print(f"\nadvice over the optimum: mean {mean[0]:.3%}, worst {worst[0]:.2%}")
    assert excess.min() > -0.01, "only going on after a good run, or repairing before it, can undercut the plan"
    assert mean[0] <= MEAN < mean[1] and worst[0] <= WORST < worst[1]


# ---- the exact plan ------------------------------------------------------------------------------------------------------


@settings(max_examples=10, deadline=None)
@given(SEEDS)
def test_the_exact_plan_is_what_a_plain_recursion_finds(seed: int) -> None:
    """On problems of two faults and two checks the cheapest of all plans, tried one by one, costs what the exact plan says.

    The recursion gives up after eight tries of a repair and so costs a little more if anything.
    """
    policy = random_problem(seed, faults=2, checks=2).policy
    optimum, tried = cheapest_job(policy), _by_recursion(policy, 8)
    assert optimum <= tried * (1.0 + 1e-5)
    assert tried <= optimum * (1.002 if policy.ledger.bundle_success.min() >= 0.7 else 1.01)


def _by_recursion(policy: Policy, most: int) -> float:
    p, ledger = policy.problem, policy.ledger
    wrong = ~policy.sound
    checks = [(c, rows) for c, rows in enumerate(p.rows.values()) if policy.ordinary[c]]
    passes = policy.problem.class_mean(policy.problem.run_passes)[wrong]
    stays = np.where(p.masks[wrong] == ledger.bundle_masks[:, None], 1.0 - ledger.bundle_success[:, None], 1.0)

    @cache
    def best(seen: tuple[int, ...], tries: tuple[int, ...], state: int) -> float:
        weights = p.class_weights[wrong] * np.prod(policy.like[list(seen)][:, wrong], axis=0)
        for u, n in enumerate(tries):
            weights = weights * (stays[u] * (1.0 - passes)) ** n
        total = float(weights.sum())
        costs = [total * p.refer_cost]
        for c, rows in checks:
            if not any(rows.start <= row < rows.stop for row in seen):
                after = int(ledger.check_next[state, c])
                shown = sum(best(tuple(sorted((*seen, row))), tries, after) for row in range(rows.start, rows.stop))
                costs.append(total * float(ledger.check_cost[state, c]) + shown)
        for u, n in enumerate(tries):
            if n < most:
                left = float((weights * stays[u] * passes) @ policy.left_wrong[wrong])
                onward = best(seen, (*tries[:u], n + 1, *tries[u + 1 :]), int(ledger.bundle_next[state, u]))
                costs.append(total * float(ledger.bundle_cost[state, u]) + left + onward)
        return min(costs)

    return best((), (0,) * len(p.needed), 0)


@settings(max_examples=10, deadline=None)
@given(SEEDS)
def test_following_more_tries_only_raises_the_exact_price(seed: int) -> None:
    """What is left out can only make the exact price too low: it rises, hardly, as more tries are followed, and stays above
    that of a told truth."""
    ranking = random_problem(seed, faults=4, checks=2)
    rough, fine, finest = (cheapest_job(ranking.policy, x) for x in (0.05, 5e-4, 1e-5))
    assert ranking.full_information_cost * (1 - 1e-4) <= rough * (1 + 1e-5)
    assert rough <= fine * (1 + 1e-5) <= finest * (1 + 2e-5)
    assert finest <= fine * 1.002


def test_the_exact_plan_refuses_what_it_cannot_do() -> None:
    """Uncertain checks cannot isolate; too many checks are refused with what to take out."""
    with pytest.raises(FaultoddsError, match="each chance 0 or 1"):
        cheapest_isolation([0.5, 0.5], [np.array([[0.5, 0.1], [0.5, 0.9]])], [1.0])
    with pytest.raises(FaultoddsError, match="take checks or faults out"):
        cheapest_job(random_problem(0, faults=9, checks=9).policy)


# ---- the published rule --------------------------------------------------------------------------------------------------


def _never_missed(raw: dict[str, Any]) -> None:
    links = raw["check"]["run_test"]["links"]
    links.update(dict.fromkeys(links, 1.0))


@settings(max_examples=15, deadline=None)
@given(SEEDS)
def test_the_sequence_of_repairs_is_the_best_of_all(seed: int) -> None:
    """Without checks and with runs that miss nothing no plan is cheaper than the sequence by chance for its price, repairs
    that may not take among it; nor is one ever cheaper than the exact plan."""
    sure = random_problem(seed, faults=6, checks=0, change=_never_missed).policy
    cost, _ = repair_sequence(sure, Rollout(sure).start(sure.problem.weights, 1))
    assert float(cost[0]) == pytest.approx(cheapest_job(sure, 1e-5), rel=1e-3)
    missing = random_problem(seed, faults=4, checks=2).policy
    cost, _ = repair_sequence(missing, Rollout(missing).start(missing.problem.weights, 1))
    assert float(cost[0]) >= cheapest_job(missing) * (1 - 1e-5)


@settings(max_examples=10, deadline=None)
@given(SEEDS)
def test_the_one_step_rule_does_a_check_that_is_worth_its_price(seed: int) -> None:
    """With one check, sure repairs that nothing is opened for and dear handing over, the rule checks just when the value of
    the check exceeds its price (`sequences.value_of_check`), and the job then costs what the two come to."""

    def plain(raw: dict[str, Any]) -> None:
        _never_missed(raw)
        for work in [*raw["repair"].values(), raw["check"]["t0"]]:
            work.update(access=[])
        for repair in raw["repair"].values():
            repair.update(success=1.0)
        raw["costs"].update(refer=10_000)

    policy = random_problem(seed, faults=4, checks=1, change=plain).policy
    p, ledger = policy.problem, policy.ledger
    wrong = ~policy.sound
    like = policy.like[p.rows["t0"]][:, wrong]
    worth = value_of_check(p.class_weights[wrong], ledger.bundle_cost[0, : len(p.needed)], like)
    price = float(ledger.check_cost[0, p.check_names.index("t0")])
    saved = max(worth.value - price, 0.0)
    assert cost_of_rule(policy, one_step_rule(policy)) <= (worth.without - saved) * (1 + 1e-6)
    assert cost_of_rule(policy, one_step_rule(policy)) >= cheapest_job(policy) * (1 - 1e-5)
    first = one_step_rule(policy)(Rollout(policy).start(p.weights, 1))
    assert (int(first.move[0]) == 0) == (worth.value > price)


# ---- rollout and the advice ----------------------------------------------------------------------------------------------


@settings(max_examples=10, deadline=None)
@given(SEEDS)
def test_rollout_is_never_worse_than_its_base_nor_cheaper_than_the_optimum(seed: int) -> None:
    """Rollout at every move costs at most what the best of its base policies does, and never less than the exact plan."""
    policy = random_problem(seed, faults=3, checks=2).policy
    rollout = cost_of_rule(policy, rollout_rule(policy))
    base = min(cost_of_rule(policy, base_rule(policy, share)) for share in MANY_BIT_PRICES)
    assert rollout <= base * (1 + 1e-6)
    assert cheapest_job(policy) <= rollout * (1 + 2e-4)


@settings(max_examples=15, deadline=None)
@given(SEEDS)
def test_a_free_check_that_tells_the_fault_is_never_refused(seed: int) -> None:
    """When a check costs nothing and shows which fault it is, it is done first."""

    def add(raw: dict[str, Any]) -> None:
        faults = len(raw["component"])
        raw["check"]["oracle"] = {
            "title": "oracle",
            "outcomes": {f"fault{i}": "f" for i in range(faults)},
            "minutes": 0,
            "leak": 0.0,
            "links": {f"p{i}.bad": {f"fault{i}": 1.0} for i in range(1, faults)},
        }

    appliance = random_appliance(seed, change=add)
    move = best_move(appliance, random_problem(seed, change=add).problem.belief)
    assert (move.kind, move.name) == ("check", "oracle")


@settings(max_examples=15, deadline=None)
@given(SEEDS, st.floats(0, 30))
def test_a_check_that_tells_nothing_changes_nothing(seed: int, minutes: float) -> None:
    """A check whose outcome hardly depends on the fault is never advised, and the job costs what it did.

    One that does not depend on it at all is refused by the knowledge file.
    """

    def add(raw: dict[str, Any]) -> None:
        table = {"ok": {"no": 0.6, "yes": 0.4}, "bad": {"no": 0.6 - 1e-7, "yes": 0.4 + 1e-7}}
        raw["check"]["idle"] = {"title": "idle", "outcomes": {"no": "n", "yes": "y"}, "minutes": minutes}
        raw["check"]["idle"] |= {"depends_on": ["p0"], "table": table}

    plain, more = random_problem(seed, 5, 3), random_problem(seed, 5, 3, add)
    before = best_move(plain.problem.appliance, plain.problem.belief)
    after = best_move(more.problem.appliance, more.problem.belief)
    assert (after.kind, after.name, after.together) == (before.kind, before.name, before.together)
    assert after.expected_cost == pytest.approx(before.expected_cost, rel=1e-6)


# ---- what a failed run tells ---------------------------------------------------------------------------------------------


def _telling_run(raw: dict[str, Any]) -> None:
    """A run that fails in one way with the first fault and in another with the rest."""
    run = raw["check"]["run_test"]
    run["outcomes"] = {"good": "g", "slow": "s", "cold": "c"}
    for place, part in enumerate(run["links"]):
        run["links"][part] = {"slow": 0.95, "cold": 0.05} if place == 0 else {"slow": 0.05, "cold": 0.95}


def _by_runs(policy: Policy, shows: Any, most: int) -> float:
    """The cheapest of all plans of repairs and runs alone, tried one by one; `shows` (F, K): chances of what a failed run shows."""
    p, ledger = policy.problem, policy.ledger
    wrong = ~policy.sound
    stays = np.where(p.masks[wrong] == ledger.bundle_masks[:, None], 1.0 - ledger.bundle_success[:, None], 1.0)
    stays = np.concatenate([stays, np.ones((1, int(wrong.sum())))])
    prices = np.column_stack([ledger.bundle_cost, ledger.verify_cost[:, 0]])
    onwards = np.column_stack([ledger.bundle_next, ledger.verify_next[:, 0]])

    @cache
    def best(ran: tuple[tuple[int, int], ...], state: int) -> float:
        weights = p.class_weights[wrong]
        for u, shown in ran:
            weights = weights * stays[u] * shows[shown]
        costs = [float(weights.sum()) * p.refer_cost]
        for u in range(len(stays)) if len(ran) < most else ():
            after = int(onwards[state, u])
            onward = sum(best(tuple(sorted((*ran, (u, shown)))), after) for shown in range(len(shows)))
            costs.append(float(weights.sum()) * float(prices[state, u]) + onward)
        return min(costs)

    return best((), 0)


@settings(max_examples=12, deadline=None)
@given(SEEDS)
def test_what_a_failed_run_shows_is_reckoned_with(seed: int) -> None:
    """Slow or cold tells which fault is left: the price is that of the best plan which minds it, not of one that only hears
    that the run failed, where the two differ."""
    problem = random_problem(seed, faults=3, checks=0, change=_telling_run)
    policy = problem.policy
    shows = np.stack([policy.problem.class_mean(s)[~policy.sound] for s in policy.problem.run_fails])
    minded, failed = _by_runs(policy, shows, 8), _by_runs(policy, shows.sum(axis=0, keepdims=True), 8)
    price = best_move(policy.problem.appliance, policy.problem.belief).expected_cost
    assert minded * 0.98 <= price <= minded * 1.05
    assert price - minded <= 0.5 * (failed - minded) + 0.01 * minded
