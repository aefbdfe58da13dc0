"""Adds up what was played: means per policy, and paired differences with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from faultodds.knowledge import Floats
from faultodds.names import rounded
from faultodds_cli.trial.play import FLOOR, Played, Setting

RESAMPLES = 2000
LEVEL = 0.95


@dataclass(frozen=True)
class Difference:
    """A paired mean difference in cost and its bootstrap interval (percentile, 95 %)."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Summary:
    """One policy over all jobs: means per job, and shares of the jobs.

    `above_floor` is what not knowing the fault cost, `against_ours` this policy's cost less that of the reference (faultodds, or
    the first priors) on the same jobs, `ratio` this mean cost over the reference's; None for the reference itself, and when
    it did not play.
    """

    policy: str
    cost: float
    above_floor: Difference
    against_ours: Difference | None
    ratio: Difference | None
    minutes: float
    checks: float
    live_checks: float
    repairs: float
    wrong_parts: float
    first_visit: float
    callbacks: float
    handed_over: float
    money: dict[str, float]


def summaries(results: Sequence[Played], setting: Setting) -> list[Summary]:
    """One summary per policy, in the order of the setting."""
    by_policy = {name: [r for r in results if r.policy == name] for name in setting.players}
    costs = {name: np.array([r.cost for r in rows]) for name, rows in by_policy.items()}
    return [_summary(name, rows, costs, setting.reference) for name, rows in by_policy.items()]


def _summary(name: str, rows: Sequence[Played], costs: dict[str, Floats], reference: str) -> Summary:
    ours = costs.get(reference) if name != reference else None
    return Summary(
        policy=name,
        cost=float(costs[name].mean()),
        above_floor=difference(costs[name] - costs[FLOOR]),
        against_ours=None if ours is None else difference(costs[name] - ours),
        ratio=None if ours is None else ratio(costs[name], ours),
        minutes=_mean([r.minutes for r in rows]),
        checks=_mean([r.checks for r in rows]),
        live_checks=_mean([r.live_checks for r in rows]),
        repairs=_mean([r.repairs for r in rows]),
        wrong_parts=_mean([r.wrong_parts for r in rows]),
        first_visit=_mean([r.put_right for r in rows]),
        callbacks=_mean([r.came_back for r in rows]),
        handed_over=_mean([r.handed_over for r in rows]),
        money={stage: _mean([r.money[stage] for r in rows]) for stage in rows[0].money},
    )


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values))


def difference(paired: Floats) -> Difference:
    """Mean of paired differences and its bootstrap interval, with fixed random numbers: the same jobs, the same interval."""
    rng = np.random.default_rng(0)
    means = [float(paired[rng.integers(0, len(paired), len(paired))].mean()) for _ in range(RESAMPLES)]
    low, high = np.quantile(means, [(1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0])
    return Difference(float(paired.mean()), float(low), float(high))


def ratio(cost: Floats, reference: Floats) -> Difference:
    """Mean cost over the reference's on the same jobs, and its bootstrap interval with the same random numbers."""
    rng = np.random.default_rng(0)
    rows = [rng.integers(0, len(cost), len(cost)) for _ in range(RESAMPLES)]
    ratios = [float(cost[r].mean() / reference[r].mean()) for r in rows]
    low, high = np.quantile(ratios, [(1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0])
    return Difference(float(cost.mean() / reference.mean()), float(low), float(high))


def answer(found: Sequence[Summary], setting: Setting, appliance: str, currency: str) -> dict[str, Any]:
    """The object of `trial --json`."""
    return {
        "appliance": appliance,
        "jobs": setting.jobs,
        "seed": setting.seed,
        "town": setting.town,
        "qualified_work": setting.qualified,
        "currency": currency,
        "synthetic": True,
        **({"priors": [_with_priors(s, setting) for s in found]} if setting.priors else {}),
        **({} if setting.priors else {"policies": [_plain(s) for s in found]}),
    }


def _with_priors(s: Summary, setting: Setting) -> dict[str, Any]:
    plain = _plain(s)
    against = plain.pop("more_than_faultodds")
    return {
        "priors": plain.pop("policy"),
        "mean_cost": plain.pop("mean_cost"),
        f"more_than_{setting.reference}": against,
        f"times_{setting.reference}": None if s.ratio is None else _interval(s.ratio),
        **plain,
    }


def _plain(s: Summary) -> dict[str, Any]:
    return {
        "policy": s.policy,
        "mean_cost": rounded(s.cost),
        "above_clairvoyant": _interval(s.above_floor),
        "more_than_faultodds": None if s.against_ours is None else _interval(s.against_ours),
        "minutes": rounded(s.minutes),
        "checks": rounded(s.checks),
        "live_checks": rounded(s.live_checks),
        "repairs": rounded(s.repairs),
        "wrong_parts": rounded(s.wrong_parts),
        "first_visit": rounded(s.first_visit),
        "callbacks": rounded(s.callbacks),
        "handed_over": rounded(s.handed_over),
        "where_money_goes": {stage: rounded(money) for stage, money in s.money.items()},
    }


def _interval(d: Difference) -> dict[str, float]:
    return {"mean": rounded(d.mean), "low": rounded(d.low), "high": rounded(d.high)}
