"""Belief after repairs that may fail: equal to going through every way they can have gone, and no dearer for many."""

from __future__ import annotations

import itertools
import tracemalloc

import numpy as np
import pytest

from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding, repair_effect, suspect_likelihood
from faultodds.belief.posterior import infer, prior_for
from faultodds.belief.suspects import Suspects, compile_suspects
from faultodds.errors import ClashError
from faultodds.knowledge.tables import Floats
from toys import random_toy, raw_toy, toy


def by_every_way(s: Suspects, evidence: Evidence) -> tuple[Floats, Floats]:
    """(original, now) by going through all 2^k ways in which k repairs can have gone, one by one."""
    prior, _ = prior_for(s, evidence.facts)
    original, now = np.zeros(len(prior)), np.zeros(len(prior))
    for took in itertools.product((True, False), repeat=len(evidence.repairs)):
        weight, place = prior.copy(), np.arange(len(prior))
        for stage in range(len(evidence.repairs) + 1):
            if stage:
                repair = evidence.repairs[stage - 1]
                weight = weight * (repair.success if took[stage - 1] else 1.0 - repair.success)
                place = s.removal(repair.modes)[place] if took[stage - 1] else place
            for finding in evidence.seen:
                if finding.stage == stage:
                    weight = weight * suspect_likelihood(s, finding)[place]
        original += weight
        now += np.bincount(place, weight, minlength=len(prior))
    return original / original.sum(), now / now.sum()


@pytest.mark.parametrize("seed", range(12))
def test_belief_after_repairs_is_the_sum_over_every_way_they_can_have_gone(seed: int) -> None:
    """Random appliances, repairs of several modes, findings between them, sure repairs and doubtful ones."""
    rng = np.random.default_rng(seed)
    s = compile_suspects(random_toy(seed % 4), 0.0)
    repairs = tuple(
        RepairEffect(
            f"r{i}", tuple(rng.choice(s.modes, rng.integers(1, 4), replace=False)), float(rng.choice([1.0, 0.9, 0.5]))
        )
        for i in range(4)
    )
    names = list(s.observables)
    seen = tuple(
        WeighedFinding(
            name, dict.fromkeys(s.observables[name][:2], 0.3) | {s.observables[name][-1]: 1.0}, int(rng.integers(0, 5))
        )
        for name in rng.choice(names, min(4, len(names)), replace=False)
    )
    evidence = Evidence({}, seen, repairs)
    belief = infer(s, evidence)
    original, now = by_every_way(s, evidence)
    np.testing.assert_allclose(belief.original, original, rtol=0, atol=1e-12)
    np.testing.assert_allclose(belief.now, now, rtol=0, atol=1e-12)


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    return open_appliance("gas_dryer")


def test_twenty_repairs_take_little_memory(dryer: Appliance) -> None:
    """Every repair of the dryer done twice: the ways they can have gone are merged, not listed (2^40 of them)."""
    names = [*dryer.knowledge.repair][:20] * 2
    evidence = Evidence({}, (), tuple(repair_effect(dryer.knowledge, name) for name in names))
    dryer.suspects.member_float  # noqa: B018  (kept with the appliance, not part of this belief)
    tracemalloc.start()
    belief = infer(dryer.suspects, evidence)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert belief.now.sum() == pytest.approx(1.0)
    assert peak < 300e6


def test_a_clash_after_many_repairs_names_the_findings() -> None:
    """An open fuse after a sure new fuse is named, without going through the 2^30 ways of the repairs before it."""
    checks = raw_toy()["check"]
    checks["sees_fuse"] = {**checks["fuse_test"], "leak": 0.0, "links": {"fuse.open": 1.0}}
    s = compile_suspects(toy(check=checks), 0.0)
    doubtful = tuple(RepairEffect(f"pump{i}", ("pump.dead", "pump.weak"), 0.9) for i in range(30))
    evidence = Evidence(
        {},
        (WeighedFinding("listen", {"weak": 1.0}), WeighedFinding("sees_fuse", {"open": 1.0}, 31)),
        (*doubtful, RepairEffect("new_fuse", ("fuse.open",), 1.0)),
    )
    with pytest.raises(ClashError) as caught:
        infer(s, evidence)
    assert caught.value.findings == ("sees_fuse=open",)
