"""When to stop checking: what perfect information could still save, and how likely the rest of the checks leave the repair
what it is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultodds.advice.ranking import Ranking
from faultodds.belief import likely
from faultodds.knowledge import Floats

SAMPLES = 100
# The estimate is good to a few percent; suspects that add up to less than this cannot move it.
DROPPED = 0.02


def value_of_perfect_information(ranking: Ranking, cost: float) -> float:
    """EVPI: the most that being told the truth could still save against `cost`, in money."""
    return max(0.0, cost - ranking.full_information_cost)


def same_repair_probability(ranking: Ranking, repairs: Sequence[str] = (), samples: int = SAMPLES) -> float:
    """Chance that the likeliest cause, once the outcome of every check still open is known, calls for `repairs`, or unless any
    are given for what the likeliest cause calls for now: the same repairs, more of them or fewer.

    That nothing is wrong, and that no repair on offer helps, are causes too. What the moves cost does not enter. It is the
    same-decision probability of Chen, Choi and Darwiche 2014 where the decision is which cause leads. Estimated from `samples`
    draws of the truth and of all outcomes together, at fixed evenly spread points, so the same evidence gives the same figure;
    the standard error is about 0.5 / sqrt(samples) at most.
    """
    p = ranking.problem
    if not p.check_names:
        return 1.0
    spread = even_points(samples, len(p.check_names) + 1)
    order = p.by_need
    kept = order[likely(p.weights[order], DROPPED)]
    weights = p.weights[kept].astype(np.float64)
    weights /= weights.sum()
    truth = np.minimum(np.searchsorted(np.cumsum(weights), spread[0]), len(kept) - 1)
    like = p.suspect_likelihood[:, kept].astype(np.float64)
    shown = np.zeros((samples, len(like)))
    for name, point in zip(p.check_names, spread[1:], strict=True):
        rows = p.rows[name]
        cut = np.cumsum(like[rows][:, truth], axis=0)
        shown[np.arange(samples), rows.start + (point[None, :] > cut[:-1]).sum(axis=0)] = 1.0
    log_post = np.log(weights) + shown @ np.log(np.maximum(like, 1e-300))
    post = np.exp(log_post - log_post.max(axis=1, keepdims=True))
    post /= post.sum(axis=1, keepdims=True)
    suspects = np.zeros((samples, len(p.weights)))
    suspects[:, kept] = post
    leads = p.masks[p.by_class(suspects).argmax(axis=1)]
    wanted = sum(1 << p.needed.index(n) for n in repairs) or int(p.masks[p.class_weights.argmax()])
    shared = leads & wanted
    return float(np.mean((leads == wanted) | ((wanted > 0) & (leads > 0) & ((shared == leads) | (shared == wanted)))))


def even_points(samples: int, columns: int) -> Floats:
    """(columns, samples) points that fill the unit cube evenly (an additive recurrence on square roots of primes)."""
    primes = [n for n in range(2, 20 * columns + 20) if all(n % d for d in range(2, int(n**0.5) + 1))][:columns]
    step = np.sqrt(np.array(primes, dtype=float)) % 1.0
    return np.asarray((0.5 + step[:, None] * np.arange(1, samples + 1)) % 1.0)
