"""A column is what most of its rows say it is: a few odd cells change no column, and no visit but their own."""

from __future__ import annotations

import csv
import random
from dataclasses import replace
from pathlib import Path

import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog import draft, files_of, import_log
from faultodds.joblog.clean import read_clean
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


@pytest.mark.parametrize("odd", [1, 3, 60])
def test_telephone_numbers_in_one_column_make_no_callbacks(
    odd: int, tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """One, three and one in ten telephone numbers in the column on automatic cycles: nothing else differs."""
    headings, rows = demo()
    places = random.Random(2).sample(range(len(rows)), odd)
    frames = []
    for name, cells in (("plain", []), ("odd", places)):
        for n, row in enumerate(cells):
            rows[row][headings.index("auto")] = f"555-01{n % 4:02}"
        path = tmp_path / f"{name}.csv"
        with path.open("w", newline="", encoding="utf-8") as handle:
            csv.writer(handle).writerows([headings, *rows])
        import_log(draft(path, dryer, data=data), dryer, data=data)
        frames.append(read_clean(files_of(name, data).clean).set_index("job").astype(object))
    plain, changed = (frame.where(frame.notna(), "") for frame in frames)
    differs = {name: int((plain[name] != changed[name]).sum()) for name in plain.columns}
    assert list(plain.columns) == list(changed.columns)
    assert {name: n for name, n in differs.items() if n and name != "fact:auto_dry"} == {}
    assert differs["fact:auto_dry"] <= odd


def test_a_guess_that_makes_many_callbacks_is_asked_about(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Telephone numbers under a heading that says nothing of customers, the same few again and again: refused until confirmed."""
    rows = [
        f"J{n},2022-0{1 + n // 28}-{1 + n % 28:02},{'555-01' + str(10 + n % 20)},weak,coils,done" for n in range(80)
    ]
    path = write(tmp_path / "jobs.csv", log_text(*rows, headings="ticket,date,bay,hood,parts,result"))
    found = draft(path, dryer, data=data)
    assert found.mapping.columns[2].kind == "customer"
    with pytest.raises(
        FaultoddsError, match=r"column 'bay' is taken for 'customer' by its cells alone, and changes \d+ of 80"
    ):
        import_log(found, dryer, data=data)
    assert not files_of(found.name, data).clean.exists()
    confirmed = replace(found, mapping=found.mapping.confirm())
    assert import_log(confirmed, dryer, data=data).came_back > 0
