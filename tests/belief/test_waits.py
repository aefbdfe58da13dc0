"""Repairs done again and time between visits: belief equals writing out every way in which one machine can have gone."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
import pytest
from msgspec.structs import replace

from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, RepairEffect, TimePassed, WeighedFinding, repair_effect
from faultodds.belief.factors import odds_course
from faultodds.belief.posterior import infer, new_faults, prior_for, why_back
from faultodds.belief.suspects import Suspects, compile_suspects
from faultodds.errors import ClashError, FaultoddsError
from faultodds.knowledge.tables import Floats
from toys import random_toy, raw_toy, toy

# What a machine is now, and the repairs that never take on what is there.
Stand = tuple[frozenset[str], frozenset[str]]


def by_every_way(s: Suspects, evidence: Evidence) -> tuple[Floats, Floats, float]:
    """(original, now, chance of the evidence) by following every suspect through everything that can happen, in plain sets."""
    prior, _ = prior_for(s, evidence.facts)
    index = {frozenset(s.names(h)): h for h in range(len(s.member))}
    comes = dict(zip(s.modes, new_faults(s, evidence.facts).tolist(), strict=True))
    modes = {r.name: frozenset(r.modes) for r in evidence.repairs}
    original, now = np.zeros(len(prior)), np.zeros(len(prior))
    for start, h in index.items():
        ways: dict[Stand, float] = {(start, frozenset()): float(prior[h])}
        repairs = waits = 0
        for step in (None, *evidence.course):
            if isinstance(step, RepairEffect):
                ways, repairs = _repaired(ways, step, modes), repairs + 1
            elif step is not None:
                ways, waits = _waited(ways, step, comes, index), waits + 1
            for seen in evidence.seen:
                if (seen.stage, seen.visit) == (repairs, waits):
                    ways = {w: p * _likelihood(s, seen, index[w[0]]) for w, p in ways.items()}
        for (is_now, _), p in ways.items():
            original[h] += p
            now[index[is_now]] += p
    return original / original.sum(), now / now.sum(), float(original.sum())


def _likelihood(s: Suspects, seen: WeighedFinding, h: int) -> float:
    rows = s.likelihood[s.rows[seen.name], h]
    return float(sum(seen.weights.get(o, 0.0) * p for o, p in zip(s.observables[seen.name], rows, strict=True)))


def _repaired(
    ways: dict[Stand, float], repair: RepairEffect, modes: Mapping[str, frozenset[str]]
) -> dict[Stand, float]:
    """What failed fails again by chance, or for good: so often that the next failure is as likely as the file says."""
    out: dict[Stand, float] = {}
    lasting = max(repair.fails_again - (1 - repair.success), 0.0) / repair.success
    for (now, never), p in ways.items():
        takes = 0.0 if repair.name in never else repair.success
        for after, marked, chance in (
            (now - modes[repair.name], never, takes),
            (now, never, (1 - takes) * (1 - lasting if repair.name not in never else 0.0)),
            (now, never | {repair.name}, (1 - takes) * (lasting if repair.name not in never else 1.0)),
        ):
            stand = (after, frozenset(r for r in marked if modes[r] & after))
            out[stand] = out.get(stand, 0.0) + p * chance
    return out


def _waited(
    ways: dict[Stand, float], wait: TimePassed, comes: Mapping[str, float], index: Mapping[frozenset[str], int]
) -> dict[Stand, float]:
    out: dict[Stand, float] = {}
    for (now, failed), p in ways.items():
        more = [m for m in comes if m not in now and now | {m} in index]
        chances = {now: 1 - wait.new * sum(comes[m] for m in more)} | {now | {m}: wait.new * comes[m] for m in more}
        for after, chance in chances.items():
            calls = wait.if_wrong if after else wait.if_right
            out[after, failed] = out.get((after, failed), 0.0) + p * chance * calls
    return out


def random_course(s: Suspects, rng: np.random.Generator, visits: int) -> Evidence:
    """Two repairs done over and over on some visits, with findings, sure and unsure, anywhere between."""
    kinds = [
        RepairEffect(
            f"r{i}", tuple(rng.choice(s.modes, rng.integers(1, 4), replace=False)), success, float(rng.uniform(0, 0.95))
        )
        for i, success in enumerate(rng.choice([1.0, 0.9, 0.5], 2).tolist())
    ]
    repairs = tuple(kinds[i] for i in rng.integers(0, 2, size=int(rng.integers(2, 6))))
    ends = sorted(rng.integers(0, len(repairs) + 1, size=visits - 1).tolist())
    waits = tuple(
        TimePassed(stage, float(rng.choice([0.0, 0.05, 0.6])), 0.8, float(rng.choice([0.03, 0.8]))) for stage in ends
    )
    seen = []
    for name in rng.choice(list(s.observables), 5).tolist():
        visit = int(rng.integers(0, visits))
        first, last = [0, *ends][visit], [*ends, len(repairs)][visit]
        weights = dict(zip(s.observables[name], rng.uniform(0.02, 1, len(s.observables[name])).tolist(), strict=True))
        seen.append(WeighedFinding(name, weights, int(rng.integers(first, last + 1)), 0, visit))
    facts = {f: str(rng.choice(v)) for f, v in s.fact_values.items() if rng.random() < 0.5}
    return Evidence(facts, tuple(seen), repairs, waits)


@pytest.mark.parametrize("seed", range(24))
def test_belief_equals_writing_out_every_way(seed: int) -> None:
    """One visit with repairs done again, two visits, three; every set of modes kept, and only the likely ones."""
    rng = np.random.default_rng(seed)
    s = compile_suspects(random_toy(seed % 5, components=3), (0.0, 0.01)[seed % 2])
    evidence = random_course(s, rng, visits=1 + seed % 3)
    belief = infer(s, evidence)
    original, now, chance = by_every_way(s, evidence)
    np.testing.assert_allclose(belief.original, original, rtol=0, atol=1e-12)
    np.testing.assert_allclose(belief.now, now, rtol=0, atol=1e-12)
    assert belief.log_evidence == pytest.approx(np.log(chance), abs=1e-9)


def test_writing_out_every_way_tells_failures_that_go_together_from_others() -> None:
    """The test above can fail: with failures that do not go together the same evidence means something else."""
    s = compile_suspects(random_toy(0, components=3), 0.0)
    twice = (RepairEffect("r", s.modes[:2], 0.9, 0.6),) * 2
    bad = (WeighedFinding("run_test", {"bad": 1.0}, 1), WeighedFinding("run_test", {"bad": 1.0}, 2))
    alone = tuple(replace(r, fails_again=1 - r.success) for r in twice)
    together, apart = (infer(s, Evidence({}, bad, r)).now for r in (twice, alone))
    assert np.abs(together - apart).max() > 1e-3
    np.testing.assert_allclose(by_every_way(s, Evidence({}, bad, twice))[1], together, atol=1e-12)


# --- a repair done again ------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(30))
def test_every_further_try_speaks_for_something_else(seed: int) -> None:
    """With the same two bad runs, a second try between them moves belief from what it would have put right to all the rest,
    the unlisted cause included, and by at least the chance that it failed again."""
    rng = np.random.default_rng(seed)
    s = compile_suspects(random_toy(seed % 6), 1e-3)
    r = RepairEffect(
        "r",
        tuple(rng.choice(s.modes[:-1], 2, replace=False)),
        float(rng.uniform(0.7, 0.99)),
        float(rng.uniform(0.3, 0.9)),
    )
    once = infer(s, Evidence({}, (_bad(1), _bad(1, take=1)), (r,)))
    twice = infer(s, Evidence({}, (_bad(1), _bad(2)), (r, r)))
    there = s.member[:, [s.mode_index[m] for m in r.modes]].any(axis=1)
    before, after = (float(b.now[there].sum()) for b in (once, twice))
    assert after / (1 - after) <= max(r.fails_again, 1 - r.success) * before / (1 - before) * (1 + 1e-9)
    assert (twice.now[~there] >= once.now[~there] * (1 - 1e-9)).all()
    assert _odds(twice, "unlisted.present") > _odds(once, "unlisted.present")


def test_each_failure_makes_the_next_likelier() -> None:
    """A part that is there for sure and was fitted without success: the chance that the next fitting takes falls with each one."""
    s = compile_suspects(random_toy(1), 0.0)
    r = RepairEffect("r", tuple(s.modes[:-1]), 0.9, 0.6)
    there = s.member[:, [s.mode_index[m] for m in r.modes]].any(axis=1)
    left = [1.0]
    for tries in range(1, 6):
        left.append(float(infer(s, Evidence({}, (), (r,) * tries)).now[there].sum()))
    before = float(infer(s, Evidence()).now[there].sum())
    takes = [1 - after / now for now, after in zip([before, *left[1:]], left[1:], strict=False)]
    assert takes[:2] == pytest.approx([0.9, 0.4])
    assert all(later < sooner for sooner, later in pairwise(takes))
    assert takes[2] < 0.1


def _bad(stage: int, take: int = 0) -> WeighedFinding:
    return WeighedFinding("run_test", {"bad": 1.0}, stage, take)


def _odds(belief: object, mode: str) -> float:
    return float(belief.mode_odds[belief.suspects.mode_index[mode]])  # type: ignore[attr-defined]


def test_the_chance_to_fail_again_is_in_the_file_and_a_repair_may_have_its_own() -> None:
    """`[costs] fails_again`, and `fails_again` of a repair, reach the evidence: what failed takes again as often as they say, and
    never likelier than at first."""
    costs = {**raw_toy()["costs"], "fails_again": 0.4}
    repair = raw_toy()["repair"]
    repair["new_fuse"]["fails_again"] = 0.1
    repair["new_belt"]["success"] = 0.3
    effects = {n: repair_effect(toy(costs=costs, repair=repair), n) for n in repair}
    takes = {n: (1 - e.lasting) * e.success for n, e in effects.items()}
    assert takes == pytest.approx({"new_pump": 0.6, "new_belt": 0.3, "new_fuse": 0.9})


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            {"costs": {**raw_toy()["costs"], "fails_again": 1.0}},
            "costs.fails_again: found 1.0; a chance from 0 and below 1.",
        ),
        (
            {"repair": {**raw_toy()["repair"], "new_fuse": {**raw_toy()["repair"]["new_fuse"], "fails_again": -0.1}}},
            "repair.new_fuse.fails_again: found -0.1; a chance from 0 and below 1.",
        ),
    ],
)
def test_a_chance_to_fail_again_that_is_none_is_refused(change: dict[str, object], says: str) -> None:
    """The file's error names the key, what was found and what is allowed."""
    with pytest.raises(FaultoddsError) as caught:
        toy(**change)
    assert says in str(caught.value)


