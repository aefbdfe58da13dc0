"""Importing: every kind of file, rows set aside with reasons, what a machine has, pieces of any size."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pandas as pd
import pytest

from faultodds.errors import UnknownName
from faultodds.joblog import clean, sources
from faultodds.joblog.cleaning_report import CleaningReport, danger_lines, lines
from faultodds.joblog.drafts import Options, draft
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.knowledge.schema import Knowledge
from shop_logs import HEADINGS, ROWS, log_text, small_log, write


def imported(path: Path, dryer: Knowledge, data: str, **options: str) -> tuple[pd.DataFrame, CleaningReport]:
    """The clean log and the report of a file."""
    drafted = draft(path, dryer, name="log", data=data, options=Options(**options))  # type: ignore[arg-type]
    report = import_log(drafted, dryer, data=data)
    return clean.read_clean(files_of("log", data).clean).set_index("job").astype(object), report


TEXT = log_text(*ROWS, "J5,C5,2022-01-10,weak,ok,caf\u00e9 visit; coils,done")


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.csv", TEXT.encode(), "text in UTF-8; columns separated by commas"),
        ("b.csv", ("\ufeff" + TEXT).encode(), "text in UTF-8 (marked so)"),
        ("c.csv", TEXT.encode("cp1252"), "text in Windows-1252, since it is not UTF-8"),
        ("d.csv", TEXT.encode("utf-16"), "text in UTF-16 (marked so)"),
        ("e.csv", TEXT.encode("utf-16-le"), "text in UTF-16-LE (not marked, told by its bytes)"),
        ("f.tsv", TEXT.replace(",", "\t").encode(), "columns separated by tabs"),
        ("g.txt", TEXT.replace(",", "|").encode(), "columns separated by bars"),
        ("h.csv", ("Harbour Lane, all jobs\n\n" + TEXT).encode(), "lines above the headings were passed over"),
    ],
)
def test_text_in_any_common_form_gives_the_same_log(
    name: str, content: bytes, said: str, tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """Encoding, delimiter and lines on top are found out, and said."""
    frame, report = imported(write(tmp_path / name, content), dryer, data)
    assert any(said in note for note in report.read_as)
    assert frame["found:hood_flap"].tolist() == ["weak", "strong", "strong", "weak"]
    assert frame["repairs"].tolist() == ["clean_duct", "thermal_fuse", "coil_set", "coil_set"]


def test_excel_and_parquet_give_the_same_log(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Dates, numbers and percents of a sheet are read as they are shown; a second sheet is asked for by name."""
    table = pd.DataFrame([row.split(",") for row in ROWS], columns=HEADINGS.split(","))
    table["date"] = pd.to_datetime(table["date"])
    table["ign_ohm"] = [218.0, None, 1e9]
    with pd.ExcelWriter(tmp_path / "jobs.xlsx") as book:
        table.to_excel(book, sheet_name="jobs", index=False)
        pd.DataFrame({"a": ["x"], "b": ["y"]}).to_excel(book, sheet_name="other", index=False)
    table.to_parquet(tmp_path / "jobs.parquet")
    from_sheet, report = imported(tmp_path / "jobs.xlsx", dryer, data)
    assert report.read_as == ["Excel sheet 'jobs' of 2"]
    from_parquet, _ = imported(tmp_path / "jobs.parquet", dryer, data)
    pd.testing.assert_frame_equal(from_sheet, from_parquet)
    assert from_sheet.loc["J1", "found:igniter_ohms"] == "normal"
    assert f"{from_sheet.loc['J3', 'day']:%Y-%m-%d}" == "2022-01-09"
    with pytest.raises(UnknownName, match=r"no sheet called 'job'\. Did you mean 'jobs'\?"):
        draft(tmp_path / "jobs.xlsx", dryer, data=data, options=Options(sheet="job"))


