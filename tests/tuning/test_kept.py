"""Normal results of checks that are not always written down: how often is told from all checks together."""

from __future__ import annotations

import numpy as np
import pytest

from faultodds.knowledge import Floats, load
from faultodds.tuning import kept
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.draw import draw_log
from faultodds.tuning.fitting import Learned, fit
from faultodds.tuning.settings import Settings
from faultodds.tuning.structure import Structure, structure_of


@pytest.fixture(scope="module")
def dryer() -> Structure:
    return structure_of(load("gas_dryer"), 5e-3)


def _normals(dryer: Structure) -> np.ndarray:
    return kept.normals(dryer, np.zeros(dryer.checks, dtype=bool))


def test_what_a_record_shows_is_moved_back_to_what_was_shown(dryer: Structure) -> None:
    """Odds of normal results move by the number, all else stays; there and back is where it was."""
    f, rng, normal = dryer.families, np.random.default_rng(1), _normals(dryer)
    for log_kept in rng.uniform(-1.5, 1.5, 50):
        theta = f.scaled(rng.standard_gamma(2.0, len(f.prior)) + 0.01)
        there = kept.moved(dryer, normal, theta, log_kept)
        odds = [np.log(t[normal] / (1.0 - t[normal])) for t in (theta, there)]
        assert odds[1] - odds[0] == pytest.approx(np.full(len(normal), log_kept), abs=1e-6)
        others = ~np.isin(f.of, f.of[normal])
        assert there[others] == pytest.approx(theta[others])
        assert kept.moved(dryer, normal, there, -log_kept) == pytest.approx(theta)


def test_belief_holds_the_truth_as_often_as_it_says(dryer: Structure) -> None:
    """400 shops drawn as the model says, each check's own numbers off the file's: 90 % of the time in the middle 90 %."""
    f, rng, normal = dryer.families, np.random.default_rng(2), _normals(dryer)
    pseudo, held = f.spread_strengths(Settings().worth()), 0
    for _ in range(400):
        log_kept = 0.0 if rng.random() < 0.5 else rng.uniform(kept.LOGS[0], kept.LOGS[-1])
        theta = f.scaled(np.maximum(rng.standard_gamma(pseudo), 1e-300))
        jobs = rng.integers(0, 40, f.count)
        weights = kept.belief(
            dryer, normal, pseudo, _counts(kept.moved(dryer, normal, theta, log_kept), jobs, dryer, rng)
        )
        reach = np.cumsum(weights)
        below, above = (kept.LOGS[int(np.searchsorted(reach, q))] for q in (0.05, 0.95))
        held += below - 0.025 <= log_kept <= above + 0.025
    assert 0.86 <= held / 400 <= 0.97


def _counts(theta: Floats, jobs: np.ndarray, dryer: Structure, rng: np.random.Generator) -> Floats:
    f = dryer.families
    ends = [*f.start[1:], len(theta)]
    return np.concatenate([
        rng.multinomial(n, theta[a:b] / theta[a:b].sum()) for n, a, b in zip(jobs, f.start, ends, strict=True)
    ]).astype(float)  # fmt: skip


def test_a_log_that_leaves_normal_results_out_teaches_no_false_alarms(dryer: Structure) -> None:
    """Half the normal results of every check are gone: taken as it stands the log teaches false alarms, and is not."""
    log, rng = draw_log(dryer.knowledge, 1500, 3, 0.8, guesses_of=dryer), np.random.default_rng(4)
    for check, record in dryer.knowledge.check.items():
        if f"found:{check}" in log:
            column = log[f"found:{check}"]
            log.loc[(column == next(iter(record.outcomes))) & (rng.random(len(log)) < 0.5), f"found:{check}"] = None
    told, naive = fit(dryer.knowledge, log), fit(dryer.knowledge, log, Settings(recentre=False))
    assert np.exp(told.kept @ kept.LOGS) == pytest.approx(0.5, abs=0.1)
    assert [n for n in told.notes if "fewer normal results" in n]
    assert _away(dryer, told) < 0.5 * _away(dryer, naive)


def _away(dryer: Structure, learned: Learned) -> float:
    """Mean distance of the checks' learned false alarms from those that the log was drawn with."""
    checks = [dryer.observables.index(c) for c in dryer.knowledge.check]
    sound = dryer.group_of[checks, dryer.suspects.sound]
    mine, true = (arrays_of(dryer, t).outcome[sound, 0] for t in (learned.theta, dryer.families.prior))
    return float(np.abs(mine - true).mean())
