"""Questions as moves: what an answer is worth, when one is asked, and what an answer becomes."""

from __future__ import annotations

import numpy as np
import pytest

from faultodds.advice.advisor import advise, best_move
from faultodds.advice.plan.tree import make_plan
from faultodds.advice.problem import Problem
from faultodds.advice.questions import (
    STRAYS,
    answer_odds,
    answered,
    best_questions,
    open_questions,
    priced_questions,
    question_of,
)
from faultodds.advice.ranking import Ranking
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import Belief, infer
from faultodds.errors import ClashError
from random_evidence import random_evidence

ASKING = Situation(asking=True)


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    return open_appliance("gas_dryer", revision="file")


def _believed(dryer: Appliance, seed: int) -> Belief:
    """A random call before any repair."""
    rng = np.random.default_rng(seed)
    while True:
        drawn = random_evidence(dryer, rng)
        try:
            return infer(dryer.suspects, Evidence(drawn.facts, tuple(s for s in drawn.seen if s.stage == 0)[:4]))
        except ClashError:
            continue


@pytest.mark.parametrize("seed", range(30))
def test_beliefs_after_the_answers_mix_to_the_belief_before(dryer: Appliance, seed: int) -> None:
    """Weighed by the chances of the answers, for every question. What the machine cannot have both of, a dial timer and a board,
    is all that may be missing."""
    belief = _believed(dryer, seed)
    for question in open_questions(dryer.knowledge, belief.evidence):
        mixed, total = np.zeros_like(belief.now), 0.0
        for answer, chance in answer_odds(belief, question).items():
            if chance > 1e-12:
                mixed += chance * answered(belief, question, answer).now
                total += chance
        assert total == pytest.approx(1.0)
        lacks = question.kind == "fact" and any(dryer.suspects.lacks.get(question.name, {}).values())
        assert np.abs(mixed - belief.now).sum() < (0.05 if lacks else 1e-9), question.name


def test_an_answer_costs_no_more_than_asking(dryer: Appliance) -> None:
    """Knowing more does not make the job dearer but for the half minute. The prices are rough: one in twenty may be out by the
    share of the job's price that a question has to save, none by four times that."""
    lost = []
    for seed in range(12):
        ranking = Ranking(Problem(dryer, _believed(dryer, seed), ASKING))
        paid = dryer.knowledge.costs.ask_minutes * ranking.problem.rate
        cost = min(c.expected_cost for c in ranking.checks)
        lost += [-(q.worth + paid) / cost for q in priced_questions(ranking, above=-1.0)]
    assert np.quantile(lost, 0.95) < STRAYS
    assert max(lost) < 4 * STRAYS


@pytest.mark.parametrize("seed", range(10))
def test_a_question_is_advised_only_where_it_saves(dryer: Appliance, seed: int) -> None:
    belief = _believed(dryer, seed)
    move = best_move(dryer, belief, ASKING)
    if move.kind == "ask":
        worth = {q.question.name: q.worth for q in priced_questions(Ranking(Problem(dryer, belief, ASKING)))}
        assert worth.get(move.name, 0) > 0 or any(move.name in r.needs for r in dryer.knowledge.repair.values())
        assert move.expected_cost <= best_move(dryer, belief).expected_cost


def test_a_question_that_changes_what_can_be_done_is_worth_asking(dryer: Appliance) -> None:
    """No heat and nothing known of the machine: dial or board comes first, and is worth more than a question that nothing hangs
    on (which coils)."""
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding("heat", {"none": 1.0}),)))
    advice = advise(dryer, belief, ASKING)
    assert (advice.kind, advice.name) == ("ask", "control")
    names = [q.question.name for q in advice.questions]
    assert "coil_layout" not in names
    assert advice.questions == sorted(advice.questions, key=lambda q: -q.worth)
    assert "worth about $" in advice.why


def test_what_is_as_good_as_found_is_put_right_before_anything_is_asked(dryer: Appliance) -> None:
    """An igniter that reads open is renewed; the air at the hood can be asked about later."""
    seen = (WeighedFinding("heat", {"none": 1.0}), WeighedFinding("igniter_ohms", {"open": 1.0}))
    move = best_move(dryer, infer(dryer.suspects, Evidence({}, seen)), ASKING)
    assert (move.kind, move.name) == ("repair", "igniter")


