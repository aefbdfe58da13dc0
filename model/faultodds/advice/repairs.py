"""The base policy: repair, verify, and go on until the machine works or the job is handed over.

Suspects are grouped by the repairs they need, since nothing is gained by telling apart what the same repair puts right. A
*bundle* is a set of repairs done together before one verification run. The order is greedy: the bundle with the largest
chance of finishing the job per unit of cost, among those not done yet, with the chances updated after each failure
(Kadane and Simon 1977; Heckerman, Breese and Rommelse 1995). Every prefix of the order is priced with handing over at
its end, and the cheapest prefix is taken: the first prefix that fails to improve is not always the end.

Shapes: B beliefs, K classes of suspects, U bundles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from faultodds.tables import Floats

# What is still unsolved below this chance is not worth another step of the sum.
NEGLIGIBLE = 1e-9
SOUND = 0
HOPELESS = -1
_Key = TypeVar("_Key")


@dataclass(frozen=True)
class RepairValues:
    """Value of following the base policy from each of B beliefs.

    `cost` (B,): expected cost of the best prefix of repairs, at least one, handing over at its end.
    `first` (B,): index of the bundle it starts with.
    """

    cost: Floats
    first: npt.NDArray[np.int64]


class RepairOrder:
    """The base policy for given classes, bundles and hand-over cost.

    `class_masks[k]` holds the repairs (as bits) that class k needs: SOUND for a machine with nothing wrong, HOPELESS for what
    no repair puts right. `bundle_masks` and `success` describe the bundles.
    """

    def __init__(
        self, class_masks: Sequence[int], bundle_masks: Sequence[int], success: Sequence[float], refer: float
    ) -> None:
        self.classes = list(class_masks)
        self.bundles = list(bundle_masks)
        self.refer = refer
        self._success = np.array(success, dtype=float)
        self._solves: dict[int, Floats] = {}
        self._sound = [k for k, m in enumerate(self.classes) if m == SOUND]

    def unsolved(self, weights: Floats) -> Floats:
        """(B, K) the weights with the sound class set to 0."""
        rest = weights.copy()
        rest[:, self._sound] = 0.0
        return rest

    def solves(self, done: int) -> Floats:
        """(K, U) chance that bundle u finishes class k when the repairs in `done` have been done."""
        if done not in self._solves:
            need = [m if m == HOPELESS else m & ~done for m in self.classes]
            cells = [[float(n > 0 and n & ~b == 0) for b in self.bundles] for n in need]
            self._solves[done] = np.array(cells).reshape(len(need), len(self.bundles)) * self._success
        return self._solves[done]

    def values(
        self, weights: Floats, first_cost: Floats, later_cost: Floats, forced: npt.NDArray[np.int64] | None = None
    ) -> RepairValues:
        """Values for beliefs `weights` (B, K), each row summing to 1.

        `first_cost` (B, U) is the price of a bundle from the machine state of each belief, `later_cost` (U,) its price
        after a verification run. The first bundle is paid for whatever the truth, since nothing has shown yet that
        the machine works. `forced[b]` makes belief b start with that bundle.
        """
        rest = self.unsolved(weights)
        rows = np.arange(len(rest))
        done = [0] * len(rest)
        used = np.zeros((len(rest), len(self.bundles)), dtype=bool)
        spent, reach = np.zeros(len(rest)), np.ones(len(rest))
        best, first = np.full(len(rest), np.inf), np.zeros(len(rest), dtype=np.int64)
        for step in range(len(self.bundles)):
            cost = first_cost if step == 0 else np.broadcast_to(later_cost, first_cost.shape)
            index = np.where(used, -1.0, self._chances(rest, done) / np.maximum(cost, 1e-9))
            chosen = index.argmax(axis=1) if step or forced is None else forced
            spent += reach * cost[rows, chosen]
            self._finish(rest, done, chosen)
            used[rows, chosen] = True
            reach = rest.sum(axis=1)
            best = np.minimum(best, spent + reach * self.refer)
            if step == 0:
                first = chosen.astype(np.int64)
            # Once everything that is left costs more than handing over, no longer prefix can win.
            if not np.any((reach > NEGLIGIBLE) & (spent < best)):
                break
        return RepairValues(best, first)

    def _chances(self, rest: Floats, done: Sequence[int]) -> Floats:
        """(B, U) chance that each bundle finishes the job; rows with the same repairs done go together."""
        out = np.empty((len(rest), len(self.bundles)))
        for key, rows in _groups(done).items():
            out[rows] = rest[rows] @ self.solves(key)
        return out

    def _finish(self, rest: Floats, done: list[int], chosen: npt.NDArray[np.int64]) -> None:
        for (before, bundle), rows in _groups(list(zip(done, chosen.tolist(), strict=True))).items():
            rest[rows] *= 1.0 - self.solves(before)[:, bundle]
            for row in rows:
                done[row] = before | self.bundles[bundle]


def _groups(keys: Sequence[_Key]) -> dict[_Key, list[int]]:
    groups: dict[_Key, list[int]] = {}
    for i, key in enumerate(keys):
        groups.setdefault(key, []).append(i)
    return groups
