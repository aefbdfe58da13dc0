"""Deciding: published worked examples and rules, through the library's own exact plans, advice and short rules.

Status letters: S source text seen, D derived here and confirmed by brute force, M from memory, C computed.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from exact_plans import cheapest_isolation, cheapest_job
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import compiled
from faultodds.belief.evidence import Evidence, WeighedFinding
from faultodds.belief.posterior import infer
from faultodds.errors import FaultoddsError
from faultodds.textbook.sequences import (
    cost_in_order,
    dependent_order,
    dependent_order_greedy,
    inspection_cost,
    inspection_order,
    isolation_by_information,
    repair_order,
    sequential_limits,
    value_of_check,
    with_service,
)
from toys import toy


def _ranking(priors: list[float], checks: dict[str, Any], repairs: dict[str, Any], refer: float) -> Ranking:
    """A problem with one fault at a time, labour at 60 an hour (a minute costs 1), and a free verification run."""
    parts = {
        f"p{i}": {"title": "part", "modes": {"bad": {"title": "bad", "share": 100 * p}}} for i, p in enumerate(priors)
    }
    run = {
        "title": "run",
        "outcomes": {"good": "good", "bad": "bad"},
        "minutes": 0.0,
        "running": True,
        "leak": 0.0,
        "links": {f"p{i}.bad": 1.0 for i in range(len(priors))},
    }
    knowledge = toy(
        appliance={"id": "toy", "title": "Toy", "format": 1, "calls": "toy", "shares_per": 100 * sum(priors)},
        costs={"labour_rate": 60, "callback": 1000, "refer": refer, "verify": "run_test"},
        other_causes={"nothing_wrong": 0, "unlisted": 0, "companion": 0.0},
        component=parts,
        mechanism={"m": {"title": "m", "states": {"a": "a", "b": "b"}, "rule": "worst_of", "causes": {"p0.bad": "b"}}},
        symptom={"s": {"title": "s", "outcomes": {"no": "n", "yes": "y"}, "leak": 0.1, "links": {"m.b": 0.5}}},
        check={**checks, "run_test": run},
        repair=repairs,
    )
    appliance = compiled(knowledge)
    return Ranking(Problem(appliance, infer(appliance.suspects, Evidence()), Situation()))


def _fix(i: int, cost: float) -> dict[str, Any]:
    return {"title": f"fix {i}", "fixes": [f"p{i}"], "minutes": 0.0, "cost": cost, "success": 1.0}


def _order_cost(p: list[float], cost: list[float], order: tuple[int, ...]) -> float:
    """Expected cost of repairing in an order until the fault is gone: outcome by outcome, on purpose not as the library does."""
    return sum(p[fault] * sum(cost[i] for i in order[: order.index(fault) + 1]) for fault in order)


def _random_faults(rng: np.random.Generator, count: int) -> tuple[list[float], list[float]]:
    """Chances that sum to 1 (none so small that the ranking leaves it out) and costs."""
    return (0.9 * rng.dirichlet(np.ones(count)) + 0.1 / count).tolist(), rng.uniform(1, 10, count).tolist()


# ---- repair order, one fault ---------------------------------------------------------------------------------------------


def test_repair_order_for_one_fault() -> None:
    """p .40 .25 .20 .15, C 4 2 1 3: order 3, 2, 1, 4 at an expected cost of 5.25; the advice begins with the third too.

    Rule p/C: Kadane and Simon 1977; Kalagnanam and Henrion 1988; Heckerman et al. 1995. Figures: D.
    """
    p, cost = [0.40, 0.25, 0.20, 0.15], [4.0, 2.0, 1.0, 3.0]
    plan = repair_order(p, cost)
    assert plan.order == (2, 1, 0, 3)
    assert plan.cost == pytest.approx(5.25)
    ranking = _ranking(p, {}, {f"r{i}": _fix(i, c) for i, c in enumerate(cost)}, 1000)
    assert cheapest_job(ranking.policy) == pytest.approx(5.25)
    assert ranking.repairs[0].name == "r2"
    assert ranking.repairs[0].expected_cost == pytest.approx(5.25)


def test_the_ratio_rule_equals_brute_force() -> None:
    """On 300 random cases the p/C order costs what the best of all orders costs, and the exact planner finds no cheaper job.

    Rule as above; status D.
    """
    rng = np.random.default_rng(1)
    for case in range(300):
        p, cost = _random_faults(rng, 2 + case % 4)
        best = min(_order_cost(p, cost, o) for o in itertools.permutations(range(len(p))))
        plan = repair_order(p, cost)
        assert plan.cost == pytest.approx(best)
        assert _order_cost(p, cost, plan.order) == pytest.approx(best)
        if len(p) <= 4:
            ranking = _ranking(p, {}, {f"r{i}": _fix(i, c) for i, c in enumerate(cost)}, 1000)
            assert cheapest_job(ranking.policy) == pytest.approx(best)


# ---- look, then repair what is bad ---------------------------------------------------------------------------------------


INSPECT = ([0.5, 0.3, 0.2], [2.0, 1.0, 4.0], [20.0, 50.0, 10.0])


def test_inspect_then_repair() -> None:
    """p .5 .3 .2, looks 2 1 4, repairs 20 50 10: order 2, 1, 3 at 30.2, whatever the repairs cost.

    Heckerman, Breese and Rommelse 1995; figures D.
    """
    p, look, repair = INSPECT
    plan = inspection_order(p, look, repair)
    assert plan.order == (1, 0, 2)
    assert plan.cost == pytest.approx(30.2)
    assert inspection_order(p, look, [1.0, 1.0, 900.0]).order == plan.order
    orders = {o: inspection_cost(p, look, repair, o) for o in itertools.permutations(range(3))}
    assert min(orders, key=lambda o: orders[o]) == plan.order


def test_the_exact_planner_saves_the_last_look() -> None:
    """With the same looks as checks the planner pays 29.4: 30.2 less the last look (.2 x 4), which can only say bad. Status D."""
    p, look, repair = INSPECT
    checks = {
        f"look{i}": {"title": "l", "outcomes": {"fine": "f", "bad": "b"}, "minutes": c, "leak": 0.0,
                     "links": {f"p{i}.bad": 1.0}}
        for i, c in enumerate(look)
    }  # fmt: skip
    ranking = _ranking(p, checks, {f"r{i}": _fix(i, c) for i, c in enumerate(repair)}, 1000)
    assert cheapest_job(ranking.policy) == pytest.approx(30.2 - 0.2 * 4)
    assert ranking.checks[0].name == "look1"


# ---- with a call for service ---------------------------------------------------------------------------------------------


def test_with_a_call_service_action_every_prefix_is_scanned() -> None:
    """p .35 .25 .15 .10 .05 (and .10 that only service mends), C 2..6, service 12: best 8.55, after three. Status D.

    Prefix costs 12 9.8 8.75 8.55 8.6 8.9; the sixth fault has no repair here. Setting: Heckerman et al. 1995.
    """
    p, cost, service = [0.35, 0.25, 0.15, 0.10, 0.05], [2.0, 3.0, 4.0, 5.0, 6.0], 12.0
    plan = with_service(p, cost, service)
    assert plan.by_prefix == pytest.approx((12, 9.8, 8.75, 8.55, 8.6, 8.9))
    assert plan.order == (0, 1, 2)
    assert plan.cost == pytest.approx(8.55)
    repairs = {f"r{i}": _fix(i, c) for i, c in enumerate(cost)}
    repairs["r5"] = _fix(5, 10_000.0)
    ranking = _ranking([*p, 0.10], {}, repairs, service)
    assert cheapest_job(ranking.policy) == pytest.approx(8.55)


def test_the_first_repair_that_does_not_pay_is_not_always_the_stop() -> None:
    """Chances .10 and .80 at 1.05 and 8.50, service 10: calling at once 10, after one repair 10.05, after both 9.70. Status D."""
    plan = with_service([0.10, 0.80], [1.05, 8.50], 10.0)
    assert plan.by_prefix == pytest.approx((10, 10.05, 9.70))
    assert plan.order == (0, 1)


def test_prefixes_of_the_ratio_order_are_enough() -> None:
    """On 300 random cases no set of repairs, in any order, before the call is cheaper than the best prefix. Status D."""
    rng = np.random.default_rng(2)
    for _ in range(300):
        p, cost = _random_faults(rng, 5)
        listed, service = [0.9 * x for x in p[:4]], float(rng.uniform(3, 15))
        best = min(
            cost_in_order(listed, cost[:4], order) + (1.0 - sum(listed[i] for i in order)) * service
            for n in range(5)
            for order in itertools.permutations(range(4), n)
        )
        assert with_service(listed, cost[:4], service).cost == pytest.approx(best)


# ---- dependent actions ---------------------------------------------------------------------------------------------------


def test_dependent_actions() -> None:
    """P .20 .25 .40 .15; A1 {1,2}, A2 {2,3}, A3 {3,4}, unit costs: greedy 1.50, best 1.45 by A3, A1.

    Jensen and others 2001; figures M, confirmed by trying every order (D).
    """
    p, fixes, cost = [0.20, 0.25, 0.40, 0.15], [(0, 1), (1, 2), (2, 3)], [1.0, 1.0, 1.0]
    greedy, best = dependent_order_greedy(p, fixes, cost), dependent_order(p, fixes, cost)
    assert greedy.order[0] == 1
    assert greedy.cost == pytest.approx(1.50)
    assert best.order == (2, 0)
    assert best.cost == pytest.approx(1.45)


def test_dependent_actions_equal_brute_force() -> None:
    """On 200 random cases the exact order costs what the best of all orders costs; greedy is never cheaper, at times dearer.

    Where each action has a fault of its own, both are the p/C order. Status D.
    """
    rng, dearer = np.random.default_rng(3), 0
    for _ in range(200):
        p, cost = _random_faults(rng, 5)
        fixes = [tuple(np.flatnonzero(row).tolist()) for row in rng.random((4, 5)) < 0.4]
        fixes.append(tuple(k for k in range(5) if not any(k in f for f in fixes)) or (0,))
        best = min(_dependent_cost(p, fixes, cost, o) for o in itertools.permutations(range(5)))
        assert dependent_order(p, fixes, cost).cost == pytest.approx(best)
        greedy = dependent_order_greedy(p, fixes, cost)
        assert greedy.cost >= best - 1e-9
        dearer += greedy.cost > best + 1e-9
        own = [(k,) for k in range(5)]
        assert dependent_order(p, own, cost).cost == pytest.approx(repair_order(p, cost).cost)
        assert dependent_order_greedy(p, own, cost).order == repair_order(p, cost).order
    assert dearer > 0


def _dependent_cost(p: list[float], fixes: list[tuple[int, ...]], cost: list[float], order: tuple[int, ...]) -> float:
    """Outcome by outcome: what is paid until the action that puts this fault right."""
    return sum(
        chance * sum(cost[a] for a in order[: next(i for i, a in enumerate(order) if k in fixes[a]) + 1])
        for k, chance in enumerate(p)
    )


# ---- isolation -----------------------------------------------------------------------------------------------------------


SIGNATURES = ["00000", "01001", "00110", "10011", "11000", "11110"]
PRIORS = [0.70, 0.01, 0.02, 0.10, 0.05, 0.12]


def _signature_checks() -> list[np.ndarray[Any, Any]]:
    bits = np.array([[int(c) for c in s] for s in SIGNATURES], dtype=float)
    return [np.stack([1.0 - bits[:, t], bits[:, t]]) for t in range(5)]


def test_optimal_test_sequence() -> None:
    """Six faults, five tests, unit costs: 2.18 tests on average, beginning with t2 or t4.

    Pattipati and Alexandridis 1990, IEEE SMC 20(4) (2.18 as published; the figures by first test: D).
    """
    best, by_first = cheapest_isolation(PRIORS, _signature_checks(), [1.0] * 5)
    assert best == pytest.approx(2.18)
    assert by_first == pytest.approx([2.86, 2.18, 2.82, 2.18, 2.89])


def test_information_gain_takes_more_tests() -> None:
    """On the same six faults the test with the most information first takes 2.86 tests; their entropy is 1.4548734 bit.

    Setting: Pattipati and Alexandridis 1990; figures D.
    """
    assert isolation_by_information(PRIORS, _signature_checks(), [1.0] * 5) == pytest.approx(2.86)
    ranking = _ranking(PRIORS, {}, {f"r{i}": _fix(i, 1.0) for i in range(6)}, 1000)
    missing = ranking.policy.missing_bits(ranking.problem.class_weights[None])
    assert missing[0] == pytest.approx(1.4548734, abs=1e-6)


# ---- the value of one check ----------------------------------------------------------------------------------------------


def test_value_of_a_check() -> None:
    """Faults a/b/c .5/.3/.2, repairs 60/90/180, a check at 8 with P(positive) .95/.10/.20: check first. Status D.

    Without it 141; P(positive) .545; 121.95 after a free answer, so it is worth 19.05, and 129.95 with its price; perfect
    information saves 48. The short rule, the exact planner and the ranking agree.
    """
    positive = np.array([0.95, 0.10, 0.20])
    worth = value_of_check([0.5, 0.3, 0.2], [60.0, 90.0, 180.0], np.stack([1.0 - positive, positive]))
    assert worth.without == pytest.approx(141)
    assert worth.chances[1] == pytest.approx(0.545)
    assert worth.after == pytest.approx(121.95)
    assert worth.value == pytest.approx(19.05)
    assert worth.perfect == pytest.approx(48)
    links = {f"p{i}.bad": chance for i, chance in enumerate(positive.tolist())}
    check = {"title": "c", "outcomes": {"no": "n", "yes": "y"}, "minutes": 8.0, "leak": 0.0, "links": links}
    repairs = {f"r{i}": _fix(i, c) for i, c in enumerate([60.0, 90.0, 180.0])}
    without = _ranking([0.5, 0.3, 0.2], {}, repairs, 10_000)
    assert cheapest_job(without.policy) == pytest.approx(141)
    ranking = _ranking([0.5, 0.3, 0.2], {"c": check}, repairs, 10_000)
    assert cheapest_job(ranking.policy) == pytest.approx(129.95)
    assert without.repairs[0].expected_cost - without.full_information_cost == pytest.approx(48)
    assert ranking.checks[0].name == "c"
    assert ranking.checks[0].outcomes["yes"] == pytest.approx(0.545)
    assert ranking.checks[0].expected_cost == pytest.approx(129.95)


@pytest.mark.parametrize(("price", "kind"), [(18.0, "check"), (20.0, "repair")])
def test_a_check_pays_up_to_its_value_and_no_further(price: float, kind: str) -> None:
    """The check worth 19.05 is first at a price of 18 and not at 20. Status D."""
    links = {"p0.bad": 0.95, "p1.bad": 0.10, "p2.bad": 0.20}
    check = {"title": "c", "outcomes": {"no": "n", "yes": "y"}, "minutes": price, "leak": 0.0, "links": links}
    repairs = {f"r{i}": _fix(i, c) for i, c in enumerate([60.0, 90.0, 180.0])}
    ranking = _ranking([0.5, 0.3, 0.2], {"c": check}, repairs, 10_000)
    first = "check" if ranking.checks[0].expected_cost < ranking.repairs[0].expected_cost else "repair"
    assert first == kind
    assert cheapest_job(ranking.policy) == pytest.approx(min(141.0, 121.95 + price))


# ---- how much evidence is enough -----------------------------------------------------------------------------------------


def test_sequential_test_limits() -> None:
    """False alarms .05, misses .10: say bad from a likelihood ratio of 18 up, good from .10526316 down. Wald 1945; status C."""
    assert sequential_limits(0.05, 0.10) == pytest.approx((18.0, 0.10526316))


@pytest.mark.parametrize(("good", "bad"), [(0.3, 0.6), (0.1, 0.2), (0.45, 0.55)])
def test_the_limits_keep_both_error_rates(good: float, bad: float) -> None:
    """Readings that are off with chance `good` or `bad`, followed to every end: both error rates keep what Wald proved.

    False alarms are at most alpha / (1 - beta), misses at most beta / (1 - alpha), both together at most alpha + beta. Wald
    1945, status D. The findings are weighed by the library's own belief.
    """
    alpha, beta = 0.05, 0.10
    upper, lower = np.log(sequential_limits(alpha, beta))
    off, fine = _log_ratio(good, bad, "off"), _log_ratio(good, bad, "fine")
    alarm = _chance_of_saying_bad(good, off, fine, lower, upper)
    miss = 1.0 - _chance_of_saying_bad(bad, off, fine, lower, upper)
    assert 0 < alarm <= alpha / (1 - beta)
    assert 0 < miss <= beta / (1 - alpha)
    assert alarm + miss <= alpha + beta


def _log_ratio(good: float, bad: float, outcome: str) -> float:
    """What one reading says for p1 (bad) against p0 (good): the change of log odds in the library's belief."""
    links = {"p0.bad": good, "p1.bad": bad}
    check = {"title": "c", "outcomes": {"fine": "f", "off": "o"}, "minutes": 1.0, "leak": 0.0, "links": links}
    s = _ranking([0.5, 0.5], {"c": check}, {f"r{i}": _fix(i, 1.0) for i in range(2)}, 1000).problem.belief.suspects
    odds = {o.name: o.probability for o in infer(s, Evidence().plus(WeighedFinding("c", {outcome: 1.0}))).fault_odds()}
    return float(np.log(odds["p1.bad"] / odds["p0.bad"]))


