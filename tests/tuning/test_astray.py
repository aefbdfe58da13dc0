"""Visits on which useless repairs were done in place of those that were needed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from faultodds.joblog import clean
from faultodds.tuning import astray
from faultodds.tuning.arrays import NEVER, arrays_of
from faultodds.tuning.draw import draw_log
from faultodds.tuning.encode import Chunk, Encoder
from faultodds.tuning.guesses import guessed
from faultodds.tuning.likelihood import Silence, rows_of
from faultodds.tuning.statistics import statistics
from faultodds.tuning.structure import IN_PLACE
from rich_toy import rich_structure, rich_toy

S = rich_structure()


def _prepared(jobs: int, seed: int) -> Chunk:
    """A log in which any repairs are done, needed or not."""
    log = draw_log(rich_toy(), jobs, seed, 0.4)
    rng = np.random.default_rng(seed)
    names = np.array(list(rich_toy().repair))
    some = rng.random((jobs, len(names))) < 0.4
    log[clean.REPAIRS] = [";".join(names[row]) for row in some]
    return guessed(S, Encoder(S, merge=False).encode(log))


def test_a_deed_is_astray_only_where_all_of_it_is_useless() -> None:
    """Its chance there: the rates, each part's own chance, in any order; elsewhere none."""
    chunk = _prepared(300, 1)
    arrays = replace(arrays_of(S, S.families.prior), wrong=0.2, again=0.3)
    deeds = chunk.deeds
    assert deeds is not None
    assert len(set(deeds.parts)) > 2
    done = rows_of(S, chunk, arrays, Silence.none(S)).done
    _, found = astray.likelihoods(S, arrays, deeds, done)
    for k in range(deeds.count):
        repair, level = np.divmod(deeds.astray[k].indices, len(IN_PLACE))
        useless = S.useless[repair].all(axis=0)
        orders = float(np.prod(np.arange(1, len(repair) + 1)))
        rate = 0.2 * 0.3 ** (len(repair) - 1) * 0.7 * arrays.reported[1]
        expected = rate * orders * np.prod(np.array(IN_PLACE)[level])
        assert np.exp(found[k][useless]) == pytest.approx(expected, rel=1e-4)
        assert (found[k][~useless] == NEVER).all()


@pytest.mark.parametrize("name", ["log/wrong_part", "log/wrong_part/again", "log/guessed"])
@pytest.mark.parametrize("seed", [2, 3, 4])
def test_counts_are_the_slope_of_the_log_likelihood(name: str, seed: int) -> None:
    """Moving chance between two outcomes changes the log likelihood as the counts say, whatever was done for whatever reason."""
    chunk = _prepared(400, seed)
    family = S.families.names.index(name)
    first = int(S.families.start[family])
    theta = S.families.prior.copy()
    theta[first : first + 2] = 0.7, 0.3
    counts = statistics(S, chunk, theta).counts
    step = 0.01

    def height(moved: float) -> float:
        there = theta.copy()
        there[first : first + 2] += -moved, moved
        return statistics(S, chunk, there).log_likelihood

    slope = (height(step) - height(-step)) / (2 * step)
    assert counts[first + 1] > 1.0
    assert slope == pytest.approx(counts[first + 1] / 0.3 - counts[first] / 0.7, rel=0.01, abs=0.5)


def test_every_job_with_repairs_is_right_or_astray() -> None:
    """The jobs of both together are those of which repairs are known."""
    chunk = _prepared(400, 5)
    counts = statistics(S, chunk, S.families.prior)
    first = int(S.families.start[S.families.names.index("log/wrong_part")])
    assert counts.counts[first : first + 2].sum() == pytest.approx(counts.weight, rel=1e-4)
