"""The two arrays: which suspects are kept, what removal does, and that priors are what the file says."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.belief.evidence import Evidence
from faultodds.belief.posterior import infer
from faultodds.belief.suspects import Suspects, compile_suspects
from faultodds.errors import KnowledgeError
from faultodds.files import find
from faultodds.knowledge import parse
from faultodds.knowledge.schema import Knowledge
from oracles import cases
from toys import random_toy, toy


@pytest.fixture(scope="module", params=range(5))
def knowledge(request: pytest.FixtureRequest) -> Knowledge:
    """A random toy."""
    return random_toy(int(request.param))


@pytest.fixture(scope="module")
def suspects(knowledge: Knowledge) -> Suspects:
    """All of its suspects."""
    return compile_suspects(knowledge, 0.0)


def _sets(suspects: Suspects) -> list[frozenset[str]]:
    return [frozenset(suspects.names(h)) for h in range(len(suspects.member))]


def test_target_zero_keeps_every_set(knowledge: Knowledge, suspects: Suspects) -> None:
    """With a target of 0 there is a suspect for every choice of component states, and nothing is left out."""
    count = 2 * int(np.prod([len(c.modes) + 1 for c in knowledge.component.values()]))
    assert len(suspects.member) == count
    assert len(set(_sets(suspects))) == count
    assert suspects.share @ suspects.given_main.sum(axis=1) == pytest.approx(1.0, abs=1e-12)


def test_every_main_cause_spreads_over_its_own_suspects(suspects: Suspects) -> None:
    """Each main cause's row sums to 1 and gives nothing to a suspect that it is not in."""
    assert suspects.given_main.sum(axis=1) == pytest.approx(1.0, abs=1e-12)
    assert (suspects.given_main >= 0).all()
    for c in range(len(suspects.modes)):
        assert not suspects.given_main[c][~suspects.member[:, c]].any()


def test_prior_equals_enumeration(knowledge: Knowledge, suspects: Suspects) -> None:
    """The prior of each suspect, with and without facts, is the sum over the cases that make it up."""
    for facts in ({}, {"age": "old"}, {"kind": "bare"}, {"age": "new", "kind": "full"}):
        wanted = dict.fromkeys(_sets(suspects), 0.0)
        for case in cases(knowledge, facts):
            wanted[case.modes] += case.weight
        total = sum(wanted.values())
        prior = infer(suspects, Evidence(facts)).prior
        for modes, chance in zip(_sets(suspects), prior, strict=True):
            assert chance == pytest.approx(wanted[modes] / total, abs=1e-12)


def test_likelihoods_are_distributions(suspects: Suspects) -> None:
    """Given a suspect, the outcomes of each symptom and check sum to 1."""
    for rows in suspects.rows.values():
        assert suspects.likelihood[rows].sum(axis=0) == pytest.approx(1.0, abs=1e-12)
    assert (suspects.likelihood >= 0).all()


@pytest.mark.parametrize("target", [0.0, 1e-3, 0.02, 0.2])
def test_kept_suspects_are_closed_under_removal(target: float) -> None:
    """Taking a mode away leads to the suspect without it, at any target; one not present changes nothing."""
    suspects = compile_suspects(random_toy(3), target)
    sets = _sets(suspects)
    for h, modes in enumerate(sets):
        for i, mode in enumerate(suspects.modes):
            assert sets[suspects.without[h, i]] == modes - {mode}
    some = suspects.modes[:3]
    assert [sets[i] for i in suspects.removal(some)] == [modes - set(some) for modes in sets]
    assert sets[suspects.sound] == frozenset()


@pytest.mark.parametrize("target", [1e-4, 1e-3, 0.02])
def test_what_is_left_out_is_under_the_target_and_is_reported(target: float) -> None:
    """The prior mass left out is under the target, and the belief reports exactly that."""
    knowledge = random_toy(2)
    whole, cut = compile_suspects(knowledge, 0.0), compile_suspects(knowledge, target)
    assert len(cut.member) < len(whole.member)
    kept = set(_sets(cut))
    outside = [modes not in kept for modes in _sets(whole)]
    left_out = infer(whole, Evidence()).prior[outside].sum()
    assert left_out < target
    assert infer(cut, Evidence()).omitted_mass == pytest.approx(left_out, abs=1e-12)


