"""Free text of logs: the law of denial and plans, the corpora written before the code, and what one odd cell may decide."""

from __future__ import annotations

import csv
import re
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from faultodds.joblog import free_text
from faultodds.joblog.cells import CellReader
from faultodds.joblog.drafts import draft, with_phrases
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.joblog.mapping import Column
from faultodds.knowledge.schema import Knowledge
from joblog import score_cells, score_layouts

PARTS = {
    "coils": "coil_set",
    "igniter": "igniter",
    "flame sensor": "flame_sensor",
    "thermal fuse": "thermal_fuse",
    "thermistor": "thermistor",
    "drum belt": "belt_idler",
    "drum rollers": "rollers",
    "blower wheel": "blower_wheel",
    "timer": "timer",
    "control board": "board",
    "gas valve": "gas_valve",
    "high limit": "high_limit_kit",
}
NOT_DONE = (
    "did not replace {}",
    "did NOT replace the {}",
    "{} not replaced",
    "needs {}",
    "needs new {}, ordered",
    "{} ordered",
    "{} on order",
    "will replace {} tues",
    "recommend new {}",
    "quoted {}, cust declined",
    "{} stuck, does not go off",
    "{} slapped about",
    "{} back ordered",
    "to install {} when in",
    "no {} on truck",
    "{} tested good",
    "checked {} - good",
    "{} not the problem",
    "no need for {}",
    "cust asked about new {}, not needed",
    "{}, not replaced",
    "{}. ordered",
    "{}; will return to install",
    "could not replace {}",
    "waiting on {}",
    "{} or board? will bring both",
)
DONE = ("replaced {}", "new {}", "R&R {}", "{} replaced", "put in new {}", "swapped out {}", "installed new {}")
JOINS = ("; ", " + ", ". ", "\n", " / ")


def repairs(dryer: Knowledge, text: str) -> set[str]:
    """The repairs that a cell of work is read as."""
    said = dict(CellReader(Column("work", "repairs"), dryer).read(text).said)
    return set(said.get("repairs", "").split(";")) - {""}


cell = st.lists(
    st.tuples(
        st.sampled_from((*NOT_DONE, *DONE)), st.sampled_from(sorted(PARTS)), st.booleans(), st.sampled_from(JOINS)
    ),
    min_size=1,
    max_size=3,
    unique_by=lambda each: each[1],
)


def broken(dryer: Knowledge, told: list[tuple[str, str, bool, str]]) -> set[str]:
    """The repairs read of a cell that nobody says were done."""
    text = ""
    for phrase, part, loud, join in told:
        statement = phrase.format(part)
        text += (join if text else "") + (statement.upper() if loud else statement)
    done = {PARTS[part] for phrase, part, _, _ in told if phrase in DONE}
    return repairs(dryer, text) - done


