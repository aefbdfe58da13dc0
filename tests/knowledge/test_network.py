"""The pgmpy network and its files: checked, round trips, the same posteriors in pyAgrum, readable labels."""

from __future__ import annotations

import os
import warnings
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest

from faultodds.belief.posterior import infer
from faultodds.belief.suspects import compile_suspects
from faultodds.errors import FaultoddsError
from faultodds.knowledge.loading import load
from faultodds.knowledge.network import build_network, export, labels
from faultodds.knowledge.network_files import plain_words
from faultodds.knowledge.tables import build_tables
from network_reference import hard_evidence
from oracles import GumNet, as_evidence, sample_evidence
from toys import random_toy, raw_toy, toy

Form = Literal["bif", "xmlbif"]
FORMS: tuple[Form, ...] = ("bif", "xmlbif")
SUFFIX = {"bif": ".bif", "xmlbif": ".bifxml"}


def _read(path: Path, form: Form) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.readwrite import BIFReader, XMLBIFReader
    reader = BIFReader(str(path), include_properties=True) if form == "bif" else XMLBIFReader(str(path))
    return reader.get_model()


def _assert_same(one: Any, other: Any) -> None:
    """Two pgmpy networks are the same to the bit, state names, parents and labels included."""
    assert set(one.nodes) == set(other.nodes)
    assert set(one.edges) == set(other.edges)
    for node in one.nodes:
        a, b = one.get_cpds(node), other.get_cpds(node)
        assert a.variables == b.variables
        assert a.state_names == b.state_names
        assert a.values.tobytes() == np.ascontiguousarray(b.values).tobytes(), node
        assert one.nodes[node].get("label") == other.nodes[node].get("label")


def test_the_network_is_what_the_tables_say() -> None:
    """Nodes, parents and numbers of the pgmpy network are those of the tables, and pgmpy accepts it."""
    knowledge = random_toy(0)
    network = build_network(knowledge)
    assert network.check_model()
    for table in build_tables(knowledge):
        cpd = network.get_cpds(table.node)
        assert tuple(cpd.variables) == (table.node, *table.parents)
        assert (cpd.values == table.values).all()


def test_the_shipped_network_is_accepted_and_round_trips_as_xmlbif(tmp_path: Path) -> None:
    """The dryer passes pgmpy's check, and every number and label comes back through XMLBIF to the bit."""
    network = build_network(load("gas_dryer"))
    assert network.check_model()
    export(load("gas_dryer"), tmp_path / "dryer.bifxml", "xmlbif")
    back = _read(tmp_path / "dryer.bifxml", "xmlbif")
    _assert_same(network, back)
    assert back.name == "gas_dryer"


def test_the_shipped_network_loads_in_pyagrum_from_both_formats(tmp_path: Path) -> None:
    """pyAgrum reads the same nodes, states and tables; BIF numbers in its single precision, XMLBIF exactly."""
    import pyagrum as gum

    network = build_network(load("gas_dryer"))
    for form, apart in (("bif", 1e-7), ("xmlbif", 0.0)):
        path = tmp_path / f"dryer{SUFFIX[form]}"
        export(load("gas_dryer"), path, form)  # type: ignore[arg-type]
        net = gum.loadBN(str(path))
        assert net.names() == set(network.nodes)
        for node in network.nodes:
            cpd, table = network.get_cpds(node), net.cpt(node)
            assert list(net.variable(node).labels()) == cpd.state_names[node]
            order = list(reversed(table.names))
            values = np.transpose(table.toarray(), [order.index(v) for v in cpd.variables])
            assert np.abs(values - cpd.values).max() <= apart, node


@pytest.mark.parametrize("form", FORMS)
def test_toys_round_trip_and_give_pyagrum_the_same_posteriors(form: Form, tmp_path: Path) -> None:
    """Through either format, pgmpy reads the same bits back and pyAgrum gives the posteriors of the arrays."""
    knowledge = random_toy(3)
    suspects = compile_suspects(knowledge, 0.0)
    path = tmp_path / f"toy{SUFFIX[form]}"
    export(knowledge, path, form)
    _assert_same(build_network(knowledge), _read(path, form))
    exact = GumNet(path, suspects)
    rng = np.random.default_rng(5)
    for _ in range(15):
        evidence = as_evidence(suspects, sample_evidence(suspects, rng, 5))
        exact.set(hard_evidence(suspects, evidence))
        # pyAgrum reads BIF numbers in single precision.
        apart = 1e-6 if form == "bif" else 1e-9
        assert exact.mode_odds() == pytest.approx(infer(suspects, evidence).mode_odds, abs=apart)


