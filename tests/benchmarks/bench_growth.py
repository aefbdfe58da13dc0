"""How compiling and one full evaluation grow with the number of components; one core.

Run `python tests/benchmarks/bench_growth.py` (ten minutes at most). Each size is a process of its own, so
that peak memory is that size's. The appliances are generated in the image of the shipped file: companion
chances spread around .0008 with a few common ones, one brought-on mode a component, a mechanism for every
five components, two checks a component. The rates per component stay the same, so the number of modes that
are present together grows, and with it the number of suspects.
"""

from __future__ import annotations

import os
import sys

ONE_CORE = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
if any(os.environ.get(name) != value for name, value in ONE_CORE.items()):
    os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, **ONE_CORE})

import resource
import subprocess
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faultodds.belief.evidence import Evidence
from faultodds.belief.posterior import infer, outlook
from faultodds.belief.suspects import compile_suspects
from faultodds.knowledge.schema import Knowledge
from toys import toy

SIZES = (10, 20, 30, 45, 60)
TARGETS = (1e-3, 1e-2)
LIMIT = 240


def main() -> None:
    """Print a table a target, a line a size."""
    if len(sys.argv) > 1:
        print(_measure(int(sys.argv[1]), float(sys.argv[2])))
        return
    for target in TARGETS:
        print(f"omitted-mass target {target:g}")
        print(
            f"{'components':>10} {'modes':>6} {'outcomes':>9} {'suspects':>9} {'left out':>9} {'compile s':>10} "
            f"{'evaluation ms':>14} {'peak MiB':>9}"
        )
        for size in SIZES:
            print(_in_a_process(size, target), end="", flush=True)


def _in_a_process(size: int, target: float) -> str:
    command = [sys.executable, __file__, str(size), str(target)]
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True, timeout=LIMIT).stdout
    except subprocess.TimeoutExpired:
        return f"{size:10} not done in {LIMIT} s\n"


def _measure(components: int, target: float) -> str:
    knowledge = generate(components)
    start = time.perf_counter()
    suspects = compile_suspects(knowledge, target)
    compiling = time.perf_counter() - start
    taken = []
    for _ in range(15):
        start = time.perf_counter()
        belief = infer(suspects, Evidence())
        outlook(belief)
        taken.append(time.perf_counter() - start)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return (
        f"{components:10} {len(suspects.modes):6} {len(suspects.likelihood):9} {len(suspects.member):9,} "
        f"{belief.omitted_mass:9.1e} {compiling:10.2f} {np.median(taken) * 1e3:14.1f} {peak:9.0f}"
    )


def generate(components: int, seed: int = 0) -> Knowledge:
    """A generated appliance of a given number of components."""
    rng = np.random.default_rng(seed)
    parts: dict[str, Any] = {}
    for i in range(components):
        count = int(rng.integers(1, 4))
        parts[f"part{i}"] = {
            "title": f"part {i}",
            "modes": {f"bad{j}": _mode(j, rng) for j in range(count)},
        }
    modes = [f"{p}.{m}" for p, part in parts.items() for m in part["modes"]]
    for name, part in parts.items():
        first = next(iter(part["modes"].values()))
        first["brings_on"] = {
            str(rng.choice([m for m in modes if not m.startswith(f"{name}.")])): float(rng.uniform(0.02, 0.2))
        }
    mechanisms = {
        f"mech{i}": {
            "title": f"mech {i}",
            "states": {"fine": "fine", "low": "low", "bad": "bad"},
            "rule": "worst_of",
            "causes": {str(m): str(rng.choice(["low", "bad"])) for m in rng.choice(modes, size=6, replace=False)},
        }
        for i in range(components // 5)
    }
    checks = {f"check{i}": _check(i, modes, list(mechanisms), rng) for i in range(2 * components)}
    checks["run_test"] = {
        "title": "run",
        "minutes": 10,
        "outcomes": {"good": "good", "bad": "bad"},
        "leak": 0.02,
        "links": dict.fromkeys([*modes, "unlisted.present"], 0.9),
    }
    total = sum(m["share"] for part in parts.values() for m in part["modes"].values())
    return toy(
        appliance={
            "id": "grown",
            "title": "grown",
            "format": 1,
            "calls": "generated calls",
            "shares_per": total * 1.1,
        },
        other_causes={"nothing_wrong": total * 0.05, "unlisted": total * 0.05},
        component=parts,
        mechanism=mechanisms,
        symptom={},
        check=checks,
        repair={f"fix{i}": {"title": p, "fixes": [p], "minutes": 10} for i, p in enumerate(parts)},
    )


def _mode(j: int, rng: np.random.Generator) -> dict[str, Any]:
    companion = min(0.05, 0.0008 * float(np.exp(1.5 * rng.normal())))
    return {"title": f"bad {j}", "share": float(rng.gamma(1.0)), "companion": companion}


def _check(i: int, modes: list[str], mechanisms: list[str], rng: np.random.Generator) -> dict[str, Any]:
    links = {str(m): {"mid": 0.3, "high": 0.6} for m in rng.choice(modes, size=2, replace=False)}
    # Every mechanism is read by some check, in turn.
    links[f"{mechanisms[i % len(mechanisms)]}.bad"] = {"mid": 0.2, "high": 0.5}
    outcomes = {"normal": "normal", "mid": "mid", "high": "high"}
    return {
        "title": f"check {i}",
        "minutes": 3,
        "outcomes": outcomes,
        "leak": {"mid": 0.03, "high": 0.01},
        "links": links,
    }


if __name__ == "__main__":
    main()
