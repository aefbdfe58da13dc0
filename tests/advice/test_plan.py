"""The whole plan: its sums, its order of work, what it leaves out; and what lies ahead of a step."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from exact_plans import cheapest_job
from faultodds.advice.advisor import best_move
from faultodds.advice.plan.ahead import Ahead, look_ahead, mixed
from faultodds.advice.plan.plan_answers import plan_answer
from faultodds.advice.plan.plan_words import cautions, step_words, works
from faultodds.advice.plan.tree import NODES, POOLED, Plan, PlanStep, make_plan
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance, compiled, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import Belief, infer
from faultodds.errors import FaultoddsError
from faultodds.knowledge.loading import from_mapping
from faultodds.knowledge.schema import Knowledge
from toys import raw_toy, toy

SLOW = Evidence(seen=(WeighedFinding("slow", {"yes": 1.0}),))


@pytest.fixture(scope="module")
def bench() -> Appliance:
    """The toy appliance."""
    return compiled(toy())


@pytest.fixture(scope="module")
def deep(bench: Appliance) -> Plan:
    """A deep plan of the toy, for a machine that is slow."""
    return make_plan(bench, infer(bench.suspects, SLOW), depth=4, nodes=40)


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer")


@pytest.fixture(scope="module")
def dryer_plan(dryer: Appliance) -> Plan:
    """A plan for a dryer that is called for heat and stays dark, once the free looks are done."""
    looks = {"heat": "none", "drum_warm": "cold", "glow_look": "no_glow", "hood_flap": "strong", "hand_turn": "free"}
    seen = tuple(WeighedFinding(name, {outcome: 1.0}) for name, outcome in looks.items())
    return make_plan(dryer, infer(dryer.suspects, Evidence({"control": "timer"}, seen)), nodes=20)


@pytest.fixture(params=["toy", "dryer"])
def plan(request: pytest.FixtureRequest, deep: Plan, dryer_plan: Plan) -> Plan:
    """Each of the two plans."""
    return {"toy": deep, "dryer": dryer_plan}[request.param]


def test_the_sums_add_up(plan: Plan) -> None:
    """A step's money, minutes and chance of finishing are its own plus those of its branches, weighed by their chances."""
    worked_out = [s for s in plan.first.steps() if s.branches]
    assert len(worked_out) >= 3
    for step in worked_out:
        assert math.isclose(sum(b.chance for b in step.branches), 1.0, abs_tol=1e-6)
        cost = step.cost + sum(b.chance * b.ahead.cost for b in step.branches)
        minutes = step.minutes + sum(b.chance * b.ahead.minutes for b in step.branches)
        today = sum(b.chance * b.ahead.today for b in step.branches)
        assert math.isclose(step.ahead.cost, cost, rel_tol=1e-6)
        assert math.isclose(step.ahead.minutes, minutes, rel_tol=1e-6)
        assert math.isclose(step.ahead.today, today, rel_tol=1e-6)


def test_what_was_spent_runs_along_the_path(plan: Plan) -> None:
    """Money and minutes so far are those of the steps before; the reach of a branch is the product of the chances."""
    for step in plan.first.steps():
        for branch in step.branches:
            assert math.isclose(branch.reach, step.reach * branch.chance, rel_tol=1e-9)
            if branch.then is not None:
                assert math.isclose(branch.then.spent_cost, step.spent_cost + step.cost)
                assert math.isclose(branch.then.spent_minutes, step.spent_minutes + step.minutes)
                assert branch.then.reach == branch.reach


