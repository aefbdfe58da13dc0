"""The model's forecast for many logged jobs at once: chance of each main cause, and from it of each repair group.

For a job with evidence e, `P(c | e)` is proportional to `w[c] * sum_h given_main[c, h] * L[h]`, where `w[c]` holds the share and
the facts and `L[h]` the findings (notation of `suspects.py`). Findings that no suspect explains do not stop an audit: the
suspects that break the fewest of them are taken.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from faultodds.belief import Suspects
from faultodds.errors import unknown
from faultodds.joblog import FACT, FOUND, weights
from faultodds.knowledge import Floats

if TYPE_CHECKING:
    import pandas as pd

#: Jobs worked on at a time.
BATCH = 512
#: Stands for "cannot be": small enough to lose against anything possible, and still a number.
NEVER = 1e-300


@dataclass(frozen=True)
class Hush:
    """A symptom whose gaps say something: chance that a normal answer is written down, chance that any other is, and the equipment
    that a machine must be known to have for it.
    """

    normal: float
    odd: float
    needs: Mapping[str, str]


@dataclass(frozen=True)
class Gaps:
    """What the gaps of a log say: of `symptoms`, and of `facts` that it keeps only where they are out
    of the ordinary, with how much likelier a gap is under each value (in the order of `fact_values`) than under the usual one.
    """

    symptoms: Mapping[str, Hush]
    facts: Mapping[str, Floats]


#: A log whose gaps say nothing.
NO_GAPS = Gaps({}, {})


def main_cause_odds(suspects: Suspects, frame: pd.DataFrame, gaps: Gaps = NO_GAPS) -> Floats:
    """(N, C) chance of each main cause given each job's facts and findings, the frame's `fact:` and `found:` columns.

    A job without one of the symptoms of `gaps` is read as "not asked, or asked and normal", not as "not asked"; facts likewise.
    """
    prior = _prior(suspects, frame, gaps.facts)
    rows, table = _evidence(suspects, frame, gaps.symptoms)
    out = np.empty_like(prior)
    for start in range(0, len(frame), BATCH):
        batch = slice(start, start + BATCH)
        weight = prior[batch] * (_likelihood(rows[batch], table) @ suspects.given_main.T)
        out[batch] = weight / weight.sum(axis=1, keepdims=True)
    return out


def _prior(suspects: Suspects, frame: pd.DataFrame, gaps: Mapping[str, Floats]) -> Floats:
    """(N, C) main-cause weights under the facts, scaled so that the largest is 1."""
    log = np.repeat(np.log(np.maximum(suspects.share, NEVER))[None, :], len(frame), axis=0)
    for fact, values in suspects.fact_values.items():
        if FACT + fact in frame:
            codes = _codes(frame[FACT + fact], values, f"value of '{fact}'")
            told = codes >= 0
            log[told] += np.log(np.maximum(suspects.facts[fact], NEVER))[codes[told]]
            if fact in gaps:
                log[~told] += np.log(np.maximum(gaps[fact] @ suspects.facts[fact], NEVER))
    return np.asarray(np.exp(log - log.max(axis=1, keepdims=True)))


def _codes(column: pd.Series, names: tuple[str, ...], kind: str) -> npt.NDArray[np.int64]:
    import pandas as pd

    codes, found = pd.factorize(column.astype(object))
    for name in found:
        if name not in names:
            raise unknown(kind, str(name), names)
    index = np.array([*(names.index(str(n)) for n in found), -1], dtype=np.int64)
    return np.asarray(index[codes])


def _evidence(
    suspects: Suspects, frame: pd.DataFrame, hushed: Mapping[str, Hush]
) -> tuple[npt.NDArray[np.int64], Floats]:
    """(N, E) row numbers, and (rows, H) log likelihoods that they point to; row 0 says nothing."""
    import pandas as pd

    table: list[Floats] = [np.zeros(len(suspects.member))]
    columns = []
    for name in suspects.observables:
        if FOUND + name not in frame:
            continue
        codes, found = pd.factorize(frame[FOUND + name].astype(object))
        rows = [len(table) + i for i in range(len(found))]
        table += [np.log(np.maximum(cell_likelihood(suspects, name, cell), NEVER)) for cell in found]
        told = np.array([*rows, 0], dtype=np.int64)[codes]
        if name in hushed:
            told[(codes < 0) & _has(frame, hushed[name].needs)] = len(table)
            table.append(np.log(np.maximum(_nothing_written(suspects, name, hushed[name]), NEVER)))
        columns.append(told)
    for fact, lacking in suspects.lacks.items():
        if FACT + fact in frame:
            lines = np.zeros(len(frame), dtype=np.int64)
            for value, modes in lacking.items():
                has = suspects.member[:, [suspects.mode_index[m] for m in modes]].any(axis=1)
                lines[(frame[FACT + fact].astype(object) == value).to_numpy(dtype=bool)] = len(table)
                table.append(np.where(has, np.log(NEVER), 0.0))
            columns.append(lines)
    return np.stack(columns, axis=1) if columns else np.zeros((len(frame), 1), dtype=np.int64), np.stack(table)


def cell_likelihood(suspects: Suspects, name: str, cell: object) -> Floats:
    """(H,) likelihood of one cell of a clean log: an outcome, or "open:0.7|closed:0.3"."""
    outcomes = suspects.observables[name]
    share = np.zeros(len(outcomes))
    for outcome, weight in weights(str(cell)).items():
        if outcome not in outcomes:
            raise unknown(f"outcome of '{name}'", outcome, outcomes)
        share[outcomes.index(outcome)] = weight
    return np.asarray(share @ suspects.likelihood[suspects.rows[name]])


def _has(frame: pd.DataFrame, needs: Mapping[str, str]) -> npt.NDArray[np.bool_]:
    """(N,) whether each machine is known to have what is needed."""
    out = np.ones(len(frame), dtype=bool)
    for fact, value in needs.items():
        out &= (frame[FACT + fact].astype(object) == value).to_numpy(dtype=bool) if FACT + fact in frame else False
    return out


def _nothing_written(suspects: Suspects, name: str, hush: Hush) -> Floats:
    """(H,) chance that nothing stands in the log: not asked, or asked, normal and not written down."""
    normal = suspects.likelihood[suspects.rows[name].start]
    return np.asarray(1.0 - hush.odd * (1.0 - normal) - hush.normal * normal)


def _likelihood(rows: npt.NDArray[np.int64], table: Floats) -> Floats:
    """(N, H) likelihood of each job's findings under each suspect, scaled so that the largest is 1."""
    from scipy.sparse import csr_array

    n, width = rows.shape
    index = (rows.ravel(), np.arange(0, n * width + 1, width))
    log = csr_array((np.ones(n * width), *index), shape=(n, len(table))) @ table
    return np.asarray(np.exp(log - log.max(axis=1, keepdims=True)))
