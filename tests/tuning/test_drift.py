"""Drift: a month unlike the others is found and named, and months that differ by luck alone are left in peace."""

from __future__ import annotations

import numpy as np
import pytest

from faultodds.knowledge.tables import Floats
from faultodds.tuning.drift import FEWEST_JOBS, MonthSums, Shift, sentence, shifts

CAUSES = [f"part{i}.bad" for i in range(12)]
MONTHS = [f"2024-{m:02d}" for m in range(1, 13)]
SHARES = np.array([0.25, 0.2, 0.15, 0.1, 0.08, 0.06, 0.05, 0.04, 0.03, 0.02, 0.01, 0.01])


def vague(true: np.ndarray, rng: np.random.Generator, sure: float) -> Floats:
    """(N, C) chances such as a log gives: right on average, the surer the larger `sure` is."""
    seen = rng.normal(0.0, 1.0, (len(true), len(CAUSES)))
    seen[np.arange(len(true)), true] += sure
    weight = SHARES * np.exp(sure * seen)  # Bayes' rule for a reading of each cause, normal around 0 or around `sure`
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def year(rng: np.random.Generator, jobs: int, sure: float = 2.0, odd: np.ndarray | None = None) -> MonthSums:
    """A year of jobs; in June the shares are `odd`."""
    sums = MonthSums(len(CAUSES))
    for month in MONTHS:
        shares = odd if odd is not None and month == "2024-06" else SHARES
        sums.add([month] * jobs, vague(rng.choice(len(CAUSES), jobs, p=shares), rng, sure))
    return sums


@pytest.mark.parametrize("sure", [0.7, 2.0, 6.0])
def test_a_year_without_drift_is_rarely_flagged(sure: float) -> None:
    """Over 150 years at the level of 0.05, at most 8 in 100 have a month flagged, however vague the diagnoses are."""
    rng = np.random.default_rng(1)
    flagged = sum(bool(shifts(year(rng, 40, sure), CAUSES)) for _ in range(150))
    assert flagged <= 12


def test_a_month_with_a_new_mix_is_found_and_its_cause_named() -> None:
    """Four times the usual share of one cause in one month of 60 jobs is found nearly always, in the right month and cause."""
    rng = np.random.default_rng(2)
    odd = SHARES.copy()
    odd[3] = 0.7
    odd /= odd.sum()
    found = [shifts(year(rng, 60, 3.0, odd), CAUSES) for _ in range(50)]
    right = [f for f in found if any(s.month == "2024-06" and s.cause == CAUSES[3] and s.seen > s.expected for s in f)]
    assert len(right) >= 45


def test_chunks_add_up_to_the_whole() -> None:
    """However the log is cut into chunks, the answer is the same."""
    rng = np.random.default_rng(3)
    months = list(rng.choice(MONTHS[:4], 400))
    chances = vague(rng.choice(len(CAUSES), 400, p=SHARES), rng, 2.0)
    chances[:40, 0] = 1.0
    chances[:40, 1:] = 0.0
    months[:40] = ["2024-01"] * 40
    whole, parts = MonthSums(len(CAUSES)), MonthSums(len(CAUSES))
    whole.add(months, chances)
    for start in range(0, 400, 70):
        parts.add(months[start : start + 70], chances[start : start + 70])
    a, b = shifts(whole, CAUSES), shifts(parts, CAUSES)
    assert [s.month for s in a] == [s.month for s in b]
    assert a
    assert a[0].p == pytest.approx(b[0].p, rel=1e-6)


def test_short_months_and_jobs_without_a_day_are_left_out() -> None:
    """A month of few jobs is not judged; jobs without a day count for none."""
    rng = np.random.default_rng(4)
    sums = year(rng, 40)
    odd = np.zeros((FEWEST_JOBS - 1, len(CAUSES)))
    odd[:, 11] = 1.0
    sums.add(["2025-01"] * len(odd), odd)
    sums.add([""] * 500, np.tile(odd[:1], (500, 1)))
    assert "2025-01" not in {s.month for s in shifts(sums, CAUSES)}
    assert "" not in sums.jobs


def test_one_month_alone_is_compared_with_nothing() -> None:
    """A log of one month, or of none, has no drift."""
    sums = MonthSums(2)
    assert shifts(sums, ["a", "b"]) == []
    sums.add(["2024-01"] * 50, np.full((50, 2), 0.5))
    assert shifts(sums, ["a", "b"]) == []


def test_jobs_that_all_say_the_same_are_no_drift() -> None:
    """With no spread between jobs there is nothing to find, and no division by zero."""
    sums = MonthSums(2)
    for month in MONTHS:
        sums.add([month] * 30, np.full((30, 2), 0.5))
    assert shifts(sums, ["a", "b"]) == []


def test_a_shift_is_told_in_plain_words() -> None:
    """The sentence has the month, the cause, both numbers and how likely luck is."""
    text = sentence(Shift("2024-03", 52, "hood.blocked", 9.6, 3.1, 0.004), "outdoor hood: flap stuck")
    assert text == (
        "March 2024 is unlike the other months: more calls for 'outdoor hood: flap stuck' than usual, about 10 of 52 where 3 "
        "would be expected (chance of such a month by luck: 1 in 250)."
    )
