"""What to carry before a visit: the rule, the exact choice, minutes on site, and the shelf for many calls."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection

import pytest
from hypothesis import given, strategies as st

from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance, compiled, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding
from faultodds.belief.posterior import infer
from faultodds.errors import FaultoddsError, UnknownName
from faultodds.knowledge.loading import from_mapping
from faultodds.stock.minutes import machines, on_site
from faultodds.stock.needs import DROPPED, Limit
from faultodds.stock.stock import Stock
from faultodds.stock.van_shelf import Planner
from random_stock import loads, random_stock, ways_out
from toys import raw_toy


def outcome_by_hand(seed: int, aboard: Collection[str]) -> tuple[float, float]:
    """Chance of finishing and worth, suspect by suspect, straight from the rule."""
    k, visit = random_stock(seed).knowledge, random_stock(seed).visit_cost
    price = {n: r.minutes * k.costs.labour_rate / 60 + r.cost for n, r in k.repair.items()}
    chance = worth = 0.0
    for p, options in ways_out(seed):
        extra = 0.0
        for o in options:
            mine = [price[n] for n in o if n in aboard]
            extra += min(mine) - min(price[n] for n in o) if mine else math.inf
        if extra == 0 or extra < visit:
            chance, worth = chance + p, worth + p * (visit - extra)
    return chance, worth


@given(
    st.integers(0, 11), st.sampled_from([Limit(), Limit(budget=60), Limit(budget=130), Limit(shelf=2), Limit(90, 2)])
)
def test_the_load_is_the_best_of_all_loads(seed: int, limit: Limit) -> None:
    """No other load within the limits is worth more: held against every load, each worked out straight from the rule."""
    stock = random_stock(seed)
    load = stock.load(limit)
    chosen = tuple(p.name for p in load.parts)
    carry = {n: stock.carrying(n) if limit.is_free else 0.0 for n in stock.parts}
    best = max(outcome_by_hand(seed, some)[1] - sum(carry[n] for n in some) for some in loads(stock, limit))
    mine = outcome_by_hand(seed, chosen)
    slack = 1e-6 * stock.visit_cost + DROPPED * stock.visit_cost
    assert mine[1] - sum(carry[n] for n in chosen) >= best - slack
    assert load.chance == pytest.approx(mine[0], abs=DROPPED)
    assert load.most_worth >= best - slack
    assert limit.budget is None or load.price <= limit.budget
    assert limit.shelf is None or len(load.parts) <= limit.shelf


def pairs() -> Appliance:
    """Six in ten machines need two parts at once, the others one part each."""
    modes = {
        "a": {"title": "a", "modes": {"bad": {"title": "bad", "share": 60, "brings_on": {"b.bad": 0.999}}}},
        "b": {"title": "b", "modes": {"bad": {"title": "bad", "share": 0.001}}},
        "c": {"title": "c", "modes": {"bad": {"title": "bad", "share": 22}}},
        "d": {"title": "d", "modes": {"bad": {"title": "bad", "share": 17.999}}},
    }
    every = dict.fromkeys((f"{n}.bad" for n in modes), 0.95)
    raw = raw_toy(
        component=modes,
        mechanism={"m": {"title": "m", "states": {"ok": "o", "no": "n"}, "rule": "worst_of", "causes": dict.fromkeys(every, "no")}},
        symptom={"slow": {"title": "s", "outcomes": {"no": "n", "yes": "y"}, "leak": 0.1, "links": {"m.no": 0.9}}},
        check={
            "run_test": {"title": "run", "outcomes": {"good": "g", "bad": "b"}, "minutes": 10, "leak": 0.01, "links": every}
        },
        repair={f"new_{n}": {"title": n, "fixes": [n], "minutes": 10, "cost": 20} for n in modes},
        other_causes={"nothing_wrong": 0, "unlisted": 0, "companion": 0.0},
    )  # fmt: skip
    return compiled(from_mapping(raw))


def test_two_parts_that_only_help_together_are_taken_together() -> None:
    """Part by part the pair never looks worth taking; the load takes it all the same."""
    appliance = pairs()
    stock = Stock(appliance, infer(appliance.suspects, Evidence()))
    alone = {n: stock.chance([n]) for n in stock.parts}
    assert max(alone, key=lambda n: alone[n]) == "new_c"
    load = stock.load(Limit(shelf=2))
    assert {p.name for p in load.parts} == {"new_a", "new_b"}
    assert load.chance == pytest.approx(0.6, abs=0.002)
    assert load.most_worth == pytest.approx(load.worth, rel=1e-6)


def call(facts: dict[str, str] | None = None, *seen: str, qualified: bool = True) -> Stock:
    """A call on the shipped dryer."""
    dryer = open_appliance("gas_dryer", revision="file")
    found = tuple(WeighedFinding(name, {outcome: 1.0}) for name, _, outcome in (s.partition("=") for s in seen))
    return Stock(dryer, infer(dryer.suspects, Evidence(facts or {}, found)), Situation(qualified=qualified))


def test_everything_is_finished_by_a_part_by_others_or_by_nobody() -> None:
    """With every part aboard, what is not finished is other people's work or on nobody's list."""
    load = call(None, "heat=none").load(Limit(shelf=3))
    assert load.with_every_part + load.others + load.nobody == pytest.approx(1.0, abs=2 * DROPPED)
    assert load.without_parts < load.chance < load.with_every_part


def test_each_part_is_told_by_what_leaving_it_out_would_lose() -> None:
    """`saves` is the chance with the load less the chance without that part."""
    stock = call(None, "heat=none")
    load = stock.load(Limit(shelf=4))
    names = [p.name for p in load.parts]
    for p in load.parts:
        assert p.saves == pytest.approx(load.chance - stock.chance([n for n in names if n != p.name]), abs=1e-12)
    for p in load.left:
        assert p.saves == pytest.approx(stock.chance([*names, p.name]) - load.chance, abs=1e-12)
    assert "thermal_fuse" in next(p for p in load.parts if p.name == "high_limit_kit").stands_in


def test_a_stand_in_dearer_than_another_visit_does_not_count() -> None:
    """A whole gas valve stands in for its coils only while that costs less than coming back."""
    dear = call(None, "glow=glow_no_flame")
    costs = dataclasses.replace(dear.knowledge.costs, callback=50.0)
    cheap_visit = dataclasses.replace(dear.appliance, knowledge=dataclasses.replace(dear.knowledge, costs=costs))
    assert dear.chance(["gas_valve"]) > dear.chance([]) + 0.1
    cheap = Stock(cheap_visit, dear.belief)
    assert cheap.chance(["gas_valve"]) < cheap.chance([]) + 0.05


def test_a_machine_that_lacks_the_part_needs_none_of_it() -> None:
    """On a machine with a timer no board is carried, and with neither told both may be."""
    assert "board" not in call({"control": "timer"}).parts
    assert {"board", "timer"} <= set(call().parts)


def test_who_may_not_do_the_work_is_sent_with_no_part_for_it() -> None:
    """Gas-pressure work and its parts are left out for somebody not qualified, and the chance is lower for it."""
    able, unable = call(None, "heat=none"), call(None, "heat=none", qualified=False)
    assert "gas_valve" in able.parts
    assert "gas_valve" not in unable.parts
    assert unable.load().with_every_part < able.load().with_every_part


@given(st.integers(0, 4), st.floats(0, 200), st.floats(0, 200))
def test_more_money_never_makes_it_worse(seed: int, a: float, b: float) -> None:
    """A larger budget gives a load worth at least as much."""
    stock = random_stock(seed)
    small, large = (stock.load(Limit(budget=m)) for m in sorted((a, b)))
    assert large.worth >= small.worth - 1e-6 * stock.visit_cost


def test_a_given_van_is_judged_and_added_to() -> None:
    """What is aboard already is outside the limits, and stays."""
    stock = call(None, "heat=none")
    judged = stock.judge(["igniter", "coil_set"])
    assert judged.chance == stock.chance(["igniter", "coil_set"])
    more = stock.load(Limit(shelf=1, carried=("ig", "coil_set")))
    assert {"igniter", "coil_set"} < {p.name for p in more.parts}
    assert len(more.parts) == 3
    assert more.worth > judged.worth


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (Limit(budget=-1), "a budget of -1: it is an amount of 0 or more, such as --budget 200."),
        (Limit(shelf=-2), "a shelf of -2 parts: it is a number of 0 or more, such as --shelf 6."),
        (Limit(carried=("ignitor",)), "there is no part called 'ignitor'. Did you mean 'igniter'?"),
        (Limit(carried=("clean_duct",)), "The repair 'clean_duct' needs none from the van."),
    ],
)
def test_what_makes_no_sense_is_refused(limit: Limit, words: str) -> None:
    """Limits and parts that cannot be meant are named, with what to type."""
    with pytest.raises(FaultoddsError) as refused:
        call().load(limit)
    assert words in str(refused.value)


# --- minutes on site -----------------------------------------------------------------------------------------------


def one_fault() -> Stock:
    """A machine whose fuse is blown for sure."""
    component = {"fuse": {"title": "fuse", "modes": {"open": {"title": "open", "share": 100}}}}
    states = {"good": "g", "none": "n"}
    flow = {"title": "f", "states": states, "rule": "worst_of", "causes": {"fuse.open": "none"}}
    raw = raw_toy(
        component=component,
        mechanism={"flow": flow},
        symptom={"slow": {"title": "s", "outcomes": {"no": "n", "yes": "y"}, "leak": 0.05, "links": {"flow.none": 0.9}}},
        check={
            "fuse_test": raw_toy()["check"]["fuse_test"],
            "run_test": {**raw_toy()["check"]["run_test"], "links": {"flow.none": 0.99}},
        },
        repair={
            "new_fuse": {"title": "new fuse", "fixes": ["fuse"], "minutes": 10, "cost": 5, "access": ["panel"], "success": 1.0}
        },
        other_causes={"nothing_wrong": 0, "unlisted": 0, "companion": 0.0},
    )  # fmt: skip
    appliance = compiled(from_mapping(raw))
    return Stock(appliance, infer(appliance.suspects, Evidence()))


def test_minutes_of_a_sure_fault_are_those_of_its_repair() -> None:
    """Unplug 1, panel 5, repair 10, panel back 4, plug in 1, run 10: 31 minutes, and none of it without the part."""
    there = on_site(one_fault(), ["new_fuse"])
    assert (there.mean, there.planned, there.finished, there.error) == pytest.approx((31.0, 31.0, 1.0, 0.0))
    without = on_site(one_fault(), [])
    assert (without.mean, without.waiting) == pytest.approx((0.0, 1.0))


def test_minutes_are_the_same_every_time_and_shorter_without_parts() -> None:
    """The same call gives the same minutes; a visit that ends for want of a part is shorter; the ways it ends add up."""
    stock = call({"control": "timer", "auto_dry": "yes"}, "heat=none")
    full, again, empty = on_site(stock, stock.parts, 60), on_site(stock, stock.parts, 60), on_site(stock, [], 60)
    assert full == again
    assert empty.mean < full.mean < full.planned
    assert empty.finished < full.finished
    assert full.finished + full.waiting + full.handed_over == pytest.approx(1.0)


def test_kinds_of_machine_are_weighed_by_what_was_found() -> None:
    """Timer or board: the chances are those of a fact that is not known yet, and add up to 1."""
    known = {"auto_dry": "yes", "coil_layout": "single_block", "gas_meter": "yes"}
    kinds = machines(call({**known, "lower_panel": "no"}))
    assert sum(share for share, _ in kinds) == pytest.approx(1.0)
    told = {belief.evidence.facts["control"]: share for share, belief in kinds}
    dryer = open_appliance("gas_dryer", revision="file")
    usual = dryer.knowledge.equipment["control"].usual
    assert told["timer"] == pytest.approx(usual["timer"] / sum(usual.values()), abs=0.05)
    # A way in that the file only has on some machines is weighed as well: it decides the minutes.
    ways = [(share, belief.evidence.facts["lower_panel"]) for share, belief in machines(call(known))]
    lower = dryer.knowledge.equipment["lower_panel"].usual["yes"]
    assert sum(share for share, value in ways if value == "yes") == pytest.approx(lower)


# --- the shelf -----------------------------------------------------------------------------------------------------


def test_the_copies_of_a_part_are_worth_their_binomial_chances() -> None:
    """Chance that at least k of n calls need a part, against the sum written out."""
    planner = Planner(call(), 12)
    p = planner.demand["coil_set"]
    for k in range(1, 4):
        by_hand = sum(math.comb(12, i) * p**i * (1 - p) ** (12 - i) for i in range(k, 13))
        assert planner.at_least("coil_set", k) == pytest.approx(by_hand, rel=1e-9)


def test_a_larger_shelf_finishes_more_calls_and_never_all() -> None:
    """Calls finished rise with the room, between those of an empty van and those of one with everything."""
    stock = call()
    small, large = (Planner(stock, 20).best(Limit(shelf=n)) for n in (4, 16))
    assert small.without_parts < small.finished < large.finished < large.with_every_part
    assert (small.count, large.count) == (4, 16)
    assert max(c.count for c in large.copies) > 1


def test_an_unlimited_shelf_pays_for_every_copy() -> None:
    """Each last copy is likely enough to be used to pay for its place; the next one is not."""
    planner = Planner(call(), 10)
    for c in planner.best().copies:
        cost = planner.stock.carrying(c.name) * 10
        assert planner.at_least(c.name, c.count) * planner.stock.visit_cost > cost
        assert planner.at_least(c.name, c.count + 1) * planner.stock.visit_cost <= cost


def test_the_number_of_calls_is_held_to_sense() -> None:
    """No shelf is planned for no calls."""
    with pytest.raises(FaultoddsError, match="0 calls between two restockings: from 1 to 500, such as --jobs 20"):
        Planner(call(), 0)
    with pytest.raises(UnknownName, match="there is no part called 'zz'"):
        Planner(call(), 5).named(["zz"])
