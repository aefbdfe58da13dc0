"""Random appliances to load for, and what each suspect needs, straight from the rule."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator
from functools import cache

import numpy as np

from faultodds.belief import Evidence, WeighedFinding, compiled, infer
from faultodds.knowledge import Repair, repair_modes
from faultodds.stock import Limit, Stock
from toys import random_toy


@cache
def random_stock(seed: int) -> Stock:
    """A random appliance whose repairs have prices, some free, some by others, with dearer ones that do for two components."""
    rng = np.random.default_rng(seed)
    k = random_toy(seed, 5)
    repairs = {}
    for name, r in k.repair.items():
        kind = rng.choice(["part", "free", "others"], p=[0.7, 0.15, 0.15])
        repairs[name] = dataclasses.replace(
            r, cost=0.0 if kind == "free" else float(rng.integers(5, 90)), by_others=kind == "others"
        )
    for i in range(2):
        fixes = [str(c) for c in rng.choice(list(k.component), 2, replace=False)]
        repairs[f"both{i}"] = Repair(
            title="both", fixes=fixes, minutes=float(rng.integers(10, 60)), cost=float(rng.integers(20, 150))
        )
    appliance = compiled(dataclasses.replace(k, repair=repairs))
    return Stock(appliance, infer(appliance.suspects, Evidence({}, (WeighedFinding("slow", {"yes": 1.0}),))))


@cache
def ways_out(seed: int) -> list[tuple[float, list[list[str]]]]:
    """For each suspect its chance, and for each of its faults that needs a part the repairs of which one is enough."""
    stock = random_stock(seed)
    k, s = stock.knowledge, stock.belief.suspects
    doing = {m: [n for n, r in k.repair.items() if m in repair_modes(k, r) and not r.by_others] for m in s.modes}
    found = []
    for h, p in enumerate(stock.belief.now.tolist()):
        options = [doing[m] for m in s.names(h)]
        options = [o for o in options if not any(k.repair[n].cost == 0 for n in o)]
        # Whatever puts right a fault with fewer ways out puts right one with more.
        options = [o for o in options if not any(other and set(other) < set(o) for other in options)]
        found.append((p, [list(o) for o in dict.fromkeys(map(tuple, options))]))
    return found


def loads(stock: Stock, limit: Limit) -> Iterator[tuple[str, ...]]:
    """Every load within the limits."""
    for count in range(len(stock.parts) + 1):
        for some in itertools.combinations(stock.parts, count):
            price = sum(stock.knowledge.repair[n].cost for n in some)
            if (limit.budget is None or price <= limit.budget) and (limit.shelf is None or count <= limit.shelf):
                yield some