def test_nobody_is_asked_twice_nor_about_a_machine_that_was_changed(dryer: Appliance) -> None:
    """What is told, skipped, or needs a running machine is not asked; nothing is after a repair, or where nobody can answer."""
    seen = (WeighedFinding("heat", {"none": 1.0}),)
    belief = infer(dryer.suspects, Evidence({"control": "board"}, seen))
    names = {q.name for q in open_questions(dryer.knowledge, belief.evidence, {"weak_puff"})}
    assert names.isdisjoint({"heat", "control", "weak_puff", "glow", "flame_colour"})
    assert {"drum_still", "auto_dry", "onset", "code_sensor"} <= names
    watched = infer(dryer.suspects, Evidence({}, (*seen, WeighedFinding("burner_watch", {"no_glow": 1.0}))))
    assert "drum_still" not in {q.name for q in open_questions(dryer.knowledge, watched.evidence)}
    mended = Evidence({"control": "board"}, seen, (repair_effect(dryer.knowledge, "igniter"),))
    assert open_questions(dryer.knowledge, mended) == []
    assert advise(dryer, belief).questions == []


@pytest.mark.parametrize("seed", range(20))
def test_no_repair_of_a_part_that_the_machine_may_not_have(dryer: Appliance, seed: int) -> None:
    """Where somebody can answer, what a repair needs is asked before it is advised."""
    belief = _believed(dryer, seed)
    move = best_move(dryer, belief, ASKING)
    problem = Problem(dryer, belief, ASKING)
    assert move.kind != "repair" or not [f for n in (move.name, *move.together) for f in problem.untold(n)]


def test_a_plan_begins_with_its_question_and_asks_no_more(dryer: Appliance) -> None:
    """Each answer is a branch, the facts told on it; the sums of the tree add up."""
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding("heat", {"none": 1.0}),)))
    plan = make_plan(dryer, belief, ASKING, depth=1, nodes=8)
    first = plan.first
    assert first.kind == "ask"
    assert {o for b in first.branches for o in b.outcomes} == set(question_of(dryer.knowledge, first.name).answers)
    below = [s for b in first.branches if b.then for s in b.then.steps()]
    assert below and all(s.kind != "ask" for s in below)
    assert first.ahead.cost == pytest.approx(first.cost + sum(b.chance * b.ahead.cost for b in first.branches))


def test_questions_for_the_telephone_do_not_tell_the_same_twice(dryer: Appliance) -> None:
    """The first is worth most; each one after it tells something that those before it do not."""
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding("dry_time", {"longer": 1.0}),)))
    asked = best_questions(dryer, belief, Situation(), 3)
    assert len(asked) == 3
    assert asked[0].worth == max(q.worth for q in asked)
    assert len({q.question.name for q in asked}) == 3


def test_of_a_dead_machine_nobody_is_asked_how_it_runs(dryer: Appliance) -> None:
    """What can be told only of a machine that turns is asked of one that does nothing by nobody."""
    running = {"heat", "weak_puff", "noise", "drum_still", "cabinet_hot", "clothes", "dry_time", "stops_midway"}
    asked = {q.name for q in open_questions(dryer.knowledge, Evidence())}
    dead = {
        q.name for q in open_questions(dryer.knowledge, Evidence({}, (WeighedFinding("does_nothing", {"yes": 1.0}),)))
    }
    alive = {
        q.name for q in open_questions(dryer.knowledge, Evidence({}, (WeighedFinding("does_nothing", {"no": 1.0}),)))
    }
    assert running <= asked
    assert not running & dead
    assert running <= alive
    assert {"burning_smell", "control"} <= dead


def test_a_check_that_a_customer_can_answer_is_asked_on_the_telephone_only(dryer: Appliance) -> None:
    """Whether the cooker burns is known at home; at the machine it is a check like any other. An answer is its finding."""
    belief = infer(dryer.suspects, Evidence({"control": "timer"}, (WeighedFinding("heat", {"none": 1.0}),)))
    best = best_questions(dryer, belief, ASKING, 20)
    found = next(q for q in best if q.question.name == "other_appliances")
    assert found.question.kind == "check" and found.worth > 0
    assert "other_appliances" not in [q.name for q in open_questions(dryer.knowledge, belief.evidence)]
    dead = answered(belief, found.question, "dead")
    assert dead.evidence.seen[-1] == WeighedFinding("other_appliances", {"dead": 1.0})
    assert not [q for q in open_questions(dryer.knowledge, dead.evidence, telephone=True) if q.kind == "check"]


def test_what_is_asked_on_the_telephone_opens_and_runs_nothing(dryer: Appliance) -> None:
    """A customer is asked what they have seen, never to open, touch or start something: no check that is asked needs it."""
    asked = {n: c for n, c in dryer.knowledge.check.items() if c.ask}
    assert asked
    for name, check in asked.items():
        assert not (check.access or check.access_by or check.running or check.energised or check.gas_work), name
        assert not (check.qualified or check.tools or check.needs), name
