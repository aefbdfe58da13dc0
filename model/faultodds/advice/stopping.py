"""When to stop checking: what perfect information could still save, and how likely the rest of the checks change nothing."""

from __future__ import annotations

import numpy as np

from faultodds.advice.onestep import base_values, full_information_cost
from faultodds.advice.problem import Problem
from faultodds.belief import likely

SAMPLES = 100
# The estimate is good to a few percent; suspects that add up to less than this cannot move it.
DROPPED = 0.02


def value_of_perfect_information(problem: Problem, cost_now: float) -> float:
    """EVPI: the most that any checking could still save against `cost_now`, in money."""
    return max(0.0, cost_now - full_information_cost(problem))


def same_decision_probability(problem: Problem, samples: int = SAMPLES) -> float:
    """Chance that the outcome of every check still open would leave the base policy's first move as it is.

    Chen, Choi and Darwiche 2014. Estimated from `samples` draws of the truth and of all outcomes together, with fixed
    random numbers, so the same evidence gives the same figure; the standard error is at most 0.5 / sqrt(samples).
    """
    s = problem.belief.suspects
    names = list(problem.checks)
    if not names or not problem.bundles:
        return 1.0
    rng = np.random.default_rng(0)
    kept = likely(problem.weights, DROPPED)
    weights = problem.weights[kept] / problem.weights[kept].sum()
    truth = rng.choice(len(kept), size=samples, p=weights)
    log_post = np.repeat(np.log(weights)[None, :], samples, axis=0)
    for name in names:
        like = s.likelihood[s.rows[name]][:, problem.active[kept]]
        cut = np.cumsum(like[:, truth], axis=0)
        outcome = (rng.random(samples)[None, :] > cut[:-1]).sum(axis=0)
        log_post += np.log(np.maximum(like[outcome], 1e-300))
    post = np.exp(log_post - log_post.max(axis=1, keepdims=True))
    post /= post.sum(axis=1, keepdims=True)
    masks, which = problem.classes
    onehot = np.zeros((len(kept), len(masks)))
    onehot[np.arange(len(kept)), which[kept]] = 1.0
    weights = np.concatenate([problem.class_weights[None, :], post @ onehot])
    state = problem.situation.state
    terminal = base_values(
        problem,
        weights,
        np.repeat(problem.bundle_costs(state)[None, :], len(weights), axis=0),
        np.full(len(weights), problem.verify_cost(state)),
        np.full(len(weights), float(problem.verified)),
    )
    same = terminal.move[1:] == terminal.move[0]
    if terminal.move_name(0) == "repair":
        # Another bundle that starts with the same repair is the same next move.
        first = [problem.bundles[int(b)] for b in terminal.bundle]
        same &= np.array([set(first[0]) <= set(f) or set(f) <= set(first[0]) for f in first[1:]])
    return float(same.mean())
