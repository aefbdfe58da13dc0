"""Files made to harm, or harmed: bombs, pipes, damage in one row or sheet, commands in cells. The rest of the log is read."""

from __future__ import annotations

import csv
import os
import time
import unicodedata
import zipfile
from collections.abc import Iterable
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog import draft, export_log, find_log, import_log
from faultodds.joblog.aside import safe
from faultodds.joblog.folder import files_of
from faultodds.joblog.opening import open_source
from faultodds.joblog.reading import NOTHING_READ
from faultodds.joblog.repeats import DUPLICATE
from faultodds.joblog.sources import LONGEST_CELL
from faultodds.knowledge import Knowledge
from faultodds.names import harmless
from run_cli import faultodds
from shop_logs import HEADINGS, ROWS, log_text, write

CHUNK = 50
COMMANDS = [
    "\x1b]0;owned\x07",
    "\x1b[2J",
    "\x9b31m",
    "\u202egnp.exe",
    "a\rb",
    "\x08\x08",
    "\u2066x",
    "\ufeff",
    "\u200b",
]


def test_a_row_of_text_that_is_none_is_set_aside(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Bytes in a Parquet file that are not UTF-8: that row, by its number, and no other."""
    rows = [row.split(",") for row in ROWS]
    columns = [[row[n].encode() for row in rows] for n in range(len(rows[0]))]
    columns[3][1] = b"st\xff\xferong"
    arrays = [pa.array(column, pa.binary()).view(pa.string()) for column in columns]
    path = tmp_path / "jobs.parquet"
    pq.write_table(pa.Table.from_arrays(arrays, names=HEADINGS.split(",")), path)
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    assert (report.rows, report.used, report.set_aside) == (3, 2, 1)
    assert "2,is damaged: holds text that is not UTF-8" in files_of("jobs", data).aside.read_text("utf-8-sig")


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ("st\0rong", "is damaged: holds a NUL byte"),
        ("x" * 5000, "has a cell of over 4,000 characters: a cell of 5,000 characters"),
    ],
)
def test_one_bad_cell_sets_its_row_aside(cell: str, why: str, tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """By its number, with what is wrong; the rest of the log is read."""
    rows = [row.split(",") for row in ROWS * 10]
    for n, row in enumerate(rows):
        row[0] = f"J{n}"
    rows[4][3] = cell
    path = write(tmp_path / "jobs.csv", log_text(*(",".join(row) for row in rows)))
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    assert (report.rows, dict(report.aside)) == (30, {why.partition(": ")[0]: 1})
    assert f"6,{why}" in files_of("jobs", data).aside.read_text("utf-8-sig").replace('"', "")


def damaged_book(folder: Path, rows_lost: int, rows_left: int) -> Path:
    """A workbook of two sheets of a log, the second of which cannot be read."""
    book = openpyxl.Workbook()
    book.active.title = "2022"
    for name, rows in (("2022", rows_left), ("2023", rows_lost)):
        sheet = book[name] if name in book.sheetnames else book.create_sheet(name)
        sheet.append(HEADINGS.split(","))
        for n in range(rows):
            sheet.append([f"J{n}-{name}", *ROWS[n % 3].split(",")[1:]])
    whole, path = folder / "whole.xlsx", folder / "jobs.xlsx"
    book.save(whole)
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            held = old.read(name)
            new.writestr(name, held[: len(held) * 9 // 10] if name.endswith("sheet2.xml") else held)
    return path


def test_a_damaged_sheet_is_left_out_and_named(tmp_path: Path, dryer: Knowledge) -> None:
    """The other sheet is the log; what held next to nothing is not asked about."""
    source = open_source(damaged_book(tmp_path, 0, 300))
    assert "the sheet '2023' is damaged and was left out" in source.notes
    assert sum(len(chunk.rows) for chunk in source.chunks()) == 300
    assert source.lost == ()


def test_a_damaged_sheet_with_a_good_part_of_the_rows_is_asked_about(tmp_path: Path, data: str) -> None:
    """`--yes` is no answer to that; with no row anywhere else the damaged sheet is the reason."""
    told = faultodds("log", "import", str(damaged_book(tmp_path, 30, 60)), "--yes", "--data", data)
    assert told.code == 2
    assert "a good part of it is in a sheet that is damaged and cannot be read ('2023')" in " ".join(told.err.split())
    assert not files_of("jobs", data).clean.exists()
    with pytest.raises(FaultoddsError, match="the sheet '2023' is damaged and cannot be read, and nothing else holds"):
        open_source(damaged_book(tmp_path, 30, 0))


def test_an_archive_that_would_fill_the_memory_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sheet of blanks a thousand times as large as the file; nothing is unpacked."""
    monkeypatch.setattr("faultodds.joblog.sheets.MOST_UNPACKED", 3_000_000)
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as bomb, bomb.open("xl/worksheets/sheet1.xml", "w") as part:
        for _ in range(4):
            part.write(b" " * 1_000_000)
    assert path.stat().st_size < 10_000
    with pytest.raises(FaultoddsError, match=r"unpacks to 4 MB in 1 parts; a workbook may have 3 MB"):
        open_source(path)


def with_rows(path: Path, rows: Iterable[bytes]) -> Path:
    """A workbook whose one sheet has these rows, as they are, under its headings."""
    book, whole = openpyxl.Workbook(), path.with_name("whole.xlsx")
    book.active.append(HEADINGS.split(","))
    book.save(whole)
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            held = old.read(part)
            if part.filename.endswith("sheet1.xml"):
                held = held.replace(b"</sheetData>", b"".join(rows) + b"</sheetData>")
            new.writestr(part, held)
    return path


def test_a_sound_workbook_that_takes_minutes_to_read_is_refused_before(tmp_path: Path) -> None:
    """Far fewer bytes than may be unpacked, and more cells than are read in a minute: found before any of them is read."""
    row = b"<row>" + b"<c><v>1</v></c>" * 6 + b"</row>"
    path = with_rows(tmp_path / "jobs.xlsx", [row * 10_000] * 60)
    start = time.process_time()
    with pytest.raises(
        FaultoddsError, match=r"holds more than a workbook of 3\.75 million cells .* Save the sheet .* as CSV"
    ):
        open_source(path)
    assert time.process_time() - start < 5


@pytest.mark.parametrize(
    "rows", [b'<row r="%d"><c r="ALK%d"><v>1</v></c></row>', b'<row r="%d00000"><c r="A%d00000"/></row>']
)
def test_few_cells_far_apart_are_refused_by_the_places_between_them(
    rows: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cell in the last column of every row, or a row far under the one before: what lies between is laid out, and counts."""
    monkeypatch.setattr("faultodds.joblog.sheets.MOST_MARKS", 100_000)
    path = with_rows(tmp_path / "jobs.xlsx", (rows % (n, n) for n in range(3, 403)))
    with pytest.raises(FaultoddsError, match="reading it would take minutes"):
        open_source(path)


def test_an_archive_that_lies_about_its_size_is_refused(tmp_path: Path) -> None:
    """Its directory says a thousand bytes of a sheet of many megabytes: no more than that is unpacked."""
    size, path = 20_000_000, tmp_path / "lying.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as bomb:
        bomb.writestr("xl/worksheets/sheet1.xml", b" " * size)
    said = path.read_bytes().replace(size.to_bytes(4, "little"), (1000).to_bytes(4, "little"))
    path.write_bytes(said)
    with pytest.raises(FaultoddsError, match="is a broken Excel file"):
        open_source(path)


@pytest.mark.parametrize("said", ["A1", "A1:B2"])
def test_rows_that_a_sheet_does_not_own_up_to_are_read(said: str, tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """A sheet says itself how far it goes, in a line that some programs do not keep up: its rows count."""
    book = openpyxl.Workbook()
    for row in (HEADINGS, *ROWS):
        book.active.append(row.split(","))
    book.save(tmp_path / "whole.xlsx")
    path = tmp_path / "jobs.xlsx"
    with zipfile.ZipFile(tmp_path / "whole.xlsx") as whole, zipfile.ZipFile(path, "w") as changed:
        for part in whole.infolist():
            text = whole.read(part)
            if part.filename.endswith("sheet1.xml"):
                start = text.index(b'<dimension ref="') + 16
                text = text[:start] + said.encode() + text[text.index(b'"', start) :]
            changed.writestr(part, text)
    assert import_log(draft(path, dryer, data=data), dryer, data=data).rows == len(ROWS)


def test_damage_is_found_before_the_rows_in_front_of_it_are_read(
    tmp_path: Path, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sheet of hundreds of megabytes with damage in it takes a second, not the minute that its rows take."""
    book = openpyxl.Workbook()
    for row in (HEADINGS, *ROWS):
        book.active.append(row.split(","))
    book.save(tmp_path / "whole.xlsx")
    path = tmp_path / "jobs.xlsx"
    with zipfile.ZipFile(tmp_path / "whole.xlsx") as small, zipfile.ZipFile(path, "w") as large:
        for part in small.infolist():
            text = small.read(part)
            large.writestr(part.filename, text.replace(b"</sheetData>", b" " * 2_000_000 + b"<row/></sheetData>"))
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"<row/></sheetData>", b"<row/></sheet!ata>"))
    monkeypatch.setattr("faultodds.joblog.sheets._cells_of", lambda *_: pytest.fail("its rows are read"))
    with pytest.raises(FaultoddsError, match="is a broken Excel file"):
        draft(path, dryer)


