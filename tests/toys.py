"""Small appliances built in code, and the knowledge-file scaffolding they share."""

from __future__ import annotations

from typing import Any

import numpy as np

from faultodds.knowledge.loading import from_mapping
from faultodds.knowledge.schema import Knowledge


def raw_toy(**groups: Any) -> dict[str, Any]:
    """A knowledge mapping with the required tables filled in; `groups` override or add tables."""
    raw: dict[str, Any] = {
        "appliance": {"id": "toy", "title": "Toy", "format": 1, "calls": "toy calls"},
        "costs": {"labour_rate": 60, "callback": 100, "refer": 200, "verify": "run_test"},
        "other_causes": {"nothing_wrong": 10, "unlisted": 5, "companion": 0.02},
        "component": {
            "pump": {
                "title": "pump",
                "modes": {"dead": {"title": "dead", "share": 30}, "weak": {"title": "weak", "share": 15}},
            },
            "belt": {"title": "belt", "modes": {"broken": {"title": "broken", "share": 20}}},
            "fuse": {"title": "fuse", "modes": {"open": {"title": "open", "share": 20}}},
        },
        "access": {
            "unplugged": {
                "title": "unplugged",
                "open_step": "Unplug it.",
                "close_step": "Plug it in.",
                "open_minutes": 1,
                "close_minutes": 1,
                "makes_safe": "power",
            },
            "panel": {
                "title": "panel off",
                "open_step": "Take the panel off.",
                "close_step": "Put the panel back.",
                "open_minutes": 5,
                "close_minutes": 4,
                "requires": ["unplugged"],
            },
        },
        "mechanism": {
            "flow": {
                "title": "flow",
                "states": {"good": "good", "low": "low", "none": "none"},
                "rule": "worst_of",
                "causes": {"pump.weak": "low", "pump.dead": "none", "belt.broken": "none", "fuse.open": "none"},
            },
        },
        "symptom": {
            "slow": {
                "title": "slow",
                "outcomes": {"no": "no", "yes": "yes"},
                "leak": 0.05,
                "links": {"flow.low": 0.9, "flow.none": 0.95, "unlisted.present": 0.5},
            },
        },
        "check": {
            "fuse_test": {
                "title": "fuse test",
                "outcomes": {"closed": "closed", "open": "open"},
                "minutes": 2,
                "access": ["panel"],
                "leak": 0.01,
                "links": {"fuse.open": 0.98},
            },
            "listen": {
                "title": "listen",
                "outcomes": {"hums": "hums", "weak": "weak", "silent": "silent"},
                "minutes": 1,
                "running": True,
                "leak": {"weak": 0.03, "silent": 0.02},
                "links": {
                    "pump.weak": {"weak": 0.7, "silent": 0.1},
                    "pump.dead": {"silent": 0.9},
                    "fuse.open": {"silent": 0.97},
                },
            },
            "run_test": {
                "title": "run test",
                "outcomes": {"good": "good", "bad": "bad"},
                "minutes": 10,
                "running": True,
                "leak": 0.01,
                "links": {"flow.low": 0.9, "flow.none": 0.99, "unlisted.present": 0.9},
            },
        },
        "repair": {
            "new_pump": {"title": "new pump", "fixes": ["pump"], "minutes": 30, "cost": 80, "access": ["panel"]},
            "new_belt": {"title": "new belt", "fixes": ["belt"], "minutes": 20, "cost": 15, "access": ["panel"]},
            "new_fuse": {"title": "new fuse", "fixes": ["fuse.open"], "minutes": 10, "cost": 5, "access": ["panel"]},
        },
        "caution": {"unplug": {"text": "Unplug first.", "covers": ["power"]}},
    }
    raw.update(groups)
    return raw


def toy(**groups: Any) -> Knowledge:
    """A validated toy appliance."""
    return from_mapping(raw_toy(**groups), "toy")


