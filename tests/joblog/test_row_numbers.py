"""Wherever a row of the shop's file is named, the number is the one that a spreadsheet shows beside it; the sheet is named where
there are several. Over files laid out by lot each named row is looked up in the file as a spreadsheet would show it."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog import draft, files_of, import_log
from faultodds.joblog.clean import JOB, read_clean
from faultodds.joblog.sources import Source
from faultodds.knowledge import Knowledge

HEADS = ["ticket", "date", "customer", "tech", "complaint", "work done", "remarks"]
GROUPS = ["Job", "", "", "", "What was it", "", ""]
Sheet = list[list[str]]
NAMED = re.compile(r"(?:sheet '(?P<sheet>[^']*)' )?row (?P<row>[\d,]+)")


def _job(n: int, **other: str) -> list[str]:
    day = (dt.date(2024, 1, 3) + dt.timedelta(days=n)).isoformat()
    row = dict(zip(HEADS, [f"W-{1000 + n}", day, f"K{n}", f"T{n % 3}", "no heat", "new igniter", f"r{n}"], strict=True))
    return list((row | {name.replace("_", " "): text for name, text in other.items()}).values())


def _sheet(rng: np.random.Generator, first: int, jobs: int) -> Sheet:
    """Cover lines, blank rows, headings of one or two rows, and a body in which every kind of row that is named stands."""
    special = [
        _job(first + 1, remarks="strong smell of gas, CHECK DANGER"),
        _job(first + 2, remarks="ASIDE too long " + "x" * 4100),
        _job(first + 3, work_done="new heating element", remarks="ELECTRIC"),
        _job(first + 4, tech="Dunstan Vail" if first % 2 else "Dunstan Vale", remarks="PERSON"),
        _job(first + 5, ticket="", remarks="NO NUMBER"),
        _job(first + 6, remarks="two lines,\nof one cell"),
    ]
    body = [*special, *(_job(first + 10 + n) for n in range(jobs))]
    body.append([*body[int(rng.integers(6, len(body)))]])  # entered twice
    order = rng.permutation(len(body) - 1)
    rows = [body[int(n)] for n in order] + body[-1:]
    for _ in range(int(rng.integers(0, 4))):
        rows.insert(int(rng.integers(1, len(rows))), [])
    cover = [["Jobs of the shop"], [], ["printed, \nby the office"]][: int(rng.integers(0, 4))]
    return [*cover, *([GROUPS] if rng.random() < 0.4 else []), HEADS, *rows]


def _as_csv(path: Path, sheet: Sheet, marked: bool) -> None:
    with path.open("w", newline="", encoding="utf-8") as handle:
        handle.write("sep=,\n" if marked else "")  # a hint that a spreadsheet takes and does not show
        csv.writer(handle).writerows(sheet)


def _as_book(path: Path, sheets: dict[str, Sheet]) -> None:
    book = openpyxl.Workbook()
    book.remove(book.active)  # type: ignore[arg-type]
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append([cell or None for cell in row])
    book.save(path)


def _layout(tmp_path: Path, seed: int) -> tuple[Path, dict[str, Sheet]]:
    rng = np.random.default_rng(seed)
    pages = 1 if seed % 2 else int(rng.integers(1, 4))
    sheets = {f"Month {n + 1}": _sheet(rng, 100 * n, int(rng.integers(9, 16))) for n in range(pages)}
    if pages > 1 and seed % 4 == 2:  # a sheet that is no part of the log
        sheets = {"Prices": [["part", "price"], ["igniter", "40"], ["coils", "30"]]} | sheets
    path = tmp_path / ("jobs.csv" if seed % 2 else "jobs.xlsx")
    if seed % 2:
        _as_csv(path, sheets["Month 1"], marked=seed % 4 == 1)
    else:
        _as_book(path, sheets)
    return path, sheets


def _named(text: str, sheets: dict[str, Sheet]) -> Iterator[str]:
    """The rows that a text names, as a spreadsheet shows them."""
    for match in NAMED.finditer(text):
        assert (match["sheet"] is not None) == (len(sheets) > 1), text
        yield " | ".join(sheets[match["sheet"] or "Month 1"][int(match["row"].replace(",", "")) - 1])


def _look_every_named_row_up(path: Path, sheets: dict[str, Sheet], data: str, dryer: Knowledge) -> int:
    """Import a file and look all named rows up; how many were named."""
    report = import_log(draft(path, dryer, data=data), dryer, data)
    files, seen = files_of("jobs", data), 0
    assert len(report.danger) == len(sheets) - ("Prices" in sheets)
    for told in report.danger:
        assert all("DANGER" in row for row in _named(told.place, sheets))
        seen += 1
    with files.aside.open(encoding="utf-8-sig", newline="") as handle:
        for line in csv.DictReader(handle):
            row = sheets[line.get("sheet") or "Month 1"][int(line["row"]) - 1]
            marker = {"entered": "W-", "has a": "ASIDE", "is about": "ELECTRIC"}
            wanted = next(text for start, text in marker.items() if line["why"].startswith(start))
            assert wanted in " | ".join(row), line
            assert all(twin == " | ".join(row) for twin in _named(line["why"], sheets)), line
            seen += 1
    about = {"electric dryer": "ELECTRIC", "written nearly alike": "PERSON"}
    for alarm in report.alarms:
        for words, wanted in about.items():
            if words in alarm:
                rows = [*_named(alarm, sheets)]
                assert rows and all(wanted in row for row in rows), alarm
                seen += len(rows)
    for job in read_clean(files.clean)[JOB].astype(str):
        if "row" in job:
            sheet, row = (int(n) for n in (re.findall(r"\d+", job) if len(sheets) > 1 else ["1", job[4:]]))
            assert "NO NUMBER" in [*sheets.values()][sheet - 1][row - 1]
            seen += 1
    return seen


@pytest.mark.parametrize("seed", range(24))
def test_a_named_row_is_the_row_that_a_spreadsheet_shows(
    seed: int, tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """Set aside, told of as a danger, as an electric dryer, as a person's second spelling, as a visit without a number."""
    path, sheets = _layout(tmp_path, seed)
    assert _look_every_named_row_up(path, sheets, data, dryer) >= 5 * (len(sheets) - 1)


@pytest.mark.parametrize("seed", [1, 3, 5])
def test_a_formula_is_refused_by_its_row(seed: int, tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """The refusal names the row as well."""
    path, sheets = _layout(tmp_path, seed)
    sheets["Month 1"][-1][-1] = "=1+1 FORMULA"
    _as_csv(path, sheets["Month 1"], marked=seed % 4 == 1)
    with pytest.raises(FaultoddsError) as refused:
        draft(path, dryer, data=data)
    assert ["FORMULA" in row for row in _named(str(refused.value), sheets)] == [True]


@pytest.mark.parametrize("seed", [1, 3, 4, 6])
def test_a_number_that_is_off_by_one_is_caught(
    seed: int, tmp_path: Path, data: str, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The law fails where the one function that says where a row stands is wrong."""
    path, sheets = _layout(tmp_path, seed)
    right = Source.where
    monkeypatch.setattr(Source, "where", lambda self, number: (right(self, number)[0], right(self, number)[1] - 1))
    with pytest.raises((AssertionError, StopIteration)):
        _look_every_named_row_up(path, sheets, data, dryer)