# --- time between visits ------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(20))
def test_no_time_and_no_new_fault_change_nothing(seed: int) -> None:
    """A wait in which nothing can have come and after which everybody calls is no evidence at all."""
    rng = np.random.default_rng(seed)
    s = compile_suspects(random_toy(seed % 4), 1e-3)
    evidence = random_course(s, rng, visits=1)
    stage = int(rng.integers(0, len(evidence.repairs) + 1))
    seen = tuple(
        replace(f, visit=int(f.stage > stage or (f.stage == stage and rng.random() < 0.5))) for f in evidence.seen
    )
    waited = infer(s, replace(evidence, seen=seen, waits=(TimePassed(stage),)))
    np.testing.assert_allclose(waited.now, infer(s, evidence).now, rtol=0, atol=1e-12)


@pytest.mark.parametrize("seed", range(12))
def test_new_faults_grow_with_time(seed: int) -> None:
    """Every mode that is not certain already is likelier the longer it was; nothing wrong is less likely."""
    rng = np.random.default_rng(seed)
    s = compile_suspects(random_toy(seed % 4), 0.0)
    evidence = random_course(s, rng, visits=1)
    waits = [(TimePassed(len(evidence.repairs), new),) for new in (0.0, 0.01, 0.1, 0.5)]
    odds = np.array([infer(s, replace(evidence, waits=w)).mode_odds for w in waits])
    assert (np.diff(odds, axis=0) >= -1e-12).all()
    assert (np.diff(odds, axis=0).max(axis=1) > 0).all()
    sound = [infer(s, replace(evidence, waits=w)).sound for w in waits]
    assert sound == sorted(sound, reverse=True)


