"""From findings to fault odds: against pgmpy, against enumeration, and the promises of the design."""

from __future__ import annotations

import hashlib
import itertools
import os
import subprocess
import sys
import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, strategies as st

from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding
from faultodds.belief.posterior import Belief, infer, outlook
from faultodds.belief.suspects import Suspects, compile_suspects
from faultodds.errors import ClashError, FaultoddsError, UnknownName
from faultodds.knowledge.network import build_network
from faultodds.knowledge.tables import Table, build_tables
from network_reference import exact_mode_odds, hard_evidence
from oracles import as_evidence, enumerate_odds, sample_evidence
from toys import random_toy, raw_toy, toy

SEEDS = range(5)


def _sure(name: str, outcome: str, stage: int = 0, take: int = 0) -> WeighedFinding:
    return WeighedFinding(name, {outcome: 1.0}, stage, take)


def _odds(belief: Belief) -> dict[str, float]:
    return dict(zip(belief.suspects.modes, belief.mode_odds.tolist(), strict=True))


@pytest.fixture(scope="module")
def small() -> Suspects:
    """The plain toy with every suspect."""
    return compile_suspects(toy(), 0.0)


# --- against other ways of getting the same numbers ------------------------------------------------------------------


@pytest.mark.parametrize("seed", SEEDS)
def test_posteriors_equal_pgmpy(seed: int) -> None:
    """With nothing left out every mode's odds equal pgmpy's exact inference to 1e-9, facts and equipment included."""
    knowledge = random_toy(seed)
    suspects, network = compile_suspects(knowledge, 0.0), build_network(knowledge)
    rng = np.random.default_rng(seed)
    worst = 0.0
    for _ in range(8):
        evidence = as_evidence(suspects, sample_evidence(suspects, rng, 6))
        wanted = exact_mode_odds(network, suspects, hard_evidence(suspects, evidence), chunk=3)
        worst = max(worst, float(np.abs(wanted - infer(suspects, evidence).mode_odds).max()))
    print(f"toy {seed}: largest difference from pgmpy {worst:.1e}")
    assert worst < 1e-9


@pytest.mark.parametrize("seed", SEEDS)
def test_posteriors_equal_enumeration(seed: int) -> None:
    """Facts, uncertain findings, imperfect repairs and findings after them equal writing out every case."""
    knowledge = random_toy(seed, components=3)
    suspects = compile_suspects(knowledge, 0.0)
    rng = np.random.default_rng(100 + seed)
    for _ in range(2):
        pairs = sample_evidence(suspects, rng, 4)
        evidence = _with_repairs(suspects, as_evidence(suspects, pairs), rng)
        repairs = [(frozenset(r.modes), r.success) for r in evidence.repairs]
        found = [(s.name, s.weights, s.stage) for s in evidence.seen]
        wanted, chance = enumerate_odds(knowledge, evidence.facts, found, repairs)
        belief = infer(suspects, evidence)
        assert _odds(belief) == pytest.approx(wanted, abs=1e-12)
        assert belief.log_evidence == pytest.approx(np.log(chance), abs=1e-9)


