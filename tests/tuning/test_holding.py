"""How far a log is believed: shares that are the file's times factors, forecasts that say how far, and mixtures."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import chisquare

from faultodds.tuning import holding
from faultodds.tuning.draw import draw_log
from faultodds.tuning.fitting import fit
from faultodds.tuning.settings import Settings
from rich_toy import rich_structure, rich_toy

RNG = np.random.default_rng(5)
CAUSES = 12


def _file(rng: np.random.Generator) -> np.ndarray:
    return rng.dirichlet(np.full(CAUSES, 0.8)) * 0.9 + 0.1 / CAUSES


def _off(file: np.ndarray, spread: float, rng: np.random.Generator) -> np.ndarray:
    return holding.shifted(file, rng.normal(0, spread, CAUSES))


def _labels(share: np.ndarray, jobs: int, rng: np.random.Generator) -> np.ndarray:
    """(N, C) chances of jobs whose main cause is known."""
    return np.eye(CAUSES)[rng.choice(CAUSES, jobs, p=share)]


@pytest.mark.parametrize("spread", [0.05, 0.3, 0.9])
def test_the_peak_is_where_a_search_finds_it(spread: float) -> None:
    """Newton's steps end where a general minimiser ends; with no spread at the file."""
    file, counts = _file(RNG), RNG.poisson(30, CAUSES).astype(float)

    def height(offset: np.ndarray) -> float:
        share = holding.shifted(file, offset)
        return -float(counts @ np.log(share) - 0.5 * (offset**2).sum() / spread**2)

    found = holding.shifted(file, minimize(height, np.zeros(CAUSES), tol=1e-10).x)
    assert holding.peak(counts, file, spread) == pytest.approx(found, abs=1e-5)
    assert (holding.peak(counts, file, 0.0) == file).all()


def test_forecasts_tell_a_shop_like_the_file_from_one_that_differs() -> None:
    """Over many shops: where shares are the file's, little of the belief goes to wide spreads; elsewhere little to none."""
    like, unlike = [], []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        file = _file(rng)
        for spread, into in ((0.0, like), (0.7, unlike)):
            chances = _labels(_off(file, spread, rng), 400, rng)
            into.append(holding.believed(holding.forecasts(chances, np.ones(400), file)))
    wide = np.array(holding.SPREADS) >= 0.3
    assert np.mean([w[wide].sum() for w in like]) < 0.1
    assert np.mean([w[~wide].sum() for w in unlike]) < 0.15


def test_what_is_given_out_is_no_worse_than_counting() -> None:
    """Over many shops that differ, the averaged shares are nearer the truth than counts with the file worth 100 jobs, and where
    nothing differs they stay at the file.
    """
    lost = {"held": [], "counted": [], "like": []}
    for seed in range(20):
        rng = np.random.default_rng(100 + seed)
        file = _file(rng)
        for spread in (0.0, 0.6):
            true = _off(file, spread, rng)
            chances, weight = _labels(true, 300, rng), np.ones(300)
            weights = holding.believed(holding.forecasts(chances, weight, file))
            share = weights @ np.stack([holding.learned(chances, weight, file, s) for s in holding.SPREADS])
            counted = (chances.sum(axis=0) + 100 * file) / 400
            lost["held" if spread else "like"].append(_divergence(true, share))
            if spread:
                lost["counted"].append(_divergence(true, counted))
    assert np.mean(lost["held"]) < np.mean(lost["counted"])
    assert np.mean(lost["like"]) < 0.003


def _divergence(true: np.ndarray, share: np.ndarray) -> float:
    return float((true * np.log(true / share)).sum())


def test_draws_hold_the_truth_as_often_as_they_say() -> None:
    """With truths drawn from the spread, the truth's rank among draws is uniform."""
    ranks = []
    for seed in range(60):
        rng = np.random.default_rng(1000 + seed)
        file = _file(rng)
        true = _off(file, 0.5, rng)
        counts = rng.multinomial(300, true).astype(float)
        drawn = np.stack([holding.drawn(counts, file, 0.5, rng) for _ in range(9)])
        ranks += (drawn < true).sum(axis=0).tolist()
    assert chisquare(np.bincount(ranks, minlength=10)).pvalue > 1e-3


def test_mixtures_go_from_the_file_to_the_fit() -> None:
    """None of the way is the file, all of it the fit; kinds that are not named stay with the fit."""
    f = rich_structure().families
    theta = f.scaled(np.maximum(RNG.standard_gamma(5 * f.prior + 1), 1e-9))
    links = (f.kind == 3)[f.of]
    none = holding.mixed(f, theta, f.prior, {"links": 0.0})
    assert none[links] == pytest.approx(f.prior[links])
    assert none[~links] == pytest.approx(theta[~links])
    assert holding.mixed(f, theta, f.prior, {"links": 1.0}) == pytest.approx(theta)


def test_the_way_grows_with_the_jobs() -> None:
    """What forecasts of more jobs would say is told from those of fewer."""
    says = {way: -50.0 * (way - 0.5) ** 2 for way in holding.WAYS}

    def score(way: dict[str, float]) -> float:
        return says[way["facts"]] if "facts" in way else says[1.0]

    same, more = holding.ways(score, 1.0)["facts"], holding.ways(score, 4.0)["facts"]
    assert same == pytest.approx(0.5, abs=0.05)
    assert more == pytest.approx(4 * same / (4 * same + 1 - same))


def test_answers_that_are_mostly_not_written_down_raise_no_false_alarm() -> None:
    """Of a symptom's normal answers 8 % are written down, of the others 93 %: its numbers come out as from the whole record."""
    rng = np.random.default_rng(2)
    name = "slow"
    log = draw_log(rich_toy(), 1500, 7, 0.2, guesses_of=rich_structure())
    column = log[f"found:{name}"].astype(object)
    normal = (column == "no").to_numpy()
    kept = rng.random(len(log)) < np.where(normal, 0.08, 0.93)
    quiet = fit(rich_toy(), log.assign(**{f"found:{name}": column.where(kept, None)}), Settings(omitted_target=0.0))
    whole = fit(rich_toy(), log, Settings(omitted_target=0.0))
    s = rich_structure()
    told, odd = quiet.written(s.observables.index(name))
    assert told == pytest.approx(0.08 * 0.8, abs=0.08)
    assert odd == pytest.approx(0.93 * 0.8, abs=0.15)
    path = f"symptom/{name}/leak/yes"
    assert quiet.numbers[path] == pytest.approx(whole.numbers[path], abs=0.05)
