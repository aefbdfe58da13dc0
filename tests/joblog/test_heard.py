"""Danger told of in a log is in the report, first, whatever row or column it stands in."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog.cleaning_report import CleaningReport, lines
from faultodds.joblog.drafts import Options, draft
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.knowledge.schema import Knowledge
from shop_logs import HEADINGS, ROWS, log_text, small_log, write

SAFETY = Path(__file__).parent.parent / "safety"
QUOTE = str.maketrans({'"': "'", "\n": " "})


def phrases(name: str) -> list[str]:
    """What somebody who had not seen the program wrote down."""
    raw = tomllib.loads((SAFETY / f"{name}.toml").read_text("utf-8"))
    return [entry["text"].translate(QUOTE) for entry in raw["phrase"]]


def imported(path: Path, dryer: Knowledge, data: str) -> CleaningReport:
    """The report of a log read as it is."""
    return import_log(draft(path, dryer, name="log", data=data, options=Options()), dryer, data=data)


def test_every_danger_in_any_column_is_listed_first(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Each phrase that must stop, somewhere in a row of its own: in the complaint, in the remarks, as the customer's name, in a
    column of readings. All those rows are listed, no row is that only sounds like it, and the report begins with them."""
    rng, stop, calm = np.random.default_rng(4), phrases("danger_stop"), phrases("danger_no_stop")
    texts = [(text, True) for text in stop] + [(text, False) for text in calm]
    order = rng.permutation(len(texts)).tolist()
    rows = [*ROWS]
    wanted = set()
    for n, (text, danger) in enumerate(texts[i] for i in order):
        cells = [f"K{n}", f"C{n}", "2022-02-03", "weak", "ok", "cleaned vent", "done", "slow dry", "-"]
        cells[int(rng.choice([1, 5, 7, 8]))] = f'"{text}"'
        rows.append(",".join(cells))
        wanted |= {1 + len(rows)} if danger else set()
    path = write(tmp_path / "jobs.csv", log_text(*rows, headings=f"{HEADINGS},complaint,remarks"))
    report = imported(path, dryer, data)
    found = {told.row for told in report.danger}
    assert found == wanted and len(wanted) > 200
    assert lines(report)[0].startswith(f"DANGER told of in {len(wanted)} rows. Read them first")
    kept = json.loads(files_of("log", data).report.read_text("utf-8"))["danger"]
    assert {told["row"] for told in kept} == wanted and {told["hazard"] for told in kept} == {
        "gas",
        "co",
        "ill",
        "fire",
        "shock",
        "defeated",
    }
    assert files_of("log", data).report_text.read_text("utf-8").startswith("DANGER")


def test_a_heading_that_speaks_of_danger_makes_a_bare_cell_tell(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Under "CO ppm" 60 is a danger and 3 is none; under "smell of gas" a yes is; a row that is set aside is heard as well."""
    rows = [f"{row},{ppm},{smell}" for row, ppm, smell in zip(ROWS, ("3", "60", ""), ("no", "no", "yes"), strict=True)]
    rows += [rows[1], "J9,C9,2022-01-10,weak,ok,vent,done,2,no,too,many; hissing at the union"]
    path = write(tmp_path / "jobs.csv", log_text(*rows, headings=f"{HEADINGS},CO ppm,smell of gas"))
    told = imported(path, dryer, data).danger
    assert [(t.row, t.hazard) for t in told] == [(3, "co"), (4, "gas"), (5, "co"), (6, "gas")]


def test_a_finding_is_no_danger_told_of(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """A burnt connector under harness is what a check showed; in the remarks it is a danger. A log with none says nothing."""
    rows = [f"{ROWS[0]},burnt,-", f"{ROWS[1]},ok,burnt plug at the wall", f"{ROWS[2]},ok,-"]
    path = write(tmp_path / "jobs.csv", log_text(*rows, headings=f"{HEADINGS},harness,remarks"))
    report = imported(path, dryer, data)
    assert [(t.row, t.heading) for t in report.danger] == [(3, "remarks")]
    assert lines(imported(small_log(tmp_path), dryer, data))[0].startswith("Log 'log'")


def test_personal_data_is_not_printed_with_it(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Only the words that tell of it are kept, without a telephone number among them."""
    rows = [f"{ROWS[0]},Ann Example 555-010-2301 says smells of gas call 555-010-2302", *(f"{r},-" for r in ROWS[1:])]
    path = write(tmp_path / "jobs.csv", log_text(*rows, headings=f"{HEADINGS},remarks"))
    (told,) = imported(path, dryer, data).danger
    assert told.words == "smells of gas"


def test_a_log_that_is_refused_still_tells_of_danger(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Nothing is imported, and the danger is in what is said."""
    rows = [
        "J1,C1,2022-01-03,weak,ok,vent,gas smell at the dryer",
        *(f"J1,C1,2022-01-03,{h},ok,x,y" for h in ("ok", "strong")),
    ]
    path = write(tmp_path / "jobs.csv", log_text(*rows))
    with pytest.raises(
        FaultoddsError, match=r"Nothing was imported.*DANGER told of in 1 row.*row 2, result: 'gas smell'"
    ):
        imported(path, dryer, data)
