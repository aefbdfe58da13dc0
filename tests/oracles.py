"""Reference answers for tests and benchmarks, none of which uses the project's two arrays.

`GumNet` asks pyAgrum about an exported network; the functions below it enumerate a small knowledge record
case by case, written from the meaning of the file (schema.py) without `tables.py`, so that a slip there
cannot hide.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from faultodds.belief.evidence import Evidence
from faultodds.belief.suspects import Suspects
from faultodds.knowledge.schema import NOTHING_WRONG, OK, UNLISTED, UNLISTED_MODE, Knowledge, Observable


class GumNet:
    """pyAgrum on a network file: mode odds by one of its exact engines, with the components as targets."""

    def __init__(self, path: Path, suspects: Suspects, engine: str = "LazyPropagation") -> None:
        import pyagrum as gum

        gum.setNumberOfThreads(1)
        self.net = gum.loadBN(str(path))
        self.suspects = suspects
        self.engine: Any = getattr(gum, engine)(self.net)
        for component in suspects.components:
            self.engine.addTarget(component)

    def set(self, pairs: Mapping[str, Any]) -> None:
        """Replace the evidence: states by name, or likelihood vectors."""
        self.engine.setEvidence(dict(pairs))

    def change(self, node: str, state: str) -> None:
        """Change one observed node's state, adding it where it was not observed."""
        (self.engine.chgEvidence if self.engine.hasEvidence(node) else self.engine.addEvidence)(node, state)

    def mode_odds(self) -> np.ndarray[Any, Any]:
        """(M,) odds of every mode under the evidence set."""
        s = self.suspects
        self.engine.makeInference()
        odds = np.zeros(len(s.modes))
        for component in s.components:
            values = self.engine.posterior(component).toarray()
            for state, chance in zip(self.net.variable(component).labels(), values, strict=True):
                if state != OK:
                    odds[s.mode_index[f"{component}.{state}"]] = chance
        return odds

    def chance_of(self, node: str) -> np.ndarray[Any, Any]:
        """Distribution of one node under the evidence set (it must be a target or observed)."""
        return np.asarray(self.engine.posterior(node).toarray())


def sample_evidence(suspects: Suspects, rng: np.random.Generator, most: int) -> dict[str, str]:
    """Facts and findings as node to state, drawn together from the model itself, up to `most` observables.

    A main cause is drawn, facts and a suspect given it, then findings given the suspect.
    """
    cause = rng.choice(len(suspects.share), p=suspects.share)
    pairs: dict[str, str] = {}
    lacking: set[str] = set()
    for fact in rng.permutation(list(suspects.facts))[: rng.integers(0, len(suspects.facts) + 1)]:
        chances = suspects.facts[str(fact)][:, cause]
        value = suspects.fact_values[str(fact)][rng.choice(len(chances), p=chances / chances.sum())]
        pairs[str(fact)] = value
        lacking |= set(suspects.lacks.get(str(fact), {}).get(value, ()))
    weight = suspects.given_main[cause].copy()
    weight[suspects.member[:, [suspects.mode_index[m] for m in lacking]].any(axis=1)] = 0.0
    h = rng.choice(len(weight), p=weight / weight.sum())
    for name in rng.permutation(list(suspects.observables))[: rng.integers(1, most + 1)]:
        chances = suspects.likelihood[suspects.rows[str(name)], h]
        pairs[str(name)] = suspects.observables[str(name)][rng.choice(len(chances), p=chances / chances.sum())]
    return pairs


def as_evidence(suspects: Suspects, pairs: Mapping[str, str]) -> Evidence:
    """Sampled node-state pairs as the project's evidence."""
    from faultodds.belief.evidence import WeighedFinding

    facts = {k: v for k, v in pairs.items() if k in suspects.fact_values}
    seen = tuple(WeighedFinding(k, {v: 1.0}) for k, v in pairs.items() if k not in facts)
    return Evidence(facts, seen)


# --- enumeration ---------------------------------------------------------------------------------------------------


@dataclass
class Case:
    """One possible machine: its main cause, the modes present, and its chance before any finding."""

    cause: str
    modes: frozenset[str]
    weight: float
    facts: dict[str, float] = field(default_factory=dict)


def cases(k: Knowledge, facts: Mapping[str, str]) -> Iterator[Case]:
    """Every combination of main cause and component states, weighted by the facts."""
    shares = {m: r.share for m, r in k.modes()}
    shares |= {UNLISTED_MODE: k.other_causes.unlisted, NOTHING_WRONG: k.other_causes.nothing_wrong}
    total = sum(shares.values())
    for cause, share in shares.items():
        start = share / total
        for fact, value in facts.items():
            start *= _fact_chance(k, fact, value, cause)
        options = [_component_options(k, name, cause, facts) for name in k.component]
        for combination in itertools.product(*options):
            weight = start
            for _, chance in combination:
                weight *= chance
            present = {m for m, _ in combination if m} | ({UNLISTED_MODE} if cause == UNLISTED_MODE else set())
            if weight > 0:
                yield Case(cause, frozenset(present), weight)


