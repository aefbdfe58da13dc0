"""The tool's own jobs as a log; a log described, written out, and read in again."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from faultodds.errors import FaultoddsError
from faultodds.job.job import Job
from faultodds.job.steps import Closed, Fact, Finding, Payload, RepairDone, Step
from faultodds.job.store import Store
from faultodds.joblog import clean
from faultodds.joblog.aside import safe
from faultodds.joblog.describe import describe
from faultodds.joblog.drafts import already_clean, draft
from faultodds.joblog.export import export_log
from faultodds.joblog.folder import files_of, find_log, summaries
from faultodds.joblog.from_store import import_store, visits
from faultodds.knowledge.schema import Knowledge

DAY = dt.datetime(2024, 5, 1, 9, 0, tzinfo=dt.UTC)


def a_job(*payloads: Payload) -> Job:
    """A job opened on the first of May."""
    job = Job("7", "gas_dryer", "file", DAY)
    for number, payload in enumerate(payloads, start=1):
        job = job.plus(Step(number, DAY, payload, minutes=5))
    return job


def test_a_job_becomes_one_row_a_visit() -> None:
    """Findings before a repair, repairs, those that did not help, the last run, and the day the customer called again."""
    job = a_job(
        Finding("heat", "none"),
        Finding("fuse_continuity", likelihood={"open": 0.9, "closed": 0.1}),
        RepairDone("thermal_fuse"),
        Finding("verification_run", "slow"),
        RepairDone("clean_duct"),
        Finding("verification_run", "dry_in_time"),
        Closed("gone"),
        Closed("came_back", dt.date(2024, 5, 9)),
        Finding("hood_flap", "none"),
        RepairDone("clear_hood"),
        Closed("gone"),
    )
    first, second = visits(job, "verification_run")
    assert (first.job, first.ended, first.back_after) == ("7", "came_back", 8.0)
    assert first.found == {"heat": {"none": 1.0}, "fuse_continuity": {"open": 0.9, "closed": 0.1}}
    assert (first.repairs, first.failed) == (["thermal_fuse", "clean_duct"], ["thermal_fuse"])
    assert first.after == {"dry_in_time": 1.0}
    assert (second.job, second.day, second.ended) == ("7#2", dt.date(2024, 5, 9), "gone")
    assert second.found == {"hood_flap": {"none": 1.0}}


def test_a_reading_taken_again_counts_beside_the_first() -> None:
    """Two readings of one check multiply; a plain repeat stands in for the one before."""
    again = a_job(
        Finding("igniter_ohms", likelihood={"normal": 0.6, "open": 0.4}),
        Finding("igniter_ohms", likelihood={"normal": 0.5, "open": 0.5}, take=1),
        Closed("gone"),
    )
    assert visits(again, "verification_run")[0].found["igniter_ohms"] == pytest.approx({"normal": 0.3, "open": 0.2})


def stocked(data: str, *jobs: tuple[Payload, ...]) -> None:
    """A store with some jobs, and one of another appliance."""
    with Store.open(data) as store:
        for payloads in jobs:
            job = store.new_job("gas_dryer", opened_at=DAY)
            for payload in payloads:
                store.append(job.id, payload)
        store.new_job("toaster", opened_at=DAY)


def test_the_store_is_imported(data: str, dryer: Knowledge) -> None:
    """Closed and open jobs are taken; empty ones and those of other appliances are counted."""
    finding: tuple[Payload, ...] = (Fact("fuel", "propane"), Finding("heat", "none"))
    stocked(data, (*finding, RepairDone("igniter"), Closed("gone")), finding, ())
    with Store.open(data) as store:
        wrong_clock = store.new_job("gas_dryer", opened_at=DAY.replace(year=2062))
        store.append(wrong_clock.id, finding[1])
    report = import_store(dryer, data=data)
    assert (report.rows, report.used) == (5, 2)
    assert dict(report.aside) == dict.fromkeys(
        ("of another appliance", "with nothing entered yet", "on a day that is still to come"), 1
    )
    frame = clean.read_clean(files_of("jobs", data).clean)
    clean.validate(frame, dryer)
    assert frame["ended"].tolist() == ["gone", "unknown"]
    assert frame["fact:fuel"].tolist() == ["propane", "propane"]


def test_too_few_jobs_are_refused(data: str, dryer: Knowledge) -> None:
    """No store, and a store with one visit, say what to do and write nothing."""
    with pytest.raises(FaultoddsError, match="Start a job with: faultodds bench"):
        import_store(dryer, data=data)
    stocked(data, (Finding("heat", "none"),))
    with pytest.raises(FaultoddsError, match=r"has 1 visit to learn from on 'gas_dryer' .* it takes two at least"):
        import_store(dryer, data=data)
    assert not (Path(data) / "logs").exists()


@pytest.fixture
def log(data: str, dryer: Knowledge) -> Path:
    """A clean log of a few visits, with a job number that a spreadsheet would run."""
    n = 12
    frame = pd.DataFrame(
        {
            "job": ["=1+1", *(f"J{i}" for i in range(1, n))],
            "day": pd.to_datetime(["2022-01-03"] * 6 + ["2022-03-01"] * 6),
            "found:fuse_continuity": ["open"] * n,
            "found:hood_flap": ["strong"] * 6 + ["weak:0.5|none:0.5"] * 6,
            "repairs": ["thermal_fuse"] * 10 + [None, "thermal_fuse;coil_set"],
            "ended": ["gone"] * 11 + ["came_back"],
            "back_after_days": [None] * 11 + [4.0],
        }
    )
    clean.validate(frame, dryer)
    path = files_of("shop", data).clean
    clean.write_clean(frame, path)
    return path


def test_a_log_in_figures(log: Path) -> None:
    """Months, coverage, repairs, callbacks, gaps, and checks of which only bad results are written down."""
    found = describe(log, {"fuse_continuity": "closed", "hood_flap": "strong"})
    assert found.visits == 12
    assert dict(found.months) == {"2022-01": 6, "2022-03": 6}
    assert found.gaps == [("2022-01-03", "2022-03-01", 57)]
    assert found.found["hood_flap"].answers == {"strong": 6, "weak": 3.0, "none": 3.0}
    assert (found.repairs["thermal_fuse"], found.repairs["coil_set"], found.no_repair) == (11, 1, 1)
    assert found.back_by_repair == {"thermal_fuse": 1, "coil_set": 1}
    assert found.back_after == [4.0]
    assert found.bad_only == ["fuse_continuity"]


@pytest.mark.parametrize("ending", [".csv", ".xlsx", ".parquet"])
def test_a_log_written_out_comes_back(log: Path, ending: str, tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """What is exported is recognised as a clean log and is the same after importing it again, but for a job that is no number."""
    target = tmp_path / f"out{ending}"
    assert export_log(log, target) == 12
    report = already_clean(draft(target, dryer, name="again", data=data), dryer, data)
    assert report is not None
    assert report.used == 12
    one, other = (clean.read_clean(p).astype(object) for p in (log, files_of("again", data).clean))
    one["job"] = one["job"].replace("=1+1", "row 1" if ending == ".parquet" else "row 2")
    pd.testing.assert_frame_equal(one, other, check_dtype=False)


def test_no_exported_cell_is_a_formula(log: Path, tmp_path: Path) -> None:
    """In CSV and Excel a cell that begins like a formula has an apostrophe in front."""
    export_log(log, tmp_path / "out.csv")
    assert "'=1+1," in (tmp_path / "out.csv").read_text(encoding="utf-8-sig").splitlines()[1]
    export_log(log, tmp_path / "out.xlsx")
    cell = openpyxl.load_workbook(tmp_path / "out.xlsx")["visits"]["A2"]
    assert (cell.value, cell.data_type) == ("'=1+1", "s")
    marks = "=+-@\t\r\uff1d\uff0b\uff0d\uff20"
    typed = [*(f"{mark}a" for mark in marks), *(f"{first}{mark}a" for first in " \t\r\n\u00a0\u200b" for mark in marks)]
    for text in (safe(each) for each in typed):
        assert text.startswith("'") or text.strip() == "a", text
        assert not text.startswith(tuple(marks)), text
    assert [safe(text) for text in ("=a", "\t=a", "\ta", "a=b")] == ["'=a", "' =a", " a", "a=b"]


def test_an_export_is_refused_in_words(log: Path, tmp_path: Path) -> None:
    """Another ending, a file that is there, a folder."""
    with pytest.raises(FaultoddsError, match=r"a log ends in \.csv, \.xlsx, \.parquet\."):
        export_log(log, tmp_path / "out.ods")
    (tmp_path / "out.csv").write_text("mine")
    with pytest.raises(FaultoddsError, match=r"is there already\. Add --force"):
        export_log(log, tmp_path / "out.csv")
    assert (tmp_path / "out.csv").read_text() == "mine"
    export_log(log, tmp_path / "out.csv", force=True)
    assert "fuse_continuity" in (tmp_path / "out.csv").read_text(encoding="utf-8-sig")


def test_logs_are_found_by_name(log: Path, data: str) -> None:
    """By name or path; a near name is offered."""
    assert find_log("shop", data) == log == find_log(str(log), data)
    with pytest.raises(FaultoddsError, match=r"no job log called 'shopp'\. Did you mean 'shop'\?"):
        find_log("shopp", data)
    assert [(s["log"], s["visits"]) for s in summaries(data)] == [("shop", 12)]


def test_a_wrong_number_in_an_exported_log_is_named(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """An edited export with a word for a number names the column."""
    path = tmp_path / "edited.csv"
    path.write_text("job,found:heat,minutes\n1,none,five\n2,none,6\n")
    with pytest.raises(FaultoddsError, match="column 'minutes' has something in it that is no number"):
        already_clean(draft(path, dryer, data=data), dryer, data)


def test_a_shops_own_log_with_such_headings_is_kept_without_its_people(
    tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """Names where jobs, technicians and branches belong; what we called people before stays apart from what we call them now."""
    who = ["Marn Tolbrek", "T4", "tech_1", "Odel Vaskholt"]
    lines = [
        f"J{100 + n},2024-03-{n + 1:02},{who[n % 4]},{'north' if n % 2 else 'Hesklund ' + str(n)},none"
        for n in range(16)
    ]
    lines[3] = lines[3].replace("J103", "Lisbet Ruskimsen")
    path = tmp_path / "own.csv"
    path.write_text("\n".join(["job,day,technician,branch,found:heat", *lines]))
    assert already_clean(draft(path, dryer, data=data), dryer, data) is not None
    kept = clean.read_clean(files_of("own", data).clean).astype(object)
    assert kept["technician"].tolist() == ["tech_2", "T4", "tech_1", "tech_3"] * 4
    assert kept["job"].tolist() == [f"J{100 + n}" if n != 3 else "row 5" for n in range(16)]
    assert set(kept["branch"].dropna()) == {"north"}


@pytest.mark.parametrize("cell", ["2062-01-01", "1970-01-01", "inf", "1e308", "-5"])
def test_days_and_numbers_that_cannot_be_are_refused_in_a_clean_log_too(
    cell: str, tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """One visit of 2062 would have every other followed for decades."""
    path = tmp_path / "edited.csv"
    day, minutes = (cell, "5") if cell[4:5] == "-" else ("2024-03-01", cell)
    path.write_text(f"job,day,found:heat,minutes\n1,2024-03-01,none,5\n2,{day},none,{minutes}\n")
    with pytest.raises(FaultoddsError, match=r"column '(day|minutes)' has .* Mend it and import again"):
        already_clean(draft(path, dryer, data=data), dryer, data)
    assert not files_of("edited", data).clean.exists()
