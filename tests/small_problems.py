"""Small random decision problems that can be solved exactly.

Six to eight faults, one of them there, and two to five checks, cheap or dear, that tell them apart well or badly, at most two of
them with three outcomes; parts behind two panels; two repairs that take 60 to 90 % of the time, two that take 90 to 99 %, the
rest sure; runs that pass up to a tenth of the machines that are not right, and the callbacks that follow; labour, parts,
callbacks and handing over at several prices, some of them so low that handing over at once is best.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance, compiled
from faultodds.belief.evidence import Evidence
from faultodds.belief.posterior import infer
from faultodds.knowledge.loading import from_mapping
from toys import raw_toy

FAULTS, CHECKS = (6, 8), (2, 5)
RATES = (30.0, 60.0, 90.0, 150.0)
CALLBACKS = (40.0, 100.0, 250.0)
#: Handing over, as shares of what the job costs when the fault is known.
REFERS = (1.5, 2.0, 3.0, 5.0)
#: How much the outcomes of a check depend on the fault: the lower, the sharper.
SHARPNESS = (0.1, 0.4, 1.5)

Change = Callable[[dict[str, Any]], None]


def random_problem(
    seed: int, faults: int | None = None, checks: int | None = None, change: Change | None = None
) -> Ranking:
    """The ranking of `random_appliance` before anything is known."""
    appliance = random_appliance(seed, faults, checks, change)
    return Ranking(Problem(appliance, infer(appliance.suspects, Evidence()), Situation()))


def random_appliance(
    seed: int, faults: int | None = None, checks: int | None = None, change: Change | None = None
) -> Appliance:
    """One problem; the same seed with the same numbers of faults and checks gives the same one.

    `change` may alter the knowledge mapping before it is compiled.
    """
    rng = np.random.default_rng(seed)
    drawn = int(rng.integers(FAULTS[0], FAULTS[1] + 1)), int(rng.integers(CHECKS[0], CHECKS[1] + 1))
    faults, checks = drawn[0] if faults is None else faults, drawn[1] if checks is None else checks
    shares = 0.9 * rng.dirichlet(np.ones(faults)) + 0.1 / faults
    success = rng.permutation([*rng.uniform(0.6, 0.9, 2), *rng.uniform(0.9, 0.99, 2), *np.ones(faults)][:faults])
    repairs = {f"r{i}": _repair(rng, f"p{i}", float(s)) for i, s in enumerate(success)}
    rate = float(rng.choice(RATES))
    known = sum(
        s * (r["cost"] + (r["minutes"] + 15.0) * rate / 60.0) / r["success"]
        for s, r in zip(shares, repairs.values(), strict=True)
    )
    raw = raw_toy(
        component={
            f"p{i}": {"title": "p", "modes": {"bad": {"title": "b", "share": 100 * float(s)}}}
            for i, s in enumerate(shares)
        },
        access=_access(rng),
        mechanism={"m": {"title": "m", "states": {"a": "a", "b": "b"}, "rule": "worst_of", "causes": {"p0.bad": "b"}}},
        symptom={"s": {"title": "s", "outcomes": {"no": "n", "yes": "y"}, "leak": 0.1, "links": {"m.b": 0.5}}},
        check={f"t{t}": _check(rng, faults, t) for t in range(checks)} | {"run_test": _run(rng, faults)},
        repair=repairs,
        other_causes={"nothing_wrong": 0, "unlisted": 0, "companion": 0.0},
        costs={
            "labour_rate": rate,
            "callback": float(rng.choice(CALLBACKS)),
            "refer": round(known * float(rng.choice(REFERS))),
            "verify": "run_test",
        },
    )
    if change is not None:
        change(raw)
    return compiled(from_mapping(raw))


def _access(rng: np.random.Generator) -> dict[str, Any]:
    """The power off, and two panels that come off only then."""
    step = {"open_step": "o", "close_step": "c"}
    access: dict[str, Any] = {
        "off": step | {"title": "off", "open_minutes": 1, "close_minutes": 1, "makes_safe": "power"}
    }
    for name in ("front", "rear"):
        minutes = {"open_minutes": float(rng.integers(2, 15)), "close_minutes": float(rng.integers(1, 10))}
        access[name] = step | {"title": name, "requires": ["off"], **minutes}
    return access


def _panel(rng: np.random.Generator) -> list[str]:
    panels: list[list[str]] = [[], ["front"], ["rear"]]
    return panels[int(rng.integers(len(panels)))]


def _check(rng: np.random.Generator, faults: int, place: int) -> dict[str, Any]:
    """A check with two or three outcomes, cheap or dear, sharp or poor."""
    outcomes = {"normal": "n", "mid": "m", "high": "h"} if place < 2 else {"normal": "n", "high": "h"}
    size, sharp = len(outcomes), float(rng.choice(SHARPNESS))
    bring = rng.dirichlet(np.full(size, sharp), faults)[:, 1:]
    names = list(outcomes)[1:]
    return {
        "title": "t",
        "outcomes": outcomes,
        "minutes": float(np.round(np.exp(rng.uniform(0, np.log(40))))),
        "cost": float(rng.choice([0.0, 0.0, 0.0, 15.0])),
        "access": _panel(rng),
        "leak": dict.fromkeys(names, 0.03),
        "links": {f"p{i}.bad": dict(zip(names, row.tolist(), strict=True)) for i, row in enumerate(bring)},
    }


def _run(rng: np.random.Generator, faults: int) -> dict[str, Any]:
    missed = rng.uniform(0.0, 0.1, faults) * float(rng.integers(2))
    return {
        "title": "run",
        "outcomes": {"good": "g", "bad": "b"},
        "minutes": float(rng.integers(3, 12)),
        "running": True,
        "leak": 0.0,
        "links": {f"p{i}.bad": 1.0 - float(m) for i, m in enumerate(missed)},
    }


def _repair(rng: np.random.Generator, part: str, success: float) -> dict[str, Any]:
    return {
        "title": "r",
        "fixes": [part],
        "minutes": float(rng.integers(5, 60)),
        "cost": float(rng.integers(0, 120)),
        "access": _panel(rng),
        "success": success,
        "fails_again": 1.0 - success,  # the exact plan takes the tries of a repair to be independent
    }
