"""Would it have helped, on the simulated shop: python tests/benchmarks/bench_audit.py [--jobs 300 3000] [--seeds 21]
[--towns 0 1 2].

The shop's logs are written by the simulator in words, imported as a manager would import them, and learned from; the truth that the
simulator kept aside is used for scoring alone. Two questions for each size of log:

* walk: the shop's own log played forward, month by month (what `faultodds audit LOG --truth FILE` prints);
* fresh: everything learned from the whole log, then 8,000 jobs of the same town that nobody has seen.

Rivals learn from the repairs that the log says put a machine right, as a shop could have them do; "+truth" rows are the same
methods told the true main cause of every past job, which no shop knows.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import itertools
import os
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from faultodds.audit.methods import LEARNED, Fixed, Learned, Method, floored, rivals
from faultodds.audit.results import Row, judged
from faultodds.audit.run import audit
from faultodds.audit.stages import STAGES, seen_by
from faultodds.audit.truth import true_causes, truth_labels
from faultodds.audit.walk import Walked
from faultodds.joblog.clean import read_clean
from faultodds.joblog.folder import find_log
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge
from faultodds.revisions.decisions import FILE
from faultodds.tuning.groups import Groups, log_labels, repair_groups
from faultodds.tuning.settings import Settings
from faultodds_sim.make_log import write_log

#: Enough that calibration errors by luck alone stay near .01.
FRESH_JOBS, FRESH_SEED = 8000, 9001


@contextlib.contextmanager
def own_data() -> Iterator[Path]:
    """A data folder of this run alone."""
    before = os.environ.get("FAULTODDS_DATA")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["FAULTODDS_DATA"] = folder
        try:
            yield Path(folder)
        finally:
            os.environ.pop("FAULTODDS_DATA")
            if before is not None:
                os.environ["FAULTODDS_DATA"] = before


def imported(folder: Path, jobs: int, seed: int, town: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """A log of the simulated shop in a town after `faultodds log import`, and its truth."""
    from faultodds_cli.main import run

    out = folder / f"log_{jobs}_{seed}_{town}.csv"
    truth = write_log(jobs, out, seed, town=town)
    name = f"bench_{jobs}_{seed}_{town}"
    with contextlib.redirect_stdout(io.StringIO()):
        code = run(["log", "import", str(out), "--name", name, "--yes", "--json"])
    if code != 0:
        raise SystemExit(f"the import of {out.name} failed with exit code {code}")
    return read_clean(find_log(name)), pd.read_csv(truth, dtype=str)


def fresh(
    knowledge: Knowledge,
    groups: Groups,
    log: tuple[pd.DataFrame, pd.DataFrame],
    new: tuple[pd.DataFrame, pd.DataFrame],
    methods: Sequence[Method],
) -> tuple[Row, ...]:
    """Learn from one log, forecast another."""
    past, past_truth = log
    frame, truth = new
    labels = log_labels(past, knowledge, groups)
    told = truth_labels(past_truth, list(past["job"]), knowledge, groups)
    true = truth_labels(truth, list(frame["job"]), knowledge, groups)
    rows = np.flatnonzero(true >= 0)
    forecasts = {}
    causes = true_causes(past_truth, knowledge)
    past_and_cause = past.assign(cause=[causes.get(str(job)) for job in past["job"]])
    for method in methods:
        for word, jobs, given in ((" ", past, labels), (" +truth", past_and_cause, told)):
            if method.name == FILE and word != " ":
                continue
            forecast = method.learn(jobs, given)
            for stage in STAGES:
                seen = seen_by(frame.iloc[rows], knowledge, stage)
                forecasts[stage.name, (method.name + word).strip()] = floored(forecast(stage, seen))
    names = list(dict.fromkeys(m for _, m in forecasts))
    return judged(Walked(rows, true[rows], forecasts, ()), STAGES, names)


def show(title: str, rows: Sequence[Row]) -> None:
    """A table, and how the learned priors stand to everything else."""
    print(f"\n{title}")
    print(
        f"{'stage':<11}{'method':<28}{'log':>7}{'Brier':>7}{'rel.':>7}{'calib':>7}{'luck':>7}{'first':>7}{'top 3':>7}  than file"
    )
    for r in rows:
        d = r.against
        than = "" if d is None else f"{d.value:+.3f} ({d.low:+.3f} to {d.high:+.3f})"
        print(
            f"{r.stage.name:<11}{r.method:<28}{r.log_score:7.3f}{r.brier.score:7.3f}{r.brier.reliability:7.3f}"
            f"{r.calibration.value:7.3f}{r.luck:7.3f}{r.top1:7.3f}{r.top3:7.3f}  {than}"
        )
    by = {(r.stage.name, r.method): r for r in rows}
    for own, told in ((LEARNED, False), (f"{LEARNED} +truth", True)):
        others = [(s, m) for s, m in by if m != own and (m == FILE or ("+truth" in m) == told)]
        for figure in ("log_score", "calibration") if any(m == own for _, m in by) else ():
            lost = [f"{m} ({s})" for s, m in others if _of(by[s, m], figure) < _of(by[s, own], figure)]
            print(f"{figure}: {own} is " + ("best at every stage" if not lost else "beaten by " + ", ".join(lost)))


def _of(row: Row, figure: str) -> float:
    return row.log_score if figure == "log_score" else row.calibration.value


def main() -> None:
    """Print a table for every size and seed."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--jobs", type=int, nargs="+", default=[300, 3000], help="sizes of the log")
    parser.add_argument("--seeds", type=int, nargs="+", default=[21], help="shops")
    parser.add_argument(
        "--towns", type=int, nargs="+", default=[0], help="where: 0 is like the file, others have other faults"
    )
    parser.add_argument("--fresh-only", action="store_true", help="leave the walks out")
    parser.add_argument("--no-rivals", action="store_true", help="only the file's priors and the learned ones")
    args = parser.parse_args()
    knowledge = load("gas_dryer")
    groups = repair_groups(knowledge)
    settings = Settings()
    methods: list[Method] = [Fixed(FILE, knowledge, groups), Learned(LEARNED, knowledge, groups, settings)]
    methods += [] if args.no_rivals else rivals(knowledge, groups)
    with own_data() as folder:
        for town in args.towns:
            new = imported(folder, FRESH_JOBS, FRESH_SEED, town)
            for jobs, seed in itertools.product(args.jobs, args.seeds):
                log = imported(folder, jobs, seed, town)
                started = time.perf_counter()
                rows = fresh(knowledge, groups, log, new, methods)
                show(f"{jobs} jobs (seed {seed}, town {town}) learned, {len(new[0])} fresh jobs forecast", rows)
                print(f"{time.perf_counter() - started:.0f} s", flush=True)
                if args.fresh_only:
                    continue
                started = time.perf_counter()
                found = audit(knowledge, log[0], truth=log[1], with_rivals=not args.no_rivals)
                show(
                    f"{jobs} jobs (seed {seed}, town {town}) walked through, {found.counts['scored']} forecast",
                    found.rows,
                )
                print(f"{time.perf_counter() - started:.0f} s", flush=True)


if __name__ == "__main__":
    main()
