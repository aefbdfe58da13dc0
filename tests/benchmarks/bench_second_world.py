"""The policies of `faultodds trial` in a second invented world, written without sight of the simulator (tests/second_world).

    python tests/benchmarks/bench_second_world.py [--jobs N] [--seed S] [--labour R] [--workers 2]

Every policy meets the same calls. Printed, each with its 95 % interval over the jobs (bootstrap): what a job costs, what it costs
above the floor (whoever knows the fault), that as a share of the checklist's price of not knowing, callbacks, jobs handed
over, wrong parts, jobs put right on the first visit. `--labour R`: another labour rate in place of the file's. Last, how
many pairs of faults that need different repairs this world tells apart by nothing.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faultodds.belief import Appliance, compiled, open_appliance
from faultodds.knowledge import Floats, apply
from faultodds_cli.trial.play import FLOOR, OURS, POLICIES, played
from faultodds_sim.repairs import CURES
from second_world.call import one_call
from second_world.world import the_world, untold_pairs

CHECKLIST = "checklist"
RESAMPLES = 2000
#: What is kept of a job, in this order.
COST, CAME_BACK, HANDED_OVER, WRONG_PARTS, FIRST_VISIT = range(5)


@dataclass(frozen=True)
class Series:
    """Which calls are played, and at which labour rate (None: the file's)."""

    seed: int
    labour: float | None

    def open(self) -> Appliance:
        """The shipped dryer as its file has it, with this labour rate."""
        base = open_appliance("gas_dryer", revision="file")
        if self.labour is None:
            return base
        return compiled(apply(base.knowledge, {"costs/labour_rate": self.labour}))


def main() -> None:
    """Play and print."""
    options = _options()
    series = Series(options.seed, options.labour)
    rate = series.open().knowledge.costs  # also puts the compiled appliance where the processes find it
    print(
        f"{options.jobs} calls of the second world (synthetic), seed {options.seed}, "
        f"labour {rate.labour_rate:g} {rate.currency} an hour; 95 % intervals",
        flush=True,
    )
    print("\n".join(table(play(series, options.jobs, options.workers))))
    pairs = untold_pairs(the_world(), CURES)
    print(f"pairs of faults for different repairs that nothing here tells apart by more than .05: {len(pairs)}")
    print("".join(f"  {a} and {b}\n" for a, b in pairs), end="")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="The trial in a second invented world.")
    parser.add_argument("--jobs", type=int, default=400, help="calls played")
    parser.add_argument("--seed", type=int, default=0, help="which series of calls")
    parser.add_argument("--labour", type=float, default=None, help="labour an hour; the file's when left out")
    parser.add_argument("--workers", type=int, default=2, help="processes")
    options = parser.parse_args()
    if options.jobs < 1 or options.workers < 1:
        parser.error("--jobs and --workers are 1 or more.")
    return options


def play(series: Series, jobs: int, workers: int) -> dict[str, Floats]:
    """What is kept of every job, a row each, by policy."""
    context = multiprocessing.get_context("spawn")
    with context.Pool(workers, _start, (series,)) as pool:
        rows = pool.map(_job, range(jobs), chunksize=1)
    kept = np.array(rows)
    return {name: kept[:, i] for i, name in enumerate(POLICIES)}


_opened: list[tuple[Series, Appliance]] = []


def _start(series: Series) -> None:
    _opened[:] = [(series, series.open())]


def _job(number: int) -> list[list[float]]:
    series, appliance = _opened[0]
    found = []
    for policy in POLICIES:
        visit = played(appliance, one_call(the_world(), series.seed, number), policy)
        handed_over = visit.ending == "handed over"
        found.append([visit.cost, visit.came_back, handed_over, visit.wrong_parts, visit.put_right])
    return found


def table(kept: dict[str, Floats]) -> list[str]:
    """The lines to print."""
    jobs = len(kept[FLOOR])
    rng = np.random.default_rng(0)
    draws = [rng.integers(0, jobs, jobs) for _ in range(RESAMPLES)]
    costs = {name: rows[:, COST] for name, rows in kept.items()}
    floor, unknowing = costs[FLOOR], costs[CHECKLIST] - costs[FLOOR]
    lines = [
        f"{'policy':<12}{'cost':>22}{'above floor':>22}{'of checklist, %':>22}{'more than ours':>22}"
        f"{'come back, %':>22}{'handed over, %':>22}{'wrong parts':>22}{'first visit, %':>22}"
    ]
    one = np.ones(jobs)
    for name, rows in kept.items():
        above = costs[name] - floor
        cells = [
            _cell(costs[name], one, draws, 0),
            _cell(above, one, draws, 0),
            _cell(100 * above, unknowing, draws, 0),
            _cell(costs[name] - costs[OURS], one, draws, 0),
            *(_cell(100 * rows[:, at], one, draws, 1) for at in (CAME_BACK, HANDED_OVER)),
            _cell(rows[:, WRONG_PARTS], one, draws, 2),
            _cell(100 * rows[:, FIRST_VISIT], one, draws, 1),
        ]
        lines.append(f"{name:<12}" + "".join(f"{cell:>22}" for cell in cells))
    return lines


def _cell(over: Floats, under: Floats, draws: Sequence[np.ndarray], digits: int) -> str:
    """Sum over sum, with its bootstrap interval."""
    if not under.sum():
        return "-"
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = np.nanquantile([over[d].sum() / under[d].sum() for d in draws], [0.025, 0.975])
    return f"{over.sum() / under.sum():.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"


if __name__ == "__main__":
    for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[threads] = "1"  # the processes do their sums on one thread each
    main()
