"""Rows that repeat or contradict earlier rows, found by hashes: a few bytes a row, however wide the log."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from faultodds.joblog.sources import Source

Hashes = NDArray[np.uint64]
Rows = NDArray[np.int64]
NONE = -1


def hashes(texts: Sequence[str]) -> Hashes:
    """A 64-bit hash of each text; 0 for an empty one."""
    import pandas as pd

    array = np.array([*texts, None], dtype=object)[:-1]
    found = pd.util.hash_array(array).astype(np.uint64)
    found[[not text for text in texts]] = 0
    return found


class Seen:
    """Keys seen so far, each with the row it was first seen in."""

    def __init__(self) -> None:
        self._keys = np.empty(0, np.uint64)
        self._rows = np.empty(0, np.int64)

    def first_rows(self, keys: Hashes, rows: Rows) -> Rows:
        """For each key the earlier row with the same one, or -1; then all of them count as seen. A key of 0 is never seen."""
        at = np.minimum(np.searchsorted(self._keys, keys), max(len(self._keys) - 1, 0))
        known = self._keys[at] == keys if len(self._keys) else np.zeros(len(keys), bool)
        earlier = np.where(known, self._rows[at] if len(self._rows) else NONE, NONE)
        _, first, which = np.unique(keys, return_index=True, return_inverse=True)
        here = rows[first[which]]
        earlier = np.where((earlier == NONE) & (here != rows), here, earlier)
        fresh = first[~known[first]]
        fresh = fresh[np.argsort(keys[fresh], kind="stable")]
        place = np.searchsorted(self._keys, keys[fresh])
        self._keys = np.insert(self._keys, place, keys[fresh])
        self._rows = np.insert(self._rows, place, rows[fresh])
        return np.where(keys == 0, NONE, earlier)


@dataclass
class Repeats:
    """Finds rows entered twice, and rows of one job and day that say different things; `source` says where a row stands."""

    source: Source
    _content: Seen = field(default_factory=Seen)
    _job_and_day: Seen = field(default_factory=Seen)
    _job: Seen = field(default_factory=Seen)
    _visits: Counter[str] = field(default_factory=Counter)

    def reasons(
        self, rows: Rows, content: Sequence[str], jobs: Sequence[str], days: Sequence[int]
    ) -> list[tuple[str, str] | None]:
        """For each row None, or why it is set aside: a reason and the detail of it.

        `content` is the whole row as one text, `jobs` its job number ("" when there is none), `days` its day (-1: none).
        """
        same = self._content.first_rows(hashes(content), rows)
        keys = [f"{job}\x1f{day}" if job else "" for job, day in zip(jobs, days, strict=True)]
        fresh = [key if earlier == NONE else "" for key, earlier in zip(keys, same.tolist(), strict=True)]
        rival = self._job_and_day.first_rows(hashes(fresh), rows)
        return [self._reason(a, b) for a, b in zip(same.tolist(), rival.tolist(), strict=True)]

    def job_ids(self, rows: Rows, jobs: Sequence[str]) -> list[str]:
        """An id for each visit: the job number, with "#2" for its second visit; `Source.visit` where there is none."""
        earlier = self._job.first_rows(hashes(jobs), rows).tolist()
        ids = []
        for row, job, before in zip(rows.tolist(), jobs, earlier, strict=True):
            if not job:
                ids.append(self.source.visit(row))
                continue
            self._visits[job] += before != NONE
            ids.append(job if before == NONE else f"{job}#{1 + self._visits[job]}")
        return ids

    def _reason(self, same: int, rival: int) -> tuple[str, str] | None:
        if same != NONE:
            return DUPLICATE, f"the same as {self.source.place(same)}"
        if rival != NONE:
            return CONTRADICTORY, f"{self.source.place(rival)} has the same job number and day"
        return None


DUPLICATE = "entered twice"
CONTRADICTORY = "same job number and day as another row, but says otherwise"