def _walk(
    appliance: Appliance, step: PlanStep, belief: Belief, situation: Situation
) -> list[tuple[PlanStep, Belief, Situation]]:
    """Every step with what is known and how the machine stands when it comes up, worked out afresh."""
    k, found = appliance.knowledge, [(step, belief, situation)]
    evidence, there = belief.evidence, Situation(step.after)
    if step.kind == "repair":
        fixed = tuple(repair_effect(k, n) for n in (step.name, *step.together))
        evidence = replace(evidence, repairs=evidence.repairs + fixed)
    for branch in step.branches:
        if branch.then is None:
            continue
        shown = k.costs.verify if step.kind == "repair" else step.name
        seen = (
            [WeighedFinding(shown, {branch.outcomes[0]: 1.0}, stage=len(evidence.repairs))] if branch.outcomes else []
        )
        found += _walk(appliance, branch.then, infer(belief.suspects, evidence.plus(*seen)), there)
    return found


def test_every_step_is_what_the_advice_says(bench: Appliance, deep: Plan) -> None:
    """With everything found on the way there, asking anew gives the very step that the plan has."""
    steps = _walk(bench, deep.first, infer(bench.suspects, SLOW), Situation())
    assert len(steps) >= 8
    for step, belief, situation in steps:
        move = best_move(bench, belief, situation)
        assert (step.kind, step.name, step.together) == (move.kind, move.name, move.together)


def test_a_branch_has_the_chance_that_the_odds_give_it(bench: Appliance, deep: Plan) -> None:
    """A check's branches carry the chances that the fault odds give its outcomes."""
    for step, belief, _ in _walk(bench, deep.first, infer(bench.suspects, SLOW), Situation()):
        if step.kind == "check":
            odds = belief.outcome_odds(step.name)
            for branch in step.branches:
                assert math.isclose(branch.chance, sum(odds[o] for o in branch.outcomes), rel_tol=1e-9)


def _unsafe(k: Knowledge, plan: Plan) -> list[str]:
    """Work that is not allowed in the state that the plan's moves lead to; knows the safety rules and nothing else."""
    wrong = []

    def follow(step: PlanStep, state: set[str]) -> None:
        for move in step.moves:
            if any(r not in state for r in k.access[move.item].requires):
                wrong.append(f"{step.name}: {move.item} touched in {sorted(state)}")
            (state.add if move.opens else state.discard)(move.item)
        if state != set(step.after):
            wrong.append(f"{step.name}: ends in {sorted(state)}")
        last = works(k, step)[-1] if step.name else None
        if last is not None:
            wrong.extend(f"{step.name}: {i} not open" for i in last.access if i not in state)
            if last.running:
                # Energised work, for qualified people, runs with the very panel off that it works behind.
                open_for_it = set(last.access) if last.energised and last.qualified else set()
                shut = [i for i in state - open_for_it if k.access[i].blocks_running]
                wrong.extend(f"{step.name}: runs with {i}" for i in shut)
        for branch in step.branches:
            if branch.then is not None:
                follow(branch.then, set(state))

    follow(plan.first, set())
    return wrong


def test_no_step_works_on_an_unsafe_machine(bench: Appliance, dryer: Appliance, deep: Plan, dryer_plan: Plan) -> None:
    """Along every path nothing is opened or closed without what it requires, and nothing runs that must not."""
    assert any(s.moves for s in dryer_plan.first.steps())
    assert _unsafe(bench.knowledge, deep) == []
    assert _unsafe(dryer.knowledge, dryer_plan) == []


def test_a_panel_once_open_is_not_paid_for_again(dryer: Appliance) -> None:
    """After a check behind the panel, the next one there needs no moves and only its own minutes."""
    seen = (
        WeighedFinding("glow", {"no_glow": 1.0}),
        WeighedFinding("glow_look", {"no_glow": 1.0}),
        WeighedFinding("drum_warm", {"cold": 1.0}),
        WeighedFinding("hand_turn", {"free": 1.0}),
        WeighedFinding("load_questions", {"fine": 1.0}),
        WeighedFinding("hood_flap", {"strong": 1.0}),
        WeighedFinding("gas_cock_look", {"open": 1.0}),
    )
    belief = infer(dryer.suspects, Evidence({"control": "timer"}, seen))
    first = make_plan(dryer, belief, depth=1, nodes=6).first
    k, behind = dryer.knowledge, [b.then for b in first.branches if b.then is not None and b.then.kind == "check"]
    assert "front_open" in first.after and len(first.moves) >= 3
    again = [s for s in behind if s is not None and "front_open" in k.check[s.name].access]
    assert again
    for second in again:
        assert (second.moves, second.minutes) == ((), k.check[second.name].minutes)


