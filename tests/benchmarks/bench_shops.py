"""Does learning follow a shop that differs: python tests/benchmarks/bench_shops.py [--shops quay_row ...] [--jobs 300 1500]
[--seeds 3] [--fresh 800] [--sweeps 200] [--rivals].

Eight invented shops (`tests/shops`) write logs that are imported as a manager would import them. Printed for each shop and size,
the mean of the seeds: Kullback and Leibler's divergence of the file's shares of the main causes, of a plain count of repairs that
held, and of the learned ones, from the shop's true shares, in nats; the largest distance of a check's false alarm from its truth,
the file's, the learned and that which the same log would say with every fault told (a check that is hardly ever done keeps the
file's, whatever the truth is), the most that learning took one further away than the file has it, and the *excess*: the most that
one is learned further away than both the file and the told log have it. An excess of .02 or more is an error of learning; without
one, a false alarm that is learned over .05 away is one that the log cannot tell: it has too few sound machines with that check,
whoever reads it. Then the log score of the true causes of
fresh jobs under the file's numbers and under the learned ones, in nats; with `--sweeps`, how many of the shares' 90 %
intervals hold the truth, and the seconds of one fit. With `--rivals`, at every stage of fresh jobs, the log score of the repair
group that would have put them right under the file's and the learned numbers and each method of scikit-learn (same columns, the
log's own labels, as `faultodds audit` has it), and the calibration error of the learned forecast beside the error that luck alone
would bring; the first seed only.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench_audit import own_data

from faultodds.audit.forecast import main_cause_odds
from faultodds.audit.methods import (
    LEARNED,
    OMITTED_TARGET,
    Fixed,
    Learned as LearnedMethod,
    Method,
    floored,
    gaps_of,
    rivals,
)
from faultodds.audit.scores import binary_calibration_error, calibration_by_luck, favourites, log_scores
from faultodds.audit.stages import STAGES, seen_by
from faultodds.belief.suspects import compile_suspects
from faultodds.joblog.clean import FOUND, read_clean
from faultodds.joblog.folder import find_log
from faultodds.knowledge.loading import load
from faultodds.revisions.decisions import FILE
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.fitting import Learned, fit
from faultodds.tuning.gibbs import sample
from faultodds.tuning.groups import log_labels, repair_groups
from faultodds.tuning.settings import WORTH, Settings
from faultodds.tuning.structure import structure_of
from shops.counting import count
from shops.kinds import SHOPS, Shop
from shops.world import kl
from shops.writing import log as write_log

FRESH_SEED = 99
KNOWLEDGE = load("gas_dryer")
STRUCTURE = structure_of(KNOWLEDGE, Settings().omitted_target)
MAINS = STRUCTURE.suspects.mains
CHECKS = [i for i, n in enumerate(STRUCTURE.observables[: STRUCTURE.checks]) if n in KNOWLEDGE.check]


def imported(folder: Path, shop: Shop, jobs: int, seed: int) -> tuple[pd.DataFrame, dict[str, Any], Path]:
    """A shop's log after `faultodds log import`, its truth, and the log as it was written."""
    from faultodds_cli.main import run

    name = f"{shop.name}_{jobs}_{seed}"
    out, truth = folder / f"{name}.csv", folder / f"{name}.json"
    write_log(shop, jobs, seed, out, truth)
    with contextlib.redirect_stdout(io.StringIO()):
        code = run(["log", "import", str(out), "--name", name, "--yes", "--json"])
    if code != 0:
        raise SystemExit(f"the import of {out.name} failed with exit code {code}")
    return read_clean(find_log(name)), json.loads(truth.read_text()), out


def shares(theta: np.ndarray) -> np.ndarray:
    """(C,) shares of the main causes."""
    return STRUCTURE.families.padded(theta)[STRUCTURE.families.share]


def alarms_of(theta: np.ndarray) -> np.ndarray:
    """The false alarm of every check."""
    return 1.0 - arrays_of(STRUCTURE, theta).outcome[STRUCTURE.group_of[CHECKS, STRUCTURE.suspects.sound], 0]


def alarms_told(frame: pd.DataFrame, truth: dict[str, Any]) -> np.ndarray:
    """The false alarm of every check, counted where nothing it looks at is wrong, the file's worth as many jobs as in learning."""
    suspects = STRUCTURE.suspects
    number = {tuple(np.flatnonzero(row)): h for h, row in enumerate(suspects.member)}
    faults = [truth["tickets"][t]["faults"] for t in frame["job"].astype(str)]
    there = np.array([number.get(tuple(sorted(suspects.mode_index[m] for m in each)), -1) for each in faults])
    unwritten = np.log(truth["habits"]["good_check_written"])
    out = []
    for i, file in zip(CHECKS, alarms_of(STRUCTURE.families.prior), strict=True):
        shown = frame.get(f"{FOUND}{STRUCTURE.observables[i]}", pd.Series(index=frame.index, dtype=object)).astype(
            object
        )
        group = STRUCTURE.group_of[i]
        sound = shown.notna() & (there >= 0) & (group[there] == group[suspects.sound])
        bad = (shown[sound] != suspects.observables[STRUCTURE.observables[i]][0]).sum()
        on_record = file / (file + (1.0 - file) * np.exp(unwritten))
        share = (WORTH["links"] * on_record + bad) / (WORTH["links"] + sound.sum())
        out.append(share / (share + (1.0 - share) * np.exp(-unwritten)))
    return np.array(out)


