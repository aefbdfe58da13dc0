"""How fast learning is: python tests/benchmarks/bench_learning.py [--jobs 100000] [--rows 2] [--million].

On the same machine, in the same run: rows a second of one pass (an iteration of EM) of the project's learner and of pyAgrum's EM on
the exported network; a whole fit against pandas reading the same log as CSV (the clean log, and the log as the shop wrote it);
growth with the number of jobs; with `--million`, the peak memory of a million jobs. Logs are drawn from the shipped file itself,
70 % of their cells missing; the shop's comes from the simulator.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pandas as pd
from bench_audit import imported, own_data

from faultodds.knowledge.loading import load
from faultodds.tuning.draw import draw_log
from faultodds.tuning.encode import Encoder
from faultodds.tuning.fitting import CHUNK, encoded, fit
from faultodds.tuning.settings import Settings
from faultodds.tuning.statistics import statistics
from faultodds.tuning.structure import structure_of

PLAIN = Settings(strengths={})


def pieces(jobs: int) -> Iterator[pd.DataFrame]:
    """A drawn log in pieces, so that no table of all jobs is ever in memory."""
    knowledge = load("gas_dryer")
    structure = structure_of(knowledge, PLAIN.omitted_target)
    for number, start in enumerate(range(0, jobs, CHUNK)):
        yield draw_log(knowledge, min(CHUNK, jobs - start), seed=number, guesses_of=structure)


def one_pass(jobs: int) -> float:
    """Rows a second of one pass over `jobs` jobs on one core; the best of two, encoding not counted."""
    structure = structure_of(load("gas_dryer"), PLAIN.omitted_target)
    encoder = Encoder(structure)
    chunks = [encoder.encode(piece) for piece in pieces(jobs)]
    best = float("inf")
    for _ in range(2):
        started = time.perf_counter()
        for chunk in chunks:
            statistics(structure, chunk, structure.families.prior)
        best = min(best, time.perf_counter() - started)
    return jobs / best


def other_engine(rows: int) -> tuple[float, int]:
    """Rows a second of pyAgrum's EM on the same network, over the columns that it can use, and the iterations counted.

    What comes before the first iteration (reading, the engine's own preparations) is taken out: two lengths of run are compared.
    """
    import pyagrum as gum

    from faultodds.knowledge.network import build_network
    from faultodds.knowledge.network_files import write_bif

    knowledge = load("gas_dryer")
    with tempfile.TemporaryDirectory() as folder:
        network = Path(folder) / "dryer.bif"
        write_bif(build_network(knowledge), network)
        net = gum.loadBN(str(network))
        log = draw_log(knowledge, rows, seed=1)
        seen = {c.partition(":")[2]: log[c] for c in log.columns if c.startswith(("fact:", "found:"))}
        table = pd.DataFrame({n: seen[n].astype(object) if n in seen else None for n in net.names()})
        data = Path(folder) / "rows.csv"
        table.fillna("?").to_csv(data, index=False)
        runs = []
        for most in (2, 4):
            learner = gum.BNLearner(str(data), net, ["?"])
            learner.useSmoothingPrior(1.0)
            learner.useEM(1e-12)
            learner.EMsetMaxIter(most)
            started = time.perf_counter()
            learner.learnParameters(net)
            runs.append((learner.EMnbrIterations(), time.perf_counter() - started))
    (few, short), (many, long) = runs
    return rows * (many - few) / (long - short), many - few


def whole_fit(jobs: int, workers: int) -> tuple[float, int, float]:
    """Seconds of a whole fit, seconds that pandas takes to read the same clean log as CSV, passes of the last climb."""
    log = pd.concat(list(pieces(jobs)), ignore_index=True)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        log.to_csv(path, index=False)
        read = reading(path)
    return *fitting(log, workers), read


def shop_fit(jobs: int, workers: int) -> tuple[float, int, float]:
    """The same for a log as a shop has it: the simulated shop's CSV, imported as a manager would and then learned from."""
    with own_data() as folder:
        log, _ = imported(folder, jobs, 5, 0)
        read = reading(folder / f"log_{jobs}_5_0.csv")
    return *fitting(log, workers), read


def reading(path: Path) -> float:
    """Seconds that pandas takes to read a CSV, the best of two."""
    times = []
    for _ in range(2):
        started = time.perf_counter()
        pd.read_csv(path, low_memory=False)
        times.append(time.perf_counter() - started)
    return min(times)


def fitting(log: pd.DataFrame, workers: int) -> tuple[float, int]:
    """Seconds of a fit with the usual settings, and passes of its last climb."""
    started = time.perf_counter()
    learned = fit(load("gas_dryer"), log, Settings(workers=workers))
    return time.perf_counter() - started, len(learned.log_posterior)


def million() -> tuple[float, float]:
    """Peak memory in GiB and seconds of encoding a million jobs and two passes over them."""
    started = time.perf_counter()
    structure = structure_of(load("gas_dryer"), PLAIN.omitted_target)
    chunks, _ = encoded(structure, pieces(1_000_000), PLAIN)
    for _ in range(2):
        for chunk in chunks:
            statistics(structure, chunk, structure.families.prior)
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20, time.perf_counter() - started


def main() -> None:
    """Print every measurement."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--rows", type=int, default=2, help="rows for the other engine: each takes minutes")
    parser.add_argument("--workers", type=int, default=2, help="threads of the whole fit")
    parser.add_argument("--million", action="store_true", help="also a million jobs: about twenty minutes")
    args = parser.parse_args()
    ours = one_pass(args.jobs)
    print(f"one pass, {args.jobs:,} jobs, one core: {ours:,.0f} rows/s", flush=True)
    other, counted = other_engine(args.rows)
    print(
        f"pyAgrum's EM, {args.rows} rows, {counted} iterations counted: {other:.1f} rows/s an iteration; "
        f"ratio {ours / other:,.0f}",
        flush=True,
    )
    for jobs in (args.jobs // 100, args.jobs // 10):
        print(f"growth: {jobs:,} jobs {one_pass(jobs):,.0f} rows/s", flush=True)
    for what, measured in (("clean log drawn from the file", whole_fit), ("simulated shop's own log", shop_fit)):
        took, passes, read = measured(args.jobs, args.workers)
        print(
            f"whole fit, {args.jobs:,} jobs, {what}, {args.workers} threads: {took:.1f} s, {passes} passes at the end;"
        )
        print(f"  pandas reads its CSV in {read:.2f} s; ratio {took / read:.0f}", flush=True)
    if args.million:
        peak, seconds = million()
        print(f"a million jobs: peak memory {peak:.2f} GiB, {seconds:.0f} s for encoding and two passes")


if __name__ == "__main__":
    main()