def _fact_chance(k: Knowledge, fact: str, value: str, cause: str) -> float:
    weights = {}
    if fact in k.context:
        spec = k.context[fact]
        for v in spec.values:
            weights[v] = spec.usual[v]
            for name, factors in spec.more_often.items():
                known = UNLISTED_MODE if name == UNLISTED else name
                if cause == known or cause.partition(".")[0] == name:
                    weights[v] *= factors.get(v, 1.0)
    else:
        for v in k.equipment[fact].values:
            gone = cause.partition(".")[0] in k.equipment[fact].lacks.get(v, [])
            weights[v] = 0.0 if gone else k.equipment[fact].usual[v]
    return weights[value] / sum(weights.values())


def _component_options(k: Knowledge, name: str, cause: str, facts: Mapping[str, str]) -> list[tuple[str, float]]:
    modes = {f"{name}.{m}": r for m, r in k.component[name].modes.items()}
    lacking = any(name in k.equipment[f].lacks.get(v, []) for f, v in facts.items() if f in k.equipment)
    if cause in modes:
        return [] if lacking else [(cause, 1.0)]
    brings = dict(k.modes())[cause].brings_on if cause in dict(k.modes()) else {}
    chances = {}
    for mode, record in modes.items():
        base = record.companion if record.companion is not None else k.other_causes.companion
        chances[mode] = brings.get(mode, base)
    sound = ("", 1.0 - sum(chances.values()))
    return [sound] if lacking else [sound, *chances.items()]


def mechanism_states(k: Knowledge, modes: frozenset[str]) -> dict[str, str]:
    """State of every mechanism when exactly `modes` are present."""
    found: dict[str, str] = {}

    def state(name: str) -> str:
        if name not in found:
            spec = k.mechanism[name]
            order = list(spec.states)
            at = 0
            for ref, effect in spec.causes.items():
                if not holds(ref):
                    continue
                step = effect if isinstance(effect, int) else order.index(effect)
                if spec.rule == "worst_of":
                    at = max(at, step)
                elif spec.rule == "adds_up":
                    at = min(at + step, len(order) - 1)
                elif at == 0:
                    at = step
            found[name] = order[at]
        return found[name]

    def holds(ref: str) -> bool:
        parent, _, wanted = ref.partition(".")
        return state(parent) == wanted if parent in k.mechanism else ref in modes

    for name in k.mechanism:
        state(name)
    return found


def outcome_chances(k: Knowledge, name: str, modes: frozenset[str]) -> dict[str, float]:
    """Chance of each outcome of an observable when exactly `modes` are present."""
    o = k.observables[name]
    states = mechanism_states(k, modes)
    if o.depends_on:
        key = ", ".join(states.get(p) or _component_state(p, modes) for p in o.depends_on)
        row = o.table.get(key, o.table.get("other", {}))
        return {outcome: row.get(outcome, 0.0) for outcome in o.outcomes}
    brought = [_as_row(o, o.leak)]
    for ref, weights in o.links.items():
        parent, _, wanted = ref.partition(".")
        if (states[parent] == wanted) if parent in states else (ref in modes):
            brought.append(_as_row(o, weights))
    # The worst outcome that any cause brings: each combination of what they bring, one by one.
    chances = dict.fromkeys(o.outcomes, 0.0)
    for combination in itertools.product(*(list(enumerate(row)) for row in brought)):
        worst = max(i for i, _ in combination)
        chances[list(o.outcomes)[worst]] += float(np.prod([p for _, p in combination]))
    return chances


def _component_state(parent: str, modes: frozenset[str]) -> str:
    return next((m.partition(".")[2] for m in modes if m.partition(".")[0] == parent), OK)


def _as_row(o: Observable, weights: Mapping[str, float] | float) -> list[float]:
    names = list(o.outcomes)
    given = dict(weights) if isinstance(weights, Mapping) else {names[1]: weights}
    given.setdefault(names[0], 1.0 - sum(given.values()))
    return [given.get(n, 0.0) for n in names]


Found = tuple[str, Mapping[str, float], int]
"""A finding: name, likelihood of each outcome, and how many repairs were done before it."""


def enumerate_odds(
    k: Knowledge,
    facts: Mapping[str, str],
    found: Sequence[Found] = (),
    repairs: Sequence[tuple[frozenset[str], float]] = (),
) -> tuple[dict[str, float], float]:
    """Odds of each mode after the repairs, and the chance of the evidence given the facts, by writing out every case.

    Each repair takes (its modes go) or does not, once for all that comes after it.
    """
    odds = dict.fromkeys([*dict(k.modes()), UNLISTED_MODE], 0.0)
    chances_of = functools.cache(functools.partial(outcome_chances, k))
    whole = seen = 0.0
    for case in cases(k, facts):
        whole += case.weight
        for took in itertools.product((True, False), repeat=len(repairs)):
            weight = case.weight
            now = [case.modes]
            for (modes, success), yes in zip(repairs, took, strict=True):
                weight *= success if yes else 1.0 - success
                now.append(now[-1] - modes if yes else now[-1])
            for name, likelihood, stage in found:
                chances = chances_of(name, now[stage])
                weight *= sum(likelihood.get(o, 0.0) * p for o, p in chances.items())
            seen += weight
            for mode in now[-1]:
                odds[mode] += weight
    return {m: v / seen for m, v in odds.items()} if seen else odds, seen / whole
