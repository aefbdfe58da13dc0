"""Over-fire: too much gas is a finding with a fault behind it, and nothing that burns gas is offered while it stands."""

from __future__ import annotations

import pytest

from faultodds.advice import Situation, advise
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding
from faultodds.belief.posterior import infer
from faultodds.knowledge import repair_modes
from faultodds.readings import judge
from run_cli import faultodds

HIGH = (("meter_clock", "high"), ("manifold_pressure", "high"))


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer")


@pytest.mark.parametrize(
    ("check", "text", "fuel", "verdict"),
    [
        ("meter_clock", "84 s per half foot", "natural", "normal"),
        ("meter_clock", "40 s per half foot", "natural", "high"),
        ("meter_clock", "150 s per half foot", "natural", "low"),
        ("manifold_pressure", "3.5 in wc", "natural", "normal"),
        ("manifold_pressure", "9 in wc", "natural", "high"),
        ("manifold_pressure", "10.5 in wc", "propane", "normal"),
        ("manifold_pressure", "14 in wc", "propane", "high"),
    ],
)
def test_too_much_gas_reads_high(dryer: Appliance, check: str, text: str, fuel: str, verdict: str) -> None:
    """40 s per half foot is 46,350 Btu/h on a burner of about 22,000; 9 in w.c. is propane's pressure."""
    k = dryer.knowledge
    judged = judge(k.reading[check], list(k.check[check].outcomes), text, facts={"fuel": fuel})
    assert judged.verdict == verdict
    assert ("SHUT THE DRYER'S GAS COCK" in judged.note) == ((check, verdict) == ("meter_clock", "high"))


@pytest.mark.parametrize(("check", "outcome"), HIGH)
def test_it_points_at_regulator_and_orifice_and_stops_the_run(dryer: Appliance, check: str, outcome: str) -> None:
    """A regulator or an orifice leads, the gas is shut at once, and no check is offered that runs the machine."""
    seen = WeighedFinding(check, {outcome: 1.0})
    belief = infer(dryer.suspects, Evidence({"fuel": "natural"}, (seen,)))
    behind = ("gas_valve.overpressure", "burner.wrong_orifice")
    chance = dict(zip(dryer.suspects.modes, belief.mode_odds.tolist(), strict=True))
    before = dict(
        zip(dryer.suspects.modes, infer(dryer.suspects, Evidence({"fuel": "natural"})).mode_odds.tolist(), strict=True)
    )
    assert all(chance[m] > 4 * before[m] for m in behind)
    advice = advise(dryer, belief)
    assert "Shut the dryer's gas cock now" in advice.at_once[0]
    assert advice.checks
    assert not any(dryer.knowledge.check[c.name].running for c in advice.checks)


def test_the_run_is_offered_again_after_the_repair(dryer: Appliance) -> None:
    """Once the valve is changed the machine may run: the wet load is offered, nothing is asked for at once."""
    modes = tuple(repair_modes(dryer.knowledge, dryer.knowledge.repair["gas_valve"]))
    found = (WeighedFinding("manifold_pressure", {"high": 1.0}),)
    belief = infer(dryer.suspects, Evidence({}, found, (RepairEffect("gas_valve", modes, 0.97),)))
    advice = advise(dryer, belief, Situation())
    assert advice.at_once == ()
    assert "verification_run" in {c.name for c in advice.checks}


def test_it_is_said_before_the_advice() -> None:
    """The screen says it above everything else that is to be done, JSON under its own key."""
    told = faultodds("next", "--found", "meter_clock=high")
    assert told.out.index("AT ONCE: Too much gas.") < told.out.index("DO NEXT")
    answer = faultodds("next", "--found", "meter_clock=high", "--json").answer
    assert len(answer["advice"]["at_once"]) == 1
    assert faultodds("next", "--found", "meter_clock=normal", "--json").answer["advice"]["at_once"] == []