def log_score(learned: Learned | None, frame: pd.DataFrame, truth: dict[str, Any]) -> float:
    """Mean of minus the log chance of the true main cause of first visits, going by facts and findings."""
    first = frame[[truth["tickets"][t]["visit"] == 1 for t in frame["job"].astype(str)]].reset_index(drop=True)
    suspects = compile_suspects(KNOWLEDGE if learned is None else learned.knowledge, OMITTED_TARGET)
    gaps = () if learned is None else (gaps_of(suspects, KNOWLEDGE, learned),)
    odds = main_cause_odds(suspects, first, *gaps)
    true = [suspects.mains.index(truth["tickets"][t]["main"]) for t in first["job"].astype(str)]
    return float(-np.log(np.maximum(odds[np.arange(len(true)), true], 1e-6)).mean())


def coverage(learned: Learned, frame: pd.DataFrame, true: np.ndarray, sweeps: int) -> float:
    """Part of the shares whose 90 % interval holds the truth."""
    drawn = sample(KNOWLEDGE, frame, learned.settings, sweeps, sweeps // 4, learned=learned).theta
    low, high = np.quantile([shares(theta) for theta in drawn], [0.05, 0.95], axis=0)
    return float(((low <= true + 1e-12) & (true <= high + 1e-12)).mean())


def row(
    folder: Path, shop: Shop, jobs: int, seed: int, fresh: tuple[pd.DataFrame, dict[str, Any]], sweeps: int
) -> list[float]:
    """What is printed of one log."""
    frame, truth, path = imported(folder, shop, jobs, seed)
    true = np.array([truth["shares"][m] for m in MAINS])
    start = time.perf_counter()
    learned = fit(KNOWLEDGE, frame, Settings())
    seconds = time.perf_counter() - start
    names, counted = count(path)
    by_name = dict(zip(names, counted, strict=True))
    true_alarms = [truth["summary [truth, file]"][STRUCTURE.observables[i]]["false_alarm"][0] for i in CHECKS]
    alarms = alarms_of(STRUCTURE.families.prior), alarms_of(learned.theta), alarms_told(frame, truth)
    file_off, off, told_off = np.abs(np.stack(alarms) - np.array(true_alarms))
    return [
        kl(true, STRUCTURE.suspects.share),
        kl(true, np.array([by_name[m] for m in MAINS])),
        kl(true, shares(learned.theta)),
        file_off.max(),
        off.max(),
        told_off.max(),
        (off - file_off).max(),
        (off - np.maximum(file_off, told_off)).max(),
        log_score(None, *fresh),
        log_score(learned, *fresh),
        coverage(learned, frame, true, sweeps) if sweeps else float("nan"),
        seconds,
    ]


def show_rivals(past: pd.DataFrame, fresh: tuple[pd.DataFrame, dict[str, Any]]) -> None:
    """Print every method's forecasts of fresh first visits at every stage, and how well calibrated the learned numbers are."""
    frame, truth = fresh
    first = frame[[truth["tickets"][t]["visit"] == 1 for t in frame["job"].astype(str)]].reset_index(drop=True)
    groups = repair_groups(KNOWLEDGE)
    true = np.array([groups.of_main[truth["tickets"][t]["main"]] for t in first["job"].astype(str)])
    labels = log_labels(past, KNOWLEDGE, groups)
    methods: list[Method] = [Fixed(FILE, KNOWLEDGE, groups), LearnedMethod(LEARNED, KNOWLEDGE, groups, Settings())]
    methods += rivals(KNOWLEDGE, groups)
    forecasts = {m.name: m.learn(past, labels) for m in methods}
    print(f"    {'stage':<11}" + "".join(f"{name:>21}" for name in forecasts) + f"{'calibration':>13}{'by luck':>9}")
    for stage in STAGES:
        seen = seen_by(first, KNOWLEDGE, stage)
        chances = {name: floored(forecast(stage, seen)) for name, forecast in forecasts.items()}
        scored = "".join(f"{log_scores(p, true).mean():21.4f}" for p in chances.values())
        error = binary_calibration_error(*favourites(chances[LEARNED], true))
        print(f"    {stage.name:<11}{scored}{error:13.4f}{calibration_by_luck(chances[LEARNED]):9.4f}", flush=True)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--shops", nargs="+", choices=[*SHOPS], default=[*SHOPS])
    parser.add_argument("--jobs", nargs="+", type=int, default=[300, 1500])
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--fresh", type=int, default=800)
    parser.add_argument("--sweeps", type=int, default=0)
    parser.add_argument("--rivals", action="store_true")
    args = parser.parse_args()
    columns = ["file", "counted", "learned", "alarm:file", "learned", "told", "worse by", "excess"]
    columns += ["score:file", "learned", "covered", "seconds"]
    print(f"{'shop':14}{'jobs':>7}" + "".join(f"{c:>11}" for c in columns))
    with own_data() as folder:
        for name in args.shops:
            shop = Shop(name)
            fresh = imported(folder, shop, args.fresh, FRESH_SEED)[:2]
            for jobs in args.jobs:
                rows = [row(folder, shop, jobs, seed, fresh, args.sweeps) for seed in range(1, args.seeds + 1)]
                print(f"{name:14}{jobs:7}" + "".join(f"{x:11.4f}" for x in np.mean(rows, axis=0)))
                sys.stdout.flush()
                if args.rivals:
                    show_rivals(imported(folder, shop, jobs, 1)[0], fresh)


if __name__ == "__main__":
    main()
