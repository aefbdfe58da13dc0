"""One full evaluation on the shipped dryer, side by side with pgmpy and pyAgrum; one core.

An evaluation is: every mode's odds, every outcome's chance for every symptom and check not yet seen, and
every mode's odds after that outcome. Run `python tests/benchmarks/bench_evaluation.py [--quick]`. Every
engine answers the same question on the same network in the same process, in turns, and the answers are
compared before the times are shown; a ratio is the median over rounds of an engine's time over ours just
before. pgmpy would take hours, so it is asked a random sample of the queries it would need (the share is
printed) and its time is scaled up; a query still running after 10 seconds is stopped and counted as 10, and
the ratio is then marked ">".
"""

from __future__ import annotations

import os
import sys

ONE_CORE = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
if any(os.environ.get(name) != value for name, value in ONE_CORE.items()):
    os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, **ONE_CORE})

import argparse
import resource
import signal
import tempfile
import time
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faultodds.belief.posterior import Belief, infer, outlook
from faultodds.belief.suspects import OMITTED_TARGET, Suspects, compile_suspects
from faultodds.knowledge.loading import load
from faultodds.knowledge.network import build_network, export
from faultodds.knowledge.schema import Knowledge
from network_reference import hard_evidence
from oracles import GumNet, as_evidence, sample_evidence

QUERY_LIMIT = 10.0


@dataclass
class Timing:
    """Seconds for a whole evaluation, the share of it that was asked for, the largest difference from ours, whether
    a query was stopped at the limit, and what ours took just before."""

    seconds: float
    asked: float
    apart: float
    cut: bool = False
    ours: float = float("nan")


def main() -> None:
    """Print one table for each evidence state, then peak memory."""
    options = _options()
    signal.signal(signal.SIGALRM, _stop)
    knowledge = load("gas_dryer")
    suspects = compile_suspects(knowledge, options.target)
    print(
        f"shipped dryer: {len(suspects.components)} components, {len(suspects.modes)} modes, "
        f"{len(suspects.observables)} symptoms and checks, {len(suspects.likelihood)} outcomes, "
        f"{len(suspects.member):,} suspects, omitted-mass target {suspects.omitted_target:g}"
    )
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
    parser.add_argument("--target", type=float, default=OMITTED_TARGET, help="omitted-mass target to compile with")
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
        drawn = sample_evidence(suspects, rng, 12)
        more = {n: o for n, o in drawn.items() if n in suspects.observables and n != complaint}
    return [
        ("nothing known", {}),
        ("complaint only", first),
        ("complaint and 4 findings", first | dict(list(more.items())[:4])),
    ]