@pytest.mark.parametrize("facts", [{"age": "old"}, {"kind": "bare"}, {"age": "new", "kind": "full"}])
def test_omitted_mass_is_under_the_facts_at_hand(facts: dict[str, str]) -> None:
    """With context and equipment facts the reported omitted mass is that of the same call with nothing left out."""
    knowledge = random_toy(4)
    whole, cut = compile_suspects(knowledge, 0.0), compile_suspects(knowledge, 0.02)
    kept = set(_sets(cut))
    outside = [modes not in kept for modes in _sets(whole)]
    left_out = infer(whole, Evidence(facts)).prior[outside].sum()
    assert infer(cut, Evidence(facts)).omitted_mass == pytest.approx(left_out, abs=1e-12)


def test_every_set_of_two_is_kept_whatever_the_target() -> None:
    """Sets of up to two modes stay, however rare; larger ones go first."""
    whole, cut = (compile_suspects(random_toy(1), t) for t in (0.0, 0.9))
    assert {s for s in _sets(whole) if len(s) <= 2} == set(_sets(cut))


def test_the_arrays_cannot_be_changed() -> None:
    """The compiled arrays are read-only."""
    suspects = compile_suspects(toy())
    with pytest.raises(ValueError, match="read-only"):
        suspects.likelihood[0, 0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        suspects.share[0] = 1.0


def test_too_many_suspects_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A target of 0 on a large file says how many is too many and what to use."""
    monkeypatch.setattr("faultodds.belief.kept_sets.MOST_SUSPECTS", 100)
    with pytest.raises(KnowledgeError) as caught:
        compile_suspects(random_toy(0), 0.0)
    assert str(caught.value) == (
        "keeping every set of modes would need more than 100 suspects; "
        "use an omitted-mass target above 0 (0.001 is usual)."
    )
    monkeypatch.setattr("faultodds.belief.kept_sets.MOST_SUSPECTS", 30)
    with pytest.raises(KnowledgeError, match=r"^component: 12 faults make more than 30 combinations of two alone"):
        compile_suspects(random_toy(0))


@given(st.integers(0, 10_000), st.floats(0.0, 0.6), st.sampled_from([1e-1, 1e-2, 1e-3, 3e-4]))
def test_too_many_are_told_of_before_they_are_built(seed: int, companion: float, target: float) -> None:
    """The count ahead is right: a file that would pass the bound is refused before the sets are made, and no other is."""
    knowledge = random_toy(seed)
    knowledge = replace(knowledge, other_causes=replace(knowledge.other_causes, companion=companion / 3))
    suspects = compile_suspects(knowledge, target)
    larger = int((suspects.member.sum(axis=1) > 2).sum())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("faultodds.belief.kept_sets.MOST_SUSPECTS", len(suspects.member))
        assert len(compile_suspects(knowledge, target).member) == len(suspects.member)
        patch.setattr("faultodds.belief.kept_sets.MOST_SUSPECTS", len(suspects.member) - 1)
        if larger:
            with pytest.raises(KnowledgeError, match=r"companion = .* combinations to keep"):
                compile_suspects(knowledge, target)


def test_what_makes_too_many_is_named_and_nothing_large_is_built() -> None:
    """The shipped dryer with companions twenty-five times as common: the number to lower is told, at once and in little room."""
    text = find("gas_dryer").read_text("utf-8").replace("companion = 0.0008 ", "companion = 0.02 ")
    knowledge = parse(text.encode())
    tracemalloc.start()
    try:
        with pytest.raises(KnowledgeError, match=r"^other_causes\.companion = 0\.02 \(for \d+ faults\)"):
            compile_suspects(knowledge)
        assert tracemalloc.get_traced_memory()[1] < 300e6
    finally:
        tracemalloc.stop()


def test_equipment_that_lacks_a_part_takes_its_suspects_away() -> None:
    """With a machine that lacks a component, no suspect with one of its modes has any chance."""
    knowledge = random_toy(0)
    suspects = compile_suspects(knowledge, 0.0)
    belief = infer(suspects, Evidence({"kind": "bare"}))
    lacking = [suspects.mode_index[m] for m in suspects.lacks["kind"]["bare"]]
    assert lacking
    assert belief.mode_odds[lacking].tolist() == [0.0] * len(lacking)
