"""What a log tells by itself: the repair that put the machine right; audits forecast it.

Main causes that the same repair puts right are one *repair group*, since nobody gains by telling them apart. A group bears the
name of its repair (the cheapest that covers the cause); "nothing wrong" and "not on the list" are groups of their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from faultodds.joblog import ENDED, FAILED, FOLLOWED, GONE, REPAIRS
from faultodds.knowledge import (
    NOTHING_WRONG,
    UNLISTED,
    UNLISTED_MODE,
    Floats,
    Ints,
    Knowledge,
    main_cause_states,
    repair_modes,
)

if TYPE_CHECKING:
    import pandas as pd

#: Label of a job of which it is not known what put it right.
NOT_KNOWN = -1


@dataclass(frozen=True)
class Groups:
    """The repair groups of an appliance.

    `names` (K) in file order, then nothing wrong and unlisted. `of_main` maps every main cause to its column, `of_repair`
    every repair to the column of what it is done for.
    """

    names: tuple[str, ...]
    of_main: dict[str, int]
    of_repair: dict[str, int]

    def from_mains(self, mains: Floats) -> Floats:
        """(N, K) chances of the groups from (N, C) chances of the main causes, in the order of `main_cause_states`."""
        to_group = np.zeros((len(self.of_main), len(self.names)))
        to_group[np.arange(len(self.of_main)), list(self.of_main.values())] = 1.0
        return np.asarray(mains @ to_group)


def repair_groups(knowledge: Knowledge) -> Groups:
    """The groups of an appliance; a cause that nothing repairs counts as unlisted."""
    cheapest = _cheapest(knowledge)
    names = (*(n for n in knowledge.repair if n in cheapest.values()), NOTHING_WRONG, UNLISTED)
    of_main = {
        main: names.index(NOTHING_WRONG if main == NOTHING_WRONG else cheapest.get(main, UNLISTED))
        for main in main_cause_states(knowledge)
    }
    of_repair = {name: names.index(_stands_for(knowledge, name, cheapest)) for name in knowledge.repair}
    return Groups(names, of_main, of_repair)


def _cheapest(knowledge: Knowledge) -> dict[str, str]:
    """For each mode, the repair that puts it right at the least expected cost."""
    rate = knowledge.costs.labour_rate / 60.0
    chosen: dict[str, tuple[float, str]] = {}
    for name, repair in knowledge.repair.items():
        price = (repair.minutes * rate + repair.cost) / repair.success
        for mode in repair_modes(knowledge, repair):
            if mode not in chosen or price < chosen[mode][0]:
                chosen[mode] = (price, name)
    return {mode: name for mode, (_, name) in chosen.items() if mode != UNLISTED_MODE}


def _stands_for(knowledge: Knowledge, name: str, cheapest: dict[str, str]) -> str:
    """A repair's own group; a dearer repair for the same faults stands for the cheaper one's."""
    if name in cheapest.values():
        return name
    share = {mode: record.share for mode, record in knowledge.modes()}
    covered = [m for m in repair_modes(knowledge, knowledge.repair[name]) if m in cheapest]
    return cheapest[max(covered, key=lambda m: share.get(m, 0.0))] if covered else UNLISTED


def log_labels(frame: pd.DataFrame, knowledge: Knowledge, groups: Groups) -> Ints:
    """(N,) the group that put each logged job right, `NOT_KNOWN` where the log does not tell.

    It tells when the repairs that were not found useless at once belong to one group, the complaint was gone, and the customer
    has had the whole callback window to come back.
    """
    stayed_away = _column(frame, FOLLOWED).astype(float) >= knowledge.log.window_days
    gone = _column(frame, ENDED).astype(object) == GONE
    done = [_names(cell) for cell in _column(frame, REPAIRS).astype(object)]
    failed = [_names(cell) for cell in _column(frame, FAILED).astype(object)]
    out = np.full(len(frame), NOT_KNOWN, dtype=np.int64)
    for row in np.flatnonzero((stayed_away & gone).to_numpy(dtype=bool)):
        useful = [r for r in done[row] if r not in failed[row]]
        found = {groups.of_repair[r] for r in useful if r in groups.of_repair}
        if len(found) == 1:
            out[row] = found.pop()
    return out


def repairs_that_held(frame: pd.DataFrame, knowledge: Knowledge) -> tuple[dict[str, int], int]:
    """A plain count: for every main cause the visits whose one repair, or kind of repair, was that cause's and held; and of how
    many visits that is. Causes that the same repair puts right share their count."""
    groups = repair_groups(knowledge)
    labels = log_labels(frame, knowledge, groups)
    told = np.bincount(labels[labels != NOT_KNOWN], minlength=len(groups.names))
    return {main: int(told[column]) for main, column in groups.of_main.items()}, int(told.sum())


def _column(frame: pd.DataFrame, name: str) -> Any:
    import pandas as pd

    return frame[name] if name in frame else pd.Series(np.nan, index=frame.index)


def _names(cell: object) -> list[str]:
    return [part.strip() for part in cell.split(";") if part.strip()] if isinstance(cell, str) else []
