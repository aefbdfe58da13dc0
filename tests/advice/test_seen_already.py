"""What has just been seen, or follows from a longer look, is not looked at again until something is repaired."""

from __future__ import annotations

import re

import pytest
from msgspec.structs import replace

from faultodds.advice import NextMove, best_move
from faultodds.advice.problem import Problem
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding, repair_effect
from faultodds.belief.posterior import infer
from faultodds.knowledge import repair_modes

DARK = ("no_call", "no_glow", "glow_stays", "glow_no_flame")
BURNT = ("cycles", "lights_then_fails", "short_cycles")
# (what was seen) -> what it has shown as well: from how the work is done, not from the file.
SHOWN = {
    **{("burner_watch", o): {"glow_look", "drum_warm", "hand_turn"} for o in DARK},
    **{("burner_watch", o): {"glow_look", "drum_warm", "gas_cock_look"} for o in BURNT},
    **{("glow_look", o): {"drum_warm", "hand_turn"} for o in DARK},
    ("glow_look", "lights"): {"gas_cock_look"},
    ("drum_warm", "warm"): {"glow_look", "gas_cock_look"},
    ("drum_warm", "cold"): {"hand_turn"},
    ("hood_air_speed", "low"): {"hood_flap"},
    ("belt_rollers_look", "good"): {"hand_turn"},
    ("lint_path_look", "clear"): {"lint_slot_look"},
    ("timed_ok_auto_not", "yes"): {"drum_warm"},
    ("verification_run", "dry_in_time"): {"drum_warm", "glow_look", "hand_turn", "hood_flap", "gas_cock_look"},
}
# What says less than the other, or something else, stays: a hand at the hood is no number, a hot drum is no airflow.
STILL = {
    ("hood_flap", "strong"): {"hood_air_speed", "duct_look"},
    ("drum_warm", "warm"): {"hood_flap", "burner_watch"},
    ("drum_warm", "lukewarm"): {"glow_look"},
    ("burner_watch", "cycles"): {"hand_turn", "hood_flap"},
}
EVERYTHING = {"control": "timer", "auto_dry": "yes", "gas_meter": "yes"}


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer")


def offered(dryer: Appliance, *seen: WeighedFinding, repaired: str = "") -> set[str]:
    """The checks that could be done now."""
    k = dryer.knowledge
    effects = (
        (RepairEffect(repaired, tuple(repair_modes(k, k.repair[repaired])), k.repair[repaired].success),)
        if repaired
        else ()
    )
    belief = infer(dryer.suspects, Evidence(EVERYTHING, seen, effects))
    return set(Problem(dryer, belief, Situation()).checks)


@pytest.mark.parametrize("seen", sorted(SHOWN), ids="=".join)
def test_what_was_shown_is_not_asked_again(dryer: Appliance, seen: tuple[str, str]) -> None:
    """Offered before; not after; and again when it is more likely to be otherwise, or after a repair."""
    name, outcome = seen
    finding = WeighedFinding(name, {outcome: 1.0})
    unsure = WeighedFinding(name, dict.fromkeys(dryer.knowledge.observables[name].outcomes, 1.0))
    assert offered(dryer) >= SHOWN[seen]
    assert not offered(dryer, finding) & SHOWN[seen]
    assert offered(dryer, unsure) >= SHOWN[seen]
    assert offered(dryer, finding, repaired="coil_set") >= SHOWN[seen]


@pytest.mark.parametrize("name", ["harness_look", "igniter_ohms", "seal_test"])
def test_a_repair_that_did_not_help_puts_every_look_in_doubt(dryer: Appliance, name: str) -> None:
    """Also of parts that it has nothing to do with; after a run that passed what it did not change stands."""
    good = WeighedFinding(name, {next(iter(dryer.knowledge.check[name].outcomes)): 1.0})
    slow, passed = (WeighedFinding("verification_run", {o: 1.0}, 1) for o in ("slow", "dry_in_time"))
    assert name not in offered(dryer, good)
    assert name not in offered(dryer, good, repaired="coil_set"), "the run comes first"
    assert name in offered(dryer, good, slow, repaired="coil_set")
    assert name not in offered(dryer, good, passed, repaired="coil_set")
    assert name not in offered(dryer, good, slow, replace(good, stage=1), repaired="coil_set")


