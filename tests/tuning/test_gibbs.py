"""How sure: draws from the posterior, their intervals, and what they are worth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chisquare, norm

from faultodds.errors import UnknownName
from faultodds.tuning.draw import draw_log
from faultodds.tuning.fitting import encoded, fit
from faultodds.tuning.gibbs import Chain, effective_size, sample
from faultodds.tuning.settings import Settings
from rich_toy import WORTH, rich_structure, rich_toy, shop, toy_log

FULL = Settings(strengths=WORTH, omitted_target=0.0, recentre=False)
SHOPS, JOBS, BURN, THIN, KEPT = 24, 20, 12, 7, 7


def _ranks() -> np.ndarray:
    """(shops, P) rank of each true chance among the draws from the posterior of a log drawn with it."""
    s = rich_structure()
    start = fit(rich_toy(), toy_log(10), FULL)
    start = dataclasses.replace(start, theta=s.families.prior)
    ranks = []
    for seed in range(SHOPS):
        theta, truth = shop(1000 + seed)
        log = draw_log(truth, JOBS, seed, 0.5, theta=theta, guesses_of=s)
        chain = Chain(s, encoded(s, log, FULL, merge=False)[0], start, seed)
        chain.pseudo[s.families.wrong] = 1e9, 1e-3  # none is drawn
        chain.theta[s.families.wrong] = 1.0, 1e-12
        for _ in range(BURN):
            chain.sweep()
        draws = []
        for _ in range(KEPT):
            for _ in range(THIN):
                drawn = chain.sweep()
            draws.append(drawn)
        ranks.append((np.array(draws) < theta).sum(axis=0))
    return np.array(ranks)


def test_ranks_of_the_truth_are_uniform() -> None:
    """Simulation-based calibration: with truths drawn from the prior and logs drawn from the truths, the truth's rank among the
    posterior's draws is uniform, for every kind of number.

    Talts, Betancourt, Simpson, Vehtari and Gelman 2018, "Validating Bayesian Inference Algorithms with Simulation-Based
    Calibration". The logs are drawn through the network's tables, which know nothing of suspects, groups and classes.
    """
    f = rich_structure().families
    ranks = _ranks()
    # Of a family of two, one entry: the other is its mirror image.
    single = np.array([e for e in range(len(f.prior)) if not (len(f.outcomes[f.of[e]]) == 2 and e != f.start[f.of[e]])])
    # Of what is left out of a log, and who comes back with an unlisted fault, the drawn logs know nothing.
    single = single[
        [not f.names[f.of[e]].startswith(("log/written", "log/wrong", "log/back_if_unlisted")) for e in single]
    ]
    for kind in range(7):
        chosen = single[f.kind[f.of[single]] == kind]
        sums = np.bincount(ranks[:, chosen].ravel(), minlength=KEPT + 1)
        # Entries of one shop hang together a little, so a smaller p-value than usual is asked for.
        assert chisquare(sums).pvalue > 1e-3, (kind, sums)
    means = (ranks[:, single].mean(axis=0) - KEPT / 2) / np.sqrt((KEPT * (KEPT + 2)) / 12 / SHOPS)
    assert np.abs(means).max() < norm.isf(0.001 / len(single)) + 0.5
    assert 0.75 < means.std() < 1.25


def test_draws_lie_around_the_fit() -> None:
    """With many jobs, posterior means are near the fitted numbers, and the intervals hold most of them."""
    log = draw_log(rich_toy(), 400, 6, 0.3)
    learned = fit(rich_toy(), log, FULL)
    draws = sample(rich_toy(), log, FULL, sweeps=120, burn=20, learned=learned)
    inside = [draws.interval(p)[0] <= learned.numbers[p] <= draws.interval(p)[1] for p in learned.numbers]
    assert np.mean(inside) > 0.9
    assert draws.of("component/pump/modes/dead/share").mean() == pytest.approx(
        learned.numbers["component/pump/modes/dead/share"], rel=0.15
    )


def test_more_jobs_make_it_surer() -> None:
    """Intervals of the shares from 800 jobs are together under two thirds of those from 40."""
    width = {}
    for jobs in (40, 800):
        log = draw_log(rich_toy(), jobs, 6, 0.3, guesses_of=rich_structure())
        draws = sample(rich_toy(), log, FULL, sweeps=150, burn=20)
        ends = [draws.interval(path) for path in draws.places if path.endswith("/share")]
        width[jobs] = sum(high - low for low, high in ends)
    assert width[800] < width[40] / 1.5


def test_same_seed_same_draws() -> None:
    """The same seed gives the same draws, another one gives others."""
    learned = fit(rich_toy(), toy_log(40), FULL)
    one, again, other = (
        sample(rich_toy(), toy_log(40), FULL, sweeps=5, burn=2, seed=seed, learned=learned).theta for seed in (1, 1, 2)
    )
    assert (one == again).all()
    assert not (one == other).all()


def test_forgotten_jobs_widen_the_interval() -> None:
    """Jobs that count half make the posterior less sure, as half as many jobs would."""
    log = draw_log(rich_toy(), 300, 6, 0.0, truth=True)
    log["day"] = pd.to_datetime(["2020-01-01"] * 299 + ["2024-01-01"])
    path = "component/pump/modes/dead/share"
    widths = []
    for half_life in (None, 365.25):
        draws = sample(rich_toy(), log, FULL.replace(half_life_days=half_life), sweeps=100, burn=10)
        low, high = draws.interval(path)
        widths.append(high - low)
    assert widths[1] > 1.5 * widths[0]


def test_effective_size_of_a_known_chain() -> None:
    """A chain with autocorrelation r is worth n (1 - r) / (1 + r) draws; independent draws are worth their number."""
    rng = np.random.default_rng(0)
    noise = rng.standard_normal(20_000)
    chain = np.zeros_like(noise)
    for i in range(1, len(noise)):
        chain[i] = 0.8 * chain[i - 1] + noise[i]
    assert effective_size(chain) == pytest.approx(20_000 / 9, rel=0.15)
    assert effective_size(noise) == pytest.approx(20_000, rel=0.1)
    assert effective_size(np.ones(10)) == 10


def test_a_number_that_is_not_learned_has_no_draws() -> None:
    """Asking for a path that was not learned names the nearest that was."""
    draws = sample(rich_toy(), toy_log(10), FULL, sweeps=2, burn=0)
    with pytest.raises(UnknownName, match="Did you mean 'component/pump/modes/dead/share'"):
        draws.interval("component/pump/modes/ded/share")
