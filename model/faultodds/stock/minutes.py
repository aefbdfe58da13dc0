"""Minutes on site, before the visit: how long such a call takes with a given van, on average and for planning the day.

Calls are played out (`stock_play.py`): the truth is drawn from the fault odds at fixed, evenly spread points, for
each kind of machine it may turn out to be (timer or board ...), and the advice's base policy works on it, whatever
the checks then show, until the machine passes its run. Same inputs, same minutes. It is an estimate of what following
`faultodds next` takes, which looks further ahead at every move; `tests/benchmarks/bench_stock.py` prints the
difference. The clock starts at the closed machine and ends when all is closed up again. When the policy would fit a
part that is not aboard, or have others come, the visit ends there. Travel, talk and paperwork are not in it.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from msgspec.structs import replace

from faultodds.advice import Problem, Situation
from faultodds.belief import Belief, infer, main_cause_weights
from faultodds.errors import ClashError
from faultodds.knowledge import Floats, Ints, repair_modes
from faultodds.stock.play import Play
from faultodds.stock.stock import Stock

# Calls played out for one answer.
PLAYED = 200
# Kinds of machine less likely than this are left out.
RARE = 0.01
# The share of calls that are over by the time to plan for.
PLANNED = 0.8


@dataclass(frozen=True)
class OnSite:
    """Minutes on site: `mean` with its standard error, and `planned`, within which `PLANNED` of such calls are over.

    `finished`, `waiting` (for a part that is not aboard, or for others) and `handed_over`: how often visits ended so.
    """

    mean: float
    error: float
    planned: float
    finished: float
    waiting: float
    handed_over: float


def on_site(stock: Stock, aboard: Collection[str], played: int = PLAYED) -> OnSite:
    """Minutes on site with these parts aboard."""
    at = stock.situation
    skipped = at.skipped | replaced(stock, aboard)
    cannot = {n for n, r in stock.repairs.items() if r.by_others} | (set(stock.parts) - set(aboard))
    rows = []
    for share, belief in machines(stock):
        problem = Problem(stock.appliance, belief, Situation(at.state, skipped, at.qualified, at.labour_rate))
        ends = Play(problem, cannot).calls(max(2, round(share * played)))
        rows += [(minutes, ending, share / len(ends)) for minutes, ending in ends]
    return _summed(*(np.array(column) for column in zip(*rows, strict=True)))


def _summed(minutes: Floats, ending: Ints, weight: Floats) -> OnSite:
    """All calls together, each with its weight (they add up to 1)."""
    order = np.argsort(minutes, kind="stable")
    reached = int(np.searchsorted(np.cumsum(weight[order]), PLANNED - 1e-9))
    mean = float(weight @ minutes)
    error = float(np.sqrt(weight @ (minutes - mean) ** 2 / len(minutes)))
    ends = np.bincount(ending, weight, minlength=3).tolist()
    return OnSite(mean, error, float(minutes[order[min(reached, len(order) - 1)]]), *ends)


def machines(stock: Stock) -> list[tuple[float, Belief]]:
    """The kinds of machine it may turn out to be, each with its chance and the belief given it; a look at it tells
    which.
    """
    k, s, evidence = stock.knowledge, stock.belief.suspects, stock.belief.evidence
    asked = [f for f in k.equipment if f not in evidence.facts and _matters(stock, f)]
    found = []
    for values in itertools.product(*(k.equipment[f].values for f in asked)):
        facts = {**evidence.facts, **dict(zip(asked, values, strict=True))}
        try:
            belief = infer(s, replace(evidence, facts=facts))
        except ClashError:
            continue  # no such machine shows what was found
        found.append((float(main_cause_weights(s, facts).sum()), belief))
    if not found:
        return [(1.0, stock.belief)]
    most = max(belief.log_evidence for _, belief in found)
    shares = np.array([w * np.exp(belief.log_evidence - most) for w, belief in found])
    shares = np.where(shares >= RARE * shares.sum(), shares, 0.0)
    return [(float(p), b) for p, (_, b) in zip(shares / shares.sum(), found, strict=True) if p > 0]


def _matters(stock: Stock, fact: str) -> bool:
    """Whether an equipment fact decides which parts the machine has, what work is offered, or how its parts are got at."""
    k = stock.knowledge
    work = (*k.check.values(), *k.repair.values())
    decides = any(fact in w.needs or fact in w.access_by for w in work)
    return decides or bool(k.equipment[fact].lacks) or any(fact in s.needs for s in k.symptom.values())


def replaced(stock: Stock, aboard: Collection[str]) -> frozenset[str]:
    """Repairs whose part is not aboard while the van can put right all that they do: those are done instead."""
    k = stock.knowledge
    can = {m for n, r in stock.repairs.items() if n in aboard or not r.cost for m in repair_modes(k, r)}
    return frozenset(n for n in stock.parts if n not in aboard and set(repair_modes(k, stock.repairs[n])) <= can)
