"""A column is what most of its rows say it is: a few odd cells change no column, and no visit but their own."""

from __future__ import annotations

import csv
import random
from pathlib import Path

import numpy as np
import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog import draft, files_of, import_log
from faultodds.joblog.clean import CAME_BACK, ENDED, REPAIRS, read_clean
from faultodds.joblog.likely import samples
from faultodds.joblog.propose import propose
from faultodds.knowledge import Knowledge, load
from shop_logs import log_text, write

DEMO = Path(__file__).parents[2] / "data_synthetic" / "demo" / "harbour_lane_jobs.csv"
ODD = ["555-0142", "Marn Tolbrek", "2022-03-04", "callback"]
FILLED = 10


def demo() -> tuple[list[str], list[list[str]]]:
    """The demo log."""
    with DEMO.open(newline="", encoding="utf-8") as handle:
        headings, *rows = csv.reader(handle)
    return headings, rows


@pytest.fixture(scope="module")
def as_it_is() -> list[tuple[str, str]]:
    """What each column of its first 300 rows is taken for."""
    headings, rows = demo()
    return [(c.heading, c.kind) for c in propose(load("gas_dryer"), samples(headings, rows[:300])).columns]


@pytest.mark.parametrize("odd", ODD)
def test_odd_cells_change_no_column(odd: str, as_it_is: list[tuple[str, str]], dryer: Knowledge) -> None:
    """Three of 300 rows, in every column at once: each column with a few cells of its own is taken for what it was."""
    headings, rows = demo()
    rows, draw = rows[:300], random.Random(1)
    filled = [sum(bool(row[place]) for row in rows) >= FILLED for place in range(len(headings))]
    for place in range(len(headings)):
        for row in draw.sample(rows, 3):
            row[place] = odd
    after = propose(dryer, samples(headings, rows))
    assert [(b.heading, b.kind) for b, f in zip(after.columns, filled, strict=True) if f] == [
        pair for pair, f in zip(as_it_is, filled, strict=True) if f
    ]


def test_telephone_numbers_in_one_column_make_no_callbacks(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Three telephone numbers in the column on automatic cycles, none in the customer's place: only those rows may differ."""
    headings, rows = demo()
    frames = []
    for name, cells in (("plain", {}), ("odd", {5: "555-0142", 50: "555-0142", 500: "555-0142"})):
        for row, text in cells.items():
            rows[row][headings.index("auto")] = text
        path = tmp_path / f"{name}.csv"
        with path.open("w", newline="", encoding="utf-8") as handle:
            csv.writer(handle).writerows([headings, *rows])
        import_log(draft(path, dryer, data=data), dryer, data=data)
        frames.append(read_clean(files_of(name, data).clean).set_index("job"))
    plain, odd = frames
    assert (odd[ENDED] == CAME_BACK).sum() == (plain[ENDED] == CAME_BACK).sum()
    same = plain[[ENDED, REPAIRS]].astype(str).to_numpy() == odd[[ENDED, REPAIRS]].astype(str).to_numpy()
    assert np.count_nonzero(~same) == 0


def test_a_guess_that_makes_many_callbacks_is_asked_about(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Telephone numbers under a heading that says nothing of customers, the same few again and again: refused until confirmed."""
    rows = [
        f"J{n},2022-0{1 + n // 28}-{1 + n % 28:02},{'555-01' + str(10 + n % 40)},weak,coils,done" for n in range(80)
    ]
    path = write(tmp_path / "jobs.csv", log_text(*rows, headings="ticket,date,bay,hood,parts,result"))
    found = draft(path, dryer, data=data)
    assert found.mapping.columns[2].kind == "customer"
    with pytest.raises(
        FaultoddsError, match=r"column 'bay' is taken for 'customer' by its cells alone, and changes \d+ of 80"
    ):
        import_log(found, dryer, data=data)