def test_a_pipe_does_not_hang(tmp_path: Path) -> None:
    """It is no file, and that is said."""
    os.mkfifo(tmp_path / "jobs.csv")
    with pytest.raises(FaultoddsError, match="is a pipe or a device and no file"):
        open_source(tmp_path / "jobs.csv")


def test_an_overlong_cell_is_set_aside(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """And danger told of in it is heard all the same."""
    long = "all fine " * LONGEST_CELL + "smell of gas"
    path = write(tmp_path / "jobs.csv", log_text(*ROWS, f"J9,C9,2022-02-01,{long},ok,coils,done"))
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    assert (report.used, report.set_aside) == (3, 1)
    assert [(told.row, told.hazard) for told in report.danger] == [(5, "gas")]


def test_a_last_piece_with_nothing_usable(
    tmp_path: Path, data: str, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More rows than one piece holds, and not a word in the last ones."""
    monkeypatch.setattr("faultodds.joblog.sources.CHUNK_ROWS", CHUNK)
    day, rest = "2022-01-{:02}", "weak,ok,coils,done"
    rows = [f"J{n},C{n},{day.format(1 + n % 28)},{rest}" for n in range(CHUNK)]
    nothing = [f"K{n},D{n},{day.format(1 + n % 28)},,,," for n in range(5)]
    path = write(tmp_path / "jobs.csv", log_text(*rows, *nothing))
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    assert (report.used, report.aside[NOTHING_READ]) == (CHUNK, 5)


def test_a_piece_of_which_no_row_is_left(
    tmp_path: Path, data: str, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second piece repeats the first to the last cell, so nothing is left of it; the third is read."""
    rows = [f"J{n},C{n},2022-01-{1 + n % 28:02},weak,ok,coils,done" for n in range(CHUNK)]
    path = write(tmp_path / "jobs.csv", log_text(*rows, *rows, "K1,D1,2022-02-01,weak,ok,coils,done"))
    drafted = draft(path, dryer, data=data)
    monkeypatch.setattr("faultodds.joblog.sources.CHUNK_ROWS", CHUNK)
    report = import_log(drafted, dryer, data=data)
    assert (report.used, report.aside[DUPLICATE]) == (CHUNK + 1, CHUNK)


def test_commands_in_text_are_text(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """In headings, cells, codes and numbers: nothing of it reaches the screen, a file that is kept, or a spreadsheet."""
    odd = [
        [
            f"J{n}{c}",
            f"C{n}{c}",
            f"2022-01-{n + 5:02}",
            f"zi{c}ngy",
            f"ok{c}",
            f"coils, {c}done",
            f"T{c}1",
            f"=1{c}",
            "a",
        ]
        for n, c in enumerate([*COMMANDS, *COMMANDS])
    ]
    headings = [*HEADINGS.replace("hood", f"hood {COMMANDS[0]}").split(","), "tech", f"remarks{COMMANDS[2]}"]
    sound = [
        [f"S{n}", f"C{n}", f"2022-03-{n % 28 + 1:02}", "weak", "ok", "coils", "done", "T1", "-"] for n in range(90)
    ]
    path = tmp_path / "jobs.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([headings, *sound, *odd])
    ran = faultodds("log", "import", str(path), "--yes", "--set-aside-formulas", "--data", data)
    assert ran.code == 0
    kept = [p.read_text("utf-8-sig") for p in Path(data).rglob("*") if p.is_file() and p.suffix != ".parquet"]
    for text in (ran.out, ran.err, *kept):
        assert harmless(text) == text.replace("\r\n", "\n")
    for ending in ("csv", "xlsx"):
        export_log(find_log("jobs", data), tmp_path / f"out.{ending}")
    assert openpyxl.load_workbook(tmp_path / "out.xlsx").active.max_row > 90


def test_harmless_text_is_what_can_be_printed() -> None:
    """Every character there is: what stays can be shown or ends a line, and letters, signs and blanks stay."""
    for n in range(0x110000):
        shown = harmless(f"a{chr(n)}b")
        assert unicodedata.category(chr(n)) not in ("Cc", "Cs", "Zl", "Zp") or chr(n) not in shown or n in (10, 32)
        assert not chr(n).isprintable() or shown == f"a{chr(n)}b"


@pytest.mark.parametrize(
    "cell", ["=1+1", " =1+1", "\t=1+1", "\r=1+1", "+1", "-x", "@x", "\uff1d1", "\u200b=1", "\x00=1", "\n=1"]
)
def test_no_cell_is_a_formula(cell: str) -> None:
    """Whatever stands before the sign."""
    assert safe(cell)[0] == "'"


def test_a_table_of_phrases_with_short_rows(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Rows with fewer cells than headings, as spreadsheets leave them."""
    from faultodds.joblog import with_phrases

    path = write(tmp_path / "jobs.csv", log_text(*ROWS))
    table = tmp_path / "phrases.csv"
    with table.open("w", newline="") as handle:
        csv.writer(handle).writerows(
            [["look", "column", "phrase", "times", "became", "means"], ["!"], ["", "hood"], []]
        )
    found = draft(path, dryer, data=data)
    assert with_phrases(found, table, dryer).mapping == found.mapping