@pytest.mark.parametrize("seed", range(16))
def test_why_it_came_back_equals_writing_out_every_way(seed: int) -> None:
    """From every machine as it was last left: what was repaired and is there still, what else is, what is new, nothing."""
    rng = np.random.default_rng(500 + seed)
    s = compile_suspects(random_toy(seed % 5, components=3), (0.0, 0.01)[seed % 2])
    evidence = random_course(s, rng, visits=2 + seed % 2)
    why = why_back(infer(s, evidence))
    assert why is not None
    repaired = {m for r in evidence.repairs[: evidence.begun] for m in r.modes}
    wanted = np.zeros(4)
    for h in range(len(s.member)):
        for stand, weight in _followed(s, evidence, {(frozenset(s.names(h)), frozenset()): 1.0}, h, last=False).items():
            for (now, _), p in _followed(s, evidence, {stand: weight}, h, last=True).items():
                stayed = stand[0] & now
                wanted[0 if stayed & repaired else 1 if stayed else 2 if now else 3] += p
    wanted /= wanted.sum()
    assert (why.not_taken, why.missed, why.new, why.sound) == pytest.approx(tuple(wanted), abs=1e-12)
    assert why_back(infer(s, replace(evidence, waits=(), seen=()))) is None


def _followed(s: Suspects, evidence: Evidence, ways: dict[Stand, float], h: int, last: bool) -> dict[Stand, float]:
    """The ways up to the last wait, from the prior of suspect `h`; or with `last`, from there on."""
    index = {frozenset(s.names(i)): i for i in range(len(s.member))}
    comes = dict(zip(s.modes, new_faults(s, evidence.facts).tolist(), strict=True))
    modes = {r.name: frozenset(r.modes) for r in evidence.repairs}
    prior, _ = prior_for(s, evidence.facts)
    ways = ways if last else {w: p * float(prior[h]) for w, p in ways.items()}
    repairs = waits = 0
    for step in (None, *evidence.course):
        repairs, waits = repairs + isinstance(step, RepairEffect), waits + isinstance(step, TimePassed)
        if (waits == len(evidence.waits)) is not last:
            continue
        if isinstance(step, RepairEffect):
            ways = _repaired(ways, step, modes)
        elif step is not None:
            ways = _waited(ways, step, comes, index)
        for seen in evidence.seen:
            if (seen.stage, seen.visit) == (repairs, waits):
                ways = {w: p * _likelihood(s, seen, index[w[0]]) for w, p in ways.items()}
    return ways


