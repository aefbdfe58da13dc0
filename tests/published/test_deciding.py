"""Deciding: published worked examples and rules, through the library's own exact plans and advice.

Status letters: S source text seen, D derived here and confirmed by brute force, M from memory, C computed.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from faultodds.advice import Problem, Ranking, Situation
from faultodds.advice.exact import cheapest_isolation, cheapest_job
from faultodds.appliance import compiled
from faultodds.belief import Evidence, infer
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


def _order_cost(p: np.ndarray[Any, Any], cost: np.ndarray[Any, Any], order: tuple[int, ...]) -> float:
    """Expected cost of repairing in an order until the fault is gone."""
    left, total = 1.0, 0.0
    for i in order:
        total += left * cost[i]
        left -= p[i]
    return total


def test_repair_order_for_one_fault() -> None:
    """p .40 .25 .20 .15, C 4 2 1 3: expected cost 5.25, beginning with the third.

    Rule p/C: Kadane and Simon 1977; Kalagnanam and Henrion 1988; Heckerman et al. 1995. Figures: D.
    """
    ranking = _ranking([0.40, 0.25, 0.20, 0.15], {}, {f"r{i}": _fix(i, c) for i, c in enumerate([4, 2, 1, 3])}, 1000)
    assert cheapest_job(ranking.policy) == pytest.approx(5.25)
    assert ranking.repairs[0].name == "r2"
    assert ranking.repairs[0].expected_cost == pytest.approx(5.25)


def test_the_ratio_rule_equals_brute_force() -> None:
    """On 60 random cases the exact plan costs what the best of all orders costs, and that is the p/C order. Status D."""
    rng = np.random.default_rng(1)
    for _ in range(60):
        p = 0.9 * rng.dirichlet(np.ones(4)) + 0.025  # the ranking leaves out what is less likely than 0.001
        cost = rng.uniform(1, 10, 4)
        best = min(_order_cost(p, cost, o) for o in itertools.permutations(range(4)))
        by_ratio = _order_cost(p, cost, tuple(np.argsort(-p / cost).tolist()))
        assert by_ratio == pytest.approx(best)
        ranking = _ranking(p.tolist(), {}, {f"r{i}": _fix(i, c) for i, c in enumerate(cost.tolist())}, 1000)
        assert cheapest_job(ranking.policy) == pytest.approx(best)


def test_with_a_call_service_action_every_prefix_is_scanned() -> None:
    """p .35 .25 .15 .10 .05 (and .10 that only service mends), C 2..6, service 12: best 8.55. Status D.

    Prefix costs 12 9.8 8.75 8.55 8.6 8.9; the sixth fault has no repair here.
    """
    p, cost, service = [0.35, 0.25, 0.15, 0.10, 0.05], [2.0, 3.0, 4.0, 5.0, 6.0], 12.0
    prefixes = [service]
    for n in range(1, 6):
        left = 1.0 - sum(p[:n])
        prefixes.append(sum((1.0 - sum(p[:i])) * cost[i] for i in range(n)) + left * service)
    assert prefixes == pytest.approx([12, 9.8, 8.75, 8.55, 8.6, 8.9])
    repairs = {f"r{i}": _fix(i, c) for i, c in enumerate(cost)}
    repairs["r5"] = _fix(5, 10_000.0)
    ranking = _ranking([*p, 0.10], {}, repairs, service)
    assert cheapest_job(ranking.policy) == pytest.approx(8.55)


SIGNATURES = ["00000", "01001", "00110", "10011", "11000", "11110"]
PRIORS = [0.70, 0.01, 0.02, 0.10, 0.05, 0.12]


def test_optimal_test_sequence() -> None:
    """Six faults, five tests, unit costs: 2.18 tests on average, beginning with t2 or t4.

    Pattipati and Alexandridis 1990, IEEE SMC 20(4) (2.18 as published; the figures by first test: D).
    """
    bits = np.array([[int(c) for c in s] for s in SIGNATURES], dtype=float)
    like = [np.stack([1.0 - bits[:, t], bits[:, t]]) for t in range(5)]
    best, by_first = cheapest_isolation(PRIORS, like, [1.0] * 5)
    assert best == pytest.approx(2.18)
    assert by_first == pytest.approx([2.86, 2.18, 2.82, 2.18, 2.89])


def test_value_of_a_check() -> None:
    """Faults a/b/c .5/.3/.2, repairs 60/90/180, a check at 8 with P(positive) .95/.10/.20: check first. Status D.

    Without it 141; with it 129.95 (121.95 after a free answer); perfect information saves 48.
    """
    links = {"p0.bad": 0.95, "p1.bad": 0.10, "p2.bad": 0.20}
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
