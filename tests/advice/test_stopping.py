"""The chance that the checks left would still call for the same repairs, against writing out everything they may show."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from faultodds.advice import advise
from faultodds.advice.classes import HOPELESS, SOUND
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.situation import Situation
from faultodds.advice.stopping import same_repair_probability
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import infer
from faultodds.errors import ClashError
from faultodds.safety import unmended
from small_problems import random_problem

SEEDS = range(40)
# Every suspect takes part in the enumeration; the estimate leaves out 2 % of them, and is of so many draws.
DRAWS, NEAR = 4000, 0.1


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer")


def _problem(seed: int) -> Ranking:
    """Every other one with faults that come together, machines with nothing wrong and causes on no list."""

    def mixed(raw: dict[str, Any]) -> None:
        raw["other_causes"] = {"nothing_wrong": 25, "unlisted": 25, "companion": 0.1}
        for part in raw["component"].values():
            part["modes"]["bad"]["share"] /= 2

    return random_problem(seed, 4, 3, change=mixed if seed % 2 else None)


def _calls_for(ranking: Ranking, chances: np.ndarray[tuple[int], np.dtype[np.float64]]) -> frozenset[str]:
    """The repairs that the likeliest cause needs; nothing wrong and nothing to be done about it are told apart."""
    p = ranking.problem
    by_cause: dict[int, float] = {}
    for place, chance in zip(p.class_of.tolist(), chances.tolist(), strict=True):
        by_cause[place] = by_cause.get(place, 0.0) + chance
    mask = int(p.masks[max(by_cause, key=lambda c: by_cause[c])])
    return {SOUND: frozenset(["nothing"]), HOPELESS: frozenset(["no repair"])}.get(mask, frozenset(p.names(mask)))


def _exact(ranking: Ranking, repairs: Sequence[str] = ()) -> float:
    """The same chance with every combination of outcomes written out."""
    p = ranking.problem
    wanted = frozenset(repairs) or _calls_for(ranking, p.weights)
    same = 0.0
    for rows in itertools.product(*(range(r.start, r.stop) for r in p.rows.values())):
        joint = p.weights.copy()
        for row in rows:
            joint = joint * p.suspect_likelihood[row]
        if joint.sum() > 0:
            then = _calls_for(ranking, joint)
            same += float(joint.sum()) * (then <= wanted or wanted <= then)
    return same


def test_the_estimate_is_the_chance_written_out() -> None:
    """On random problems, for what the likeliest cause calls for and for every repair on offer."""
    worst, spread = 0.0, []
    for seed in SEEDS:
        ranking = _problem(seed)
        for repairs in [(), *ranking.problem.bundles[:2]]:
            exact = _exact(ranking, repairs)
            spread.append(exact)
            worst = max(worst, abs(same_repair_probability(ranking, repairs, DRAWS) - exact))
    print(f"largest difference from enumeration {worst:.3f}")
    assert worst < NEAR
    assert max(spread) - min(spread) > 0.5, "the problems have to differ for this to say anything"


def test_as_many_draws_as_are_used_are_near_enough_to_be_told() -> None:
    """The figure that is printed is within a few standard errors."""
    off = [same_repair_probability(r) - _exact(r) for r in map(_problem, SEEDS)]
    assert np.abs(off).max() < 4 * 0.5 / np.sqrt(100)
    assert np.sqrt(np.mean(np.square(off))) < 0.5 / np.sqrt(100) + 0.02


@pytest.mark.parametrize("seed", range(5))
def test_with_nothing_left_to_check_nothing_changes(seed: int) -> None:
    """There is nothing that could."""
    problem = _problem(seed).problem
    skipped = Situation(skipped=frozenset(problem.knowledge.check))
    assert same_repair_probability(Ranking(Problem(problem.appliance, problem.belief, skipped))) == 1.0


def test_a_call_on_which_everything_is_open_is_not_said_to_be_settled(dryer: Appliance) -> None:
    """No heat, and nothing else known: no one repair is likely, and looking would nearly always change which leads."""
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding("heat", {"none": 1.0}),)))
    ranking = Ranking(Problem(dryer, belief, Situation()))
    assert belief.fault_odds()[0].probability < 0.25
    assert same_repair_probability(ranking) < 0.5


def test_what_was_seen_and_left_is_said_before_leaving(dryer: Appliance) -> None:
    """Whatever a look showed, once something else was mended and the run passed: where the advice is to stop, it names it, and the
    work that puts it right; once that is done, it does not."""
    k, stopped = dryer.knowledge, 0
    run = k.costs.verify
    for name, check in k.check.items():
        seen = [WeighedFinding(name, {list(check.outcomes)[1]: 1.0}), WeighedFinding("igniter_ohms", {"open": 1.0})]
        left = unmended(k, ["igniter"], seen)
        if name in ("igniter_ohms", run) or not left:
            continue
        passed = WeighedFinding(run, {"dry_in_time": 1.0}, 1)
        evidence = Evidence(seen=(*seen, passed), repairs=(repair_effect(k, "igniter"),))
        try:
            advice = advise(dryer, infer(dryer.suspects, evidence))
        except ClashError:
            continue
        if advice.kind == "stop":
            stopped += 1
            assert any(f"{name}=" in note and "not put right. While you are here: " in note for note in advice.notes)
    assert stopped > 5
