"""No lie pays: both scores are best, in expectation, at what is truly believed; and a score that is not so is seen."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from faultodds.calibration import MOST, NAMED, bounded, brier, log_loss, spread
from faultodds.knowledge import Floats

FAULTS = tuple(f"fault{n}" for n in range(34))
Score = Callable[[Floats, int], float]


def _expected(score: Score, said: dict[str, float], belief: Floats) -> float:
    """What somebody who believes `belief` expects to score by saying this."""
    p = spread(bounded(said), FAULTS)
    return float(sum(b * score(p, truth) for truth, b in enumerate(belief)))


def _gain_of_lying(score: Score, rng: np.random.Generator) -> float:
    """The most that a random belief of random shape gains by any of some lies: other chances, or surer, or less sure."""
    belief = rng.dirichlet(np.full(len(FAULTS), rng.choice([0.05, 0.3, 1.0])))
    belief = 0.97 * belief + 0.03 / len(FAULTS)
    names = [FAULTS[i] for i in rng.permutation(len(FAULTS))[:NAMED]]
    if rng.random() < 0.7:  # mostly the three that are believed in most
        names = [FAULTS[i] for i in np.argsort(-belief)[:NAMED]]
    true = {n: float(belief[FAULTS.index(n)]) for n in names}
    honest = _expected(score, true, belief)
    lies = [dict(zip(names, rng.dirichlet([1.0] * (NAMED + 1)).tolist(), strict=False)) for _ in range(4)]
    lies += [{n: p**power for n, p in true.items()} for power in (0.7, 0.95, 1.05, 1.5)]
    lies += [{n: p * (1.0 + rng.normal(0.0, 0.1)) for n, p in true.items()} for _ in range(4)]
    return max(honest - _expected(score, {n: max(p, 0.0) for n, p in lie.items()}, belief) for lie in lies)


def _absolute(p: Floats, truth: int) -> float:
    """Planted: the sum of distances, which rewards saying all or nothing."""
    return float(np.abs(p - np.eye(len(p))[truth]).sum())


def _only_what_was_named(p: Floats, truth: int) -> float:
    """Planted: minus the chance given to the truth, which rewards saying all of it for the favourite."""
    return -float(p[truth])


@pytest.mark.parametrize("score", [brier, log_loss])
def test_lying_does_not_pay(score: Score) -> None:
    """Over random beliefs and any three faults named, the true chances score best; a belief past the bounds is another matter."""
    rng = np.random.default_rng(3)
    assert max(_gain_of_lying(score, rng) for _ in range(500)) < 1e-4


@pytest.mark.parametrize("score", [_absolute, _only_what_was_named])
def test_a_score_under_which_lying_pays_is_seen(score: Score) -> None:
    """The test above can fail."""
    rng = np.random.default_rng(3)
    assert max(_gain_of_lying(score, rng) for _ in range(100)) > 0.05


def test_naming_faults_that_are_not_there_wins_nothing() -> None:
    """Everybody is scored on the same faults: three impossible ones at next to nothing are as good as no idea."""
    belief = np.full(len(FAULTS), 0.01)
    belief[5] = 1.0 - 0.01 * (len(FAULTS) - 1)
    honest = _expected(brier, {FAULTS[5]: belief[5]}, belief)
    dodging = _expected(brier, {FAULTS[0]: 0.0, FAULTS[1]: 0.0, FAULTS[2]: 0.0}, belief)
    assert honest < 0.6 < 0.9 < dodging


def test_bounds_and_spread() -> None:
    """Chances add up to one, nobody is certain, and what is left over is spread evenly over all that were not named."""
    taken = bounded({"fault1": 1.0, "fault2": 0.5})
    assert sum(taken.values()) == pytest.approx(MOST)
    assert taken["fault1"] == pytest.approx(2 * taken["fault2"])
    assert bounded({"fault1": 0.6}) == {"fault1": 0.6}
    p = spread({"fault1": 0.67}, FAULTS)
    assert p.sum() == pytest.approx(1.0)
    assert p[0] == pytest.approx(0.33 / 33)
    assert bounded({}) == {}