def _with_repairs(suspects: Suspects, evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """The same evidence with two repairs, findings spread over the stages, and the last one not sure."""
    modes = [m for m in suspects.modes if m != "unlisted.present"]
    chosen = [tuple(str(m) for m in rng.choice(modes, size=2, replace=False)) for _ in range(2)]
    repairs = tuple(RepairEffect(f"fix{i}", c, float(rng.uniform(0.3, 1.0))) for i, c in enumerate(chosen))
    seen = [WeighedFinding(s.name, s.weights, int(rng.integers(0, 3))) for s in evidence.seen]
    unsure = dict(zip(suspects.observables["look0"], rng.uniform(0.1, 1, size=3).tolist(), strict=True))
    return Evidence(evidence.facts, (*seen, WeighedFinding("look0", unsure, 1, take=1)), repairs)


def _pgmpy() -> tuple[Any, Any, Any]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.inference import VariableElimination
        from pgmpy.models import DiscreteBayesianNetwork
    return DiscreteBayesianNetwork, TabularCPD, VariableElimination


def _virtual(network: Any, seen: WeighedFinding, node: str) -> Any:
    """A pgmpy virtual-evidence table for a finding that is not sure."""
    _, cpd, _ = _pgmpy()
    states = network.get_cpds(node).state_names[node]
    return cpd(node, len(states), [[seen.weights.get(s, 0.0)] for s in states], state_names={node: states})


@pytest.mark.parametrize("seed", SEEDS)
def test_uncertain_findings_equal_virtual_evidence(seed: int) -> None:
    """A finding that is not sure weighs like pgmpy's virtual evidence with the same likelihoods."""
    knowledge = random_toy(seed)
    suspects, network = compile_suspects(knowledge, 0.0), build_network(knowledge)
    _, _, elimination = _pgmpy()
    doubts = [
        WeighedFinding("look1", {"normal": 0.7, "mid": 0.3}),
        WeighedFinding("pair", {"a": 0.2, "b": 0.5, "c": 0.3}),
        WeighedFinding("slow", {"no": 0.1, "yes": 0.6}),
    ]
    virtual = [_virtual(network, s, s.name) for s in doubts]
    odds = _odds(infer(suspects, Evidence({"age": "old"}, (*doubts, _sure("look2", "mid")))))
    answer = elimination(network).query(
        ["part0", "part1"],
        evidence={"age": "old", "look2": "mid"},
        virtual_evidence=virtual,
        joint=False,
        show_progress=False,
    )
    for component, factor in answer.items():
        for state, chance in zip(factor.state_names[component], factor.values, strict=True):
            if state != "ok":
                assert odds[f"{component}.{state}"] == pytest.approx(chance, abs=1e-9)


# --- repairs against a twin network -------------------------------------------------------------------------


def _twin(tables: list[Table], repairs: tuple[RepairEffect, ...]) -> Any:
    """The network with a copy of components, mechanisms and observables after each repair.

    The first copy is the machine as it came in. A component of copy n is sound if repair n took and covers
    its mode, and as it was in copy n - 1 otherwise; whether a repair took is a node of its own.
    """
    network_class, cpd_class, _ = _pgmpy()
    network, made, states = network_class(), [], {t.node: t.states for t in tables}

    def add(node: str, own: tuple[str, ...], parents: list[str], values: np.ndarray[Any, Any]) -> None:
        states[node] = own
        network.add_node(node)
        network.add_edges_from([(p, node) for p in parents])
        names = {n: list(states[n]) for n in (node, *parents)}
        cards = [len(states[p]) for p in parents]
        flat = values.reshape(len(own), -1)
        made.append(cpd_class(node, len(own), flat, parents or None, cards or None, names))

    for table in tables:
        add(table.node, table.states, list(table.parents), table.values)
    copied = {t.node for t in tables if t.role not in ("main_cause", "fact")}
    for n, repair in enumerate(repairs, start=1):
        add(f"took{n}", ("no", "yes"), [], np.array([1 - repair.success, repair.success]))
        for table in tables:
            if table.role == "component":
                before = table.node if n == 1 else f"{table.node}_after{n - 1}"
                values = np.stack([np.eye(len(table.states)), np.eye(len(table.states))], axis=2)
                for i, state in enumerate(table.states):
                    if f"{table.node}.{state}" in repair.modes:
                        values[:, i, 1] = np.eye(len(table.states))[0]
                add(f"{table.node}_after{n}", table.states, [before, f"took{n}"], values)
            elif table.node in copied:
                parents = [f"{p}_after{n}" if p in copied else p for p in table.parents]
                add(f"{table.node}_after{n}", table.states, parents, table.values)
    network.add_cpds(*made)
    assert network.check_model()
    return network


@pytest.mark.parametrize("success", [1.0, 0.8])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_repairs_equal_a_twin_network(seed: int, success: float) -> None:
    """WeighedFinding before stays as it was, seen after is read through the repair: as in a network that copies the machine."""
    knowledge = random_toy(seed, components=3)
    suspects = compile_suspects(knowledge, 0.0)
    parts = list(knowledge.component)
    repairs = (
        RepairEffect("first", tuple(knowledge.modes_under(parts[0])), success),
        RepairEffect("second", (knowledge.modes_under(parts[1])[0], knowledge.modes_under(parts[2])[-1]), 0.9),
    )
    seen = (
        _sure("slow", "yes"),
        _sure("look0", "high"),
        _sure("run_test", "bad", 1),
        _sure("look0", "mid", 1),
        _sure("run_test", "bad", 2),
        _sure("pair", "b", 2),
    )
    belief = infer(suspects, Evidence({"age": "new"}, seen, repairs))
    network = _twin(build_tables(knowledge), repairs)
    pairs = {"age": "new"}
    pairs |= {f"{s.name}_after{s.stage}" if s.stage else s.name: next(iter(s.weights)) for s in seen}
    _, _, elimination = _pgmpy()
    engine = elimination(network)
    before, now = belief.original @ suspects.member_float, belief.mode_odds
    for component in parts:
        for node, odds in ((component, before), (f"{component}_after2", now)):
            factor = engine.query([node], evidence=pairs, show_progress=False)
            for state, chance in zip(factor.state_names[node], factor.values, strict=True):
                if state != "ok":
                    assert odds[suspects.mode_index[f"{component}.{state}"]] == pytest.approx(chance, abs=1e-9)


def test_looking_again_is_not_repairing_and_looking_again(small: Suspects) -> None:
    """The same bad run after a repair speaks against that fault; without the repair it does not."""
    bad = (_sure("slow", "yes"), _sure("fuse_test", "open"))
    again = infer(small, Evidence({}, (*bad, _sure("run_test", "bad"))))
    fixed = infer(small, Evidence({}, (*bad, _sure("run_test", "bad", 1)), (RepairEffect("new_fuse", ("fuse.open",)),)))
    fuse = small.mode_index["fuse.open"]
    assert again.mode_odds[fuse] > 0.9
    assert fixed.mode_odds[fuse] == 0.0
    assert fixed.sound < 0.1
    assert (fixed.original @ small.member_float)[fuse] > 0.7


# --- promises -----------------------------------------------------------------------------------------------


@st.composite
def _some_evidence(draw: st.DrawFn, suspects: Suspects) -> Evidence:
    """Facts, sure and unsure findings in three stages, two repairs, one of which may fail."""
    facts = {f: draw(st.sampled_from(v)) for f, v in suspects.fact_values.items() if draw(st.booleans())}
    repairs = (RepairEffect("a", suspects.modes[:2], 1.0), RepairEffect("b", suspects.modes[2:4], 0.75))
    seen = []
    for name, outcomes in suspects.observables.items():
        if draw(st.booleans()):
            weights = {o: draw(st.floats(0.01, 1.0)) for o in outcomes if draw(st.booleans())}
            weights = weights or {outcomes[0]: 1.0}
            seen.append(WeighedFinding(name, weights, draw(st.integers(0, 2)), draw(st.integers(0, 1))))
    return Evidence(facts, tuple(seen), repairs)


RANDOM = compile_suspects(random_toy(1), 1e-3)


@given(evidence=_some_evidence(RANDOM), seed=st.integers(0, 2**31))
def test_findings_commute_to_the_bit(evidence: Evidence, seed: int) -> None:
    """The order in which findings and facts are entered never changes a bit of the answer."""
    order = np.random.default_rng(seed).permutation(len(evidence.seen))
    facts = dict(reversed(list(evidence.facts.items())))
    shuffled = Evidence(facts, tuple(evidence.seen[i] for i in order), evidence.repairs)
    one, other = infer(RANDOM, evidence), infer(RANDOM, shuffled)
    assert one.now.tobytes() == other.now.tobytes()
    assert one.log_evidence == other.log_evidence


@given(evidence=_some_evidence(RANDOM), outcome=st.sampled_from(["good", "bad"]))
def test_undo_restores_the_earlier_answer_to_the_bit(evidence: Evidence, outcome: str) -> None:
    """A finding added and taken back leaves every number as it was."""
    more = evidence.plus(_sure("run_test", outcome, 2, take=9))
    infer(RANDOM, more)
    undone = Evidence(more.facts, more.seen[:-1], more.repairs)
    assert undone == evidence
    assert infer(RANDOM, undone).now.tobytes() == infer(RANDOM, evidence).now.tobytes()


@given(evidence=_some_evidence(RANDOM))
def test_no_answer_is_empty_or_not_a_number(evidence: Evidence) -> None:
    """Every number is a chance, every distribution sums to 1, for any evidence that can be."""
    belief = infer(RANDOM, evidence)
    for p in (belief.prior, belief.original, belief.now):
        assert np.isfinite(p).all()
        assert (p >= 0).all()
        assert p.sum() == pytest.approx(1.0, abs=1e-12)
    assert ((belief.mode_odds >= 0) & (belief.mode_odds <= 1 + 1e-12)).all()
    for name in RANDOM.observables:
        assert sum(belief.outcome_odds(name).values()) == pytest.approx(1.0, abs=1e-12)
    for name in RANDOM.mechanism_states:
        assert sum(belief.mechanism_odds(name).values()) == pytest.approx(1.0, abs=1e-12)
    assert np.isfinite(belief.log_evidence)
    assert 0 <= belief.omitted_mass < 1


@given(evidence=_some_evidence(RANDOM))
def test_a_finding_seen_twice_counts_once_unless_measured_again(evidence: Evidence) -> None:
    """Entering a finding again changes nothing; measuring again does."""
    finding = _sure("look3", "high", 2, take=5)
    once = infer(RANDOM, evidence.plus(finding))
    twice = infer(RANDOM, evidence.plus(finding, finding))
    assert once.now.tobytes() == twice.now.tobytes()
    again = infer(RANDOM, evidence.plus(finding, _sure("look3", "high", 2, take=6)))
    assert again.log_evidence < once.log_evidence


@given(evidence=_some_evidence(RANDOM), scale=st.floats(1e-3, 1e3))
def test_only_the_proportions_of_an_uncertain_finding_matter(evidence: Evidence, scale: float) -> None:
    """Likelihoods of one finding times a constant give the same odds."""
    assume(evidence.seen)
    first = evidence.seen[0]
    scaled = WeighedFinding(first.name, {o: w * scale for o, w in first.weights.items()}, first.stage, first.take)
    other = Evidence(evidence.facts, (scaled, *evidence.seen[1:]), evidence.repairs)
    assert infer(RANDOM, other).now == pytest.approx(infer(RANDOM, evidence).now, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("target", [0.0, 1e-2])
def test_outlook_equals_inference_one_outcome_at_a_time(seed: int, target: float) -> None:
    """The whole evaluation is what adding each outcome by itself gives, before and after a repair."""
    suspects = compile_suspects(random_toy(seed, components=4), target)
    rng = np.random.default_rng(seed)
    for repairs in ((), (RepairEffect("fix", suspects.modes[:2], 0.8),)):
        drawn = as_evidence(suspects, sample_evidence(suspects, rng, 3))
        evidence = Evidence(drawn.facts, drawn.seen, repairs)
        belief = infer(suspects, evidence)
        got = outlook(belief)
        assert got.modes == pytest.approx(belief.mode_odds, abs=1e-9)
        for name, rows in suspects.rows.items():
            for i, outcome in enumerate(suspects.observables[name]):
                row = rows.start + i
                assert got.chance[row] == pytest.approx(belief.outcome_odds(name)[outcome], abs=1e-9)
                after = infer(suspects, evidence.plus(_sure(name, outcome, len(repairs), take=7)))
                assert got.after[row] == pytest.approx(after.mode_odds, abs=1e-6)


@given(evidence=_some_evidence(RANDOM))
def test_outlook_averages_back_to_the_odds_now(evidence: Evidence) -> None:
    """Over the outcomes of each check, chance times odds after adds up to the odds now, with and without dropping."""
    belief = infer(RANDOM, evidence)
    for drop in (0.0, 1e-9, 1e-4):
        got = outlook(belief, drop)
        for rows in RANDOM.rows.values():
            assert got.chance[rows].sum() == pytest.approx(1.0, abs=2 * drop + 1e-12)
            assert got.chance[rows] @ got.after[rows] == pytest.approx(belief.mode_odds, abs=2 * drop + 1e-12)


def test_an_outcome_that_cannot_be_keeps_the_odds_now() -> None:
    """Where an outcome has no chance, the outlook gives the odds now rather than a division by nothing."""
    raw = raw_toy()
    raw["check"]["probe"] = _exact("probe", "fuse.open")
    suspects = compile_suspects(toy(check=raw["check"]), 0.0)
    belief = infer(suspects, Evidence({}, (_sure("probe", "yes"),)))
    got = outlook(belief)
    rows = suspects.rows["probe"]
    assert got.chance[rows].tolist() == pytest.approx([0.0, 1.0])
    assert got.after[rows.start] == pytest.approx(belief.mode_odds)


def test_unlisted_can_lead(small: Suspects) -> None:
    """When every listed fault is cleared and the complaint stays, the unlisted cause comes first."""
    seen = (
        *(_sure("slow", "yes", take=i) for i in range(4)),
        *(_sure("run_test", "bad", take=i) for i in range(2)),
        *(_sure("listen", "hums", take=i) for i in range(4)),
        _sure("fuse_test", "closed"),
        _sure("run_test", "bad", 3),
    )
    fixes = tuple(
        RepairEffect(f"new_{p}", m)
        for p, m in (
            ("pump", ("pump.dead", "pump.weak")),
            ("belt", ("belt.broken",)),
            ("fuse", ("fuse.open",)),
        )
    )
    belief = infer(small, Evidence({}, seen, fixes))
    first = belief.fault_odds()[0]
    assert (first.component, first.mode) == ("unlisted", "present")
    assert first.probability > 0.5


# --- findings that clash ------------------------------------------------------------------------------------


def _exact(title: str, *causes: str) -> dict[str, Any]:
    """A check that is never wrong: yes exactly when one of the causes is present."""
    links = dict.fromkeys(causes, 1.0)
    return {"title": title, "minutes": 1, "outcomes": {"no": "no", "yes": "yes"}, "links": links}


def _sharp() -> Suspects:
    """A toy with checks that are never wrong, so that findings can clash."""
    raw = raw_toy()
    wanted = {
        "sees_pump": ("pump.dead", "pump.weak"),
        "sees_dead": ("pump.dead",),
        "sees_weak": ("pump.weak",),
        "sees_fuse": ("fuse.open",),
        "sees_belt": ("belt.broken",),
        "sees_any": ("pump.dead", "pump.weak", "fuse.open", "belt.broken"),
    }
    raw["check"] |= {name: _exact(name, *causes) for name, causes in wanted.items()}
    return compile_suspects(toy(check=raw["check"]), 0.0)


SHARP = _sharp()
SHARP_NAMES = [n for n in SHARP.observables if n.startswith("sees")]


def test_two_findings_that_clash_are_named() -> None:
    """The error names the two findings that cannot both be, not the ones that can, and says what to do."""
    seen = (_sure("slow", "yes"), _sure("sees_fuse", "yes"), _sure("listen", "weak"), _sure("sees_any", "no"))
    with pytest.raises(ClashError) as caught:
        infer(SHARP, Evidence({}, seen))
    assert caught.value.findings == ("sees_any=no", "sees_fuse=yes")
    assert str(caught.value) == (
        "no fault or set of faults explains these findings together: sees_any=no, sees_fuse=yes. "
        "Look at one of them again, or undo the last finding."
    )


def test_three_findings_that_clash_only_together_are_named() -> None:
    """Where no two clash, the three that do are named."""
    seen = (
        _sure("sees_pump", "yes"),
        _sure("sees_dead", "no"),
        _sure("sees_weak", "no"),
        _sure("slow", "yes"),
    )
    with pytest.raises(ClashError) as caught:
        infer(SHARP, Evidence({}, seen))
    assert set(caught.value.findings) == {"sees_pump=yes", "sees_dead=no", "sees_weak=no"}


def test_a_clash_names_the_facts_it_rests_on() -> None:
    """A machine without the part cannot have its fault: the message carries the fact."""
    raw = raw_toy()
    raw["check"]["sees_fuse"] = _exact("sees fuse", "fuse.open")
    kind = {
        "ask": "kind?",
        "values": {"full": "f", "bare": "b"},
        "usual": {"full": 1, "bare": 1},
        "lacks": {"bare": ["fuse"]},
    }
    suspects = compile_suspects(toy(check=raw["check"], equipment={"kind": kind}), 0.0)
    with pytest.raises(ClashError) as caught:
        infer(suspects, Evidence({"kind": "bare"}, (_sure("slow", "yes"), _sure("sees_fuse", "yes"))))
    assert caught.value.findings == ("sees_fuse=yes",)
    assert "sees_fuse=yes (with kind=bare)" in str(caught.value)


def test_facts_that_rule_out_every_cause_clash() -> None:
    """Facts that leave no main cause are named."""
    lacking = {"bare": ["pump", "belt", "fuse"]}
    kind = {
        "ask": "?",
        "values": {"full": "f", "bare": "b"},
        "usual": {"full": 1, "bare": 1},
        "lacks": lacking,
    }
    raw = raw_toy(other_causes={"nothing_wrong": 0, "unlisted": 0}, equipment={"kind": kind})
    raw["appliance"]["shares_per"] = 85
    with pytest.raises(ClashError) as caught:
        infer(compile_suspects(toy(**raw), 0.0), Evidence({"kind": "bare"}))
    assert str(caught.value) == "no fault fits these facts together: kind=bare. Take one back."
    assert caught.value.findings == ("kind=bare",)


def test_a_repair_that_cannot_fail_clashes_with_the_fault_seen_after_it() -> None:
    """After a repair that always takes, seeing its fault is a clash; if it may fail, it is evidence that it did."""
    seen = (_sure("sees_fuse", "yes"), _sure("sees_fuse", "yes", 1))
    with pytest.raises(ClashError, match="sees_fuse=yes"):
        infer(SHARP, Evidence({}, seen, (RepairEffect("new_fuse", ("fuse.open",)),)))
    belief = infer(SHARP, Evidence({}, seen, (RepairEffect("new_fuse", ("fuse.open",), 0.9),)))
    assert _odds(belief)["fuse.open"] == pytest.approx(1.0)


def test_findings_that_need_a_repair_to_have_gone_both_ways_clash() -> None:
    """A repair took or it did not: two findings after it that need both are named, and not the one before it."""
    seen = (
        _sure("sees_fuse", "yes"),
        _sure("sees_belt", "no"),
        _sure("sees_any", "no", 1),
        _sure("sees_fuse", "yes", 1, take=1),
    )
    with pytest.raises(ClashError) as caught:
        infer(SHARP, Evidence({}, seen, (RepairEffect("new_fuse", ("fuse.open",), 0.9),)))
    assert set(caught.value.findings) == {"sees_any=no", "sees_fuse=yes"}


def test_a_finding_said_in_very_small_numbers_is_not_blamed() -> None:
    """Only the proportions of an uncertain finding count, in the search for what clashes too."""
    faint = WeighedFinding("slow", {"no": 1e-20, "yes": 3e-20})
    with pytest.raises(ClashError) as caught:
        infer(SHARP, Evidence({}, (faint, _sure("sees_fuse", "yes"), _sure("sees_any", "no"))))
    assert set(caught.value.findings) == {"sees_fuse=yes", "sees_any=no"}


@given(
    outcomes=st.dictionaries(st.sampled_from(SHARP_NAMES), st.sampled_from(["no", "yes"]), min_size=2),
    order=st.randoms(use_true_random=False),
)
def test_the_clash_named_is_the_smallest(outcomes: dict[str, str], order: Any) -> None:
    """Against brute force: what is named cannot be explained, and no smaller set of the findings is unexplained."""
    seen = [_sure(n, o) for n, o in outcomes.items()]
    order.shuffle(seen)
    smallest = _smallest_clash(SHARP, outcomes)
    if smallest is None:
        assert np.isfinite(infer(SHARP, Evidence({}, tuple(seen))).now).all()
        return
    with pytest.raises(ClashError) as caught:
        infer(SHARP, Evidence({}, tuple(seen)))
    named = dict(f.split("=") for f in caught.value.findings)
    assert len(named) == smallest
    assert _smallest_clash(SHARP, named) == smallest


def _smallest_clash(suspects: Suspects, outcomes: Mapping[str, str]) -> int | None:
    for size in range(1, len(outcomes) + 1):
        for some in itertools.combinations(outcomes.items(), size):
            product = np.ones(len(suspects.member))
            for name, outcome in some:
                product *= suspects.likelihood[suspects.rows[name]][suspects.observables[name].index(outcome)]
            if not product.any():
                return size
    return None


def test_long_unlikely_evidence_is_not_taken_for_a_clash(small: Suspects) -> None:
    """A hundred unlikely but possible findings still give odds."""
    seen = tuple(_sure("listen", "weak" if i % 2 else "silent", take=i) for i in range(100))
    belief = infer(small, Evidence({}, seen))
    assert np.isfinite(belief.now).all()
    assert belief.now.sum() == pytest.approx(1.0)


# --- names and messages -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("evidence", "message"),
    [
        (
            Evidence({}, (_sure("lissen", "hums"),)),
            "there is no symptom or check called 'lissen'. Did you mean 'listen'? "
            "Known: slow, fuse_test, listen, run_test.",
        ),
        (
            Evidence({}, (_sure("listen", "humz"),)),
            "there is no outcome of 'listen' called 'humz'. Did you mean 'hums'? Known: hums, weak, silent.",
        ),
        (Evidence({"age": "old"}), "there is no fact called 'age'. Known: none."),
        (
            Evidence({}, (), (RepairEffect("x", ("pump.ded",)),)),
            "there is no mode called 'pump.ded'. Did you mean 'pump.dead'? "
            "Known: pump.dead, pump.weak, belt.broken, fuse.open, unlisted.present.",
        ),
        (
            Evidence({}, (WeighedFinding("listen", {"hums": -1.0}),)),
            "'listen=hums' has weight -1.0; a weight is 0 or more.",
        ),
        (
            Evidence({}, (WeighedFinding("listen", {"hums": float("nan")}),)),
            "'listen=hums' has weight nan; a weight is 0 or more.",
        ),
        (
            Evidence({}, (WeighedFinding("listen", {"hums": 0.0}),)),
            "the finding 'listen' gives no outcome any weight; name at least one outcome.",
        ),
        (
            Evidence({}, (_sure("listen", "hums", 1),)),
            "'listen' is said to come after repair 1, but only 0 were done.",
        ),
    ],
)
def test_a_name_or_weight_that_is_wrong_is_refused(small: Suspects, evidence: Evidence, message: str) -> None:
    """Nothing is ignored: every wrong name, outcome, weight and stage has its own message."""
    with pytest.raises(FaultoddsError) as caught:
        infer(small, evidence)
    assert str(caught.value) == message


def test_asking_about_an_unknown_name_is_refused(small: Suspects) -> None:
    """Outcomes and mechanisms are asked for by name, with the nearest one offered."""
    belief = infer(small, Evidence())
    with pytest.raises(UnknownName, match="Did you mean 'flow'"):
        belief.mechanism_odds("flows")
    with pytest.raises(UnknownName, match="Did you mean 'slow'"):
        belief.outcome_odds("slo")


def test_labels_say_how_sure() -> None:
    """A sure finding is written name=outcome; one that is not sure carries its percentages, likeliest first."""
    assert _sure("heat", "none").label == "heat=none"
    assert WeighedFinding("heat", {"normal": 3, "none": 7}).label == "heat=none 70% / normal 30%"


# --- the same bytes whatever the hash seed ------------------------------------------------------------------

_PRINT_DIGEST = """
import hashlib, numpy as np
from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding
from faultodds.belief.posterior import infer, outlook
from faultodds.belief.suspects import compile_suspects
from toys import random_toy
s = compile_suspects(random_toy(2), 1e-3)
seen = (WeighedFinding("slow", {"yes": 1.0}), WeighedFinding("look1", {"mid": .6, "high": .4}))
seen += (WeighedFinding("pair", {"b": 1.0}, 1),)
b = infer(s, Evidence({"age": "old", "kind": "bare"}, seen, (RepairEffect("x", s.modes[:2], .9),)))
o = outlook(b)
d = hashlib.sha256()
for a in (s.likelihood, s.given_main, s.without, b.now, b.original, o.after, o.chance):
    d.update(np.ascontiguousarray(a).tobytes())
d.update(repr((s.modes, s.observables, s.lacks, b.fault_odds(), b.top_suspects(9))).encode())
print(d.hexdigest())
"""


def test_the_same_bytes_whatever_the_hash_seed() -> None:
    """Compiling, inferring and the outlook give the same bytes for different PYTHONHASHSEED."""
    digests = set()
    for seed in ("0", "1", "4242"):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.path.dirname(os.path.dirname(__file__))}
        run = subprocess.run(
            [sys.executable, "-c", _PRINT_DIGEST], env=environment, capture_output=True, text=True, check=True
        )
        digests.add(run.stdout.strip())
    assert len(digests) == 1
    assert len(digests.pop()) == len(hashlib.sha256(b"").hexdigest())