@pytest.mark.parametrize("form", FORMS)
def test_awkward_words_do_not_break_readers(form: Form, tmp_path: Path) -> None:
    """Units, quotes, comment signs and letters beyond ASCII in titles survive as words and break no reader."""
    import pyagrum as gum

    raw = raw_toy()
    raw["component"]["pump"]["title"] = 'pump "A" = 50%; {hot} // 165 °F /* x */ <40 ohm & >=40 ohm -- variable'
    raw["check"]["listen"]["outcomes"] = {
        "hums": "under 40 Ω, 0.5 in. w.c.",
        "weak": "40+ Ω",
        "silent": "O'L",
    }
    knowledge = toy(component=raw["component"], check=raw["check"])
    path = tmp_path / f"toy{SUFFIX[form]}"
    export(knowledge, path, form)
    _assert_same(build_network(knowledge), _read(path, form))
    assert gum.loadBN(str(path)).size() == len(build_tables(knowledge))
    text = path.read_text(encoding="utf-8")
    assert "listen: hums (under 40 Ω, 0.5 in. w.c.), weak (40+ Ω), silent (O'L)" in text


@pytest.mark.parametrize("form", FORMS)
def test_the_head_of_the_file_names_appliance_and_revision(form: Form, tmp_path: Path) -> None:
    """A comment at the top says whose network it is and which priors are in it."""
    path = tmp_path / f"toy{SUFFIX[form]}"
    export(toy(), path, form, revision="2026-03-01")
    head = path.read_text(encoding="utf-8").splitlines()[:2]
    wanted = "faultodds network: toy, revision 2026-03-01"
    assert (f"// {wanted}" in head) if form == "bif" else (f"<!-- {wanted} -->" in head)


@pytest.mark.parametrize("form", FORMS)
def test_the_file_is_the_same_every_time(form: Form, tmp_path: Path) -> None:
    """Two exports give the same bytes, and nothing else is left in the folder."""
    first, second = tmp_path / "a", tmp_path / "b"
    export(random_toy(1), first, form)
    export(random_toy(1), second, form)
    assert first.read_bytes() == second.read_bytes()
    assert {p.name for p in tmp_path.iterdir()} == {"a", "b"}


@pytest.mark.parametrize("form", FORMS)
def test_a_path_that_cannot_be_written_is_one_clear_error(form: Form, tmp_path: Path) -> None:
    """A folder that is not there, or a folder in the file's place, is named with what to do."""
    missing = tmp_path / "no" / "toy.bif"
    with pytest.raises(FaultoddsError) as caught:
        export(toy(), missing, form)
    assert str(caught.value) == (
        f"--out {missing}: it cannot be written (No such file or directory), and nothing was put there. Name another file."
    )
    with pytest.raises(FaultoddsError, match=r"cannot be written \(Is a directory\)"):
        export(toy(), tmp_path, form)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX")
def test_the_file_has_the_usual_mode(tmp_path: Path) -> None:
    """An exported file may be read by whom the user's umask lets read, like any other file."""
    export(toy(), tmp_path / "toy.bif", "bif")
    (tmp_path / "plain").write_text("x")
    assert (tmp_path / "toy.bif").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_labels_carry_titles_and_the_words_of_states() -> None:
    """A label is the title, then the states whose words say more than their names."""
    words = labels(toy())
    assert words["listen"] == "listen"
    assert words["unlisted"] == "a cause this file does not list"
    assert labels(load("gas_dryer")).keys() >= load("gas_dryer").component.keys()


def test_plain_words() -> None:
    """Signs that readers trip over become spaces; everything else stays."""
    assert plain_words('a = b; "c" {d}\n// e -- <f> & 5 °F') == "a b c d / e - f 5 °F"


def test_a_name_with_two_underscores_cannot_collide_with_a_state() -> None:
    """Main-cause states are written component__mode, and no two of them are the same."""
    states = build_tables(load("gas_dryer"))[0].states
    assert len(set(states)) == len(states)
    assert all(s.isidentifier() for s in states)
