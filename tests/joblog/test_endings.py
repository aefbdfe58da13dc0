"""How visits ended: the log's own words, and customers who call again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.errors import FaultoddsError
from faultodds.joblog import draft, files_of, import_log
from faultodds.joblog.clean import ENDINGS, read_clean
from faultodds.joblog.cleaning_report import lines
from faultodds.joblog.endings import CODE, NO_WORD, Endings, endings
from faultodds.knowledge import Knowledge
from shop_logs import log_text, write

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


def _with_endings(folder: Path, odd: int) -> Path:
    """A log of 80 visits with endings written, `odd` of them in words that nobody knows."""
    endings_written = ["came back"] * 4 + ["returned angry", "see ticket 2207"] * (odd // 2) + ["complete"] * (76 - odd)
    rows = [
        f"J{n},2022-0{1 + n // 28}-{1 + n % 28:02},C{n},weak,coils,{told}" for n, told in enumerate(endings_written)
    ]
    return write(folder / "jobs.csv", log_text(*rows, headings="ticket,date,cust,hood,parts,result"))


def test_an_ending_that_is_not_understood_is_no_ending(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Neither gone nor came back, and told apart from visits with no ending written."""
    report = import_log(draft(_with_endings(tmp_path, 2), dryer, data=data), dryer, data=data)
    ended = read_clean(files_of("jobs", data).clean)["ended"].astype(str).value_counts().to_dict()
    assert ended == {"gone": 74, "came_back": 4, "unknown": 2}
    assert "2 endings not told or not understood: counted neither as gone nor as came back." in report.notes
    assert not any("no ending written" in note for note in report.notes)


def test_many_endings_that_are_not_understood_are_asked_about(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Over a few in a hundred: refused, naming the phrase and the nearest; a word for it in the mapping is the way out."""
    found = draft(_with_endings(tmp_path, 20), dryer, data=data)
    said = r"20 of 80 endings in column 'result' are not understood: 'returned angry' 10 times \(nearest: came_back\)"
    with pytest.raises(FaultoddsError, match=said):
        import_log(found, dryer, data=data)
    assert not files_of("jobs", data).clean.exists()
    told = {"returned angry": "came_back", "see ticket 2207": "unknown"}
    columns = [replace(c, words=told) if c.kind == "ended" else c for c in found.mapping.columns]
    said_so = replace(found, mapping=replace(found.mapping, columns=columns))
    assert import_log(said_so, dryer, data=data).came_back == 14
    confirmed = replace(found, mapping=found.mapping.confirm())
    assert import_log(confirmed, dryer, data=data).came_back == 4


def test_a_visit_that_ended_with_nothing_done_cured_nothing(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Declined and cancelled jobs counted as gone without a return, which speaks for a cure; what another column says was fitted
    was fitted."""
    work = ["coils replaced"] * 40 + ["quoted coil kit; customer declined; nothing done", "cancelled; nobody home"] * 3
    work += ["replaced door switch"] * 2
    rows = [f"J{n},2022-0{1 + n // 20}-{1 + n % 20:02},weak,{w},{'Y' if n < 4 else ''}," for n, w in enumerate(work)]
    rows.append("J99,2022-04-01,weak,second part declined,,igniter")
    path = write(tmp_path / "jobs.csv", log_text(*rows, headings="ticket,date,hood,work done,callback,parts used"))
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    ended = read_clean(files_of("jobs", data).clean)["ended"].astype(str).value_counts().to_dict()
    assert ended == {"gone": 37, "unknown": 8, "came_back": 4}
    assert any(note.startswith("8 visits ended with nothing done") for note in report.notes)
    told = " ".join(lines(report))
    assert "2 repairs that the file does not know" in told
    assert "'replaced door switch' 2 times, a repair the file does not know" in told
