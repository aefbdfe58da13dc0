"""How visits ended: the log's own words, and customers who call again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.joblog.clean import ENDINGS
from faultodds.joblog.endings import CODE, NO_WORD, Endings, endings

WINDOW = 30.0


def of(customers: list[int], days: list[int], words: list[str | None], no_ending: str = "auto") -> Endings:
    """Endings from plain lists."""
    codes = np.array([CODE[w] if w else NO_WORD for w in words], np.int8)
    return endings(np.array(customers, np.uint64), np.array(days, np.int64), codes, WINDOW, no_ending)


def names(found: Endings) -> list[str]:
    """Endings by name."""
    return [ENDINGS[code] for code in found.ended]


def test_a_second_visit_in_time_makes_the_first_one_come_back() -> None:
    """Within the window the earlier visit came back, after so many days; beyond it, it did not."""
    found = of([1, 1, 2, 2], [0, 9, 0, 31], ["gone", "gone", "gone", "gone"])
    assert names(found) == ["came_back", "gone", "gone", "gone"]
    assert found.back_after[0] == 9
    assert np.isnan(found.back_after[1:]).all()
    assert found.followed.tolist() == [31, 22, 31, 0]
    assert any("1 visit said to be done, but the customer called again" in note for note in found.notes)


def test_two_rows_of_one_day_are_one_visit() -> None:
    """The same customer twice on a day has not called again."""
    assert names(of([1, 1, 1], [0, 0, 5], ["gone", "gone", "gone"])) == ["came_back", "came_back", "gone"]
    assert names(of([1, 1], [0, 0], ["gone", "gone"])) == ["gone", "gone"]


def test_silence_counts_as_gone_only_where_callbacks_are_recorded() -> None:
    """In a log with callbacks a blank ending means that nobody called; in one without, it means nothing."""
    without = of([1, 2, 3], [0, 1, 2], [None, None, "gone"])
    assert names(without) == ["unknown", "unknown", "gone"]
    with_some = of([1, 2, 3, 4, 5], [0, 1, 2, 3, 4], [None, "came_back", "came_back", "came_back", "gone"])
    assert names(with_some)[0] == "gone"
    assert any("1 visit with no ending written count as gone" in note for note in with_some.notes)
    assert names(of([1, 2, 3], [0, 1, 2], [None, None, "gone"], "gone"))[0] == "gone"


def test_callback_may_be_written_on_the_second_visit() -> None:
    """Where "callback" stands on visits that follow another, the visit before is the one that came back."""
    customers, days = [1, 1, 2, 2, 3, 3, 4], [0, 5, 1, 6, 2, 7, 8]
    words: list[str | None] = [None, "came_back", None, "came_back", None, "came_back", "gone"]
    found = of(customers, days, words)
    assert names(found) == ["came_back", "gone"] * 3 + ["gone"]
    assert any("marks the second visit" in note for note in found.notes)


def test_without_customer_or_day_only_the_words_count() -> None:
    """Unknown customers are nobody's second visit, and unknown days are no time."""
    found = of([0, 0, 1, 1], [0, 3, -1, -1], ["gone", "gone", "came_back", "gone"])
    assert names(found) == ["gone", "gone", "came_back", "gone"]
    assert np.isnan(found.back_after).all()
    assert np.isnan(found.followed[2])


rows = st.lists(st.tuples(st.integers(0, 4), st.integers(-1, 90)), min_size=1, max_size=25)


@given(rows)
def test_endings_agree_with_looking_at_every_pair(pairs: list[tuple[int, int]]) -> None:
    """A visit came back exactly when the same known customer has a later day within the window; the nearest one counts."""
    customers, days = [c for c, _ in pairs], [d for _, d in pairs]
    found = of(customers, days, ["gone"] * len(pairs))
    for i, (who, day) in enumerate(pairs):
        later = [d - day for c, d in pairs if who and c == who and day >= 0 and 0 < d - day <= WINDOW]
        assert names(found)[i] == ("came_back" if later else "gone")
        if later:
            assert found.back_after[i] == min(later)


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_rows_does_not_matter(seed: int) -> None:
    """A log sorted otherwise ends the same."""
    rng = np.random.default_rng(seed)
    customers, days = rng.integers(0, 9, 60), rng.integers(0, 200, 60)
    order = rng.permutation(60)
    one = of(customers.tolist(), days.tolist(), ["gone"] * 60)
    other = of(customers[order].tolist(), days[order].tolist(), ["gone"] * 60)
    assert one.ended[order].tolist() == other.ended.tolist()
