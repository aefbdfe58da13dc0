"""One full evaluation on the shipped dryer, side by side with pgmpy and pyAgrum; one core.

An evaluation is: every mode's odds, every outcome's chance for every symptom and check not yet seen, and every mode's odds
after that outcome. Run `python tests/benchmarks/bench_evaluation.py [--quick]`. Every engine answers the same question on
the same network in the same process, in turns, and the answers are compared before the times are shown.
Where an engine would take minutes, it is asked for a stated sample of the checks and its time is scaled up.
"""

from __future__ import annotations

import os
import sys

ONE_CORE = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}
if any(os.environ.get(name) != value for name, value in ONE_CORE.items()):
    os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, **ONE_CORE})

import argparse  # noqa: E402
import resource  # noqa: E402
import tempfile  # noqa: E402
import time  # noqa: E402
import warnings  # noqa: E402
from collections.abc import Callable, Sequence  # noqa: E402
from dataclasses import dataclass  # noqa: E402
from pathlib import Path  # noqa: E402
from typing import Any  # noqa: E402

import numpy as np  # noqa: E402

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from oracles import GumNet, as_evidence, sample_evidence  # noqa: E402

from faultodds.belief import Belief, infer, outlook  # noqa: E402
from faultodds.knowledge import load  # noqa: E402
from faultodds.network import build_network, export, hard_evidence  # noqa: E402
from faultodds.schema import OK, Knowledge  # noqa: E402
from faultodds.suspects import Suspects, compile_suspects  # noqa: E402

JOINT_CELLS = 3**9


@dataclass
class Timing:
    """Seconds for a whole evaluation, the share of it that was asked for, and the largest difference from ours."""

    seconds: float
    asked: float
    apart: float


def main() -> None:
    """Print one table for each evidence state, then peak memory."""
    options = _options()
    knowledge = load("gas_dryer")
    suspects = compile_suspects(knowledge)
    print(f"shipped dryer: {len(suspects.components)} components, {len(suspects.modes)} modes, "
          f"{len(suspects.observables)} symptoms and checks, {len(suspects.likelihood)} outcomes, {len(suspects.member):,} suspects")
    print(f"memory after compiling: {_peak():.0f} MiB (peak)")
    ours_peak = _ours_only(knowledge, suspects)
    print(f"memory after our evaluations: {ours_peak:.0f} MiB (peak)")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "dryer.bifxml"
        export(knowledge, path, "xmlbif")
        network = build_network(knowledge)
        for title, pairs in _states(knowledge, suspects):
            _compare(title, pairs, knowledge, suspects, network, path, options)
    print(f"\npeak memory with every library loaded: {_peak():.0f} MiB")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--quick", action="store_true", help="fewer rounds and smaller samples")
    parser.add_argument("--no-pgmpy", action="store_true", help="leave pgmpy out")
    return parser.parse_args()


def _peak() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _ours_only(knowledge: Knowledge, suspects: Suspects) -> float:
    for _, pairs in _states(knowledge, suspects):
        outlook(infer(suspects, as_evidence(suspects, pairs)))
    return _peak()


def _states(knowledge: Knowledge, suspects: Suspects) -> list[tuple[str, dict[str, str]]]:
    """Nothing known; the complaint only; the complaint and four findings drawn from the model."""
    complaint = next(n for n in suspects.observables if n in knowledge.symptom)
    first = {complaint: suspects.observables[complaint][1]}
    rng = np.random.default_rng(7)
    more: dict[str, str] = {}
    while sum(n in suspects.observables for n in more) < 4:
        drawn = sample_evidence(suspects, knowledge, rng, 12)
        more = {n: o for n, o in drawn.items() if n in suspects.observables and n != complaint}
    return [("nothing known", {}), ("complaint only", first), ("complaint and 4 findings", first | dict(list(more.items())[:4]))]


def _compare(
    title: str, pairs: dict[str, str], knowledge: Knowledge, suspects: Suspects, network: Any, path: Path, options: argparse.Namespace
) -> None:
    belief = infer(suspects, as_evidence(suspects, pairs))
    open_names = [n for n in suspects.observables if n not in pairs]
    nodes = hard_evidence(suspects, belief.evidence)
    gum = {e: GumNet(path, suspects, e) for e in ("ShaferShenoyInference", "LazyPropagation")}
    engines: dict[str, Callable[[Sequence[str]], dict[str, Any]]] = {
        f"pyAgrum {e}": lambda names, g=g: _gum_outcomes(g, nodes, suspects, names) for e, g in gum.items()  # type: ignore[misc]
    }
    if not options.no_pgmpy:
        engines["pgmpy, joint of check and faults"] = lambda names: _pgmpy_joint(network, nodes, suspects, names)
        engines["pgmpy, one query at a time"] = lambda names: _pgmpy_loop(network, nodes, suspects, names)
    size = {n: 12 if options.quick else len(open_names) for n in engines} | {"pgmpy, joint of check and faults": 2, "pgmpy, one query at a time": 1}
    rounds = 1 if options.quick else 3
    own: list[float] = []
    timings: dict[str, list[Timing]] = {n: [] for n in engines}
    rng = np.random.default_rng(1)
    for _ in range(rounds):
        for engine, ask in engines.items():
            own.append(_time_ours(belief))
            names = list(rng.permutation(open_names)[: size[engine]])
            timings[engine].append(_time(ask, names, open_names, suspects, belief))
    _print(title, pairs, float(np.median(own)), timings, len(open_names))


