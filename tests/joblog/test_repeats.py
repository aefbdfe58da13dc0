"""Rows entered twice and rows at odds, over any cutting of the log into pieces."""

from __future__ import annotations

import numpy as np
from hypothesis import given, strategies as st

from faultodds.joblog.repeats import CONTRADICTORY, DUPLICATE, Repeats, Seen, hashes
from faultodds.joblog.sources import Source


@given(st.lists(st.integers(0, 6), max_size=40), st.integers(1, 7))
def test_seen_finds_the_first_row_whatever_the_pieces(keys: list[int], size: int) -> None:
    """Each key's earlier row is the one a plain search finds; 0 is never seen."""
    seen, found = Seen(), []
    for start in range(0, len(keys), size):
        part = np.array(keys[start : start + size], np.uint64)
        found += seen.first_rows(part, np.arange(start, start + len(part))).tolist()
    expected = [keys.index(k) if k and keys.index(k) < row else -1 for row, k in enumerate(keys)]
    assert found == expected


def test_the_same_row_is_entered_twice_and_another_is_at_odds() -> None:
    """Same content is a duplicate; same job and day with other content contradicts; another day is a second visit."""
    repeats = Repeats(Source("log", "CSV", [], [], lambda: iter(())))
    rows = np.arange(1, 6)
    content = ["a", "a", "b", "c", "d"]
    reasons = repeats.reasons(rows, content, ["J1", "J1", "J1", "J1", ""], [5, 5, 5, 9, 5])
    assert [r and r[0] for r in reasons] == [None, DUPLICATE, CONTRADICTORY, None, None]
    assert reasons[1] == (DUPLICATE, "the same as row 1")
    assert repeats.job_ids(np.array([1, 4, 5]), ["J1", "J1", ""]) == ["J1", "J1#2", "row 5"]
    assert repeats.job_ids(np.array([6]), ["J1"]) == ["J1#3"]


def test_hashes_tell_texts_apart_and_know_blanks() -> None:
    """Equal texts have equal hashes, an empty one has 0."""
    found = hashes(["a", "", "a", "b"])
    assert found[0] == found[2] != found[3]
    assert found[1] == 0