def test_a_repair_ends_with_the_run_and_a_good_run_with_leaving(bench: Appliance) -> None:
    """Repairs are followed by the verification run's outcomes; after a good one the toy's plan is to leave."""
    belief = infer(bench.suspects, SLOW.plus(WeighedFinding("fuse_test", {"open": 1.0})))
    plan = make_plan(bench, belief, depth=2)
    first = plan.first
    assert (first.kind, first.name, first.verify) == ("repair", "new_fuse", True)
    good = next(b for b in first.branches if b.outcomes == ("good",))
    assert good.then is not None and good.then.kind == "stop"
    assert good.then.ahead.minutes == 0
    assert "then verify" in step_words(bench.knowledge, first)
    # The run is part of the step's price: 10 minutes and the way there.
    assert first.minutes >= 10 + 10


def test_a_repair_that_is_not_followed_is_priced_with_its_run(bench: Appliance) -> None:
    """At the end of the plan a repair costs what it costs in the middle: the run belongs to it either way."""
    skipped = frozenset({"listen"})
    first = make_plan(bench, infer(bench.suspects, SLOW), Situation(skipped=skipped), depth=1).first
    assert first.name == "fuse_test"
    cut = next(b.then for b in first.branches if b.outcomes == ("open",))
    assert cut is not None and cut.kind == "repair" and cut.cut
    belief = infer(bench.suspects, SLOW.plus(WeighedFinding("fuse_test", {"open": 1.0})))
    followed = make_plan(bench, belief, Situation(first.after, skipped), depth=1).first
    assert not followed.cut
    assert (cut.name, cut.minutes, cut.cost, cut.moves) == (
        followed.name,
        followed.minutes,
        followed.cost,
        followed.moves,
    )


def test_unlikely_branches_are_put_together(plan: Plan) -> None:
    """Nothing reached with less than 2 % is worked out, and at most one branch of a step is put together."""
    for step in plan.first.steps():
        assert all(b.reach >= POOLED for b in step.branches if b.then is not None)
        assert sum(b.then is None for b in step.branches) <= 1


def test_the_depth_is_the_most_findings_ahead(bench: Appliance) -> None:
    """With depth 1 the first step branches, and what follows is named but not followed."""

    def levels(step: PlanStep) -> int:
        return max((1 + (levels(b.then) if b.then else 0) for b in step.branches), default=0)

    belief = infer(bench.suspects, SLOW)
    for depth in (1, 2, 3):
        plan = make_plan(bench, belief, depth=depth, nodes=80)
        assert levels(plan.first) == depth
    one = make_plan(bench, belief, depth=1).first
    assert all(b.then.cut or b.then.kind in ("stop", "refer") for b in one.branches if b.then)


def test_the_likeliest_branches_come_first_when_decisions_are_few(bench: Appliance) -> None:
    """With few decisions allowed, every step worked out is reached at least as often as any left out."""
    belief = infer(bench.suspects, SLOW)
    small = make_plan(bench, belief, depth=5, nodes=5)
    assert 5 <= small.decisions <= 6
    done = [s.reach for s in small.first.steps() if s.branches]
    left = [b.reach / max(len(b.outcomes), 1) for s in small.first.steps() for b in s.branches if b.then is None]
    assert min(done) >= max(left) - 1e-12
    assert small.decisions < make_plan(bench, belief, depth=4, nodes=40).decisions


