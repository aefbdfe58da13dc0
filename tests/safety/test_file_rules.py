"""What a knowledge file must declare to be used: each rule refuses a file that breaks it, with the place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from faultodds.belief.appliance import compiled, open_appliance
from faultodds.errors import KnowledgeError
from faultodds.knowledge.loading import from_mapping, load
from faultodds.knowledge.schema import Knowledge
from faultodds.safety.file_rules import problems
from run_cli import faultodds, write_toy
from toys import raw_toy, toy

GAS = {
    "title": "gas shut",
    "open_step": "Shut the gas.",
    "close_step": "Open the gas, soap-test.",
    "open_minutes": 1,
    "close_minutes": 1,
    "makes_safe": "gas",
}
Change = Callable[[Knowledge], Knowledge]


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return load("gas_dryer")


def fact(name: str, **changes: Any) -> Change:
    """An intake fact of the file changed."""
    return lambda k: replace(k, context={**k.context, name: replace(k.context[name], **changes)})


def work(name: str, **changes: Any) -> Change:
    """A check or repair of the file changed."""

    def change(k: Knowledge) -> Knowledge:
        if name in k.check:
            return replace(k, check={**k.check, name: replace(k.check[name], **changes)})
        return replace(k, repair={**k.repair, name: replace(k.repair[name], **changes)})

    return change


def item(name: str, **changes: Any) -> Change:
    """An access item of the file changed."""
    return lambda k: replace(k, access={**k.access, name: replace(k.access[name], **changes)})


def no_stop(name: str) -> Change:
    """A stop sign taken out."""
    return lambda k: replace(k, stop={n: s for n, s in k.stop.items() if not n.startswith(name)})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (no_stop("gas"), 'stop: no stop sign covers "gas", a hazard of access.gas_shut; add a [stop.NAME]'),
        (no_stop("co_"), 'stop: no stop sign covers "co", a hazard of access.duct_off'),
        (no_stop("fire"), 'stop: no stop sign covers "fire", a hazard of caution.never_bypass'),
        (
            item("front_open", requires=["gas_shut"]),
            "access.front_open.requires: it opens with the power on; add 'unplugged'.",
        ),
        (
            item("rear_open", requires=["unplugged"]),
            "access.rear_open.requires: it opens with the gas on; add 'gas_shut'.",
        ),
        (
            item("gas_shut", close_while=["pulled"]),
            "access.gas_shut.close_while: there is no access item called 'pulled'.",
        ),
        (item("duct_off", watch=""), "access.duct_off.watch: it lets out co, heat; say who watches what"),
        (
            work("igniter", steps=["Fit it.", "Watch it glow and light."]),
            "repair.igniter.steps: 'Watch it glow and light.' runs",
        ),
        (work("thermistor", steps=["Read it against the chart, clear the code, run."]), "repair.thermistor.steps: "),
        (work("high_limit_kit", steps=["Run and watch that the limit holds."]), "repair.high_limit_kit.steps: "),
        (work("burner_voltage", fit=[]), "check.burner_voltage: energised work says what is fitted dead ('fit')"),
        (work("burner_voltage", unfit=[]), "check.burner_voltage: energised work says what is fitted dead"),
        (work("igniter_ohms", fit=["Clip on."]), "check.igniter_ohms: 'fit' and 'unfit' are for energised work"),
        (work("igniter", tight=["Soap-test."]), "repair.igniter.tight: gas comes on with a panel off"),
        (work("igniter_ohms", prove=["See."]), "check.igniter_ohms.prove: only a repair or live gas work is proved"),
        (
            item("pulled_out", shut_first=["gas_shut"]),
            "access.pulled_out.shut_first: the machine is moved with the power on",
        ),
        (
            item("duct_off", requires=[], shut_first=["unplugged"]),
            "access.duct_off.shut_first: the machine is moved with the gas",
        ),
        (
            work("transition_look", access=["pulled_out"]),
            "check.transition_look.access: hands are at the machine with the power",
        ),
        (
            work("clean_duct", access=["duct_off"]),
            "repair.clean_duct.access: hands are at the machine with the power on; add",
        ),
        (work("refit_transition", access=["unplugged", "pulled_out"]), "repair.refit_transition.access: hands are at"),
        (work("verification_run", cautions=["co_watch"]), "check.verification_run.cautions: it lights the machine, so"),
        (work("gas_cock_look", unless_open=["gas_cock"]), "check.gas_cock_look.unless_open: there is no access item"),
        (
            fact("vent_material", advice={"foils": "x"}),
            "context.vent_material.advice: there is no value called 'foils'",
        ),
        (work("burner_clean", qualified=False, tight=[]), "repair.burner_clean: is gas work behind a panel"),
        (
            work("meter_clock", access=["duct_off"]),
            "check.meter_clock: runs the machine with 'duct_off' and nobody beside it",
        ),
        (
            work("duct_off_run", run_minutes=0.0),
            "check.duct_off_run.run_minutes: runs the machine with 'duct_off'; say",
        ),
        (
            work("duct_off_run", cautions=[]),
            "check.duct_off_run.cautions: runs the machine with 'duct_off', so it needs a caution",
        ),
        (
            lambda k: replace(k, caution={**k.caution, "ladder": replace(k.caution["ladder"], text="x" * 101)}),
            "caution.ladder.text: 101 characters; at most 100",
        ),
    ],
)
def test_a_file_that_breaks_a_rule_is_refused_with_the_place(dryer: Knowledge, change: Change, said: str) -> None:
    """The shipped file breaks none; changed in one place it is refused where it is loaded, the place first."""
    assert not list(problems(dryer))
    with pytest.raises(KnowledgeError) as refused:
        compiled(change(dryer))
    assert any(each.startswith(said) for each in refused.value.problems)


def test_any_appliance_is_held_to_the_rules() -> None:
    """A toy with a pump and no gas: its panel needs the power item; with a gas item, the gas one and a stop sign as well."""
    assert not list(problems(toy()))
    bare = raw_toy()
    bare["access"]["panel"]["requires"] = []
    assert list(problems(from_mapping(bare))) == ["access.panel.requires: it opens with the power on; add 'unplugged'."]
    gas = raw_toy()
    gas["access"]["cock"] = GAS
    assert [p.partition(":")[0] for p in problems(from_mapping(gas))] == [
        "stop",
        "access.panel.requires",
        "check.run_test.cautions",
    ]
    none = raw_toy()
    none["access"]["unplugged"]["makes_safe"] = None
    assert [p.partition(":")[0] for p in problems(from_mapping(none))] == [
        "access.unplugged.requires",
        "access.panel.requires",
    ]


def test_it_is_refused_wherever_it_is_used(tmp_path: Path) -> None:
    """Opening it, `appliance check` and `next` all refuse it, with the file named."""
    access = raw_toy()["access"]
    access["panel"]["requires"] = []
    path = write_toy(tmp_path / "loose.toml", access=access)
    with pytest.raises(KnowledgeError, match=r"^loose.toml: access.panel.requires"):
        open_appliance(str(path))
    for command in (["appliance", "check", str(path)], ["next", "--appliance", str(path)]):
        ran = faultodds(*command)
        assert ran.code == 2 and "access.panel.requires: it opens with the power on; add 'unplugged'." in ran.said
