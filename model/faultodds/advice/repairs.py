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

import numpy as np
import numpy.typing as npt

from faultodds.tables import Floats

# What is still unsolved below this chance is not worth another step of the sum.
NEGLIGIBLE = 1e-9
SOUND = 0
HOPELESS = -1
MOST_REPAIRS = 62


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

    `class_masks[k]` holds the repairs (as bits, at most 62 of them) that class k needs: SOUND for a machine with nothing
    wrong, HOPELESS for what no repair puts right. `bundle_masks` and `success` describe the bundles; the first ones are the
    single repairs in the order of their bits.
    """

    def __init__(
        self, class_masks: Sequence[int], bundle_masks: Sequence[int], success: Sequence[float], refer: float
    ) -> None:
        self.classes = np.array(class_masks, dtype=np.int64)
        self.bundles = np.array(bundle_masks, dtype=np.int64)
        self.refer = refer
        self._success = np.array(success, dtype=float)
        self._singles = int(sum(b & (b - 1) == 0 for b in bundle_masks))
        self._sound = self.classes == SOUND

    def unsolved(self, weights: Floats) -> Floats:
        """(B, K) the weights with the sound class set to 0."""
        rest = weights.copy()
        rest[:, self._sound] = 0.0
        return rest

    def chances(self, weights: Floats, done: npt.NDArray[np.int64]) -> Floats:
        """(B, U) chance that each bundle finishes the job when the repairs in `done` (B,) have been done."""
        need = self._need(done)
        out = np.zeros((len(weights), len(self.bundles)))
        one = (need > 0) & (need & (need - 1) == 0)
        row, _ = np.nonzero(one)
        place = row * len(self.bundles) + np.log2(need[one]).astype(np.int64)
        out += np.bincount(place, weights[one], minlength=out.size).reshape(out.shape)
        for u in range(self._singles, len(self.bundles)):
            out[:, u] = np.where((need > 0) & (need & ~self.bundles[u] == 0), weights, 0.0).sum(axis=1)
        return out * self._success

    def values(
        self, weights: Floats, first_cost: Floats, later_cost: Floats, forced: npt.NDArray[np.int64] | None = None
    ) -> RepairValues:
        """Values for beliefs `weights` (B, K), each row summing to 1.

        `first_cost` (B, U) is the price of a bundle from the machine state of each belief, `later_cost` (U,) its price
        after a verification run. The first bundle is paid for whatever the truth, since nothing has shown yet that
        the machine works. `forced[b]` makes belief b start with that bundle.
        """
        count = len(weights)
        best, first = np.full(count, np.inf), np.zeros(count, dtype=np.int64)
        live = np.arange(count)
        rest, done = self.unsolved(weights), np.zeros(count, dtype=np.int64)
        spent, reach = np.zeros(count), np.ones(count)
        used = np.zeros((count, len(self.bundles)), dtype=bool)
        for step in range(len(self.bundles)):
            cost = first_cost if step == 0 else np.broadcast_to(later_cost, used.shape)
            index = np.where(used, -1.0, self.chances(rest, done) / np.maximum(cost, 1e-9))
            chosen = index.argmax(axis=1) if step or forced is None else forced
            if step == 0:
                first = chosen.astype(np.int64)
            spent = spent + reach * cost[np.arange(len(live)), chosen]
            need = self._need(done)
            solved = (need > 0) & (need & ~self.bundles[chosen][:, None] == 0)
            rest = np.where(solved, rest * (1.0 - self._success[chosen])[:, None], rest)
            done = done | self.bundles[chosen]
            used[np.arange(len(live)), chosen] = True
            reach = rest.sum(axis=1)
            best[live] = np.minimum(best[live], spent + reach * self.refer)
            # Once what is spent already passes the best prefix, no longer one can win.
            on = (reach > NEGLIGIBLE) & (spent < best[live])
            if not on.any():
                break
            live, rest, done, spent, reach, used = (x[on] for x in (live, rest, done, spent, reach, used))
        return RepairValues(best, first)

    def _need(self, done: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """(B, K) the repairs each class still needs; what no repair puts right stays HOPELESS."""
        need: npt.NDArray[np.int64] = np.where(self.classes == HOPELESS, HOPELESS, self.classes & ~done[:, None])
        return need