def _logs(s: Suspects, now: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(now @ s.member_float) - np.log(now @ (1.0 - s.member_float)))


@pytest.mark.parametrize("seed", range(20))
def test_factors_follow_repairs_and_returns(seed: int) -> None:
    """Of every course: the odds after each step are those of all before it, and without a step those of the rest."""
    rng = np.random.default_rng(seed)
    s = compile_suspects(random_toy(seed % 5, components=3), 0.0)
    evidence = random_course(s, rng, visits=3)
    # Each measured apart, so that two alike before and after what is taken back stay two.
    evidence = replace(evidence, seen=tuple(replace(f, take=i) for i, f in enumerate(evidence.seen)))
    steps = odds_course(infer(s, evidence), s.modes).steps
    assert len(steps) == len(evidence.facts) + len(evidence.seen) + len(evidence.repairs) + len(evidence.waits)
    known = Evidence()
    left = sorted(evidence.seen, key=lambda f: f.stage + f.visit)
    facts = iter(evidence.facts.items())
    for step in steps:
        if step.kind == "fact":
            fact, value = next(facts)
            known = replace(known, facts={**known.facts, fact: value})
            rest = replace(evidence, facts={f: v for f, v in evidence.facts.items() if f != fact})
        elif step.kind == "found":
            finding = left.pop(0)
            known = known.plus(finding)
            rest = replace(evidence, seen=tuple(f for f in evidence.seen if f != finding))
        elif step.kind == "repair":
            place, gone = len(known.repairs), evidence.repairs[: len(known.repairs) + 1]
            known = replace(known, repairs=gone)
            rest = replace(
                evidence,
                repairs=(*gone[:-1], *evidence.repairs[place + 1 :]),
                seen=tuple(replace(f, stage=f.stage - (f.stage > place)) for f in evidence.seen),
                waits=tuple(replace(w, stage=w.stage - (w.stage > place)) for w in evidence.waits),
            )
        else:
            place = len(known.waits)
            known = replace(known, waits=evidence.waits[: place + 1])
            rest = replace(
                evidence,
                waits=(*evidence.waits[:place], *evidence.waits[place + 1 :]),
                seen=tuple(replace(f, visit=f.visit - (f.visit > place)) for f in evidence.seen),
            )
        assert step.after == pytest.approx(_logs(s, infer(s, known).now), abs=1e-8)
        assert step.without is not None
        assert step.without == pytest.approx(_logs(s, infer(s, rest).now), abs=1e-8)


