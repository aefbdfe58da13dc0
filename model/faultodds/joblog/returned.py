"""Repairs that did not hold though nothing says so on their own visit: the customer called again, and got another one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from faultodds.joblog import clean
from faultodds.joblog.endings import CODE, Endings

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge


def not_held(half: Path, found: Endings, knowledge: Knowledge) -> dict[int, str]:
    """By the place of a visit in the half-made log all its repairs, where it came back and what was then done for good is none of
    them; not where a good run is written behind them: then they held, and what came later is another fault."""
    import pyarrow.parquet as pq

    verify = knowledge.costs.verify
    table = pq.read_table(half, columns=[clean.REPAIRS, clean.FAILED, clean.AFTER + verify])
    repairs, failed, after = (column.combine_chunks() for column in table.columns)
    good = next(iter(knowledge.observables[verify].outcomes))
    out = {}
    for later in np.flatnonzero(found.return_of >= 0).tolist():
        first = int(found.return_of[later])
        if found.ended[first] != CODE[clean.CAME_BACK] or after[first].as_py() == good:
            continue
        done, then = (_names(repairs[at].as_py()) - _names(failed[at].as_py()) for at in (first, later))
        if done and then and not done & then:
            out[first] = repairs[first].as_py()
    return out


def _names(cell: str | None) -> set[str]:
    return {*(cell or "").split(";")} - {""}