def _time_ours(belief: Belief) -> float:
    taken = []
    for _ in range(5):
        start = time.perf_counter()
        fresh = infer(belief.suspects, belief.evidence)
        outlook(fresh)
        taken.append(time.perf_counter() - start)
    return float(np.median(taken))


def _time(
    ask: Callable[[Sequence[str]], dict[str, Any]], names: list[str], open_names: list[str], suspects: Suspects, belief: Belief
) -> Timing:
    start = time.perf_counter()
    answer = ask(names)
    taken = time.perf_counter() - start
    rows = sum(len(suspects.observables[n]) for n in names)
    every = sum(len(suspects.observables[n]) for n in open_names)
    return Timing(taken * every / rows, rows / every, _apart(answer, names, suspects, belief))


def _apart(answer: dict[str, Any], names: Sequence[str], suspects: Suspects, belief: Belief) -> float:
    """Largest difference, joint chance of outcome and mode, between an engine's answer and ours."""
    ours = outlook(belief)
    worst = 0.0
    for name in names:
        if name in answer:
            rows = suspects.rows[name]
            worst = max(worst, float(np.abs(answer[name] - ours.after[rows] * ours.chance[rows, None]).max()))
    return worst


def _print(title: str, pairs: dict[str, str], own: float, timings: dict[str, list[Timing]], count: int) -> None:
    print(f"\n{title}: {', '.join(f'{k}={v}' for k, v in pairs.items()) or 'no evidence'}; {count} symptoms and checks open")
    print(f"  {'engine':38} {'seconds':>10} {'times ours':>11}  {'asked for':>9} {'largest difference':>19}")
    print(f"  {'faultodds, posterior and outlook':38} {own:10.4f} {1:11,.0f}  {1:9.0%}")
    for engine, runs in timings.items():
        seconds = float(np.median([t.seconds for t in runs]))
        asked = float(np.median([t.asked for t in runs]))
        print(f"  {engine:38} {seconds:10.3f} {seconds / own:11,.0f}  {asked:9.0%} {max(t.apart for t in runs):19.1e}")


def _gum_outcomes(gum: GumNet, nodes: dict[str, str], suspects: Suspects, names: Sequence[str]) -> dict[str, Any]:
    """pyAgrum: one change of evidence an outcome, and one pass a check for the chances of its outcomes.

    Making every check a target at once would need one pass fewer a check, but on this network it builds a clique of hundreds
    of millions of cells; a check at a time, the engine prunes what it does not need.
    """
    gum.set(nodes)
    answers = {}
    for name in names:
        gum.engine.addTarget(name)
        gum.engine.makeInference()
        chances = gum.chance_of(name)
        gum.engine.eraseTarget(name)
        rows = np.zeros((len(chances), len(suspects.modes)))
        for i, outcome in enumerate(suspects.observables[name]):
            if chances[i] > 0:
                gum.change(name, outcome)
                rows[i] = gum.mode_odds() * chances[i]
        gum.engine.eraseEvidence(name)
        answers[name] = rows
    return answers


def _elimination(network: Any) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.inference import VariableElimination
    return VariableElimination(network)


def _pgmpy_joint(network: Any, nodes: dict[str, str], suspects: Suspects, names: Sequence[str]) -> dict[str, Any]:
    """pgmpy's cleverest use: the joint of a check and as many components as a table of fair size holds."""
    engine = _elimination(network)
    states = {c: [*network.get_cpds(c).state_names[c]] for c in suspects.components}
    answers = {}
    for name in names:
        out = np.zeros((len(suspects.observables[name]), len(suspects.modes)))
        for chunk in _chunks([c for c in suspects.components if c not in nodes], states, len(out)):
            joint = engine.query([name, *chunk], evidence=nodes, show_progress=False)
            for component in chunk:
                table = joint.marginalize([c for c in chunk if c != component], inplace=False)
                values = table.values if table.variables[0] == name else table.values.T
                order = [table.state_names[name].index(o) for o in suspects.observables[name]]
                for j, state in enumerate(table.state_names[component]):
                    if state != OK:
                        out[:, suspects.mode_index[f"{component}.{state}"]] = values[order, j]
        answers[name] = out
    return answers


def _chunks(components: Sequence[str], states: dict[str, list[str]], cells: int) -> list[list[str]]:
    chunks: list[list[str]] = [[]]
    size = cells
    for component in components:
        if chunks[-1] and size * len(states[component]) > JOINT_CELLS:
            chunks.append([])
            size = cells
        chunks[-1].append(component)
        size *= len(states[component])
    return chunks


def _pgmpy_loop(network: Any, nodes: dict[str, str], suspects: Suspects, names: Sequence[str]) -> dict[str, Any]:
    """pgmpy as its manual shows it: a query for the outcome's chance, then one a component for every outcome."""
    engine = _elimination(network)
    answers = {}
    for name in names:
        chance = engine.query([name], evidence=nodes, show_progress=False)
        out = np.zeros((len(suspects.observables[name]), len(suspects.modes)))
        for i, outcome in enumerate(suspects.observables[name]):
            weight = chance.get_value(**{name: outcome})
            for component in suspects.components:
                if component in nodes or weight <= 0:
                    continue
                factor = engine.query([component], evidence={**nodes, name: outcome}, show_progress=False)
                for state, value in zip(factor.state_names[component], factor.values, strict=True):
                    if state != OK:
                        out[i, suspects.mode_index[f"{component}.{state}"]] = value * weight
        answers[name] = out
    return answers


if __name__ == "__main__":
    main()
