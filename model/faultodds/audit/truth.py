"""A table of what was really wrong, for those who have one (a simulated shop, a teardown bench): read, and matched to jobs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from faultodds.errors import FaultoddsError, unknown
from faultodds.knowledge import UNLISTED, UNLISTED_MODE, Ints, Knowledge, main_cause_states
from faultodds.tuning import NOT_KNOWN, Groups

if TYPE_CHECKING:
    import pandas as pd


def read_truth(path: Path) -> pd.DataFrame:
    """The table in a CSV or Parquet file, all of it text. Raises FaultoddsError when it cannot be read."""
    import pandas as pd

    if not path.is_file():
        raise FaultoddsError(
            f"--truth {path}: there is no such file. Name a CSV or Parquet table of job and main_cause."
        )
    try:
        table = pd.read_parquet(path) if path.suffix.lower() == ".parquet" else pd.read_csv(path, dtype=str)
    except (ValueError, OSError) as error:  # pandas' and pyarrow's errors are among these
        why = " ".join(str(error).split())[:120]
        raise FaultoddsError(f"--truth {path} cannot be read as a table ({why}). Save it as CSV.") from None
    _key_column(table)
    return table


def true_causes(truth: pd.DataFrame, knowledge: Knowledge) -> dict[str, str]:
    """Job to the main cause that was there at the visit, in the names of `main_cause_states`.

    The table has a column `job` or `ticket` and a column `main_cause`; with a column `modes` ("a.b|c.d", what was there at
    the visit), a main cause that an earlier visit had put right already gives way to the commonest of what was left.
    Raises FaultoddsError for a table without these columns and UnknownName for a cause the knowledge file does not have.
    """
    key = _key_column(truth)
    allowed = main_cause_states(knowledge)
    share = {mode: record.share for mode, record in knowledge.modes()}
    modes = truth["modes"] if "modes" in truth else [None] * len(truth)
    known: dict[str, str] = {}
    for job, main, there in zip(truth[key].astype(str), truth["main_cause"].astype(str), modes, strict=True):
        cause = _still_there(main, there.split("|") if isinstance(there, str) and there else [main], share)
        name = UNLISTED_MODE if cause == UNLISTED else cause
        if name not in allowed:
            raise unknown("main cause", cause, allowed, where=f"truth table, job {job}")
        known.setdefault(job, name)
    return known


def truth_labels(truth: pd.DataFrame, jobs: Sequence[object], knowledge: Knowledge, groups: Groups) -> Ints:
    """(N,) the group of each job's true main cause (`true_causes`), `NOT_KNOWN` for jobs that the table does not have."""
    causes = true_causes(truth, knowledge)
    found = [causes.get(str(job)) for job in jobs]
    return np.array([NOT_KNOWN if cause is None else groups.of_main[cause] for cause in found], dtype=np.int64)


def _key_column(truth: pd.DataFrame) -> str:
    key = next((c for c in ("job", "ticket") if c in truth), None)
    if key is None or "main_cause" not in truth:
        raise FaultoddsError(
            "a truth table has a column 'job' (or 'ticket') and a column 'main_cause'; this one has: "
            f"{', '.join(map(str, truth.columns))}. Rename its columns and try again."
        )
    return key


def _still_there(main: str, modes: Iterable[str], share: dict[str, float]) -> str:
    there = list(modes)
    return main if main in there else max(there, key=lambda m: share.get(m, 0.0))
