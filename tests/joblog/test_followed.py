"""How long visits were followed: a slip in a few dates moves nobody else's time."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from hypothesis import given, settings, strategies as st

from faultodds.joblog import draft, files_of, import_log
from faultodds.joblog.clean import DAY, FOLLOWED, read_clean
from faultodds.joblog.followed import followed, last_day
from faultodds.knowledge import Knowledge

DEMO = Path(__file__).parents[2] / "data_synthetic" / "demo" / "harbour_lane_jobs.csv"


@given(
    st.integers(100, 800),
    st.integers(90, 900),
    st.lists(st.integers(50, 9000), max_size=8),
    st.integers(0, 40),
    st.integers(0, 99),
)
@settings(max_examples=300)
def test_slips_of_a_date_move_no_other_visit(visits: int, days: int, ahead: list[int], early: int, seed: int) -> None:
    """Visits over some time, a few dated weeks to decades ahead or one long before: the others are followed as without them."""
    draw = np.random.default_rng(seed)
    day = 18_000 + np.append(draw.integers(0, days, visits - 2), [0, days])
    usual = followed(day)
    odd = day.max() + 90 + np.array(ahead[: visits // 110], np.int64)
    before = np.array([18_000 - 400 * early] if early else [], np.int64)
    found = followed(np.concatenate([day, odd, before]))
    assert (found[:visits] == usual).all()
    assert (found[visits : visits + len(odd)] == 0).all()


@given(st.integers(1, 60), st.integers(2, 30), st.integers(0, 300))
def test_a_shop_that_goes_on_after_a_pause_is_followed_to_its_end(visits: int, every: int, pause: int) -> None:
    """A month like the others is no slip, however long nothing was written; nor is anything in a log of a few visits."""
    day = 18_000 + np.arange(400) // 4
    later = day.max() + pause + np.arange(40) // 4
    assert last_day(np.append(day, later)) == later.max()
    few = 18_000 + np.arange(visits) * every
    assert last_day(np.append(few, few.max() + 5000)) == few.max() + 5000
    assert last_day(np.array([-1, -1])) == -1


def test_a_date_typed_the_other_way_round_ends_no_log(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """ "12.03.22" in a log that ends in autumn: read as December it is no reason to follow all others till then; it is told."""
    with DEMO.open(newline="", encoding="utf-8") as handle:
        headings, *rows = csv.reader(handle)
    frames, notes = [], []
    for name in ("plain", "odd"):
        if name == "odd":
            rows[30][headings.index("date")] = "12.03.22"
        with (tmp_path / f"{name}.csv").open("w", newline="", encoding="utf-8") as handle:
            csv.writer(handle).writerows([headings, *rows[:200]])
        report = import_log(draft(tmp_path / f"{name}.csv", dryer, data=data), dryer, data=data)
        frames.append(read_clean(files_of(name, data).clean).set_index("job")[[DAY, FOLLOWED]])
        notes.append(" ".join(report.notes))
    plain, odd = frames
    assert (plain[FOLLOWED].ne(odd[FOLLOWED]) & plain[FOLLOWED].notna()).sum() <= 1
    assert str(odd[DAY].max().date()) == "2022-12-03"
    assert "up to 2022-12-03" in notes[1]
    assert "up to" not in notes[0]
