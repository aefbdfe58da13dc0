"""People planted in every column of a log: nobody of them is in any file that an import keeps, nor in an export."""

from __future__ import annotations

import csv
import os
import stat
from pathlib import Path

import pyarrow.parquet as pq
import pytest

import planted
from faultodds.joblog import draft, export_log, find_log, import_log, lines
from faultodds.knowledge import Knowledge
from run_cli import faultodds

DEMO = Path(__file__).parents[2] / "data_synthetic" / "demo" / "harbour_lane_jobs.csv"
ROWS = int(os.environ.get("FAULTODDS_PLANTED_ROWS", "200"))
"""With 20,000 rows there are 200 pieces in each column at 1 %, with 2,000 at 10 %."""


def shop_log(count: int) -> tuple[list[str], list[list[str]]]:
    """The demo's headings, and so many rows like its own with numbers that go on."""
    with DEMO.open(newline="", encoding="utf-8") as handle:
        headings, *rows = csv.reader(handle)
    return headings, [[f"HL-{1000 + n}", f"C-{51000 + n}", *rows[n % len(rows)][2:]] for n in range(count)]


def text_of(path: Path) -> str:
    """All that a file holds, as text."""
    if path.suffix != ".parquet":
        return path.read_text("utf-8", errors="replace")
    rows = pq.read_table(path).to_pylist()
    return str(pq.read_schema(path)) + "\n".join("\t".join(map(str, row.values())) for row in rows)


@pytest.mark.parametrize("share", planted.SHARES)
def test_nobody_planted_is_kept(share: float, tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Names, telephones, addresses, mail, serial, card and social numbers in all columns, as whole cells or inside them."""
    headings, rows = shop_log(ROWS)
    odd, people = planted.plant(headings, rows, share, seed=7)
    path = tmp_path / "log.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([headings, *odd])
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    export_log(find_log("log", data), tmp_path / "out.csv")
    kept = {p.name: text_of(p) for p in [*Path(data).rglob("*"), tmp_path / "out.csv"] if p.is_file()}
    kept["screen"] = "\n".join(lines(report))
    assert len(kept) == 8
    found = {name: planted.leaks(text, people) for name, text in kept.items()}
    assert {name: leaks for name, leaks in found.items() if leaks} == {}
    assert len(planted.leaks(path.read_text("utf-8"), people)) == sum(map(len, people.values()))


def test_a_name_that_stands_in_many_rows_is_not_kept(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """One customer's name in the notes of many visits, which the customer column names as well, and one technician's."""
    headings, rows = shop_log(60)
    notes, customer, technician = (headings.index(name) for name in ("notes", "cust", "tech"))
    for row in rows[:20]:
        row[customer], row[notes] = "Marn Tolbrek", "call tolbrek first, Vaskholt knows her"
    for row in rows[20:40]:
        row[technician] = "Odel Vaskholt"
    path = tmp_path / "log.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([headings, *rows])
    import_log(draft(path, dryer, data=data), dryer, data=data)
    kept = "".join(text_of(p) for p in Path(data).rglob("*") if p.is_file()).casefold()
    assert "tolbrek" not in kept
    assert "vaskholt" not in kept
    assert "tech_1" in kept


def test_files_of_a_log_are_the_users_alone(tmp_path: Path) -> None:
    """Files 0600, folders 0700, those of an export as well."""
    headings, rows = shop_log(30)
    path = tmp_path / "log.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([headings, *rows])
    data = tmp_path / "mine" / "data"
    assert faultodds("log", "import", str(path), "--yes", "--data", str(data)).code == 0
    assert faultodds("log", "export", "log", "--to", str(tmp_path / "out.csv"), "--data", str(data)).code == 0
    assert {stat.S_IMODE(p.stat().st_mode) for p in data.rglob("*") if p.is_file()} == {0o600}
    assert {stat.S_IMODE(p.stat().st_mode) for p in (data, data / "logs")} == {0o700}
    assert stat.S_IMODE((tmp_path / "out.csv").stat().st_mode) == 0o600
