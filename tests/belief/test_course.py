"""How the odds came about: factors that multiply, against inference step by step, against enumeration, and at the extremes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding, in_order
from faultodds.belief.factors import OddsCourse, chance_of, odds_course
from faultodds.belief.posterior import Belief, infer
from faultodds.belief.suspects import Suspects, compile_suspects
from faultodds.errors import ClashError
from faultodds.knowledge.loading import from_mapping
from oracles import enumerate_odds
from toys import random_toy, raw_toy, toy

TOYS = [(knowledge, compile_suspects(knowledge, 0.0)) for knowledge in (random_toy(s, components=3) for s in range(3))]


def _sure(name: str, outcome: str, stage: int = 0, take: int = 0) -> WeighedFinding:
    return WeighedFinding(name, {outcome: 1.0}, stage, take)


def _log(p: Any) -> Any:
    with np.errstate(divide="ignore"):
        return np.log(p) - np.log1p(-np.asarray(p))


def _logs(belief: Belief) -> np.ndarray[Any, Any]:
    """Both sides added up: near certainty 1 less the chance has no digits left."""
    has = belief.suspects.member_float
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(belief.now @ has) - np.log(belief.now @ (1.0 - has)))


@st.composite
def _evidence(draw: st.DrawFn) -> tuple[int, Evidence]:
    """A toy, facts, up to three repairs that may fail, and sure and unsure findings of every stage in any order."""
    which = draw(st.integers(0, len(TOYS) - 1))
    suspects = TOYS[which][1]
    facts = {f: draw(st.sampled_from(v)) for f, v in suspects.fact_values.items() if draw(st.booleans())}
    modes = [m for m in suspects.modes if m != "unlisted.present"]
    repairs = tuple(
        RepairEffect(f"fix{i}", tuple(draw(st.lists(st.sampled_from(modes), min_size=1, unique=True))), success)
        for i, success in enumerate(draw(st.lists(st.floats(0.05, 0.99), max_size=3)))
    )
    seen = []
    for take in range(draw(st.integers(0, 7))):
        name = draw(st.sampled_from(list(suspects.observables)))
        weights = {o: draw(st.floats(0.01, 1.0)) for o in suspects.observables[name]}
        seen.append(WeighedFinding(name, weights, draw(st.integers(0, len(repairs))), take))
    return which, Evidence(facts, tuple(seen), repairs)


def _course(suspects: Suspects, evidence: Evidence) -> OddsCourse:
    return odds_course(infer(suspects, evidence), suspects.modes)


def _up_to(evidence: Evidence, kinds: Mapping[str, int]) -> Evidence:
    """The first so many facts, repairs and findings (by stage, then as entered)."""
    seen = sorted(in_order(evidence.seen), key=lambda f: f.stage)[: kinds["found"]]
    return Evidence(
        dict(list(evidence.facts.items())[: kinds["fact"]]), tuple(seen), evidence.repairs[: kinds["repair"]]
    )


# --- a law -------------------------------------------------------------------------------------------------------------


@given(drawn=_evidence())
def test_the_factors_multiply_from_the_files_shares_to_the_odds_now(drawn: tuple[int, Evidence]) -> None:
    """The logarithms add up to those of the odds that are shown, and at every step to those of what was known by then."""
    which, evidence = drawn
    suspects = TOYS[which][1]
    course = _course(suspects, evidence)
    assert len(course.steps) == len(evidence.facts) + len(evidence.seen) + len(evidence.repairs)
    assert course.start == pytest.approx(_logs(infer(suspects, Evidence())), abs=1e-9)
    total, known = course.start, {"fact": 0, "found": 0, "repair": 0}
    for step in course.steps:
        # What is ruled out stays so: there is no factor from nothing.
        could_be = np.isfinite(step.before)
        assert (step.after[~could_be] == -np.inf).all()
        total = total + np.where(could_be, step.after - np.where(could_be, step.before, 0.0), 0.0)
        known[step.kind] += 1
        assert total == pytest.approx(_logs(infer(suspects, _up_to(evidence, known))), abs=1e-9)
    assert course.now == pytest.approx(total, abs=1e-9)
    assert 0.5 + 0.5 * np.tanh(total / 2) == pytest.approx(infer(suspects, evidence).mode_odds, abs=1e-9)


@given(drawn=_evidence())
def test_without_is_what_the_rest_alone_says(drawn: tuple[int, Evidence]) -> None:
    """Every step alone taken back leaves the odds that inference gives for the rest."""
    which, evidence = drawn
    suspects = TOYS[which][1]
    rest: list[Evidence] = []
    for fact in evidence.facts:
        others = {f: v for f, v in evidence.facts.items() if f != fact}
        rest.append(Evidence(others, evidence.seen, evidence.repairs))
    for stage in range(len(evidence.repairs) + 1):
        if stage:
            moved = [WeighedFinding(s.name, s.weights, s.stage - (s.stage >= stage), s.take) for s in evidence.seen]
            left = evidence.repairs[: stage - 1] + evidence.repairs[stage:]
            rest.append(Evidence(evidence.facts, tuple(moved), left))
        for finding in (s for s in evidence.seen if s.stage == stage):
            others_seen = tuple(s for s in evidence.seen if s is not finding)
            rest.append(Evidence(evidence.facts, others_seen, evidence.repairs))
    steps = _course(suspects, evidence).steps
    # Repairs come before what was seen after them in both lists.
    for step, other in zip(steps, rest, strict=True):
        assert step.without == pytest.approx(_logs(infer(suspects, other)), abs=1e-9)


@pytest.mark.parametrize("which", range(len(TOYS)))
def test_the_factors_equal_enumeration(which: int) -> None:
    """A fact, a finding, a repair that may fail and a finding after it: each step equals writing out every case."""
    knowledge, suspects = TOYS[which]
    modes = [m for m in suspects.modes if m != "unlisted.present"]
    repair = RepairEffect("fix", tuple(modes[:2]), 0.8)
    seen = (_sure("slow", "yes"), _sure("look0", "high"), _sure("slow", "yes", 1))
    course = _course(suspects, Evidence({"age": "old"}, seen, (repair,)))
    assert [s.name for s in course.steps] == ["age=old", "slow=yes", "look0=high", "fix", "slow=yes"]

    def oracle(facts: Mapping[str, str], found: Sequence[WeighedFinding], repairs: Sequence[RepairEffect]) -> Any:
        done = [(frozenset(r.modes), r.success) for r in repairs]
        odds, _ = enumerate_odds(knowledge, facts, [(s.name, s.weights, s.stage) for s in found], done)
        return _log(np.array([odds[m] for m in suspects.modes]))

    old = {"age": "old"}
    wanted = [oracle(old, (), ()), oracle(old, seen[:1], ()), oracle(old, seen[:2], ())]
    wanted += [oracle(old, seen[:2], (repair,)), oracle(old, seen, (repair,))]
    before = oracle({}, (), ())
    for step, after in zip(course.steps, wanted, strict=True):
        assert step.after - step.before == pytest.approx(after - before, abs=1e-9)
        before = after


def test_what_each_alone_would_change_does_not_multiply() -> None:
    """The mistake that the law has to catch: factors given all the rest do not lead from the first odds to the last."""
    suspects = compile_suspects(toy(), 0.0)
    course = _course(suspects, Evidence({}, (_sure("slow", "yes"), _sure("fuse_test", "open"))))
    given_the_rest = sum(course.now - step.without for step in course.steps if step.without is not None)
    assert np.abs(course.start + given_the_rest - course.now).max() > 0.1


# --- by hand, and at the extremes ---------------------------------------------------------------------------------------


def test_the_last_finding_weighs_alike_in_both_ways_of_asking() -> None:
    """What comes last is given all the rest, so its factor is what taking it back would undo."""
    suspects = compile_suspects(toy(), 0.0)
    last = _course(suspects, Evidence({}, (_sure("slow", "yes"), _sure("fuse_test", "open")))).steps[-1]
    assert last.without == pytest.approx(last.before, abs=1e-12)
    fuse = suspects.mode_index["fuse.open"]
    # 1 - .99 * .02 of open fuses read open, 1 in 100 of others.
    assert np.exp(last.after - last.before)[fuse] == pytest.approx((1 - 0.99 * 0.02) / 0.01, rel=1e-9)


def test_a_finding_entered_twice_is_one_step_and_one_measured_again_two() -> None:
    """As in the odds."""
    suspects = compile_suspects(toy(), 0.0)
    once, again = _sure("slow", "yes"), _sure("slow", "yes", take=1)
    assert len(_course(suspects, Evidence({}, (once, once))).steps) == 1
    assert [s.name for s in _course(suspects, Evidence({}, (once, once, again))).steps] == ["slow=yes", "slow=yes"]


def test_what_is_ruled_out_stays_so_and_what_a_repair_surely_takes_is_ruled_out() -> None:
    """Odds of nothing are an infinite logarithm, never one that is not a number."""
    suspects = compile_suspects(toy(), 0.0)
    repair = RepairEffect("fix", ("fuse.open",), 1.0)
    course = odds_course(
        infer(suspects, Evidence({}, (_sure("slow", "yes"), _sure("slow", "yes", 1)), (repair,))), ["fuse.open"]
    )
    assert [float(s.after[0]) for s in course.steps][1:] == [-np.inf, -np.inf]
    assert not any(np.isnan(s.after).any() or np.isnan(s.without).any() for s in course.steps if s.without is not None)


def test_a_repair_without_which_the_rest_would_clash_says_so() -> None:
    """A fuse that must read open before and good after cannot have been left as it was."""
    raw = raw_toy()
    raw["check"]["fuse_test"] |= {"leak": 0.0, "links": {"fuse.open": 1.0}}
    suspects = compile_suspects(from_mapping(raw), 0.0)
    repair = RepairEffect("fix", ("fuse.open",), 1.0)
    good = next(iter(suspects.observables["fuse_test"]))
    seen = (_sure("fuse_test", "open"), _sure("fuse_test", good, 1))
    steps = odds_course(infer(suspects, Evidence({}, seen, (repair,))), ["fuse.open", "pump.dead"]).steps
    assert [s.without is None for s in steps] == [False, True, False]
    assert steps[0].after[0] == np.inf
    with pytest.raises(ClashError):
        infer(suspects, Evidence({}, (seen[0], _sure("fuse_test", good))))


@given(log_odds=st.floats(allow_nan=False))
def test_a_chance_is_0_or_1_only_where_the_odds_have_no_end(log_odds: float) -> None:
    """Never a false certainty; elsewhere the odds as they were."""
    chance = chance_of(log_odds)
    assert (chance in (0.0, 1.0)) == np.isinf(log_odds)
    if abs(log_odds) < 15:
        assert np.log(chance) - np.log1p(-chance) == pytest.approx(log_odds, abs=1e-8)


def test_no_step_and_no_change_where_nothing_was_entered() -> None:
    """The odds now are those of the file."""
    suspects = compile_suspects(toy(), 0.0)
    course = _course(suspects, Evidence())
    assert course.steps == ()
    assert course.now is course.start
