"""The best load for a van, by mixed-integer linear programming (HiGHS, in SciPy), proven to be the best.

Variables: x_r, 0 or 1, part r is aboard; y_g, group g of suspects is finished in one visit; z_gnr, its need n is met
by part r. What is made as large as possible is `visit_cost` times the mass finished, less the stand-ins' extra cost,
less what carrying costs where nothing else limits the van:

    y_g <= sum over the parts r of need n of z_gnr, for every need n of the group
    z_gnr <= x_r
    prices and numbers within the limits

With x whole, the best y and z are whole too, so only x has to be told to be.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats
from faultodds.stock.needs import Limit, Need, Needs

# In choosing within a limit, a part costs this share of itself: it breaks ties in favour of the cheaper load.
TIE = 1e-7
# A part that adds less than this share of a visit is not carried: the solver's tolerances let such slip in.
NOTHING = 1e-9


def best(stock: Needs, limit: Limit, carried: frozenset[str]) -> tuple[list[str], float]:
    """The parts to carry, in file order (`carried` among them), and the most that any load within the limits can be
    worth.
    """
    if not stock.parts or stock.visit_cost <= 0:
        return [n for n in stock.parts if n in carried], stock.outcome(carried)[1]
    x, most = _Model(stock, limit, carried).solved()
    chosen = [n for n, on in zip(stock.parts, x, strict=True) if on or n in carried]
    return _without_idle(stock, chosen, carried), most


def _without_idle(stock: Needs, chosen: list[str], carried: frozenset[str]) -> list[str]:
    """The load without the parts that do nothing for it, the dearest looked at first."""
    for name in sorted(chosen, key=lambda n: -stock.knowledge.repair[n].cost):
        rest = [n for n in chosen if n != name]
        if name not in carried and stock.outcome(chosen)[1] - stock.outcome(rest)[1] <= NOTHING * stock.visit_cost:
            chosen = rest
    return chosen


@dataclass
class _Rows:
    """Rows of `sum of factor * variable <= 0`, as a sparse matrix is made of them."""

    rows: list[int]
    columns: list[int]
    factors: list[float]
    count: int = 0

    def add(self, plus: int, minus: Iterable[int]) -> None:
        """variable `plus` <= sum of the variables `minus`."""
        for column, factor in [(plus, 1.0), *((m, -1.0) for m in minus)]:
            self.rows.append(self.count)
            self.columns.append(column)
            self.factors.append(factor)
        self.count += 1


class _Model:
    """One choice as a program: columns are the parts, then the groups that parts can finish, then the stand-ins."""

    def __init__(self, stock: Needs, limit: Limit, carried: frozenset[str]) -> None:
        self.stock, self.limit = stock, limit
        self.prices = np.array([stock.knowledge.repair[n].cost for n in stock.parts])
        self.aboard = np.array([n in carried for n in stock.parts], dtype=float)
        carry = np.array([stock.carrying(n) for n in stock.parts])
        self.dear = np.where(self.aboard > 0, 0.0, carry if limit.is_free else TIE * self.prices)
        self.cost: list[float] = self.dear.tolist()
        self.rows = _Rows([], [], [])
        sets, mass = stock.groups
        met = [bool(n) for n in stock.needs]
        self.surely = float(mass[(sets == 0).all(axis=1)].sum())
        open_groups = np.flatnonzero((sets != 0).any(axis=1) & np.array(met)[sets].all(axis=1))
        for g in open_groups.tolist():
            self._group(float(mass[g]), [stock.needs[i] for i in sets[g].tolist() if i])

    def _column(self, cost: float) -> int:
        self.cost.append(cost)
        return len(self.cost) - 1

    def _group(self, mass: float, needs: list[Need]) -> None:
        """One group: finished when each of its needs is met by the usual part or by a stand-in that costs more."""
        finished = self._column(-mass * self.stock.visit_cost)
        for need in needs:
            by = []
            for name in need:
                part = self.stock.parts.index(name)
                extra = self.stock.extra(need, frozenset([name]))
                if extra > 0:
                    stand_in = self._column(mass * extra)
                    self.rows.add(stand_in, [part])
                    part = stand_in
                by.append(part)
            self.rows.add(finished, by)

    def solved(self) -> tuple[list[bool], float]:
        """Which parts are aboard, and the most that any load within the limits can be worth."""
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        count, width = len(self.prices), len(self.cost)
        # In units of a visit, so that the solver's tolerances mean the same in every currency.
        unit = self.stock.visit_cost
        limits = []
        if self.rows.count:
            shape = (self.rows.count, width)
            matrix = coo_array((self.rows.factors, (self.rows.rows, self.rows.columns)), shape=shape)
            limits.append(LinearConstraint(matrix.tocsr(), -np.inf, 0.0))
        for weight, most in ((self.prices, self.limit.budget), (np.ones(count), self.limit.shelf)):
            if most is not None:
                limits.append(LinearConstraint(self._wide(weight * (1.0 - self.aboard), width)[None], -np.inf, most))
        found = milp(
            np.array(self.cost) / unit,
            integrality=self._wide(np.ones(count), width),
            bounds=Bounds(self._wide(self.aboard, width), np.ones(width)),
            constraints=limits,
            options={"mip_rel_gap": 0.0},
        )
        if found.x is None:
            raise FaultoddsError(
                f"the parts could not be weighed ({found.message}). Please report it with what you typed."
            )
        x = found.x[:count] > 0.5
        # The bound is on worth less what the load costs to carry; no load costs less than nothing.
        most_worth = self.surely * unit - found.mip_dual_bound * unit + float(self.dear @ x)
        return x.tolist(), most_worth

    @staticmethod
    def _wide(values: Floats, width: int) -> Floats:
        return np.concatenate([values, np.zeros(width - len(values))])
