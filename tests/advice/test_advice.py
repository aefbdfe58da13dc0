"""Advice on toys and on the shipped dryer."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.advice.advisor import advise, best_move, rather
from faultodds.advice.doing import action
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance, compiled, open_appliance
from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding, repair_effect
from faultodds.belief.posterior import infer
from faultodds.knowledge.loading import from_mapping
from toys import raw_toy

AIRFLOW = {
    "over_back_look",
    "lint_screen_look",
    "hood_flap",
    "hood_air_speed",
    "transition_look",
    "duct_off_run",
    "static_pressure",
}


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer")


def _belief(appliance: Appliance, *seen: tuple[str, str], facts: dict[str, str] | None = None):  # type: ignore[no-untyped-def]
    return infer(appliance.suspects, Evidence(facts or {}, tuple(WeighedFinding(n, {o: 1.0}) for n, o in seen)))


@pytest.mark.parametrize("facts", [{}, {"control": "timer"}, {"control": "board"}, {"vent_material": "foil"}])
def test_a_bare_long_dry_time_starts_with_the_air(dryer: Appliance, facts: dict[str, str]) -> None:
    """The first advice for a long dry time is an airflow check, and no cycling-thermostat check is near the top
    (common practice, no source)."""
    advice = advise(dryer, _belief(dryer, ("dry_time", "longer"), facts=facts))
    assert (advice.kind, advice.name in AIRFLOW) == ("check", True), advice.name
    order = [c.name for c in advice.checks]
    if "cycling_continuity" in order:
        thermostat = min(order.index("cycling_continuity"), order.index("cycling_bench_heat"))
        assert min(order.index(a) for a in AIRFLOW) < thermostat
        assert order.index("coil_ohms") < thermostat or order.index("burner_watch") < thermostat
        assert order.index("igniter_ohms") < thermostat or order.index("burner_watch") < thermostat


def test_when_the_fault_is_plain_it_says_repair(dryer: Appliance) -> None:
    """Lights, then glows without flame: the coil set, and no further check."""
    belief = _belief(dryer, ("heat", "cools_off"), ("burner_watch", "lights_then_fails"), facts={"control": "timer"})
    advice = advise(dryer, belief)
    assert (advice.kind, advice.name) == ("repair", "coil_set")
    assert "It is as good as certain to be the gas valve coils" in advice.why


def test_after_a_repair_the_machine_runs_before_anything_else(dryer: Appliance) -> None:
    """A repair is followed by the verification run; a good run by leaving."""
    seen = (WeighedFinding("heat", {"cools_off": 1.0}), WeighedFinding("burner_watch", {"lights_then_fails": 1.0}))
    coils = RepairEffect("coil_set", ("coils.drop_out_hot", "coils.open"), 0.98)
    advice = advise(dryer, infer(dryer.suspects, Evidence({"control": "timer"}, seen, (coils,))))
    assert (advice.kind, advice.name) == ("check", "verification_run")
    good = WeighedFinding("verification_run", {"dry_in_time": 1.0}, stage=1)
    advice = advise(dryer, infer(dryer.suspects, Evidence({"control": "timer"}, (*seen, good), (coils,))))
    assert advice.kind == "stop"
    assert "has passed its run" in advice.why


def test_leaving_is_never_advised_before_a_good_run(dryer: Appliance) -> None:
    """Without a verification run the advice is never to stop, whatever has been seen."""
    advice = advise(dryer, _belief(dryer, ("lint_screen_look", "clean"), ("hood_air_speed", "good")))
    assert advice.kind != "stop"


def test_qualified_work_can_be_switched_off(dryer: Appliance) -> None:
    """A shop without qualified people is offered no energised or gas-pressure work."""
    belief = _belief(dryer, ("heat", "none"), facts={"control": "timer"})
    offered = {c.name for c in advise(dryer, belief, Situation(qualified=False)).checks}
    assert offered and not any(dryer.knowledge.check[c].qualified for c in offered)


def test_a_skipped_check_is_not_offered(dryer: Appliance) -> None:
    """What cannot be done now is left out, and the next best comes up."""
    belief = _belief(dryer, ("dry_time", "longer"))
    first = advise(dryer, belief).name
    advice = advise(dryer, belief, Situation(skipped=frozenset({first})))
    assert first not in {c.name for c in advice.checks}
    assert advice.name != first


def test_equipment_the_machine_lacks_is_not_checked(dryer: Appliance) -> None:
    """A timer machine is offered no thermistor check; an untold one is asked."""
    timer = advise(dryer, _belief(dryer, ("heat", "none"), facts={"control": "timer"}))
    assert "thermistor_ohms" not in {c.name for c in timer.checks}
    told = advise(dryer, _belief(dryer, ("heat", "none")), Situation(asking=True))
    assert "control" in {q.question.name for q in told.questions}


def test_a_blown_fuse_comes_with_find_why(dryer: Appliance) -> None:
    """Every way to replace the fuse shows the caution that it has a cause."""
    texts = " ".join(action(dryer, "thermal_fuse").cautions).lower()
    assert "cause" in texts


def test_when_only_an_unlisted_cause_is_left_it_is_said_and_handed_over() -> None:
    """With everything listed ruled out, the note says so in plain words and the job is handed over."""
    raw = raw_toy()
    raw["check"]["belt_look"] = {"title": "look", "outcomes": {"sound": "s", "off": "o"}, "minutes": 1.0,
                                 "leak": 0.01, "links": {"belt.broken": 0.99}}  # fmt: skip
    raw["costs"]["refer"] = 60
    appliance = compiled(from_mapping(raw), 0.0)
    seen = [("slow", "yes"), ("fuse_test", "closed"), ("listen", "hums"), ("run_test", "bad"), ("belt_look", "sound")]
    advice = advise(appliance, _belief(appliance, *seen))
    assert any("a cause it does not know" in note for note in advice.notes)


def test_advice_and_best_move_agree(dryer: Appliance) -> None:
    """The quick move used in trials is the one that the full advice gives."""
    belief = _belief(dryer, ("heat", "none"), facts={"control": "board"})
    advice, move = advise(dryer, belief), best_move(dryer, belief)
    assert (advice.kind, advice.name, advice.together) == (move.kind, move.name, move.together)


def test_telling_two_modes_apart_that_the_same_repair_fixes_is_worth_nothing() -> None:
    """A check that splits only the modes of one repair is never advised: it would change nothing."""
    raw = raw_toy()
    plain = compiled(from_mapping(raw), 0.0)
    odds = {o.name: o.probability for o in _belief(plain, ("slow", "yes")).fault_odds()}
    weak = odds["pump.weak"] / (odds["pump.weak"] + odds["pump.dead"])
    # For a sound pump it shows what it shows for a bad one on average, so it says nothing of whether the pump is bad.
    rows = {"ok": weak, "weak": 1.0, "dead": 0.0}
    table = {state: {"a": 1.0 - chance, "b": chance} for state, chance in rows.items()}
    raw["check"]["which_pump"] = {"title": "which", "outcomes": {"a": "a", "b": "b"}, "minutes": 0.1,
                                  "depends_on": ["pump"], "table": table}  # fmt: skip
    appliance = compiled(from_mapping(raw), 0.0)
    advice = advise(appliance, _belief(appliance, ("slow", "yes")))
    which = next(c for c in advice.checks if c.name == "which_pump")
    assert which.bits > 0.3
    assert which.expected_cost > advice.expected_cost
    assert advice.name != "which_pump"


@given(st.floats(0.25, 8.0))
def test_scaling_every_cost_changes_no_decision(factor: float) -> None:
    """Twice the money for everything, the same move: only ratios of costs matter. (Prices per bit scale too.)"""
    raw = raw_toy()
    scaled = raw_toy()
    scaled["costs"] = {**raw["costs"], "labour_rate": 60 * factor, "callback": 100 * factor, "refer": 200 * factor}
    for repair in scaled["repair"].values():
        repair["cost"] = repair["cost"] * factor
    moves = []
    for r in (raw, scaled):
        appliance = compiled(from_mapping(r), 0.0)
        moves.append(best_move(appliance, _belief(appliance, ("slow", "yes"))))
    assert (moves[0].kind, moves[0].name) == (moves[1].kind, moves[1].name)


def test_prices_are_finite_and_sorted(dryer: Appliance) -> None:
    """Every check and repair has a finite price, cheapest job first, those for qualified people that wait after the others;
    outcome chances sum to 1."""
    k, ranking = dryer.knowledge, Ranking(Problem(dryer, _belief(dryer, ("dry_time", "over_twice")), Situation()))
    checks = [(k.check[c.name].qualified, c.expected_cost) for c in ranking.checks]
    repairs = [(any(k.repair[n].qualified for n in (r.name, *r.together)), r.expected_cost) for r in ranking.repairs]
    for prices in (checks, repairs):
        money = [p for _, p in prices]
        wait = next((i for i in range(1, len(money)) if money[i] < money[i - 1]), len(money))
        assert np.isfinite(money).all()
        assert money[:wait] == sorted(money[:wait])
        assert money[wait:] == sorted(money[wait:])
        assert all(qualified for qualified, _ in prices[wait:])
        assert wait < len(money)
    for check in ranking.checks:
        assert sum(check.outcomes.values()) == pytest.approx(1.0, abs=1e-9)
        assert check.bits >= 0.0


def test_a_check_that_tells_nothing_is_not_named(dryer: Appliance) -> None:
    """With heat that comes and goes, the gas is on: nobody is sent to look at the gas cock, cheap as that is; every check that
    tells something stays, and so does the advised one, which leads."""
    seen = ("dry_time", "longer"), ("heat", "cools_off"), ("hood_air_speed", "good"), ("lint_screen_look", "clean")
    advice = advise(dryer, _belief(dryer, *seen, facts={"control": "timer", "auto_dry": "yes"}))
    assert "gas_cock_look" in [c.name for c in advice.checks]
    named = advice.telling_checks
    assert "gas_cock_look" not in [c.name for c in named]
    assert named[0].name == advice.name
    assert {c.name for c in advice.checks if c.bits > 0.05} <= {c.name for c in named}
    assert "gas cock" not in advice.why
    assert sorted(c.name for c in advice.listed_checks) == sorted(c.name for c in advice.checks)


def test_the_advised_work_is_priced_at_the_labour_rate_given(dryer: Appliance) -> None:
    """A labour rate of 0 leaves the price of the part; the file's rate is used when none is given."""
    coil = dryer.knowledge.repair["coil_set"]
    assert action(dryer, "coil_set", labour_rate=0.0).price.cost == pytest.approx(coil.cost)
    plain = action(dryer, "coil_set")
    assert plain.price.cost == pytest.approx(coil.cost + plain.price.minutes * dryer.knowledge.costs.labour_rate / 60)


