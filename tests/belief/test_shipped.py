"""Every shipped appliance: against pyAgrum on the exported network, and sound in itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from faultodds.belief.appliance import open_appliance
from faultodds.belief.evidence import Evidence
from faultodds.belief.posterior import infer, outlook
from faultodds.belief.suspects import Suspects, compile_suspects
from faultodds.files.knowledge_files import shipped
from faultodds.knowledge.loading import load
from faultodds.knowledge.network import export
from network_reference import hard_evidence
from oracles import GumNet, as_evidence, sample_evidence

SETS = 80
MOST_FINDINGS = 6


@pytest.fixture(scope="module", params=shipped())
def appliance(request: pytest.FixtureRequest) -> str:
    """Each appliance that comes with the package."""
    return str(request.param)


@pytest.fixture(scope="module")
def suspects(appliance: str) -> Suspects:
    """Its arrays, as everyday commands use them."""
    return open_appliance(appliance).suspects


def test_posteriors_against_pyagrum_on_the_exported_network(appliance: str, suspects: Suspects, tmp_path: Path) -> None:
    """Over 200 evidence sets drawn from the model (up to six findings, any facts) mode odds are within 3e-3 of exact.

    The difference is the share of suspects left out; the largest one and its evidence are printed.
    """
    path = tmp_path / "appliance.bifxml"
    export(load(appliance), path, "xmlbif")
    exact = GumNet(path, suspects)
    rng = np.random.default_rng(20_260)
    apart = []
    for _ in range(SETS):
        evidence = as_evidence(suspects, sample_evidence(suspects, rng, MOST_FINDINGS))
        pairs = hard_evidence(suspects, evidence)
        exact.set(pairs)
        difference = np.abs(exact.mode_odds() - infer(suspects, evidence).mode_odds)
        apart.append((float(difference.max()), suspects.modes[int(difference.argmax())], pairs))
    worst, mode, pairs = max(apart, key=lambda a: a[0])
    median = float(np.median([a[0] for a in apart]))
    print(f"\n{appliance}: {SETS} evidence sets, largest difference {worst:.1e} ({mode}), median {median:.1e}; {pairs}")
    assert worst < 3e-3, f"{mode} is {worst:.1e} off with {pairs}"


def test_omitted_mass_is_under_the_target_for_usual_calls(suspects: Suspects) -> None:
    """With no facts known the share of prior left out is under what the compilation allows."""
    assert infer(suspects, Evidence()).omitted_mass <= suspects.omitted_target


def test_every_outcome_can_happen_and_every_mode_is_possible(suspects: Suspects) -> None:
    """Before anything is known no outcome is impossible, and every mode with a share has odds."""
    got = outlook(infer(suspects, Evidence()))
    assert (got.chance > 0).all()
    assert (got.modes > 0).all()
    assert np.isfinite(got.after).all()


def test_every_fact_value_leaves_an_answer(suspects: Suspects) -> None:
    """Each value of each fact by itself gives odds that sum, and omits little."""
    for fact, values in suspects.fact_values.items():
        for value in values:
            belief = infer(suspects, Evidence({fact: value}))
            assert belief.now.sum() == pytest.approx(1.0)
            assert belief.omitted_mass < 20 * suspects.omitted_target, f"{fact}={value}"


def test_what_a_finding_speaks_of_is_what_its_numbers_say(appliance: str, suspects: Suspects) -> None:
    """A mode that by itself makes an outcome likelier than on a sound machine is spoken of, and every mode spoken of changes some
    outcome when it is taken away: what was seen stands until one of them is put right."""
    k, s = load(appliance), suspects
    alone = {m: int(np.flatnonzero(s.member[:, s.mode_index[m]] & (s.member.sum(axis=1) == 1))[0]) for m in s.modes}
    there = {m: np.flatnonzero(s.member[:, s.mode_index[m]]) for m in s.modes}
    without = {m: s.removal([m])[there[m]] for m in s.modes}
    for name, row in s.rows.items():
        like = s.likelihood[row]
        raises = {m for m, h in alone.items() if (like[1:, h] - like[1:, s.sound]).max() > 1e-7}
        changes = {m for m in s.modes if np.abs(like[:, there[m]] - like[:, without[m]]).max() > 1e-7}
        assert raises <= k.speaks_of[name] <= changes, name


def test_one_finding_of_each_outcome_agrees_with_a_wider_compilation(appliance: str, suspects: Suspects) -> None:
    """With a quarter of the omitted mass, no mode's odds after any one finding move by 2e-3."""
    narrow = outlook(infer(suspects, Evidence()))
    wide = outlook(infer(compile_suspects(load(appliance), suspects.omitted_target / 4), Evidence()))
    likely = wide.chance > 1e-3
    assert np.abs(narrow.after - wide.after)[likely].max() < 2e-3
