"""`appliance`: list, show, check, export; and the library's self-check behind it."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.belief.appliance import compiled
from faultodds.belief.selfcheck import self_check
from faultodds.knowledge.loading import load
from run_cli import faultodds, write_toy
from toys import raw_toy, toy


def test_list_names_what_is_shipped() -> None:
    """`list` shows the gas dryer."""
    assert faultodds("appliance", "list", "--json").answer["appliances"][0]["name"] == "gas_dryer"
    assert "gas_dryer" in faultodds("appliance", "list").out


def test_show_names_everything_that_can_be_typed() -> None:
    """Every name there is stands in the text, at most 80 columns wide."""
    k = load("gas_dryer")
    ran = faultodds("appliance", "show")
    names = [*dict(k.modes()), *k.observables, *k.repair, *k.context, *k.equipment, *k.access, *k.stop]
    assert [n for n in names if n not in ran.out] == []
    assert max(map(len, ran.out.splitlines())) <= 80


def test_shares_add_up() -> None:
    """The shares shown, with the unlisted cause and nothing wrong, make up all calls."""
    k = load("gas_dryer")
    got = faultodds("appliance", "show", "gas_dryer", "--json").answer
    rest = (k.other_causes.unlisted + k.other_causes.nothing_wrong) / k.appliance.shares_per
    assert sum(f["share"] for f in got["faults"]) + rest == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize(
    ("what", "said"),
    [("checks", "coil_ohms=good | off"), ("coil_ohms", "1. "), ("coils.drop_out_hot", "[coil_set]"),
     ("control", "Values:"), ("stops", "gas_smell")],
)  # fmt: skip
def test_show_one_list_or_name(what: str, said: str) -> None:
    """A list by its name, or one thing in full."""
    ran = faultodds("appliance", "show", "gas_dryer", what)
    assert ran.code == 0, ran.err
    assert said in ran.out


def test_check_reports_the_shipped_dryer() -> None:
    """The shipped file is sound; size, omitted mass, largest table and network are reported."""
    got = faultodds("appliance", "check", "gas_dryer", "--json").answer
    k = load("gas_dryer")
    assert got["sizes"]["modes"] == len(dict(k.modes()))
    assert 0 <= got["omitted_mass"] < 1e-3
    assert got["largest_table"]["cells"] <= 20_000
    assert got["network"]["check_model"] is True
    assert got["unreached"] == []


def twins() -> dict[str, object]:
    """Groups for a toy where two pump modes look the same and the fuse is out of every check's reach."""
    pump = {
        "title": "pump",
        "modes": {"dead": {"title": "dead", "share": 30}, "seized": {"title": "seized", "share": 15}},
    }
    base = raw_toy()
    flow = {
        **base["mechanism"]["flow"],
        "causes": {"pump.dead": "none", "pump.seized": "none", "belt.broken": "low"},
    }
    slow = {**base["symptom"]["slow"], "links": {"flow.low": 0.9, "flow.none": 0.95, "fuse.open": 0.3}}
    run = {**base["check"]["run_test"], "links": {"flow.low": 0.8, "flow.none": 0.99}}
    return {
        "component": {**base["component"], "pump": pump},
        "mechanism": {"flow": flow},
        "symptom": {"slow": slow},
        "check": {"run_test": run},
    }


def test_modes_that_nothing_tells_apart() -> None:
    """Modes with equal likelihoods form a group, named with the repair that fixes all of them."""
    report = self_check(compiled(toy(**twins())))
    assert [g.modes for g in report.groups] == [("pump.dead", "pump.seized")]
    assert report.groups[0].repairs == ("new_pump",)


def test_modes_that_no_check_reaches() -> None:
    """A mode that only a symptom shows is out of every check's reach, but not unseen."""
    report = self_check(compiled(toy(**twins())))
    assert report.unreached == ("fuse.open",)
    assert report.unseen == ()


def test_different_likelihoods_are_no_group() -> None:
    """The plain toy has no ambiguity groups and every mode is reached."""
    report = self_check(compiled(toy()))
    assert (report.groups, report.unreached) == ((), ())


def test_check_says_so_in_words(tmp_path: Path) -> None:
    """The text names the group, its common repair, and the mode no check reaches."""
    ran = faultodds("appliance", "check", str(write_toy(tmp_path / "twins.toml", **twins())))
    assert ran.code == 0, ran.err
    assert "pump: dead; pump: seized the same repair fixes them (new_pump), so it does not matter." in ran.text
    assert "Faults that no check can reach: - fuse: open [fuse.open]: symptoms show it." in ran.text


@pytest.mark.parametrize("form", ["bif", "xmlbif"])
def test_export_writes_the_network(form: str, tmp_path: Path) -> None:
    """The exported file holds the network; a file that is there is kept unless told otherwise."""
    source = str(write_toy(tmp_path / "toy.toml"))
    out = tmp_path / f"toy.{form}"
    ran = faultodds("appliance", "export", source, "--to", form, "--out", str(out))
    assert ran.code == 0, ran.err
    text = out.read_text(encoding="utf-8")
    assert "main_cause" in text
    assert "fuse_test" in text
    again = faultodds("appliance", "export", source, "--to", form, "--out", str(out))
    assert again.code == 2
    assert "Add --force" in again.said
    assert faultodds("appliance", "export", source, "--to", form, "--out", str(out), "--force").code == 0