def _even_ranking(
    price: float, chance: float, repair: float, leaving: float = 1e9, stopped: frozenset[str] = frozenset()
) -> Any:
    """Two checks for 100 and 100.2, the dearer of which opens nothing, and a repair."""

    def look(name: str, cost: float, opened: int) -> SimpleNamespace:
        way = SimpleNamespace(moves=[SimpleNamespace(opens=True)] * opened)
        worth = SimpleNamespace(cost=price, minutes=3.0, way=way)
        return SimpleNamespace(name=name, price=worth, expected_cost=cost, priced=True, tells=True)

    check = {name: SimpleNamespace(qualified=False, tools=[]) for name in ("look", "glance")}
    problem = SimpleNamespace(
        refer_cost=600.0, rate=0.0, knowledge=SimpleNamespace(check=check), behind_bars=stopped, behind_return=()
    )
    return SimpleNamespace(
        problem=problem,
        tells_of=lambda name, faults: name == "look",
        stop_cost=leaving,
        checks=[look("look", 100.0, 2), look("glance", 100.2, 0)],
        repairs=[SimpleNamespace(name="fix", together=(), chance=chance, expected_cost=repair)],
    )


@pytest.mark.parametrize(
    ("price", "chance", "repair", "kind"),
    [(5.0, 0.7, 100.2, "repair"), (5.0, 0.7, 102.0, "check"), (5.0, 0.3, 100.2, "check"), (0.0, 0.7, 100.2, "check")],
)
def test_a_repair_that_probably_finishes_wins_a_near_tie(price: float, chance: float, repair: float, kind: str) -> None:
    """Within .3 % of a check that costs something, a repair that more likely than not ends the job comes first; else the check."""
    assert rather(_even_ranking(price, chance, repair)).kind == kind


