"""A job explained: weights that add up, what would change one's mind held against entering it, chapters of a job."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from msgspec.structs import replace

from faultodds.belief import Appliance, Belief, compile_suspects, infer, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding
from faultodds.cards import Account, account, changes, chapters, leading, words
from faultodds.cards.account import Change
from faultodds.cards.shown import Parting
from faultodds.errors import ClashError
from faultodds.job import Finding, Job, RepairDone, Step
from random_evidence import random_evidence
from toys import random_toy

TOYS = [compile_suspects(random_toy(seed, components=3), 0.0) for seed in range(3)]


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped dryer with the file's own numbers."""
    return open_appliance("gas_dryer", revision="file")


def _adds_up(told: Account) -> bool:
    if not math.isfinite(told.now):
        return told.now in (told.start, *(w.weight for w in told.weights))
    total = told.start + math.fsum(w.weight for w in told.weights)
    return math.isinf(total) or abs(total - told.now) <= 1e-9 * max(1.0, abs(told.now))


def _log_odds(belief: Belief, mode: str) -> float:
    has = belief.suspects.member_float[:, belief.suspects.mode_index[mode]]
    with np.errstate(divide="ignore"):
        return float(np.log(belief.now @ has) - np.log(belief.now @ (1 - has)))


@st.composite
def _toy_belief(draw: st.DrawFn) -> Belief:
    s = TOYS[draw(st.integers(0, len(TOYS) - 1))]
    facts = {f: draw(st.sampled_from(v)) for f, v in s.fact_values.items() if draw(st.booleans())}
    seen = []
    for take in range(draw(st.integers(0, 7))):
        name = draw(st.sampled_from(list(s.observables)))
        seen.append(WeighedFinding(name, {o: draw(st.floats(0.01, 1.0)) for o in s.observables[name]}, 0, take))
    return infer(s, Evidence(facts, tuple(seen)))


@settings(max_examples=100)
@given(belief=_toy_belief(), which=st.integers(0, 100))
def test_start_and_weights_add_up_to_the_log_odds(belief: Belief, which: int) -> None:
    """To 1e-9, on toys with findings of every degree of doubt; one weight left out would be seen."""
    mode = belief.suspects.modes[which % len(belief.suspects.modes)]
    told = account(belief, mode)
    assert _adds_up(told)
    assert told.now == pytest.approx(_log_odds(belief, mode), abs=1e-9)
    heaviest = max(told.weights, key=lambda w: abs(w.weight), default=None)
    if heaviest is not None and 1e-6 < abs(heaviest.weight) < math.inf:
        assert not _adds_up(replace(told, weights=tuple(w for w in told.weights if w is not heaviest)))


def test_weights_add_up_on_random_calls_with_repairs(dryer: Appliance) -> None:
    """Facts, findings, repairs that may fail and findings after them, on the shipped dryer: for every leading fault."""
    rng, counted = np.random.default_rng(11), 0
    while counted < 30:
        try:
            belief = infer(dryer.suspects, random_evidence(dryer, rng))
        except ClashError:
            continue
        counted += 1
        for odds in belief.fault_odds()[:3]:
            told = account(belief, odds.name)
            assert _adds_up(told)
            assert told.chance == pytest.approx(odds.probability, abs=1e-9)
            assert words.line(dryer.knowledge, told) and words.paragraph(dryer.knowledge, told)


def test_what_would_change_ones_mind_does(dryer: Appliance) -> None:
    """On random calls: enter what is named, and the fault that is named leads with the chance that is named; what is not named
    leaves a fault in front that the same repair puts right."""
    rng, named, kept = np.random.default_rng(5), 0, 0
    while named < 25 or kept < 25:
        evidence = random_evidence(dryer, rng)
        if evidence.repairs:
            continue
        try:
            belief = infer(dryer.suspects, evidence)
        except ClashError:
            continue
        checks = [c for c in dryer.knowledge.check if c not in {f.name for f in evidence.seen}][:6]
        found = {(c.check, c.outcome): c for c in changes(belief, dryer.knowledge, checks)}
        for check in checks:
            for outcome in dryer.suspects.observables[check]:
                try:
                    after = infer(dryer.suspects, evidence.plus(WeighedFinding(check, {outcome: 1.0})))
                except ClashError:
                    continue
                now = leading(after, dryer.knowledge)
                change = found.get((check, outcome))
                if change is not None:
                    named += 1
                    assert change.mode == now
                    assert change.probability == pytest.approx(
                        float(after.mode_odds[dryer.suspects.mode_index[now]]), abs=1e-9
                    )
                else:
                    kept += 1
                    before = leading(belief, dryer.knowledge)
                    assert changes(belief, dryer.knowledge, [check], wanted=now) or now == before


def _job(*payloads: object) -> Job:
    at = datetime(2026, 11, 20, 9, tzinfo=UTC)
    steps = tuple(Step(i, at, p) for i, p in enumerate(payloads, 1))  # type: ignore[arg-type]
    return Job("1", "gas_dryer", "file", at, steps=steps, last_seq=len(steps))


def test_a_job_falls_into_chapters_at_its_repairs(dryer: Appliance) -> None:
    """Repairs done together are one chapter, with the belief just before them; the last chapter is now."""
    job = _job(
        Finding("heat", "none"),
        Finding("fuse_continuity", "open"),
        RepairDone("thermal_fuse"),
        RepairDone("clean_duct"),
        Finding("verification_run", "dry_in_time"),
    )
    first, now = chapters(dryer, job)
    assert first.repairs == ("thermal_fuse", "clean_duct") and now.repairs == ()
    assert first.accounts[0].mode == "thermal_fuse.open" and first.accounts[0].chance > 0.9
    assert first.accounts[1].mode.startswith("duct.")
    told = words.job_line(dryer.knowledge, [first, now])
    assert "New thermal fuse" in told and "nothing wrong" in told
    assert now.belief.sound > 0.5


def test_work_for_qualified_people_is_marked_wherever_it_is_named(dryer: Appliance) -> None:
    """What would change one's mind, what would bring a fault back, what parts two: live and gas work alone has the mark."""
    k = dryer.knowledge
    assert {c.qualified for c in k.check.values()} == {False, True}
    for name, check in k.check.items():
        outcome = list(check.outcomes)[-1]
        seen = [Change(name, outcome, 0.2, "coils.drop_out_hot", 0.5)]
        parts = words.parting_words(k, Parting(name, outcome, 0.9, 0.1, 0.8), "one", "the other")
        for said in (words.mind(k, seen), words.back(k, seen), parts):
            assert ("(qualified people only)" in said) == check.qualified, said