def test_every_row_is_accounted_for(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Doubled, contradicting, too long and empty rows are set aside with the reason, in a file; short ones are filled up."""
    path = small_log(
        tmp_path,
        *(f"K{i},D{i},2022-02-{i + 1:02d},weak,ok,coils,done" for i in range(12)),
        ROWS[0],
        "J2,C2,2022-01-05,weak,ok,coils,done",
        "J6,C6,2022-01-06,weak,ok,coils,done,extra,cells",
        "J7,C7,2022-01-07,,,,",
        "J8,C8,2022-01-08,weak",
    )
    frame, report = imported(path, dryer, data)
    assert (report.rows, report.used, report.set_aside, report.short_rows) == (20, 16, 4, 1)
    assert dict(report.aside) == {
        "entered twice": 1,
        "same job number and day as another row, but says otherwise": 1,
        "does not fit the headings": 1,
        "nothing in it could be read": 1,
    }
    aside = files_of("log", data).aside.read_text(encoding="utf-8-sig").splitlines()
    assert aside[0] == "file,sheet,row,why"
    assert [line.split(",")[2] for line in aside[1:]] == ["17", "18", "19", "20"]
    assert "the same as row 2" in aside[1]
    assert len(frame) == 16


def test_a_row_set_aside_is_found_again_in_its_workbook(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """By its sheet and the number that a spreadsheet shows beside it, titles and blank lines above the headings counted; the same
    of a row that tells of danger."""
    import openpyxl

    book, heads = openpyxl.Workbook(), ["ticket", "date", "complaint", "parts", "result"]
    for month, above in (("March", []), ("April", [[None], ["Harbour Lane Appliance Service, April"], []])):
        sheet = book.create_sheet(month)
        rows = [
            [f"{month[0]}{n}", f"2024-0{3 + len(above) // 3}-{n + 1:02}", "no heat", "coils", "done"] for n in range(9)
        ]
        for row in [*above, heads, *rows[:4], [None] * 5, *rows[4:], rows[2]]:
            sheet.append(row)
        sheet.cell(row=len(above) + 4, column=3).value = "smell of gas in the room"
    del book["Sheet"]
    book.save(tmp_path / "spring.xlsx")
    _, report = imported(tmp_path / "spring.xlsx", dryer, data)
    aside = list(csv.DictReader(files_of("log", data).aside.open(encoding="utf-8-sig")))
    assert [(row["sheet"], row["row"]) for row in aside] == [("March", "12"), ("April", "15")]
    told = " ".join(danger_lines(report))
    assert "sheet 'March' row 4" in told and "sheet 'April' row 7" in told


def test_a_second_visit_under_one_number_has_an_id_of_its_own(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """The same job number on another day is another visit, and the first one came back."""
    frame, _ = imported(small_log(tmp_path, "J1,C1,2022-01-12,weak,OL,thermal fuse,done"), dryer, data)
    assert frame.loc["J1", "ended"] == "came_back"
    assert frame.loc["J1", "back_after_days"] == 9
    assert frame.loc["J1#2", "repairs"] == "thermal_fuse"


def test_what_a_machine_has_is_settled(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """A check on a part says the machine has it; one on a part that it is said not to have is left out and counted."""
    rows = ["J1,2022-01-03,board,on chart", "J2,2022-01-04,,on chart", "J3,2022-01-05,timer,on chart"]
    path = write(tmp_path / "log.csv", log_text(*rows, headings="ticket,date,ctrl,thermistor"))
    frame, report = imported(path, dryer, data)
    assert frame["fact:control"].tolist() == ["board", "board", "timer"]
    assert frame["found:thermistor_ohms"].tolist()[:2] == ["on_chart", "on_chart"]
    assert pd.isna(frame.loc["J3", "found:thermistor_ohms"])
    assert report.filled_in == 1
    assert sum(column.contradicted for column in report.columns) == 1


def test_pieces_of_any_size_give_the_same_log(
    tmp_path: Path, data: str, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A log read two rows at a time is the log read whole: duplicates, second visits and callbacks across pieces too."""
    path = small_log(tmp_path, ROWS[0], "J1,C1,2022-01-12,weak,OL,thermal fuse,done", "J4,C2,2022-01-20,weak,,coils,")
    whole, report = imported(path, dryer, data)
    monkeypatch.setattr(sources, "CHUNK_ROWS", 2)
    pieces, again = imported(path, dryer, data)
    pd.testing.assert_frame_equal(whole, pieces)
    assert again.as_dict() == report.as_dict()


STRONGISH = [f"J{n},C{n},2022-01-{n + 5:02},strongish,99999,coils,done" for n in range(4, 9)]
ODD = ("J9,C9,soon,weak,ok,coils,done", "J10,C10,soonish,weak,ok,coils,done")


def test_the_report_is_kept_for_people_and_programs(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Both files say the same; an unknown word is listed with the known meaning nearest to it."""
    path = small_log(tmp_path, *STRONGISH, *ODD)
    _, report = imported(path, dryer, data)
    files = files_of("log", data)
    stored = json.loads(files.report.read_text(encoding="utf-8"))
    assert stored["rows"] == 10
    assert stored["cells_by_status"]["unknown"] == 5
    assert stored["cells_by_status"]["impossible"] == 7
    text = files.report_text.read_text(encoding="utf-8")
    assert text.splitlines() == lines(report)
    assert "  hood: 'strongish' 5 times, nearest: hood_flap=strong" in text
    assert "7 impossible readings, left out" in text
    assert "soonish" not in text  # it stands there once: it may be a name


def test_the_same_log_gives_the_same_bytes(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Importing twice changes nothing."""
    imported(small_log(tmp_path), dryer, data)
    before = files_of("log", data).clean.read_bytes()
    imported(small_log(tmp_path), dryer, data)
    assert files_of("log", data).clean.read_bytes() == before