def random_toy(seed: int, components: int = 5) -> Knowledge:
    """A random appliance: every rule, links and tables, facts, equipment and brought-on modes."""
    rng = np.random.default_rng(seed)
    parts = {}
    for i in range(components):
        modes = {
            f"bad{j}": {
                "title": f"bad {j}",
                "share": float(rng.uniform(1, 10)),
                "companion": float(rng.uniform(0, 0.1)),
            }
            for j in range(int(rng.integers(1, 4)))
        }
        parts[f"part{i}"] = {"title": f"part {i}", "modes": modes}
    modes = [f"{p}.{m}" for p, c in parts.items() for m in c["modes"]]
    for mode in modes:
        others = [m for m in modes if m.split(".")[0] != mode.split(".")[0]]
        p, m = mode.split(".")
        parts[p]["modes"][m]["brings_on"] = {str(rng.choice(others)): float(rng.uniform(0, 0.3))}
    refs = list(modes)
    mechanisms = {}
    for i, rule in enumerate(("worst_of", "first_of", "adds_up")):
        chosen = rng.choice(len(refs), size=min(len(refs), 5), replace=False)
        causes = {
            refs[c]: (int(rng.integers(1, 3)) if rule == "adds_up" else str(rng.choice(["low", "bad"]))) for c in chosen
        }
        mechanisms[f"mech{i}"] = {
            "title": f"mech {i}",
            "states": {"fine": "fine", "low": "low", "bad": "bad"},
            "rule": rule,
            "causes": causes,
        }
        refs += [f"mech{i}.low", f"mech{i}.bad"]
    checks = {}
    for i in range(6):
        chosen = rng.choice(len(refs), size=min(len(refs), 9), replace=False)
        links = {
            refs[c]: dict(zip(("mid", "high"), (rng.dirichlet([1, 1, 1])[:2]).tolist(), strict=False)) for c in chosen
        }
        checks[f"look{i}"] = {
            "title": f"look {i}",
            "outcomes": {"normal": "n", "mid": "m", "high": "h"},
            "minutes": float(rng.integers(1, 9)),
            "leak": {"mid": 0.05, "high": 0.02},
            "links": links,
        }
    table = {
        f"{a}, {b}": dict(zip(("a", "b", "c"), rng.dirichlet([1, 1, 1]).tolist(), strict=False))
        for a in ("fine", "low", "bad")
        for b in ("fine", "low", "bad")
    }
    checks["pair"] = {
        "title": "pair",
        "outcomes": {"a": "a", "b": "b", "c": "c"},
        "minutes": 3,
        "depends_on": ["mech0", "mech2"],
        "table": table,
    }
    every = dict.fromkeys([*modes, "unlisted.present"], 0.9)
    checks["run_test"] = {
        "title": "run",
        "outcomes": {"good": "g", "bad": "b"},
        "minutes": 10,
        "leak": 0.02,
        "links": every,
    }
    total = sum(m["share"] for c in parts.values() for m in c["modes"].values()) + 4
    first = modes[0].split(".")[0]
    return toy(
        appliance={"id": "toy", "title": "Toy", "format": 1, "calls": "toy calls", "shares_per": total},
        other_causes={"nothing_wrong": 2, "unlisted": 2, "companion": 0.02},
        component=parts,
        mechanism=mechanisms,
        check=checks,
        symptom={
            "slow": {
                "title": "slow",
                "outcomes": {"no": "n", "yes": "y"},
                "leak": 0.05,
                "links": {"mech1.low": 0.5, "mech1.bad": 0.9, "unlisted.present": 0.5},
            }
        },
        context={
            "age": {
                "ask": "age?",
                "values": {"new": "n", "old": "o"},
                "usual": {"new": 1, "old": 2},
                "more_often": {modes[-1]: {"old": 3.0}, first: {"new": 2.0}},
            }
        },
        equipment={
            "kind": {
                "ask": "kind?",
                "values": {"full": "f", "bare": "b"},
                "usual": {"full": 1, "bare": 1},
                "lacks": {"bare": [first]},
            }
        },
        repair={f"fix{i}": {"title": p, "fixes": [p], "minutes": 10.0 + i, "cost": 5} for i, p in enumerate(parts)},
    )