def _compare(
    title: str,
    pairs: dict[str, str],
    knowledge: Knowledge,
    suspects: Suspects,
    network: Any,
    path: Path,
    options: argparse.Namespace,
) -> None:
    belief = infer(suspects, as_evidence(suspects, pairs))
    open_names = [n for n in suspects.observables if n not in pairs]
    nodes = hard_evidence(suspects, belief.evidence)
    gum = {e: GumNet(path, suspects, e) for e in ("ShaferShenoyInference", "LazyPropagation")}
    engines: dict[str, Callable[[Sequence[str]], dict[str, Any]]] = {
        f"pyAgrum {e}": lambda names, g=g: _gum_outcomes(g, nodes, suspects, names)
        for e, g in gum.items()  # type: ignore[misc]
    }
    size = 12 if options.quick else 24
    rounds = 1 if options.quick else 3
    own: list[float] = []
    timings: dict[str, list[Timing]] = {n: [] for n in engines}
    rng = np.random.default_rng(1)
    for _ in range(rounds):
        for engine, ask in engines.items():
            own.append(_time_ours(belief))
            names = list(rng.permutation(open_names)[:size])
            timing = _time(ask, names, open_names, suspects, belief)
            timings[engine].append(replace(timing, ours=own[-1]))
    if not options.no_pgmpy:
        found = _pgmpy(network, nodes, suspects, open_names, 2 if options.quick else 6)
        own.append(_time_ours(belief))
        timings |= {engine: [replace(timing, ours=own[-1])] for engine, timing in found.items()}
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
    ask: Callable[[Sequence[str]], dict[str, Any]],
    names: list[str],
    open_names: list[str],
    suspects: Suspects,
    belief: Belief,
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
    print(
        f"\n{title}: {', '.join(f'{k}={v}' for k, v in pairs.items()) or 'no evidence'}; "
        f"{count} symptoms and checks open"
    )
    print(f"  {'engine':38} {'seconds':>10} {'times ours':>11}  {'asked for':>9} {'largest difference':>19}")
    print(f"  {'faultodds, posterior and outlook':38} {own:10.4f} {1:11,.0f}  {1:9.0%}")
    for engine, runs in timings.items():
        seconds = float(np.median([t.seconds for t in runs]))
        asked = float(np.median([t.asked for t in runs]))
        times = float(np.median([t.seconds / t.ours for t in runs]))
        ratio = f"{'>' if any(t.cut for t in runs) else ''}{times:,.0f}"
        apart = max(t.apart for t in runs)
        print(
            f"  {engine:38} {seconds:10.3f} {ratio:>11}  {asked:9.2%} {'' if np.isnan(apart) else f'{apart:.1e}':>19}"
        )


def _gum_outcomes(gum: GumNet, nodes: dict[str, str], suspects: Suspects, names: Sequence[str]) -> dict[str, Any]:
    """pyAgrum: one change of evidence an outcome, and one pass a check for the chances of its outcomes.

    Making every check a target at once would need one pass fewer a check, but on this network it builds a
    clique of hundreds of millions of cells; a check at a time, the engine prunes what it does not need.
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


def _pgmpy(
    network: Any, nodes: dict[str, str], suspects: Suspects, names: Sequence[str], queries: int
) -> dict[str, Timing]:
    """Both ways of using pgmpy, on a random sample of the queries that each would need, within `QUERY_LIMIT`
    seconds each.

    One at a time: a query a component for every outcome, as its manual shows. Joint: a query for the joint of
    a check and a chunk of components, in whichever of the chunk sizes comes out cheapest.
    """
    engine = _elimination(network)
    wanted = [c for c in suspects.components if c not in nodes]
    singles = [([c], {**nodes, n: o}) for n in names for o in suspects.observables[n] for c in wanted]
    ways = {"pgmpy, one query at a time": _sampled(engine, singles, queries)}
    for size in (1, 12):
        chunks = [wanted[i : i + size] for i in range(0, len(wanted), size)]
        joints = [([n, *chunk], nodes) for n in names for chunk in chunks]
        ways[f"pgmpy, joint of check and {size} faults"] = _sampled(engine, joints, queries)
    return ways


def _sampled(engine: Any, asked: list[tuple[list[str], dict[str, str]]], count: int) -> Timing:
    rng = np.random.default_rng(3)
    taken = []
    cut = False
    for i in rng.choice(len(asked), size=min(count, len(asked)), replace=False):
        wanted, evidence = asked[int(i)]
        start = time.perf_counter()
        signal.setitimer(signal.ITIMER_REAL, QUERY_LIMIT)
        try:
            engine.query(wanted, evidence=evidence, show_progress=False)
        except (_TooLongError, MemoryError, ValueError):
            # ValueError: numpy refuses a table of more than 64 axes or of impossible size.
            cut = True
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
        taken.append(time.perf_counter() - start)
    return Timing(float(np.mean(taken)) * len(asked), len(taken) / len(asked), float("nan"), cut)


class _TooLongError(Exception):
    """A query that was stopped at the limit."""


def _stop(signum: int, frame: object) -> None:
    raise _TooLongError


if __name__ == "__main__":
    main()