def _chance_of_saying_bad(chance: float, off: float, fine: float, lower: float, upper: float) -> float:
    """Chance that the sum of log ratios leaves through the top when each reading is off with `chance`; every path is followed."""
    alive, bad = {0: 1.0}, 0.0  # readings off so far -> chance
    for n in range(1, 3000):
        after: dict[int, float] = {}
        for k, weight in alive.items():
            for more, p in ((1, chance), (0, 1.0 - chance)):
                total = (k + more) * off + (n - k - more) * fine
                if total >= upper:
                    bad += weight * p
                elif total > lower:
                    after[k + more] = after.get(k + more, 0.0) + weight * p
        alive = {k: w for k, w in after.items() if w > 1e-12}
        if not alive:
            break
    return bad


# ---- what the short rules refuse -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: repair_order([0.5, 0.5], [1.0]), "2 chances and 1 costs: one of each"),
        (lambda: repair_order([0.7, 0.7], [1.0, 1.0]), "together they may not exceed 1"),
        (lambda: repair_order([0.5, 0.5], [1.0, 0.0]), "every one must be above 0"),
        (lambda: with_service([0.5], [1.0], 0.0), "the price of a service call is 0"),
        (lambda: dependent_order([0.5, 0.5], [(0,)], [1.0]), "no action puts right fault 1"),
        (lambda: dependent_order([0.5, 0.5], [(0, 1, 2)], [1.0]), "faults are numbered 0 to 1"),
        (lambda: dependent_order([1.0], [(0,)] * 17, [1.0] * 17), "17 actions are too many"),
        (lambda: value_of_check([0.5, 0.5], [1.0, 1.0], np.full((2, 2), 0.7)), "every column must sum to 1"),
        (lambda: value_of_check([0.5, 0.3], [1.0, 1.0], np.full((2, 2), 0.5)), "add up to 0.8"),
        (lambda: isolation_by_information([0.5, 0.5], [np.array([[1.0, 1.0], [0.0, 0.0]])], [1.0]), "no check tells"),
        (lambda: sequential_limits(0.6, 0.5), "both together under 1"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(ask: Callable[[], object], words: str) -> None:
    """Wrong sizes, chances, prices and error rates raise an error that says what was found and what is allowed."""
    with pytest.raises(FaultoddsError, match=re.escape(words)):
        ask()
