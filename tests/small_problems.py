"""Small random decision problems that can be solved exactly: shared access costs, noisy checks, repairs that may not take."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import compiled
from faultodds.belief.evidence import Evidence
from faultodds.belief.posterior import infer
from faultodds.knowledge.loading import from_mapping
from toys import raw_toy

FAULTS, CHECKS = 4, 3


def random_problem(
    seed: int, faults: int = FAULTS, checks: int = CHECKS, change: Callable[[dict[str, Any]], None] | None = None
) -> Ranking:
    """One fault among a few, three-outcome noisy checks, parts behind two panels, repairs that take 85 to 100 % of the time.

    `change` may alter the knowledge mapping before it is compiled.
    """
    rng = np.random.default_rng(seed)
    shares = 0.9 * rng.dirichlet(np.ones(faults)) + 0.1 / faults
    panels: list[list[str]] = [[], ["front"], ["rear"]]

    def panel() -> list[str]:
        return panels[int(rng.integers(len(panels)))]

    access = {
        "off": {"title": "off", "open_step": "o", "close_step": "c", "open_minutes": 1, "close_minutes": 1}
        | {"makes_safe": "power"}
    }
    for name in ("front", "rear"):
        minutes = {"open_minutes": float(rng.integers(2, 10)), "close_minutes": float(rng.integers(1, 8))}
        access[name] = {"title": name, "open_step": "o", "close_step": "c", "requires": ["off"], **minutes}
    looks = {}
    for t in range(checks):
        bring = {f"p{i}.bad": rng.dirichlet([0.4, 0.4, 0.4])[1:].tolist() for i in range(faults)}
        looks[f"t{t}"] = {
            "title": "t",
            "outcomes": {"normal": "n", "mid": "m", "high": "h"},
            "minutes": float(rng.integers(1, 20)),
            "access": panel(),
            "leak": {"mid": 0.03, "high": 0.02},
            "links": {mode: {"mid": m, "high": h} for mode, (m, h) in bring.items()},
        }
    looks["run_test"] = {
        "title": "run",
        "outcomes": {"good": "g", "bad": "b"},
        "minutes": float(rng.integers(3, 12)),
        "running": True,
        "leak": 0.0,
        "links": {f"p{i}.bad": 0.99 for i in range(faults)},
    }
    raw = raw_toy(
        component={
            f"p{i}": {"title": "p", "modes": {"bad": {"title": "b", "share": 100 * float(s)}}}
            for i, s in enumerate(shares)
        },
        access=access,
        mechanism={"m": {"title": "m", "states": {"a": "a", "b": "b"}, "rule": "worst_of", "causes": {"p0.bad": "b"}}},
        symptom={"s": {"title": "s", "outcomes": {"no": "n", "yes": "y"}, "leak": 0.1, "links": {"m.b": 0.5}}},
        check=looks,
        repair={
            f"r{i}": {
                "title": "r",
                "fixes": [f"p{i}"],
                "minutes": float(rng.integers(5, 60)),
                "cost": float(rng.integers(0, 120)),
                "access": panel(),
                "success": float(rng.uniform(0.85, 1.0)),
            }
            for i in range(faults)
        },
        other_causes={"nothing_wrong": 0, "unlisted": 0, "companion": 0.0},
        costs={"labour_rate": 60, "callback": 100, "refer": float(rng.integers(200, 500)), "verify": "run_test"},
    )
    if change is not None:
        change(raw)
    appliance = compiled(from_mapping(raw))
    return Ranking(Problem(appliance, infer(appliance.suspects, Evidence()), Situation()))