def test_of_even_moves_the_one_that_leaves_or_opens_less_is_made() -> None:
    """Within .3 % leaving comes first, and of two checks the one that opens less; beyond that the price decides."""
    assert rather(_even_ranking(5.0, 0.1, 200.0)).name == "glance"
    assert rather(_even_ranking(5.0, 0.1, 200.0, leaving=100.2)).kind == "stop"
    assert rather(_even_ranking(5.0, 0.1, 200.0, leaving=102.0)).kind == "check"


def test_of_even_checks_the_one_that_looks_for_what_stops_the_machine_is_made(dryer: Appliance) -> None:
    """With carbon monoxide in the room the first look is for what lets it out, not at whatever is as cheap."""
    assert rather(_even_ranking(5.0, 0.1, 200.0, stopped=frozenset({"leak"}))).name == "look"
    stops = [(n, o) for n, each in dryer.knowledge.check.items() for o in {**each.stops_run, **each.stops_heat}]
    for seen in [("co_room", "some"), ("flame_colour", "yellow"), *stops]:
        ranking = Ranking(Problem(dryer, _belief(dryer, ("dry_time", "longer"), seen), Situation()))
        move, barred = rather(ranking), ranking.problem.behind_bars
        even = [c for c in ranking.checks if c.priced and c.tells and c.expected_cost <= move.expected_cost]
        even = [c for c in even if not dryer.knowledge.check[c.name].qualified]
        if move.kind == "check" and barred and any(ranking.tells_of(c.name, barred) for c in even):
            assert ranking.tells_of(move.name, barred), (seen, move.name)


def test_nobody_leaves_after_a_finding_with_which_the_machine_is_not_run(
    dryer: Appliance, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the tree of what a check may show, too: a check that may find such a thing after the run is dearer for it. Planted: it may
    be left all the same, which made it cheap."""
    fixed = repair_effect(dryer.knowledge, "gas_valve")
    seen = (WeighedFinding("heat", {"none": 1.0}), WeighedFinding("verification_run", {"dry_in_time": 1.0}, 1))
    belief = infer(dryer.suspects, Evidence({}, seen, (fixed,)))

    def priced() -> float:
        problem = Problem(dryer, belief, Situation())
        assert problem.may_leave
        return next(c.expected_cost for c in Ranking(problem).checks if c.name == "co_room")

    right = priced()
    monkeypatch.setattr(Problem, "forbids", property(lambda p: np.zeros(len(p.suspect_likelihood), dtype=bool)))
    assert priced() < right - 0.5