@settings(deadline=None, max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(told=cell)
def test_what_is_denied_or_planned_is_never_done(dryer: Knowledge, told: list[tuple[str, str, bool, str]]) -> None:
    """The law: a repair that is denied, put off or only tested never becomes one that was done."""
    assert broken(dryer, told) == set()


@pytest.mark.parametrize("phrase", ["needs {}", "did not replace {}"])
def test_the_law_sees_a_planted_mistake(dryer: Knowledge, phrase: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader that overlooks what turns a part breaks it."""
    nothing = re.compile("(?!)")
    monkeypatch.setattr(free_text.FreeText, "_turns", lambda self, text, roles=nothing: False)
    monkeypatch.setattr(
        free_text.FreeText, "_hear", lambda self, text: [("repairs", "coil_set")] if "coils" in text else None
    )
    assert broken(dryer, [(phrase, "coils", False, "; ")])


@pytest.mark.parametrize("phrase", DONE)
@pytest.mark.parametrize("part", sorted(PARTS))
def test_what_was_done_is_read(dryer: Knowledge, phrase: str, part: str) -> None:
    """The law would be easy to keep by reading nothing."""
    assert repairs(dryer, phrase.format(part)) == {PARTS[part]}


@pytest.mark.parametrize("form", ["{} {}", "{1} {0}", "{}: {}", "{}, {}", "{} - {}", "{}. {}"])
def test_a_part_and_how_it_was_found_is_no_work(dryer: Knowledge, form: str) -> None:
    """States are findings: a part named with one was taken for a new one. Told with a verb of work it stays done."""
    states = ("stuck", "snapped", "blown", "faulty", "failed", "rusted", "perished", "arcing", "had it", "n/g", "off")
    reader = CellReader(Column("work", "repairs"), dryer)
    told = [form.format(part, state) for part in ("flame sensor", "motor") for state in (*states, "slapped about")]
    assert [text for text in told if reader.read(text).said] == []
    done = [f"replaced drum belt, was {state}" for state in states]
    assert {reader.read(text).said for text in done} == {(("repairs", "belt_idler"),)}


@pytest.mark.parametrize(
    "end",
    [
        ", nothing done",
        "; nothing done",
        ". Customer declined",
        ", no work done",
        "; cancelled",
        " - cust changed mind",
    ],
)
def test_work_that_came_to_nothing_is_none(dryer: Knowledge, end: str) -> None:
    """Named as a bill names it and told to be not done; told with a verb of work done it stays done."""
    reader = CellReader(Column("work", "repairs"), dryer)
    undone = (("ended", "unknown"),)
    assert [reader.read(work + end).said for work in ("duct clean", "coil set")] == [undone, undone]
    assert dict(reader.read("replaced coils, nothing else done").said) == {"repairs": "coil_set"}
    assert dict(reader.read("coils. quoted igniter, customer declined").said) == {"repairs": "coil_set"}
    for told in ("cancelled, nobody home", "no access", "quoted coil kit, customer declined, nothing done"):
        assert reader.read(told).said == undone
    assert reader.read("no access panel screws").said == ()


def test_cells_as_shops_write_them(dryer: Knowledge) -> None:
    """The corpus written before the code: it may be raised, never lowered."""
    marks = Counter(score_cells.score(dryer, each)[0] for each in score_cells.read())
    assert marks.total() == 542
    assert marks["right"] >= 0.95 * marks.total()
    assert marks["wrong"] + marks["harmful"] < 0.01 * marks.total()


@pytest.mark.parametrize("path", score_layouts.layouts(), ids=lambda path: path.name[:9])
def test_whole_logs_of_many_layouts(dryer: Knowledge, path: Path) -> None:
    """With no mapping made by hand the repairs of a row are exactly those that were done, on at least 19 rows of 20."""
    score = score_layouts.score(dryer, path)
    assert score.problem == ""
    assert score.repairs >= 0.95 * score.rows
    assert score.back >= 0.95 * score.back_known


def demo(tmp_path: Path, cells: int) -> Path:
    """The demo log with telephone numbers in some cells of the column `auto`."""
    source = Path(__file__).parents[2] / "data_synthetic/demo/harbour_lane_jobs.csv"
    rows = list(csv.DictReader(source.open(encoding="utf-8")))
    for n in range(cells):
        rows[7 + 40 * n]["auto"] = f"555-01{n}-{4000 + n}"
    target = tmp_path / "demo.csv"
    with target.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return target


def test_a_few_odd_cells_decide_nothing(dryer: Knowledge, tmp_path: Path) -> None:
    """Telephone numbers in three cells of another column made callbacks of nearly every visit."""
    reports = [
        import_log(
            draft(demo(tmp_path, n), dryer, name="demo", data=str(tmp_path / str(n))),
            dryer,
            data=str(tmp_path / str(n)),
        )
        for n in (0, 3)
    ]
    assert reports[0].came_back == reports[1].came_back
    assert reports[0].used == reports[1].used


def test_a_customer_column_with_few_values_is_refused(dryer: Knowledge, tmp_path: Path) -> None:
    """Where it would make callbacks of nearly all, somebody has to confirm it."""
    from faultodds.errors import FaultoddsError

    text = "job,date,customer,complaint,repairs\n"
    text += "".join(f"J{n},2024-01-{1 + n % 28:02},C{n % 2},no heat,igniter\n" for n in range(60))
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    with pytest.raises(FaultoddsError, match=r"is taken for the customer, and has 2 different values"):
        import_log(draft(tmp_path / "log.csv", dryer, data=str(tmp_path)), dryer, data=str(tmp_path))


def test_the_table_of_phrases_is_read_back(dryer: Knowledge, tmp_path: Path) -> None:
    """What somebody writes beside a phrase goes before all else."""
    text = "job,date,complaint,work done\n" + "".join(
        f"J{n},2024-01-{1 + n % 28:02},no heat,new glowstick\n" for n in range(6)
    )
    text += "J9,2024-02-01,no heat,new coils\n"
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    data = str(tmp_path)
    import_log(draft(tmp_path / "log.csv", dryer, data=data), dryer, data=data)
    path = files_of("log", data).phrases
    assert "no heat,7,heat=none," in path.read_text("utf-8-sig")
    path.write_text("column,phrase,means\nwork done,new glowstick,igniter\n", encoding="utf-8")
    again = with_phrases(draft(tmp_path / "log.csv", dryer, data=data), path, dryer)
    report = import_log(again, dryer, data=data)
    assert report.total("unknown") == 0


def test_a_repair_that_the_file_does_not_know_is_told_as_such(dryer: Knowledge) -> None:
    """ "Replaced door switch" was told as nearest to another part, and the visit counted as held with nothing done."""
    reader = CellReader(Column("work", "repairs"), dryer)
    foreign = ("replaced door switch", "door switch", "fitted new door catch", "replaced light bulb")
    for text in foreign:
        cell = reader.read(text)
        assert (reader.is_foreign(text), cell.said, cell.left) == (True, (("ended", "unknown"),), (text,))
    for text in ("replaced thermostat", "replaced seal", "replaced part", "quoted door switch", "door switch bad"):
        assert not reader.is_foreign(text)
        assert reader.read(text).said == ()
