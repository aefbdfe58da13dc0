"""The manager's month, held against jobs that were counted by hand."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from faultodds.belief import open_appliance
from faultodds.errors import FaultoddsError
from faultodds.job import Closed, Finding, Job, RepairDone, Step, Store
from faultodds.job.steps import Kept, Payload
from faultodds.reports import Held, Month, log_months, month_named, month_of, month_page
from faultodds_cli.shared.show_page import page_lines
from run_cli import faultodds, said_on

GOOD, COLD = Finding("verification_run", "dry_in_time"), Finding("verification_run", "no_heat")
DRYER = open_appliance("gas_dryer", revision="file")


def _job(number: int, month: int, *payloads: Payload, minutes: float | None = None) -> Job:
    at = datetime(2026, month, 10, 12, tzinfo=UTC)
    steps = tuple(Step(i, at, p, minutes if i == 1 else None) for i, p in enumerate(payloads, 1))
    return Job(str(number), "gas_dryer", "file", at, steps=steps, last_seq=len(steps))


JOBS: Sequence[Job] = (
    _job(
        1, 11, Kept("technician", "T1"), Finding("heat", "cools_off"), Finding("burner_watch", "lights_then_fails"),
        RepairDone("coil_set"), GOOD, Closed("gone"), minutes=60,
    ),
    _job(
        2, 11, Kept("technician", "T2"), Finding("heat", "none"), Finding("igniter_ohms", "normal"), RepairDone("igniter"), COLD,
        Finding("fuse_continuity", "open"), RepairDone("thermal_fuse"), RepairDone("clean_duct"), GOOD, Closed("gone"), minutes=90,
    ),
    _job(3, 11, Finding("dry_time", "longer")),
    _job(
        4, 10, Finding("dry_time", "longer"), RepairDone("clean_duct"), GOOD, Closed("gone"),
        Closed("came_back", date(2026, 11, 3)),
    ),
)  # fmt: skip


def test_a_month_counted_by_hand() -> None:
    """Jobs by the day they were begun, callbacks by the day they came; the igniter that was not needed, the fuse that was."""
    month = month_of(DRYER, JOBS, "2026-11")
    assert (month.jobs, month.ended, month.back) == (3, {"gone": 2, "open": 1}, ("4",))
    assert month.wrong == (("2", "igniter"),) and month.fitted == 3
    assert month.minutes == {"T1": (60.0, 1), "T2": (90.0, 1)}
    assert [h.job for h in month.held] == ["1", "2"] and month.left_out == 1
    assert month.held[0].held and month.held[0].chance > 0.9
    said = said_on(month_page(DRYER, month, date(2026, 11, 28)))
    assert "1 of 3 parts fitted were more likely not needed" in said and "do not tell skill from luck" in said
    assert "Parts that pay to carry, for 3 calls".upper() in said


@pytest.mark.parametrize("columns", [80, 40])
def test_a_month_in_a_terminal_is_a_table(monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    """Numbers stand below their heads; where there is no room for that, each is told with its head."""
    monkeypatch.setenv("COLUMNS", str(columns))
    month = month_of(DRYER, JOBS, "2026-11")
    lines = page_lines(month_page(DRYER, month, date(2026, 11, 28)))
    assert max(map(len, lines)) <= columns
    said = "\n".join(lines)
    if columns == 80:
        assert re.search(r"^  Technician +Minutes +Jobs +A job$\n^  T1 +60 +1 +60$", said, re.MULTILINE)
        assert re.search(r"^  Part +Carry +Each +To be used +Saves$", said, re.MULTILINE)
    else:
        assert "  T1\n    minutes 60, jobs 1, a job 60\n" in said
    assert not [line for line in lines if "Minutes: " in line]


def test_the_score_is_the_mean_square() -> None:
    """Against the formula written out; nothing to score, no score."""
    held = (Held("1", 0.9, True), Held("2", 0.6, False), Held("3", 0.5, True))
    month = Month("2026-11", 3, {}, (), 0, (), {}, held, 0)
    assert month.brier == pytest.approx((0.01 + 0.36 + 0.25) / 3)
    assert Month("2026-11", 0, {}, (), 0, (), {}, (), 0).brier is None


def test_an_empty_month_and_one_that_is_none(tmp_path: Path) -> None:
    """Nothing is said to be good about nothing; a wrong month says how it is typed; the month as a file."""
    with Store.open(tmp_path):
        pass
    data = ("--data", str(tmp_path))
    empty = faultodds("report", "month", "2020-01", *data)
    assert empty.code == 0 and "No jobs were begun" in empty.out and "Brier" not in empty.out
    with pytest.raises(FaultoddsError, match="YYYY-MM"):
        month_named("last", date(2026, 11, 1))
    assert "YYYY-MM" in faultodds("report", "month", "2026-13", *data).said
    assert faultodds("report", "month", "--to", str(tmp_path / "m.pdf"), *data).code == 0


def test_a_month_of_an_imported_log_counted_by_hand(tmp_path: Path) -> None:
    """Visits of the month only, of this month only; its callbacks, repairs and minutes; the program's own jobs stay apart."""
    rows = ["job,customer,date,complaint,work done,minutes"]
    rows += [f"A{n},C{n},2025-01-{n:02},no heat,new igniter,60" for n in range(1, 21)]
    rows += [f"B{n},D{n},2025-02-{n:02},no heat,new coils,30" for n in range(1, 7)]
    rows += ["B7,D3,2025-02-20,no heat,new igniter,45", "B8,E1,2025-02-21,drum does not turn,new belt,45"]
    rows += [f"F{n},G{n},2025-04-{n:02},no heat,new coils,30" for n in range(1, 5)]
    (tmp_path / "depot.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    data = ("--data", str(tmp_path))
    with Store.open(tmp_path):
        pass
    assert faultodds("log", "import", str(tmp_path / "depot.csv"), "--yes", *data).code == 0
    (month,) = log_months(DRYER.knowledge, "2025-02", str(tmp_path))
    assert (month.log, month.visits, month.ended) == ("depot", 8, {"gone": 7, "came_back": 1})
    assert month.repairs == {"coil_set": (6, 1), "igniter": (1, 0), "belt_idler": (1, 0)}
    assert month.minutes == {"": (6 * 30.0 + 90.0, 8)}
    said = faultodds("report", "month", "2025-02", *data).text
    assert "No jobs were begun in this program" in said and "IMPORTED LOG 'DEPOT' (DEPOT.CSV): 8 VISITS" in said
    assert log_months(DRYER.knowledge, "2025-03", str(tmp_path)) == ()
    (tmp_path / "logs" / "depot.parquet").write_bytes(b"PAR1 no more")
    assert (
        "Log 'depot' could not be read, and nothing of it is here"
        in faultodds("report", "month", "2025-02", *data).text
    )