def test_the_same_question_gets_the_same_plan(bench: Appliance, deep: Plan) -> None:
    """Worked out twice, the plan is equal to the last bit."""
    again = make_plan(bench, infer(bench.suspects, SLOW), depth=4, nodes=40)
    assert plan_answer(bench, infer(bench.suspects, SLOW), again) == plan_answer(
        bench, infer(bench.suspects, SLOW), deep
    )


def test_progress_is_told(bench: Appliance) -> None:
    """`tick` counts every place up to the last."""
    told: list[tuple[int, int]] = []
    plan = make_plan(bench, infer(bench.suspects, SLOW), depth=2, tick=lambda done, of: told.append((done, of)))
    assert [t[0] for t in told] == sorted({t[0] for t in told})
    assert told[-1] == (plan.decisions, plan.decisions)
    assert plan.decisions <= NODES


@pytest.mark.parametrize(("depth", "nodes", "said"), [(0, 40, "--depth 0: give 1 to 8"), (3, 0, "--nodes 0: give 1 to"),
                                                      (9, 40, "--depth 9: give 1 to 8")])  # fmt: skip
def test_a_senseless_size_is_refused(bench: Appliance, depth: int, nodes: int, said: str) -> None:
    """Depth and decisions out of range are refused with what is allowed and what to type."""
    with pytest.raises(FaultoddsError, match=said) as error:
        make_plan(bench, infer(bench.suspects, SLOW), depth=depth, nodes=nodes)
    assert "Type for example" in str(error.value)


def test_cautions_of_every_step_are_there(dryer: Appliance, dryer_plan: Plan) -> None:
    """A plan that goes behind a panel shows the caution to unplug and shut the gas."""
    assert any("front_open" in s.after or "rear_open" in s.after for s in dryer_plan.first.steps())
    told = cautions(dryer.knowledge, dryer_plan)
    assert any({"power", "gas"} <= set(c.covers) for c in told)
    assert len(told) == len({c.text for c in told})


# ---- what lies ahead ----


def one_fault(success: float, **costs: Any) -> Appliance:
    """One fault, one repair that takes with a chance, a run that tells for sure: everything by hand."""
    raw = raw_toy(
        component={"fuse": {"title": "fuse", "modes": {"open": {"title": "open", "share": 100}}}},
        other_causes={"nothing_wrong": 0, "unlisted": 0, "companion": 0.0},
        mechanism={"flow": {"title": "f", "states": {"good": "g", "none": "n"}, "rule": "worst_of",
                            "causes": {"fuse.open": "none"}}},
        symptom={"slow": {"title": "slow", "outcomes": {"no": "n", "yes": "y"}, "leak": 0.1,
                          "links": {"flow.none": 0.9}}},
        check={"run_test": {"title": "run", "outcomes": {"good": "g", "bad": "b"}, "minutes": 10, "running": True,
                            "links": {"fuse.open": 1.0}}},
        repair={"new_fuse": {"title": "new fuse", "fixes": ["fuse"], "minutes": 10, "cost": 5, "access": ["panel"],
                             "success": success, **costs}},
    )  # fmt: skip
    return compiled(from_mapping(raw), 0.0)


@pytest.mark.parametrize("success", [1.0, 0.8])
def test_one_fault_by_hand(success: float) -> None:
    """Unplug and panel 11 minutes, repair 10, run 10, again until it takes: 31 minutes and a 5 part over the success."""
    appliance = one_fault(success)
    ahead = look_ahead(Problem(appliance, infer(appliance.suspects, Evidence()), Situation()))
    assert math.isclose(ahead.minutes, 31 / success, rel_tol=0.01)
    assert math.isclose(ahead.cost, 36 / success, rel_tol=0.01)
    assert math.isclose(ahead.today, 1.0, abs_tol=0.01)


