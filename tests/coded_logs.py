"""Logs of the simulated shop as clean frames, read without a slip: straight from the simulator's codes, no words between.

What a shop would have written down is kept, what it would not is left out; how well the import reads words is tested elsewhere.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from faultodds_sim.facts import EQUIPMENT, FACTS
from faultodds_sim.findings import CHECK_CODE, REPAIR_NAMES, TECH_NAMES
from faultodds_sim.hazards import MODE_NAMES
from faultodds_sim.households import START
from faultodds_sim.joblog import _written
from faultodds_sim.jobs import CALLBACK_DAYS, Jobs, chunks
from faultodds_sim.names import CHECKS, NOTHING, SYMPTOMS


def coded_log(jobs: int, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """A clean log and its truth (job, main_cause, modes), by day."""
    rng = np.random.default_rng([seed, 99])
    parts = [_frame(part, rng) for both in chunks(jobs, seed) for part in both]
    log = pd.concat([p[0] for p in parts], ignore_index=True)
    truth = pd.concat([p[1] for p in parts], ignore_index=True)
    order = np.argsort(log["day"].to_numpy(), kind="stable")[:jobs]
    log, truth = log.iloc[order].reset_index(drop=True), truth.iloc[order].reset_index(drop=True)
    log["job"] = truth["job"] = [f"J{i}" for i in range(len(log))]
    end = log["day"].max()
    log["followed_days"] = (end - log["day"]).dt.days.astype(float)
    late = log["back_after_days"] > log["followed_days"]
    log.loc[late, "ended"] = "gone"
    log.loc[late, "back_after_days"] = np.nan
    return log, truth


def _words(names: Any, codes: Any) -> Any:
    table = np.array([*names, None], dtype=object)
    return table[np.asarray(codes)]


def _frame(jobs: Jobs, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    columns: dict[str, Any] = {
        "day": pd.to_datetime(pd.Series((START + jobs.day.astype(int)).astype("datetime64[ns]"))),
        "technician": _words(TECH_NAMES, jobs.visit.tech),
    }
    columns |= {f"fact:{n}": _words(FACTS[n], jobs.facts[n]) for n in FACTS}
    columns |= {f"fact:{n}": _words(EQUIPMENT[n], jobs.equipment[n]) for n in EQUIPMENT}
    columns |= {f"found:{n}": _words(SYMPTOMS[n], jobs.told[n]) for n in SYMPTOMS}
    for name, row in CHECK_CODE.items():
        if name != "verification_run":
            codes = np.where(_written(jobs, name, rng), jobs.visit.code[row], -1)
            columns[f"found:{name}"] = _words(CHECKS[name], codes)
    columns["repairs"] = [
        ";".join(REPAIR_NAMES[c] for c in column if c >= 0) or None for column in jobs.visit.repairs.T
    ]
    columns["after:verification_run"] = _words(CHECKS["verification_run"], jobs.visit.verified)
    back = jobs.visit.back_days <= CALLBACK_DAYS
    columns["ended"] = np.where(back, "came_back", "gone").astype(object)
    columns["back_after_days"] = np.where(back, jobs.visit.back_days, np.nan)
    names = np.array(MODE_NAMES, dtype=object)
    truth = pd.DataFrame(
        {
            "job": "",
            "main_cause": names[jobs.cases.main],
            "modes": ["|".join(names[column]) or NOTHING for column in jobs.cases.present.T],
        }
    )
    return pd.DataFrame({"job": "", **columns}), truth


#: One log for whoever wants some rows.
LOG, TRUTH = coded_log(400, 3)
