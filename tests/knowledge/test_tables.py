"""The network's tables: noisy-OR and noisy-MAX with a leak, mechanisms, facts, folds, size limits."""

from __future__ import annotations

import functools
import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.belief.suspects import compile_suspects
from faultodds.errors import KnowledgeError
from faultodds.knowledge import tables
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge
from faultodds.knowledge.tables import Table, build_tables, spread
from oracles import mechanism_states, outcome_chances
from toys import random_toy, raw_toy, toy


def _by_name(knowledge: Knowledge) -> dict[str, Table]:
    return {t.node: t for t in build_tables(knowledge)}


def _with_check(**check: Any) -> Knowledge:
    raw = raw_toy()
    raw["check"]["probe"] = {"title": "probe", "minutes": 1, **check}
    return toy(check=raw["check"])


def test_noisy_or_with_leak_by_hand() -> None:
    """P(no | causes) = (1 - leak) * product of (1 - link); the links leave the leak out."""
    links = {"pump.dead": 0.8, "belt.broken": 0.5, "unlisted.present": 0.3}
    table = _by_name(_with_check(outcomes={"no": "no", "yes": "yes"}, leak=0.1, links=links))["probe"]
    assert table.parents == ("pump", "belt", "unlisted")
    values = table.values
    assert values[0, 0, 0, 0] == pytest.approx(0.9, abs=1e-15)
    assert values[0, 1, 0, 0] == pytest.approx(0.9 * 0.2, abs=1e-15)
    assert values[0, 2, 0, 0] == pytest.approx(0.9, abs=1e-15), "pump.weak has no link"
    assert values[0, 1, 1, 0] == pytest.approx(0.9 * 0.2 * 0.5, abs=1e-15)
    assert values[0, 1, 1, 1] == pytest.approx(0.9 * 0.2 * 0.5 * 0.7, abs=1e-15)
    assert values.sum(axis=0) == pytest.approx(1.0, abs=1e-15)


def test_noisy_max_with_leak_by_hand() -> None:
    """The worst of what the leak and each cause bring is what shows."""
    table = _by_name(toy())["listen"]
    assert table.parents == ("pump", "fuse")
    # Leak: hums .95, weak .03, silent .02. pump.weak: .2 / .7 / .1. fuse.open: .03 / 0 / .97.
    hums = 0.95 * 0.2 * 0.03
    up_to_weak = 0.98 * 0.9 * 0.03
    weak_pump_open_fuse = table.values[:, 2, 1]
    assert weak_pump_open_fuse == pytest.approx([hums, up_to_weak - hums, 1 - up_to_weak], abs=1e-15)


@given(
    leak=st.floats(0, 1),
    links=st.lists(st.floats(0, 1), min_size=1, max_size=5),
)
def test_noisy_or_equals_its_formula(leak: float, links: list[float]) -> None:
    """Any leak and links give the product formula, with every cause present."""
    effects = [np.array([[1.0, 1 - link], [0.0, link]]) for link in links]
    cells = tables._noisy_max(np.array([[1 - leak], [leak]]), effects)[:, 0]
    assert cells[(0, *(1,) * len(links))] == pytest.approx((1 - leak) * np.prod(1 - np.array(links)), abs=1e-12)
    assert cells.sum(axis=0) == pytest.approx(1.0, abs=1e-12)
    assert (cells >= 0).all()


def test_spread_gives_the_rest_to_the_normal_outcome() -> None:
    """A number is the chance of the one other outcome; a mapping leaves the rest to the first outcome."""
    assert spread(0.25, ("no", "yes")).tolist() == [0.75, 0.25]
    assert spread({"c": 0.5}, ("a", "b", "c")).tolist() == [0.5, 0, 0.5]
    assert spread({"a": 0.5, "b": 0.5}, ("a", "b", "c")).tolist() == [0.5, 0.5, 0]


@pytest.mark.parametrize("seed", range(5))
def test_every_table_is_a_table(seed: int) -> None:
    """Columns sum to 1, no chance is negative, parents come first, and no name is used twice."""
    seen: dict[str, tuple[str, ...]] = {}
    for table in build_tables(random_toy(seed)):
        assert table.node not in seen
        assert table.values.shape == (len(table.states), *(len(seen[p]) for p in table.parents))
        assert table.values.sum(axis=0) == pytest.approx(1.0, abs=1e-12)
        assert (table.values >= 0).all()
        seen[table.node] = table.states