def test_work_left_to_others_is_not_finished_today() -> None:
    """The same repair by somebody else: as much money, no chance of finishing today; in the plan as well."""
    appliance = one_fault(1.0, by_others=True)
    belief = infer(appliance.suspects, Evidence())
    assert look_ahead(Problem(appliance, belief, Situation())).today == 0.0
    plan = make_plan(appliance, belief, depth=2)
    assert (plan.first.name, plan.first.ahead.today) == ("new_fuse", 0.0)


def test_free_labour_still_takes_minutes() -> None:
    """Minutes do not come from money: at no labour rate they are the same."""
    appliance = one_fault(1.0)
    belief = infer(appliance.suspects, Evidence())
    paid, free = (look_ahead(Problem(appliance, belief, Situation(labour_rate=r))) for r in (60.0, 0.0))
    assert math.isclose(paid.minutes, free.minutes)
    assert free.cost < paid.cost


def one_of_three(seed: int, dearest_part: int) -> Appliance:
    """The toy with exactly one fault, never worth handing over; shares, minutes and parts at random."""
    rng = np.random.default_rng(seed)
    raw = raw_toy(other_causes={"nothing_wrong": 0, "unlisted": 0, "companion": 0.0})
    for component, share in zip(("pump", "belt", "fuse"), rng.dirichlet([2, 2, 2]).tolist(), strict=True):
        modes = raw["component"][component]["modes"]
        for mode in modes.values():
            mode["share"] = 100 * share / len(modes)
    for repair in raw["repair"].values():
        repair.update(cost=float(rng.integers(0, dearest_part + 1)), minutes=float(rng.integers(5, 60)), success=0.9)
    raw["costs"]["refer"] = 2000
    raw["appliance"]["shares_per"] = sum(m["share"] for c in raw["component"].values() for m in c["modes"].values())
    return compiled(from_mapping(raw), 0.0)


@pytest.mark.parametrize("seed", range(6))
def test_following_the_base_policy_costs_no_less_than_the_best_plan(seed: int) -> None:
    """With one fault, what lies ahead costs at least what the exact plan does, and not far more;
    nothing is handed over, so all but missed runs is finished today."""
    appliance = one_of_three(seed, 120)
    problem = Problem(appliance, infer(appliance.suspects, SLOW), Situation())
    ahead, best = look_ahead(problem), cheapest_job(Ranking(problem).policy)
    assert best * 0.995 <= ahead.cost <= best * 1.15
    assert 0.97 <= ahead.today <= 1.0


@pytest.mark.parametrize("seed", range(4))
def test_where_only_labour_costs_the_minutes_are_the_money(seed: int) -> None:
    """Without parts, minutes at the labour rate make up the money but for the callbacks after missed runs."""
    appliance = one_of_three(seed, 0)
    problem = Problem(appliance, infer(appliance.suspects, SLOW), Situation())
    ahead = look_ahead(problem)
    callbacks = (1.0 - ahead.today) * (problem.callback_cost + 60.0)
    assert math.isclose(ahead.minutes * problem.rate + callbacks, ahead.cost, rel_tol=0.02)


def test_a_mean_of_what_lies_ahead() -> None:
    """Weighed by chances, which are scaled to 1."""
    got = mixed([(0.1, Ahead(100.0, 10.0, 1.0)), (0.3, Ahead(20.0, 2.0, 0.0))])
    assert math.isclose(got.cost, 40.0) and math.isclose(got.minutes, 4.0) and math.isclose(got.today, 0.25)


def test_looking_further_changes_the_sums_little(bench: Appliance, deep: Plan) -> None:
    """What the ends of a shallow plan were taken to cost is near what a deep plan finds there."""
    shallow = make_plan(bench, infer(bench.suspects, SLOW), depth=1).first.ahead
    assert math.isclose(shallow.cost, deep.first.ahead.cost, rel_tol=0.1)
    assert math.isclose(shallow.minutes, deep.first.ahead.minutes, rel_tol=0.15)
    assert math.isclose(shallow.today, deep.first.ahead.today, abs_tol=0.1)
