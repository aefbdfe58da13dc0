"""The "Probability" rows: values from outside the project, run through its own engine. Sources stand beside each check.

Status letters: S source text seen, M from memory, C computed from a figure of the source, D derived here.
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest

import generic_nets
from faultodds.belief.evidence import Evidence, WeighedFinding
from faultodds.belief.factors import odds_course
from faultodds.belief.posterior import Belief, infer, outlook
from faultodds.belief.suspects import Suspects, compile_suspects
from faultodds.knowledge.schema import Knowledge
from generic_nets import Net
from toys import raw_toy, toy


def _sure(name: str, outcome: str, take: int = 0) -> WeighedFinding:
    return WeighedFinding(name, {outcome: 1.0}, take=take)


def _infer(suspects: Suspects, **found: str) -> Belief:
    return infer(suspects, Evidence({}, tuple(_sure(n, o) for n, o in found.items())))


def _odds(belief: Belief) -> dict[str, float]:
    return dict(zip(belief.suspects.modes, belief.mode_odds.tolist(), strict=True))


def _faults(rates: dict[str, float], check: dict[str, Any], shares: dict[str, float] | None = None) -> Knowledge:
    """An appliance with one mode per component, independent faults when no shares are given, and the checks given."""
    shares = shares or {}
    parts = {
        name: {
            "title": name,
            "modes": {"bad": {"title": "bad", "share": shares.get(name, 0.0), "companion": rate}},
        }
        for name, rate in rates.items()
    }
    run = {"title": "run", "minutes": 1, "outcomes": {"good": "good", "bad": "bad"}}
    run["links"] = dict.fromkeys((f"{n}.bad" for n in rates), 0.5)
    raw = raw_toy(component=parts, mechanism={}, symptom={})
    raw["check"] = {"run_test": run} | {n: {"title": n, "minutes": 1, **spec} for n, spec in check.items()}
    raw["repair"] = {f"fix_{n}": {"title": n, "minutes": 1, "fixes": [n]} for n in rates}
    raw["other_causes"] = {"nothing_wrong": 1.0 - sum(shares.values()), "unlisted": 0.0}
    raw["appliance"]["shares_per"] = 1.0
    return toy(**raw)


YES_NO = {"no": "no", "yes": "yes"}


def _net(**nodes: tuple[tuple[str, ...], Any]) -> Net:
    """A binary net: node -> (parents, chance of "yes" for each combination of parents, "no" first)."""
    states = {n: ["no", "yes"] for n in nodes}
    table = {}
    for node, (parents, chances) in nodes.items():
        yes = np.asarray(chances, dtype=float).reshape((2,) * len(parents))
        table[node] = np.stack([1 - yes, yes])
    return Net(states, {n: list(ps) for n, (ps, _) in nodes.items()}, table)


def test_burglary_net() -> None:
    """P(burglary | both call) and one joint. Russell and Norvig, Artificial Intelligence: A Modern Approach; C."""
    net = _net(
        b=((), 0.001),
        e=((), 0.002),
        a=(("b", "e"), [0.001, 0.29, 0.94, 0.95]),
        j=(("a",), [0.05, 0.90]),
        m=(("a",), [0.01, 0.70]),
    )
    suspects = generic_nets.as_suspects(net, ["j", "m"], ["b", "e", "a"])
    assert _odds(_infer(suspects, j="yes", m="yes"))["b.yes"] == pytest.approx(0.28417184, abs=5e-9)
    joint = np.exp(_infer(suspects, j="yes", m="yes", a="yes", b="no", e="no").log_evidence)
    assert joint == pytest.approx(0.00062811126, abs=5e-12)


def test_noisy_or_table() -> None:
    """Fever with inhibitors .6 .2 .1 for cold, flu, malaria. Russell and Norvig, same book; C."""
    links = {"cold.bad": 0.4, "flu.bad": 0.8, "malaria.bad": 0.9}
    fever = {"outcomes": YES_NO, "links": links}
    suspects = compile_suspects(_faults(dict.fromkeys(("cold", "flu", "malaria"), 0.1), {"fever": fever}), 0.0)
    yes = suspects.likelihood[suspects.rows["fever"]][1]
    got = {
        suspects.names(h): chance
        for h, chance in enumerate(yes.tolist())
        if "unlisted.present" not in suspects.names(h)
    }
    rows = {
        (): 0.0,
        ("malaria.bad",): 0.9,
        ("flu.bad",): 0.8,
        ("flu.bad", "malaria.bad"): 0.98,
        ("cold.bad",): 0.4,
        ("cold.bad", "malaria.bad"): 0.94,
        ("cold.bad", "flu.bad"): 0.88,
        ("cold.bad", "flu.bad", "malaria.bad"): 0.988,
    }
    assert got == pytest.approx(rows, abs=1e-12)


def test_asia_net() -> None:
    """Priors and posteriors given visit and dyspnoea. Lauritzen and Spiegelhalter 1988, JRSS B 50(2): priors S; C."""
    net = _net(
        visit=((), 0.01),
        smoke=((), 0.5),
        t=(("visit",), [0.01, 0.05]),
        l=(("smoke",), [0.01, 0.10]),
        b=(("smoke",), [0.30, 0.60]),
        e=(("t", "l"), [0, 1, 1, 1]),
        x=(("e",), [0.05, 0.98]),
        d=(("e", "b"), [0.10, 0.80, 0.70, 0.90]),
    )
    suspects = generic_nets.as_suspects(net, ["x", "d"], ["visit", "smoke", "t", "l", "b", "e"])
    prior, after = _infer(suspects), _infer(suspects, visit="yes", d="yes")
    before = {"t": 0.0104, "l": 0.055, "b": 0.45, "e": 0.064828, "x": 0.11029004, "d": 0.4359706}
    for name, chance in before.items():
        assert prior.outcome_odds(name)["yes"] == pytest.approx(chance, abs=1e-9)
    given = {
        "t": 0.087750965,
        "l": 0.099525145,
        "e": 0.18229985,
        "b": 0.81140207,
        "smoke": 0.62591986,
        "x": 0.21953886,
    }
    for name, chance in given.items():
        assert after.outcome_odds(name)["yes"] == pytest.approx(chance, abs=6e-9)


def test_two_layer_noisy_or() -> None:
    """Three diseases, findings + + -. The setting of Heckerman 1989 (quickscore); figures computed; C."""
    links = {"f1": (0.8, 0.3, 0.0), "f2": (0.0, 0.6, 0.5), "f3": (0.9, 0.0, 0.2)}
    leaks = {"f1": 0.01, "f2": 0.02, "f3": 0.05}
    findings = {
        f: {
            "outcomes": YES_NO,
            "leak": leaks[f],
            "links": {f"d{i}.bad": link for i, link in enumerate(row, start=1) if link},
        }
        for f, row in links.items()
    }
    suspects = compile_suspects(_faults({"d1": 0.01, "d2": 0.02, "d3": 0.05}, findings), 0.0)
    belief = _infer(suspects, f1="yes", f2="yes", f3="no")
    got = _odds(belief)
    wanted = {"d1.bad": 0.010041061, "d2.bad": 0.89995064, "d3.bad": 0.099267458}
    for mode, chance in wanted.items():
        assert got[mode] == pytest.approx(chance, abs=5e-9)
    assert np.exp(belief.log_evidence) == pytest.approx(0.0039237068, abs=5e-11)


def _two_kinds(prior: float, good: dict[str, float], bad: dict[str, float]) -> Suspects:
    """One thing that is of the bad kind with chance `prior`, and a trial with a distribution for each kind."""
    outcomes = {o: o for o in good}
    table = {"ok": good, "bad": bad}
    spec = {"outcomes": outcomes, "depends_on": ["thing"], "table": table}
    return compile_suspects(_faults({"thing": 0.0}, {"trial": spec}, {"thing": prior}), 0.0)


def _decibans(belief: Belief, mode: str) -> list[float]:
    """Weight of each finding in turn."""
    return [float((s.after - s.before)[0]) * 10 / np.log(10) for s in odds_course(belief, [mode]).steps]


def test_twenty_heads() -> None:
    """Fair coin or two-headed: 60.206 decibans; prior odds 1e-4 -> 104.8576 to 1.

    Good, Michie and Timms, General Report on Tunny, 1945, p. 39 (rounds to 60 decibans and 100 to 1); S.
    """
    prior = 1e-4 / (1 + 1e-4)
    suspects = _two_kinds(prior, {"tails": 0.5, "heads": 0.5}, {"tails": 0.0, "heads": 1.0})
    heads = tuple(_sure("trial", "heads", take=i) for i in range(20))
    belief = infer(suspects, Evidence({}, heads))
    chance = _odds(belief)["thing.bad"]
    assert chance / (1 - chance) == pytest.approx(104.8576, rel=1e-9)
    assert 10 * np.log10(chance / (1 - chance) / 1e-4) == pytest.approx(60.206, abs=5e-4)
    each = _decibans(belief, "thing.bad")
    assert each == pytest.approx([3.0103] * 20, abs=5e-5)
    assert sum(each) == pytest.approx(60.206, abs=5e-4)


def test_loaded_die() -> None:
    """A six at 1/3 against 1/6: +3.0103 or -0.9691 decibans a throw, +20.412 for ten sixes in twenty.

    I. J. Good's example, from memory; M.
    """
    suspects = _two_kinds(0.2, {"other": 5 / 6, "six": 1 / 6}, {"other": 2 / 3, "six": 1 / 3})
    for outcome, weight in (("six", 3.0103), ("other", -0.9691)):
        assert _decibans(_infer(suspects, trial=outcome), "thing.bad") == pytest.approx([weight], abs=5e-5)
    throws = tuple(_sure("trial", "six" if i % 2 else "other", take=i) for i in range(20))
    chance = _odds(infer(suspects, Evidence({}, throws)))["thing.bad"]
    assert 10 * np.log10(chance / (1 - chance) / (0.2 / 0.8)) == pytest.approx(20.412, abs=5e-4)


def test_disease_test() -> None:
    """Prior .01, sensitivity .97, false alarms .05 -> .16385135. Kruschke, Doing Bayesian Data Analysis; S."""
    suspects = _two_kinds(0.01, {"negative": 0.95, "positive": 0.05}, {"negative": 0.03, "positive": 0.97})
    assert _odds(_infer(suspects, trial="positive"))["thing.bad"] == pytest.approx(0.16385135, abs=5e-9)


# --- every net of up to about 80 nodes that the pgmpy wheel ships -------------------------------------------

MOST_NODES = 80
MOST_SUSPECTS = 20_000

# Leaves used, of how many, and ancestors written out; a net takes part with all its leaves, or with those that fit.
FITTING = {
    "alarm": (5, 11, 10),
    "asia": (2, 2, 6),
    "barley": (1, 8, 5),
    "cancer": (2, 2, 3),
    "child": (5, 7, 9),
    "earthquake": (2, 2, 3),
    "hailfinder": (12, 13, 2),
    "hepar2": (11, 41, 13),
    "insurance": (3, 6, 5),
    "sachs": (4, 4, 7),
    "survey": (1, 1, 5),
    "water": (2, 8, 6),
    "win95pts": (9, 16, 11),
}
# Nets that do not fit: the joint states that their cheapest leaf would need.
NOT_FITTING = {"mildew": 4918282253722026648797184000000}
TOO_LARGE = {
    "andes": 223,
    "diabetes": 413,
    "link": 724,
    "munin": 1041,
    "munin1": 186,
    "munin2": 1003,
    "munin3": 1041,
    "munin4": 1038,
    "pathfinder": 109,
    "pigs": 441,
}


def test_no_bundled_net_is_passed_over() -> None:
    """Every net in the wheel is either used, or listed with the reason that it is not."""
    counts = {name: generic_nets.node_count(path) for name, path in generic_nets.bundled().items()}
    assert counts.keys() == FITTING.keys() | NOT_FITTING.keys() | TOO_LARGE.keys()
    assert {n: c for n, c in counts.items() if c > MOST_NODES} == TOO_LARGE


@pytest.mark.parametrize("name", NOT_FITTING)
def test_a_net_listed_as_not_fitting_does_not_fit(name: str) -> None:
    """Even the leaf with the fewest ancestors needs more joint states than may be written out."""
    net = generic_nets.read(generic_nets.bundled()[name])
    assert generic_nets.fit(net, MOST_SUSPECTS) == ([], [])
    assert generic_nets.smallest(net) == NOT_FITTING[name] > MOST_SUSPECTS


@pytest.mark.parametrize("name", FITTING)
def test_bundled_net_three_libraries_agree(name: str) -> None:
    """Every posterior under sampled evidence: ours, pgmpy's variable elimination and pyAgrum's agree to 1e-9.

    Nets in the pgmpy wheel, columns normalised; no published figures.
    """
    import pyagrum as gum

    net = generic_nets.read(generic_nets.bundled()[name])
    leaves, above = generic_nets.fit(net, MOST_SUSPECTS)
    assert (len(leaves), len(net.leaves), len(above)) == FITTING[name]
    suspects = generic_nets.as_suspects(net, leaves, above)
    exact = gum.LazyPropagation(generic_nets.as_gum(net))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.inference import VariableElimination
    elimination = VariableElimination(generic_nets.as_pgmpy(net))
    for node in suspects.observables:
        exact.addTarget(node)
    rng = np.random.default_rng(11)
    for round_number in range(8):
        found = _sample(suspects, rng)
        belief = _infer(suspects, **found)
        exact.setEvidence(found)
        exact.makeInference()
        free = [n for n in suspects.observables if n not in found]
        for node in free:
            ours = list(belief.outcome_odds(node).values())
            assert ours == pytest.approx(exact.posterior(node).toarray(), abs=1e-9)
        for node in rng.permutation(free)[:4] if round_number < 3 else []:
            factor = elimination.query([node], evidence=found, show_progress=False)
            ours = [belief.outcome_odds(node)[s] for s in factor.state_names[node]]
            assert ours == pytest.approx(factor.values, abs=1e-9)
        _assert_outlook(belief, exact, found, free)


def _sample(suspects: Suspects, rng: np.random.Generator) -> dict[str, str]:
    """Findings drawn from the net, on up to half of its nodes."""
    names = list(suspects.observables)
    h = rng.choice(suspects.given_main.shape[1], p=suspects.given_main[0] / suspects.given_main[0].sum())
    found = {}
    for name in rng.permutation(names)[: rng.integers(1, len(names) // 2 + 1)]:
        chances = suspects.likelihood[suspects.rows[str(name)], h]
        found[str(name)] = suspects.observables[str(name)][rng.choice(len(chances), p=chances / chances.sum())]
    return found


def _assert_outlook(belief: Belief, exact: Any, found: dict[str, str], free: list[str]) -> None:
    """One node's outcomes in the whole evaluation, against pyAgrum with that outcome added."""
    if not free:
        return
    s, ahead = belief.suspects, outlook(belief, 0.0)
    for i, outcome in enumerate(s.observables[free[0]]):
        row = s.rows[free[0]].start + i
        if ahead.chance[row] < 1e-6:
            continue
        exact.setEvidence({**found, free[0]: outcome})
        exact.makeInference()
        for node in s.components:
            states = s.observables[node]
            ours = [ahead.after[row, s.mode_index[f"{node}.{state}"]] for state in states[1:]]
            assert ours == pytest.approx(exact.posterior(node).toarray()[1:], abs=1e-8)
