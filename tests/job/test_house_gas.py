"""Gas that is off in the house is never a cock that is shut; with none there, nothing that lights the burner is advised or run."""

from __future__ import annotations

import tomllib
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from faultodds.advice import advise
from faultodds.advice.doing import action
from faultodds.advice.situation import may_be
from faultodds.belief import Appliance
from faultodds.belief.evidence import Evidence, WeighedFinding
from faultodds.belief.posterior import infer
from faultodds.errors import ClashError, FaultoddsError
from faultodds.job import OpenJob, Store, sayings
from faultodds.knowledge import Knowledge
from faultodds.safety import duties, heats, not_run_now
from random_evidence import random_evidence
from said import becomes

LINES = tomllib.loads(Path(__file__).with_name("house_gas.toml").read_text("utf-8"))
DEAD = WeighedFinding("other_appliances", {"dead": 1.0})
# Said of what is past and unpaid: asked about.


@pytest.mark.parametrize("line", LINES["off"])
def test_gas_off_in_the_house_is_what_the_others_show(line: str, dryer: Appliance, store: Store) -> None:
    """No gas anywhere, and the dryer's cock as it was before."""
    entered = [each for each in becomes(dryer, store, line)[0] if not each.startswith("note: ")]
    assert entered == ["other_appliances=dead"]


@pytest.mark.parametrize("line", LINES["cock"])
def test_a_cock_that_is_shut_is_still_one(line: str, dryer: Appliance, store: Store) -> None:
    """Said without the house."""
    assert "gas_shut: yes" in becomes(dryer, store, line)[0]


@pytest.mark.parametrize("line", LINES["ask"])
def test_no_gas_and_no_more_is_asked_about(line: str, dryer: Appliance, store: Store) -> None:
    """At the dryer, or nowhere in the house."""
    entered, told = becomes(dryer, store, line)
    assert entered == [] and "other_appliances=dead" in told


def taken_for_the_cock(k: Knowledge) -> list[str]:
    """Made lines of gas off in the house, from which a shut cock is heard."""
    lines = [
        f"{a}{s} {where}"
        for s, where in product(LINES["state"], LINES["scope"])
        for a in ("", "unplugged, ", "front off, ")
    ]
    return [line for line in lines if any((s.kind, s.name) == ("machine", "gas") for s in sayings.understand(k, line))]


def test_a_supply_that_is_off_is_never_a_cock_that_is_shut(dryer: Appliance, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever stands beside it. Planted: the words that tell them apart are lost."""
    assert taken_for_the_cock(dryer.knowledge) == []
    monkeypatch.setattr(sayings, "_not_that", lambda knowledge, line, heard: heard)
    assert len(taken_for_the_cock(dryer.knowledge)) > 50


def lit_without_gas(dryer: Appliance, count: int = 40) -> list[str]:
    """Checks and repairs offered, and steps printed, that light the burner, over random calls that end with no gas in the house."""
    k, rng, wrong = dryer.knowledge, np.random.default_rng(5), []
    for _ in range(count):
        before = random_evidence(dryer, rng)
        stage = len(before.repairs)
        kept = tuple(f for f in before.seen if f.name != DEAD.name)
        evidence = Evidence(before.facts, (*kept, WeighedFinding(DEAD.name, DEAD.weights, stage)), before.repairs)
        try:
            belief = infer(dryer.fitted(before.facts).suspects, evidence)
            told = advise(dryer, belief)
        except (ClashError, FaultoddsError):
            continue
        known = may_be(k, evidence, belief)
        if not any("gas supplier has put it back" in text for text in told.at_once):
            wrong.append("not told at once")
        wrong += [c.name for c in told.checks if k.check[c.name].running and not k.check[c.name].unheated]
        wrong += [r.name for r in told.repairs if r.name == "open_cock"]
        lines = action(dryer, told.name, known=known).lines if told.name in {**k.check, **k.repair} else ()
        wrong += [line.text for line in lines if heats(k, line)]
    return wrong


def test_nothing_lights_the_burner_with_no_gas_in_the_house(dryer: Appliance, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not a check, not a repair's proof, and the supplier's lines are told at once. Planted: it stops no heat."""
    assert lit_without_gas(dryer) == []
    heated = {n for n, c in dryer.knowledge.check.items() if c.running and not c.unheated}
    assert heated and heated <= set(not_run_now(dryer.knowledge, {"other_appliances": {"dead": 1.0}}))
    monkeypatch.setattr(duties, "not_lit_with", lambda *_: [])
    assert lit_without_gas(dryer, 5)


def test_it_is_told_at_once_and_a_run_is_refused(dryer: Appliance, store: Store) -> None:
    """In the call as well, until the supplier has put it back."""
    visit = OpenJob.start(store, dryer)
    visit.find("other_appliances", "dead")
    assert any("Nobody lights or opens anything" in text for text in visit.at_once())
    assert visit.out_of_service()