@pytest.mark.parametrize("seed", range(5))
def test_folds_equal_unfolded_tables(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """However wide causes are cut into chains, the arrays come out the same."""
    knowledge = random_toy(seed, components=4)
    split = tables._chunks
    whole = compile_suspects(knowledge, 0.0)
    monkeypatch.setattr(tables, "_chunks", functools.partial(split, limit=1))
    steps = build_tables(knowledge)
    assert any("__" in t.node for t in steps)
    assert all(len(t.parents) <= 2 for t in steps if t.role in ("mechanism", "part", "step"))
    folded = compile_suspects(knowledge, 0.0)
    monkeypatch.setattr(tables, "_chunks", functools.partial(split, limit=10**12))
    assert not any(t.role == "part" for t in build_tables(knowledge, max_cells=10**9))
    monkeypatch.setattr("faultodds.belief.suspects.build_tables", functools.partial(build_tables, max_cells=10**9))
    unfolded = compile_suspects(knowledge, 0.0)
    for one in (folded, whole):
        assert np.abs(one.likelihood - unfolded.likelihood).max() < 1e-14
        assert (one.mechanism == unfolded.mechanism).all()


@pytest.mark.parametrize("seed", range(5))
def test_mechanisms_and_likelihoods_equal_the_oracle(seed: int) -> None:
    """Mechanism states and outcome chances of sampled suspects equal those worked out from the file's meaning."""
    knowledge = random_toy(seed)
    suspects = compile_suspects(knowledge, 0.0)
    rng = np.random.default_rng(seed)
    for h in rng.choice(len(suspects.member), size=25, replace=False):
        modes = frozenset(suspects.names(int(h)))
        wanted = mechanism_states(knowledge, modes)
        for i, (name, states) in enumerate(suspects.mechanism_states.items()):
            assert states[suspects.mechanism[i, h]] == wanted[name]
        for name, rows in suspects.rows.items():
            chances = list(outcome_chances(knowledge, name, modes).values())
            assert suspects.likelihood[rows, h] == pytest.approx(chances, abs=1e-12)


def test_first_of_stops_at_the_first_cause() -> None:
    """With rule `first_of` the order written decides, even across causes that share a parent."""
    states = {"yes": "yes", "cut": "cut", "never": "never"}
    causes = {"pump.weak": "cut", "fuse.open": "never", "pump.dead": "never"}
    raw = raw_toy()
    raw["mechanism"]["run"] = {"title": "run", "states": states, "rule": "first_of", "causes": causes}
    raw["check"]["probe"] = {
        "title": "p",
        "minutes": 1,
        "outcomes": {"a": "a", "b": "b"},
        "links": {"run.cut": 0.5},
    }
    knowledge = toy(mechanism=raw["mechanism"], check=raw["check"])
    suspects = compile_suspects(knowledge, 0.0)
    at = list(suspects.mechanism_states).index("run")
    got = {suspects.names(h): states_of for h, states_of in enumerate(suspects.mechanism[at].tolist())}
    assert got[("pump.weak", "fuse.open")] == 1
    assert got[("pump.dead", "fuse.open")] == 2
    assert got[()] == 0


def test_adds_up_stops_at_the_last_state() -> None:
    """With rule `adds_up` steps are added and the last state holds the rest."""
    causes = {"pump.weak": 1, "pump.dead": 2, "belt.broken": 1, "fuse.open": 2}
    flow = {
        "title": "f",
        "states": {"good": "g", "low": "l", "none": "n"},
        "rule": "adds_up",
        "causes": causes,
    }
    suspects = compile_suspects(toy(mechanism={"flow": flow}), 0.0)
    got = {suspects.names(h): int(s) for h, s in enumerate(suspects.mechanism[0])}
    assert got[("pump.weak",)] == 1
    assert got[("pump.weak", "belt.broken")] == 2
    assert got[("pump.weak", "belt.broken", "fuse.open")] == 2


def test_context_fact_table_by_hand() -> None:
    """A fact's spread is its usual weights times the factors of the main cause, normalised for each cause."""
    fact = {
        "ask": "age?",
        "values": {"new": "n", "old": "o"},
        "usual": {"new": 1, "old": 3},
        "more_often": {"pump.dead": {"old": 2.0}, "belt": {"new": 3.0}, "unlisted": {"new": 2.0}},
    }
    table = _by_name(toy(context={"age": fact}))["age"]
    mains = _by_name(toy(context={"age": fact}))["main_cause"].states
    column = {m: table.values[:, i].tolist() for i, m in enumerate(mains)}
    assert column["pump__dead"] == pytest.approx([1 / 7, 6 / 7])
    assert column["belt__broken"] == pytest.approx([3 / 6, 3 / 6])
    assert column["unlisted__present"] == pytest.approx([2 / 5, 3 / 5])
    assert column["nothing_wrong"] == pytest.approx([1 / 4, 3 / 4])


def test_shares_and_companions_by_hand() -> None:
    """The main cause is present for sure; another mode has its brought-on chance, else its companion chance."""
    raw = raw_toy()
    raw["component"]["belt"]["modes"]["broken"]["brings_on"] = {"fuse.open": 0.4}
    made = _by_name(toy(component=raw["component"]))
    assert made["main_cause"].values == pytest.approx(np.array([30, 15, 20, 20, 5, 10]) / 100)
    fuse = dict(zip(made["main_cause"].states, made["fuse"].values[1], strict=True))
    assert fuse == pytest.approx(
        {"pump__dead": 0.02, "pump__weak": 0.02, "belt__broken": 0.4, "fuse__open": 1.0}
        | {"unlisted__present": 0.02, "nothing_wrong": 0.02}
    )


def test_a_table_too_large_is_refused_with_node_parents_and_size() -> None:
    """The error names node, parents, size and limit, and says what to do instead."""
    parts = {
        f"p{i}": {"title": "p", "modes": {f"m{j}": {"title": "m", "share": 1} for j in range(5)}} for i in range(6)
    }
    raw = raw_toy(component=parts, mechanism={}, symptom={})
    rows = {"other": {"a": 0.5, "b": 0.5}, "ok, ok, ok, ok, ok, ok": {"a": 1.0}}
    raw["check"] = {
        "run_test": {
            "title": "r",
            "minutes": 1,
            "outcomes": {"a": "a", "b": "b"},
            "depends_on": list(parts),
            "table": rows,
        }
    }
    raw["appliance"]["shares_per"] = 45
    raw["repair"] = {"fix": {"title": "fix", "fixes": list(parts), "minutes": 1}}
    raw["check"]["all"] = {
        "title": "all",
        "minutes": 1,
        "outcomes": {"a": "a", "b": "b"},
        "links": {f"p{i}.m{j}": 0.5 for i, j in itertools.product(range(6), range(5))},
    }
    with pytest.raises(KnowledgeError) as caught:
        build_tables(toy(**raw))
    assert str(caught.value) == (
        "the table of 'run_test' would have 93,312 cells (parents: p0, p1, p2, p3, p4, p5); the limit is 20,000. "
        "Put a mechanism between, or use 'links' instead of 'table'."
    )


def test_shares_that_add_up_to_nothing_are_refused() -> None:
    """At least one main cause needs a share."""
    knowledge = toy()
    nothing = raw_toy()
    for component in nothing["component"].values():
        for mode in component["modes"].values():
            mode["share"] = 0
    nothing["other_causes"] = {"nothing_wrong": 0, "unlisted": 0}
    nothing["appliance"]["shares_per"] = 0.0
    with pytest.raises(KnowledgeError, match="the shares of all main causes add up to nothing; give at least one"):
        tables.shares(toy(**nothing))
    assert tables.shares(knowledge).sum() == pytest.approx(1.0)


def test_shipped_tables_are_small() -> None:
    """No table of a shipped appliance passes the 20,000 cells that a file may have."""
    assert max(t.values.size for t in build_tables(load("gas_dryer"))) <= tables.MAX_CELLS
