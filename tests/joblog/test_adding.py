"""A month added to a log that is there: as if all had been imported at once, and nothing twice."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from faultodds.errors import FaultoddsError, UnknownName
from faultodds.joblog import draft, files_of, import_log
from faultodds.joblog.clean import read_clean
from faultodds.joblog.mapping import KINDS
from faultodds.joblog.phrases import kept_phrases
from faultodds.knowledge.loading import load
from faultodds_cli.shared.show_mapping import _KIND_WORDS

DRYER = load("gas_dryer")
HEAD = ["Ticket", "Date", "Tech", "Complaint", "What we did", "Result"]
WORK = (("no heat", "replaced igniter"), ("drum not turning", "new belt"), ("clothes damp", "cleaned the duct"))


@pytest.fixture(autouse=True)
def _own_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "data"))


def rows_of(rng: np.random.Generator, jobs: int) -> list[list[str]]:
    """A shop's jobs over ten months, one a ticket, in order."""
    days = sorted(dt.date(2025, 1, 13) + dt.timedelta(days=int(d)) for d in rng.integers(0, 300, jobs))
    work = [WORK[int(w)] for w in rng.integers(0, len(WORK), jobs)]
    return [
        [f"HL-{1000 + n}", d.isoformat(), rng.choice(["T1", "T2"]), *w, rng.choice(["gone", "callback"], p=[0.9, 0.1])]
        for n, (d, w) in enumerate(zip(days, work, strict=True))
    ]


def written(path: Path, rows: list[list[str]]) -> Path:
    """The rows as a CSV file."""
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([HEAD, *rows])
    return path


def imported(path: Path, name: str, add: bool = False) -> pd.DataFrame:
    """The clean log after an import, jobs as text."""
    import_log(draft(path, DRYER, name), DRYER, add=add)
    return read_clean(files_of(name).clean).astype({"job": str}).set_index("job").sort_index()


@pytest.mark.parametrize("seed", range(6))
def test_added_month_by_month_it_is_the_whole_log(tmp_path: Path, seed: int) -> None:
    """Cut anywhere, with an overlap or without, the parts give the visits, findings, endings and days followed of the whole, and
    the same table of phrases; added once more they are refused and nothing changes."""
    rng = np.random.default_rng(seed)
    rows = rows_of(rng, 120)
    cut, overlap = int(rng.integers(40, 100)), int(rng.integers(0, 20))
    whole = imported(written(tmp_path / "whole.csv", rows), "whole")
    imported(written(tmp_path / "first.csv", rows[:cut]), "parts")
    second = written(tmp_path / "second.csv", rows[cut - overlap :])
    parts = imported(second, "parts", add=True)
    assert list(parts.index) == list(whole.index)
    for column in whole.columns:
        assert whole[column].astype(str).tolist() == parts[column].astype(str).tolist(), column
    before = files_of("parts").clean.read_bytes()
    with pytest.raises(FaultoddsError, match=r"is in the log 'parts' already\. Nothing was changed"):
        imported(second, "parts", add=True)
    assert files_of("parts").clean.read_bytes() == before
    if not overlap:
        told = [
            {(p.column, p.phrase, p.became): p.times for p in kept_phrases(files_of(n).phrases)}
            for n in ("whole", "parts")
        ]
        assert told[0] == told[1]


def test_visits_without_numbers_are_not_added_twice(tmp_path: Path) -> None:
    """Where no job number tells, a file whose visits are there to the last cell is refused; a new one is taken, its ids new."""
    rng = np.random.default_rng(5)
    rows = [["", *row[1:]] for row in rows_of(rng, 90)]
    one = len(imported(written(tmp_path / "first.csv", rows[:60]), "shop"))
    two = len(imported(written(tmp_path / "second.csv", rows[60:]), "alone"))
    both = imported(written(tmp_path / "second.csv", rows[60:]), "shop", add=True)
    assert len(both) == one + two and both.index.is_unique
    with pytest.raises(FaultoddsError, match=r"was this file added before\? Nothing was changed\.$"):
        imported(tmp_path / "second.csv", "shop", add=True)