# --- small hand-worked answers ------------------------------------------------------------------------------


def test_fault_odds_and_suspects_are_sorted_and_named(small: Suspects) -> None:
    """Fault odds come most probable first with their prior; suspects as sets of modes."""
    belief = infer(small, Evidence({}, (_sure("fuse_test", "open"),)))
    odds = belief.fault_odds()
    assert [o.probability for o in odds] == sorted((o.probability for o in odds), reverse=True)
    assert odds[0].name == "fuse.open"
    assert odds[0].prior == pytest.approx(0.2 + 0.8 * 0.02, abs=1e-12)
    prior = odds[0].prior
    assert odds[0].probability == pytest.approx(
        prior * (1 - 0.99 * 0.02) / (prior * (1 - 0.99 * 0.02) + (1 - prior) * 0.01), abs=1e-12
    )
    sets = belief.top_suspects(3)
    assert sets[0][0] == ("fuse.open",)
    assert sets[0][1] >= sets[1][1] >= sets[2][1]


def test_predictions_are_outcome_chances_now(small: Suspects) -> None:
    """The prediction of a check before anything is known is its leak and links over the prior."""
    belief = infer(small, Evidence())
    fuse = 0.2 + 0.8 * 0.02
    assert belief.outcome_odds("fuse_test")["open"] == pytest.approx(fuse * (1 - 0.99 * 0.02) + (1 - fuse) * 0.01)
    assert belief.sound == pytest.approx(0.1 * (1 - 0.04) * 0.98 * 0.98)


def test_the_smallest_cover_is_found_quickly_among_many_findings() -> None:
    """Forty findings that clash only in sets of five are searched in well under the step limit, and the set is smallest."""
    from faultodds.belief.clash import smallest_cover

    rng = np.random.default_rng(3)
    patterns = rng.random((40, 3000)) < 0.05
    patterns[:5] = False
    patterns[rng.integers(0, 5, 3000), np.arange(3000)] = True
    chosen = smallest_cover(patterns)
    assert patterns[chosen].any(axis=0).all()
    assert chosen == [0, 1, 2, 3, 4]


def test_many_odd_findings_are_no_clash() -> None:
    """Evidence whose chance is far under the usual floor, but which no finding makes impossible, still has an answer."""
    suspects = compile_suspects(random_toy(0), 0.0)
    odd = []
    for name, outcomes in suspects.observables.items():
        rows = suspects.likelihood[suspects.rows[name]]
        odd += [WeighedFinding(name, {outcomes[int(rows.min(axis=1).argmin())]: 1.0}, take=t) for t in range(6)]
    belief = infer(suspects, Evidence({}, tuple(odd)))
    assert np.isfinite(belief.now).all()
    assert belief.now.sum() == pytest.approx(1.0)
