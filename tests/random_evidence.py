"""What is known part-way through a call, drawn from the appliance's own model: facts, findings given a suspect, repairs.

A main cause, facts and a suspect are drawn, then findings given the suspect; now and then a repair (one that the suspect
needs, or any), and findings after it. The machine's state and what a technician types are in `job_states`.
"""

from __future__ import annotations

import numpy as np

from faultodds.belief.appliance import Appliance
from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding, repair_effect
from faultodds.knowledge.schema import repair_modes

MOST_FINDINGS, MOST_AFTER, MOST_REPAIRS = 12, 3, 2


def random_evidence(appliance: Appliance, rng: np.random.Generator) -> Evidence:
    """Facts, findings and repairs of one machine; they may clash."""
    s = appliance.suspects
    cause = int(rng.choice(len(s.share), p=s.share))
    facts, h = _facts_and_suspect(appliance, cause, rng)
    seen = _findings(appliance, h, 0, int(rng.integers(1, MOST_FINDINGS + 1)), rng)
    repairs: list[RepairEffect] = []
    never: set[str] = set()
    for _ in range(int(rng.choice(MOST_REPAIRS + 1, p=[0.6, 0.3, 0.1]))):
        repairs.append(_repair(appliance, h, facts, rng))
        if repairs[-1].name not in never and rng.random() < repairs[-1].success:
            h = int(s.removal(repairs[-1].modes)[h])
        elif rng.random() < repairs[-1].lasting:
            never.add(repairs[-1].name)
        seen += _findings(appliance, h, len(repairs), int(rng.integers(0, MOST_AFTER + 1)), rng)
    return Evidence(facts, tuple(seen), tuple(repairs))


def _facts_and_suspect(appliance: Appliance, cause: int, rng: np.random.Generator) -> tuple[dict[str, str], int]:
    s, facts, lacking = appliance.suspects, {}, set()
    for name in rng.permutation(list(s.facts))[: rng.integers(0, len(s.facts) + 1)].tolist():
        chances = s.facts[name][:, cause]
        facts[name] = s.fact_values[name][int(rng.choice(len(chances), p=chances / chances.sum()))]
        lacking |= set(s.lacks.get(name, {}).get(facts[name], ()))
    weight = s.given_main[cause].copy()
    weight[s.member[:, [s.mode_index[m] for m in sorted(lacking)]].any(axis=1)] = 0.0
    return facts, int(rng.choice(len(weight), p=weight / weight.sum()))


def _findings(appliance: Appliance, h: int, stage: int, count: int, rng: np.random.Generator) -> list[WeighedFinding]:
    """Findings given the suspect; after a repair mostly the verification run comes first."""
    s, k = appliance.suspects, appliance.knowledge
    names = rng.permutation(list(s.observables)).tolist()
    if stage and rng.random() < 0.8:
        names = [k.costs.verify, *(n for n in names if n in k.check and n != k.costs.verify)]
    out = []
    for name in names[:count]:
        chances = s.likelihood[s.rows[name], h]
        outcome = s.observables[name][int(rng.choice(len(chances), p=chances / chances.sum()))]
        out.append(WeighedFinding(name, {outcome: 1.0}, stage))
    return out


def _repair(appliance: Appliance, h: int, facts: dict[str, str], rng: np.random.Generator) -> RepairEffect:
    k, s = appliance.knowledge, appliance.suspects
    possible = [n for n, r in k.repair.items() if all(facts.get(f, v) == v for f, v in r.needs.items())]
    needed = [n for n in possible if set(repair_modes(k, k.repair[n])) & set(s.names(h))]
    chosen = str(rng.choice(needed if needed and rng.random() < 0.7 else possible))
    return repair_effect(k, chosen)