def test_which_visits_of_a_known_file_are_new_is_said_and_they_can_be_added(tmp_path: Path) -> None:
    """A file without job numbers that is mostly known is refused with the rows that are not, and a file of those is taken."""
    rows = [["", *row[1:]] for row in rows_of(np.random.default_rng(5), 90)]
    one = len(imported(written(tmp_path / "first.csv", rows[:60]), "shop"))
    more = [[*row[:1], f"2025-12-{n + 10}", *row[2:]] for n, row in enumerate(rows[60:63])]
    with pytest.raises(
        FaultoddsError, match=r"Not in it yet: row 22, row 23, row 24 .* put them into a file of their own"
    ):
        imported(written(tmp_path / "second.csv", [*rows[40:60], *more]), "shop", add=True)
    assert len(imported(written(tmp_path / "third.csv", more), "shop", add=True)) == one + 3


def test_a_log_that_is_not_there_is_named(tmp_path: Path) -> None:
    """With the nearest one; nothing is made."""
    rows = rows_of(np.random.default_rng(1), 40)
    imported(written(tmp_path / "a.csv", rows), "harbour")
    with pytest.raises(UnknownName, match="Did you mean 'harbour'"):
        imported(tmp_path / "a.csv", "harbor", add=True)


def test_a_file_with_other_headings_is_not_guessed_at(tmp_path: Path) -> None:
    """It is refused until a mapping is given, and the log keeps its own; with one it is taken."""
    rng = np.random.default_rng(2)
    imported(written(tmp_path / "a.csv", rows_of(rng, 40)), "harbour")
    before = files_of("harbour").mapping.read_bytes()
    text = written(tmp_path / "b.csv", [[f"N{n}", *row[1:]] for n, row in enumerate(rows_of(rng, 30))]).read_text()
    (tmp_path / "b.csv").write_text(text.replace("What we did", "Action"), encoding="utf-8")
    with pytest.raises(FaultoddsError, match="has other headings than the log 'harbour'"):
        imported(tmp_path / "b.csv", "harbour", add=True)
    imported(tmp_path / "b.csv", "other")
    import_log(draft(tmp_path / "b.csv", DRYER, "harbour", files_of("other").mapping), DRYER, add=True)
    assert len(read_clean(files_of("harbour").clean)) == 70
    assert files_of("harbour").mapping.read_bytes() == before


def test_every_kind_of_column_has_words_on_the_screen() -> None:
    """A proposed column of any kind is shown: those that name no fact or check have words of their own."""
    assert set(KINDS) - {"fact", "finding"} - set(_KIND_WORDS) == set()


def test_rows_set_aside_earlier_are_kept_with_their_file(tmp_path: Path) -> None:
    """Each under the name of its file, in the order they were read, whether the files have sheets or not."""
    rows = rows_of(np.random.default_rng(8), 80)
    imported(written(tmp_path / "winter.csv", [*rows[:50], rows[3]]), "shop")
    imported(written(tmp_path / "spring.csv", [*rows[50:], rows[60], rows[61]]), "shop", add=True)
    with files_of("shop").aside.open(encoding="utf-8-sig", newline="") as handle:
        found = [(row["file"], row["row"]) for row in csv.DictReader(handle)]
    assert found == [("winter.csv", "52"), ("spring.csv", "32"), ("spring.csv", "33")]


def test_what_becomes_of_a_job_number_that_is_there_is_said(tmp_path: Path) -> None:
    """The same visit again, one that says otherwise on that day, and the number on another day: each by its number."""
    rows = rows_of(np.random.default_rng(9), 80)
    imported(written(tmp_path / "a.csv", rows[:50]), "shop")
    changed = [*rows[11][:3], "squeals", "new rollers", rows[11][5]]
    later = [rows[12][0], "2025-12-24", *rows[12][2:]]
    path = written(tmp_path / "b.csv", [rows[10], changed, later, *rows[50:]])
    report = import_log(draft(path, DRYER, "shop"), DRYER, add=True)
    told = [line for line in (*report.notes, *report.alarms) if line.casefold().startswith("job ")]
    assert [line.split(",")[0] for line in told] == [
        "Job HL-1010: in the log already",
        "job HL-1011: in the log already on that day and read otherwise there",
        "job HL-1012 as HL-1012#2: in the log already on another day",
    ]
    jobs = read_clean(files_of("shop").clean)["job"].astype(str)
    assert len(jobs) == 81 and "HL-1012#2" in set(jobs)
