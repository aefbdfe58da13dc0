"""Logs that are no logs: each gets a message that says what it is and what to do, and changes nothing."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog.drafts import draft
from faultodds.joblog.importing import import_log
from faultodds.knowledge.schema import Knowledge
from shop_logs import HEADINGS, ROWS, log_text, write

NOISE = bytes((i * 7919 + 13) % 256 for i in range(3000))
WIDE = (",".join(f"c{i}" for i in range(1_000_000)) + "\n").encode()
AT_ODDS = [f"J{i // 2},C{i // 2},2022-01-{1 + i // 2:02d},{['weak', 'strong'][i % 2]},ok,coils,done" for i in range(20)]

CASES: dict[str, tuple[str, str | bytes, str]] = {
    "empty": ("log.csv", b"", "is empty. Export the log again"),
    "only line ends": ("log.csv", b"\n\n  \n", "is empty. Export the log again"),
    "headings only": ("log.csv", HEADINGS + "\n", "and nothing under them. Export the log again, with its rows."),
    "one row": ("log.csv", log_text(ROWS[0]), "has one row: there is nothing to learn from one job."),
    "all missing": ("log.csv", log_text(",,,,,,", "n/a,,,-,,,", "?,,,,,,"), "all 3 rows are blank"),
    "nothing but numbers of jobs": (
        "log.csv",
        log_text("J1,C1,2022-01-03,,,,", "J2,C2,2022-01-04,,,,"),
        "only 0 of the 2 rows in log.csv could be used (2 nothing in it could be read). Nothing was imported.",
    ),
    "a million columns": ("log.csv", WIDE, "a job log has at most 1,000. Is it the right file, with one row a job?"),
    "too many columns": ("log.csv", ",".join(f"c{i}" for i in range(1500)) + "\n", "has 1,500 columns"),
    "formula": (
        "log.csv",
        log_text(*ROWS, '=HYPERLINK("http://example.invalid"),C9,2022-02-01,weak,ok,coils,done'),
        "row 5: a cell holds a formula where a value should be",
    ),
    "command": (
        "log.csv",
        log_text(*ROWS, "J4,C4,2022-02-01,+cmd|' /C calc'!A0,ok,coils,done"),
        "('+cmd|' /C calc'!A0')",
    ),
    "at odds with itself": (
        "log.csv",
        log_text(*AT_ODDS),
        "contradicts itself: 10 of 20 rows have the job number and day",
    ),
    "two columns of one name": (
        "log.csv",
        "ticket,hood,hood\nJ1,weak,ok\nJ2,ok,ok\n",
        "two columns are both called 'hood'",
    ),
    "no headings": (
        "log.csv",
        "1,2022-01-01,3\n2,2022-01-02,4\n",
        "has no headings: its first row is '1, 2022-01-01, 3'",
    ),
    "one column": ("log.csv", "hood\nweak\nok\n", "has one column only ('hood')"),
    "every row too long": (
        "log.csv",
        log_text("a,b,c,d,e,f,g,h,i", "a,b,c,d,e,f,g,h,i"),
        "every row has more cells than",
    ),
    "an open quotation mark": (
        "log.csv",
        log_text(ROWS[0], '"J2,C2,2022-01-03', *ROWS[1:], *ROWS[1:]),
        "line 3: a quotation mark is opened there and not closed",
    ),
    "an endless cell": ("log.csv", log_text(ROWS[0], '"' + "x" * 200_000), "this is not a sound table"),
    "binary": ("log.csv", b"\x00\x01" + NOISE, "is not text, nor an Excel or Parquet file"),
    "nul bytes": (
        "log.csv",
        log_text(*ROWS).encode().replace(b"J2", b"\0\0"),
        "is not text, nor an Excel or Parquet file",
    ),
    "no known encoding": (
        "log.csv",
        log_text(*ROWS).encode() + b"J4,C4,2022-01-01,\x81\x8d,ok,,\n",
        "in an encoding this",
    ),
    "damaged UTF-16": ("log.csv", b"\xff\xfea\0b\0\0\xd8\0", "says it is UTF-16 text and is not"),
    "not understood": (
        "log.csv",
        "alpha,beta\n" + "".join(f"foo{i},bar{i}\n" for i in range(9)),
        "nothing in it could be read",
    ),
    "broken Excel": ("log.xlsx", b"PK\x03\x04" + NOISE, "is a broken Excel file, or no Excel file at all"),
    "protected Excel": ("log.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + NOISE, "is an Excel file with a password"),
    "broken Parquet": ("log.parquet", b"PAR1" + NOISE, "is a broken Parquet file"),
    "PDF": ("log.csv", b"%PDF-1.4 nothing", "is a PDF. Export the table"),
    "database": ("log.csv", b"SQLite format 3\x00" + NOISE, "faultodds log import --store"),
    "compressed": ("log.csv.gz", b"\x1f\x8b" + NOISE, "is compressed. Unpack it first"),
}


def everything_in(folder: Path) -> dict[str, bytes]:
    """Every file under a folder with its bytes."""
    return {str(f.relative_to(folder)): f.read_bytes() for f in sorted(folder.rglob("*")) if f.is_file()}


@pytest.mark.parametrize("case", CASES)
def test_a_bad_log_says_what_it_is_and_changes_nothing(case: str, tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """The message names what was found and what to do; the data folder, with an earlier log in it, stays as it was."""
    name, content, words = CASES[case]
    good = write(tmp_path / "good.csv", log_text(*ROWS))
    import_log(draft(good, dryer, name="log", data=data), dryer, data=data)
    before = everything_in(Path(data))
    with pytest.raises(FaultoddsError) as caught:
        import_log(draft(write(tmp_path / name, content), dryer, name="log", data=data), dryer, data=data)
    assert words in str(caught.value)
    assert everything_in(Path(data)) == before


def _folder(path: Path) -> Path:
    path.mkdir()
    return path


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_folder, "is a folder. Give the file in it"),
        (lambda path: path.with_name("jbos.csv"), "jobs.csv'? Check the name and the folder."),
    ],
    ids=["folder", "missing"],
)
def test_what_is_no_file_is_refused(make: Callable[[Path], Path], words: str, tmp_path: Path, dryer: Knowledge) -> None:
    """A folder and a missing file are told apart; a near name is offered."""
    write(tmp_path / "jobs.csv", log_text(*ROWS))
    with pytest.raises(FaultoddsError) as caught:
        draft(make(tmp_path / "thing"), dryer, data=str(tmp_path))
    assert words in str(caught.value)


def test_formula_rows_can_be_set_aside(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """When asked, rows with formulas are set aside, and the file of such rows holds none of them."""
    from faultodds.joblog.drafts import Options
    from faultodds.joblog.folder import files_of

    path = write(tmp_path / "jobs.csv", log_text(*ROWS, "=1+1,C9,2022-02-01,weak,ok,coils,done"))
    drafted = draft(path, dryer, data=data, options=Options(formulas_aside=True))
    report = import_log(drafted, dryer, data=data)
    assert (report.used, dict(report.aside)) == (3, {"holds a formula": 1})
    text = files_of("jobs", data).aside.read_text(encoding="utf-8-sig")
    assert text.splitlines() == ["file,sheet,row,why", f"{path.name},,5,holds a formula"]


def test_minus_signs_and_plain_words_are_no_formulas(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """A reading below nought and a dash before a word are values."""
    path = write(tmp_path / "jobs.csv", log_text(*ROWS, "J4,C4,2022-02-01,- weak,-40,coils,done"))
    assert draft(path, dryer, data=data).found.formulas == []


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path, dryer: Knowledge) -> None:
    """Where the data folder is a file, the message says how to keep logs elsewhere."""
    blocked = write(tmp_path / "blocked", b"a file")
    path = write(tmp_path / "jobs.csv", log_text(*ROWS))
    with pytest.raises(FaultoddsError, match="FAULTODDS_DATA"):
        import_log(draft(path, dryer, data=str(blocked) + os.sep + "x"), dryer, data=str(blocked) + os.sep + "x")