def test_a_cock_seen_open_is_not_to_be_opened(dryer: Appliance) -> None:
    """What is shut is then shut further back, which is the supplier's; a later look counts before an earlier one."""

    def puts_right(*cock: str) -> str:
        seen = [WeighedFinding("gas_cock_look", {outcome: 1.0}, 0, take) for take, outcome in enumerate(cock)]
        belief = infer(dryer.suspects, Evidence(EVERYTHING, (WeighedFinding("heat", {"none": 1.0}), *seen)))
        return Problem(dryer, belief, Situation()).mode_repair["gas_supply.shut"]

    assert (puts_right(), puts_right("shut"), puts_right("open", "shut")) == ("open_cock",) * 3
    assert (puts_right("open"), puts_right("shut", "open")) == ("gas_supplier",) * 2


@pytest.mark.parametrize("control", ["board", "timer"])
def test_a_cock_found_shut_is_opened_and_an_empty_bottle_is_not(dryer: Appliance, control: str) -> None:
    """What is seen is acted on: nobody looks at the hood first while the cock is seen shut, nor turns a cock where no gas comes."""

    def odds(*seen: tuple[str, str]) -> dict[str, float]:
        found = tuple(WeighedFinding(n, {o: 1.0}) for n, o in (("heat", "none"), *seen))
        belief = infer(dryer.suspects, Evidence({"control": control}, found))
        moves.append(best_move(dryer, belief, Situation()))
        return {o.name: o.probability for o in belief.fault_odds()}

    moves: list[NextMove] = []
    assert odds(("gas_cock_look", "shut"))["gas_supply.shut"] > 0.75
    assert (moves[0].kind, moves[0].name) == ("repair", "open_cock")
    empty = odds(("other_appliances", "dead"), ("gas_cock_look", "open"))
    assert empty["gas_supply.off"] > 0.75
    assert empty["gas_supply.shut"] < 0.01
    assert "open_cock" not in (moves[1].name, *moves[1].together)


@pytest.mark.parametrize("seen", sorted(STILL), ids="=".join)
def test_what_tells_more_stays(dryer: Appliance, seen: tuple[str, str]) -> None:
    """Nothing is taken off for being alike."""
    assert offered(dryer, WeighedFinding(seen[0], {seen[1]: 1.0})) >= STILL[seen]


def test_a_reason_holds_in_every_state_of_the_machine(dryer: Appliance) -> None:
    """Nothing is said to come before a panel is off where it may be off already, by a reason that does not look."""
    closed = re.compile(r"\b(?:panel|without opening|opening the machine|nothing open|before it is (?:opened|moved))\b")
    for name, check in dryer.knowledge.check.items():
        assert check.closed or check.access or not closed.search(check.reason), name


def test_a_run_that_can_only_fail_is_not_made_to_see_it_fail(dryer: Appliance) -> None:
    """Still no heat after the coils: something is looked for. With nothing seen since, it runs first."""
    coils, cold = repair_effect(dryer.knowledge, "coil_set"), WeighedFinding("heat", {"none": 1.0})
    after = Evidence({"control": "board"}, (cold, replace(cold, stage=1)), (coils,))
    move = best_move(dryer, infer(dryer.suspects, after), Situation())
    assert (move.kind, move.name != "verification_run") == ("check", True)
    unseen = infer(dryer.suspects, Evidence({"control": "board"}, (cold,), (coils,)))
    assert best_move(dryer, unseen, Situation()).name == "verification_run"