def test_a_machine_without_the_part_does_not_get_its_fault() -> None:
    """A new fault is one that this machine can have."""
    knowledge = random_toy(1)
    s = compile_suspects(knowledge, 0.0)
    fact, value = next((f, v) for f, values in s.lacks.items() for v, modes in values.items() if modes)
    belief = infer(s, Evidence({fact: value}, waits=(TimePassed(0, 0.9),)))
    assert all(_odds(belief, m) == 0.0 for m in s.lacks[fact][value])
    assert new_faults(s, {fact: value}).sum() == pytest.approx(1.0)


def test_a_repair_that_was_proved_can_be_needed_again_after_a_time() -> None:
    """A sure fuse, fitted, cannot be open the same day; a year later it can, and then a new one takes as any first one."""
    checks = raw_toy()["check"]
    checks["sees_fuse"] = {**checks["fuse_test"], "leak": 0.0, "links": {"fuse.open": 1.0}}
    s = compile_suspects(toy(check=checks), 0.0)
    fuse = RepairEffect("new_fuse", ("fuse.open",), 1.0)
    opened = WeighedFinding("sees_fuse", {"open": 1.0}, 1, 0, 1)
    with pytest.raises(ClashError) as caught:
        infer(s, Evidence({}, (opened,), (fuse,), (TimePassed(1),)))
    assert caught.value.findings == ("sees_fuse=open",)
    later = Evidence({}, (opened,), (fuse,), (TimePassed(1, 0.1),))
    assert _odds(infer(s, later), "fuse.open") == pytest.approx(1.0)
    assert _odds(infer(s, replace(later, repairs=(fuse, fuse))), "fuse.open") == 0.0


def test_a_finding_in_a_visit_that_was_not_is_refused() -> None:
    """The error says which visit, and between which repairs it lies."""
    s = compile_suspects(toy(), 0.0)
    repairs = (RepairEffect("a", ("fuse.open",)), RepairEffect("b", ("fuse.open",)))
    with pytest.raises(FaultoddsError, match="visit 2; that visit begins after repair 1 and ends with repair 2"):
        infer(s, Evidence({}, (WeighedFinding("slow", {"yes": 1.0}, 0, 0, 1),), repairs, (TimePassed(1),)))
    with pytest.raises(FaultoddsError, match="there were 2 visits"):
        infer(s, Evidence({}, (WeighedFinding("slow", {"yes": 1.0}, 2, 0, 2),), repairs, (TimePassed(1),)))
    with pytest.raises(FaultoddsError, match="give them in order"):
        infer(s, Evidence({}, (), repairs, (TimePassed(2), TimePassed(1))))


# --- the dryer ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    return open_appliance("gas_dryer")


def test_an_igniter_fitted_twice_with_failed_runs(dryer: Appliance) -> None:
    """With the same two bad runs, every other fault and the unlisted cause gain by the second try, the igniter loses."""
    s = dryer.suspects
    base = (WeighedFinding("heat", {"none": 1.0}), WeighedFinding("igniter_ohms", {"open": 1.0}))
    runs = [
        tuple(WeighedFinding("verification_run", {"no_heat": 1.0}, *at) for at in two)
        for two in (((1, 0), (1, 1)), ((1,), (2,)))
    ]
    fit = repair_effect(dryer.knowledge, "igniter")
    once, twice = (infer(s, Evidence({}, (*base, *runs[n]), (fit,) * (n + 1))).mode_odds for n in (0, 1))
    igniter = s.mode_index["igniter.open"]
    assert twice[igniter] < 0.9 * once[igniter]
    others = np.delete(np.arange(len(once)), igniter)
    assert (twice[others] > once[others]).mean() > 0.8
    assert twice[s.mode_index["unlisted.present"]] > once[s.mode_index["unlisted.present"]]


def test_a_wait_on_the_dryer_costs_little(dryer: Appliance) -> None:
    """Some hundred thousand pairs, not every suspect with every mode."""
    import time

    s, fit = dryer.suspects, repair_effect(dryer.knowledge, "igniter")
    evidence = Evidence({}, (), (fit,), (TimePassed(1, 0.01, 0.8, 0.03),))
    infer(s, evidence)
    start = time.perf_counter()
    infer(s, evidence)
    assert time.perf_counter() - start < 1.0
