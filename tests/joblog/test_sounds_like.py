"""What only sounds like a state, a finding, a reading or a repair that held; and rows that are the return visit of another."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from faultodds.joblog import asking, free_text, told_in_order
from faultodds.joblog.cells import CellReader
from faultodds.joblog.clean import FAILED, REPAIRS, read_clean
from faultodds.joblog.cleaning_report import lines
from faultodds.joblog.drafts import draft
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.joblog.likely import Sample
from faultodds.joblog.mapping import Column
from faultodds.joblog.propose import propose
from faultodds.knowledge.schema import Knowledge
from joblog.test_manager import mark
from shop_logs import write

CELLS = tomllib.loads(Path(__file__).with_name("sounds_like_cells.toml").read_text("utf-8"))["cell"]


def marks(dryer: Knowledge) -> Counter[str]:
    """How many cells of the corpus got which mark."""
    return Counter(mark(dryer, cell) for cell in CELLS)


def test_cells_that_sound_like_something_else(dryer: Knowledge) -> None:
    """The corpus written before the code: what is not read is asked about, and nothing is read as what it is not."""
    found = marks(dryer)
    assert found.total() == 126
    assert found["right"] >= 119
    assert found["missed"] == found["wrong"] == found["harmful"] == 0


@pytest.mark.parametrize(
    ("family", "where", "name", "instead"),
    [
        ("remark", told_in_order, "without_remarks", lambda appliance, text, tells_work: text),
        ("did not hold", told_in_order, "behind_work", lambda text: None),
        ("no repair", told_in_order, "reverted", lambda text: None),
        ("after work", told_in_order, "is_remark", lambda appliance, text: False),
        ("doubt in part", free_text.FreeText, "_beside_doubt", lambda self, text: None),
    ],
)
def test_the_corpus_sees_a_planted_mistake(
    family: str, where: Any, name: str, instead: Any, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without each of these some cell of its family is read as what it does not say, or more is asked."""
    monkeypatch.setattr(where, name, instead)
    assert any(mark(dryer, cell) != "right" for cell in CELLS if cell["family"] == family)


@pytest.mark.parametrize(
    ("text", "repairs", "failed", "asked"),
    [
        (
            "ign reads OL - R&R ign - would do coils if it comes back",
            "igniter",
            None,
            "would do coils if it comes back",
        ),
        ("coil kit fitted, maybe blower wheel", "coil_set", None, "maybe blower wheel"),
        ("replaced belt, maybe that was it", None, None, "replaced belt, maybe that was it"),
        ("new igniter, might need coils instead", None, None, "new igniter, might need coils instead"),
        ("coils changed, later changed back to the old ones", None, None, ""),
        ("tried new coils, swapped back, igniter replaced", "igniter", None, "tried new coils, swapped back"),
        ("cleaned hood, refitted hose", "clear_hood;refit_transition", None, None),
        ("replaced ign, no good", None, None, "replaced ign, no good"),
        ("replaced ign, no good, new coils", "igniter;coil_set", "igniter", None),
        ("ign no good, new ign", "igniter", None, None),
        ("new fuse blew again", "thermal_fuse", "thermal_fuse", None),
        ("motor starts again, new belt", "belt_idler", None, None),
    ],
)
def test_work_is_told_from_what_was_undone_doubted_or_did_not_hold(
    text: str, repairs: str | None, failed: str | None, asked: str | None, dryer: Knowledge
) -> None:
    """Only the doubtful part is asked about, with nothing of it read."""
    cell = CellReader(Column("work", "repairs"), dryer).read(text)
    said = dict(cell.said)
    assert (said.get(REPAIRS), said.get(FAILED)) == (repairs, failed)
    if asked:
        assert asked in cell.left


# --- columns ---


@pytest.mark.parametrize("heading", ["Thermistor", "Coils", "Ignitor", "Thermal fuse", "Timer"])
@pytest.mark.parametrize("cells", [{"1": 8, "0": 40}, {"1": 8}])
def test_zeros_and_ones_under_a_part_are_ticks(heading: str, cells: dict[str, int], dryer: Knowledge) -> None:
    """A 0 is no reading of nothing, nor a short."""
    column = propose(dryer, [Sample(heading, Counter(cells), 60)]).columns[0]
    assert column.kind == "repairs"
    assert CellReader(column, dryer).read("0").said == ()
    assert CellReader(column, dryer).read("1").said[0][0] == REPAIRS


@pytest.mark.parametrize("heading", ["Meter clock", "CO"])
def test_zeros_and_ones_that_name_no_part_are_asked_about(heading: str, dryer: Knowledge) -> None:
    """They are left out, and the report says why; numbers with others among them stay readings."""
    ticks = Counter({"0": 40, "1": 8})
    column = propose(dryer, [Sample(heading, ticks, 60)]).columns[0]
    assert (column.kind, "say in the mapping what a tick means" in column.why) == ("left_out", True)
    assert propose(dryer, [Sample("CO", Counter({"0": 40, "4": 3, "11": 2}), 60)]).columns[0].of == ("co_room",)


@pytest.mark.parametrize(
    ("heading", "kind"),
    [
        ("Recommended", "left_out"),
        ("Declined by customer", "left_out"),
        ("Parts on order", "left_out"),
        ("Next step", "left_out"),
        ("Quoted", "left_out"),
        ("Advised", "left_out"),
        ("Repairs suggested", "left_out"),
        ("Parts needed", "left_out"),
        ("Parts to order", "left_out"),
        ("Parts ordered", "left_out"),
        ("Spares to be fitted", "left_out"),
        ("Parts to be replaced", "left_out"),
        ("Repairs not done", "left_out"),
        ("Planned work", "left_out"),
        ("Still to do", "left_out"),
        ("Proposed repair", "left_out"),
        ("Work due next trip", "left_out"),
        ("Parts / ordered", "repairs"),
        ("Parts used", "repairs"),
        ("Work done", "repairs"),
        ("Quoted and done", "repairs"),
        ("Parts fitted", "repairs"),
    ],
)
def test_columns_of_plans_are_no_repairs(heading: str, kind: str, dryer: Knowledge) -> None:
    """Work that was offered, ordered or declined; what names both is of what was done."""
    cells = Counter({"new igniter": 8, "coils": 8, "clean duct": 4})
    assert propose(dryer, [Sample(heading, cells, 60)]).columns[0].kind == kind


@pytest.mark.parametrize(
    ("heading", "asks"),
    [
        ("Parts / ordered", True),
        ("Parts needed/used", True),
        ("Work done + recommended", True),
        ("Fitted or quoted", True),
        ("Parts, on order", True),
        ("Parts used", False),
        ("Repairs carried out", False),
        ("Parts / materials", False),
        ("Replaced", False),
    ],
)
def test_work_done_and_planned_under_one_heading_is_asked_about(heading: str, asks: bool, dryer: Knowledge) -> None:
    """Whether "belt" was fitted or ordered only the shop can say; nothing is imported before it has."""
    sample = Sample(heading, Counter({"new igniter": 8, "coils": 8, "clean duct": 4}), 60)
    column = propose(dryer, [sample]).columns[0]
    told = asking.question(dryer, column, sample)
    assert (column.kind, bool(told)) == ("repairs", asks)
    assert not asks or ("planned" in str(told) and 'is = "left_out"' in str(told))


def test_a_column_of_plans_is_told_of(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """The report names the column and says that nothing was taken from it."""
    rows = [f"J{n},2024-01-{1 + n % 28:02},no heat,new coils,igniter" for n in range(40)]
    path = write(tmp_path / "jobs.csv", "\n".join(["job,date,complaint,work done,Recommended", *rows]) + "\n")
    told = " ".join(lines(import_log(draft(path, dryer, data=data), dryer, data=data)))
    assert re.search(r"Recommended.{0,60}not done: no repair is taken from it", told)
    assert set(read_clean(files_of("jobs", data).clean)["repairs"].astype(str)) == {"coil_set"}


# --- return visits ---


def _ended(path: Path, data: str, dryer: Knowledge) -> tuple[dict[str, str], str]:
    told = " ".join(lines(import_log(draft(path, dryer, data=data), dryer, data=data)))
    frame = read_clean(files_of("jobs", data).clean)
    return dict(zip(frame["job"].astype(str), frame["ended"].astype(str), strict=True)), told


FILL = [f"J{n},2024-01-{1 + n % 28:02},no heat,new coils,done" for n in range(60)]
AGAIN = [
    "J71,2024-03-01,no heat,new igniter,done",
    "J71,2024-03-08,no heat,callback; new coils,done",
    "J72,2024-03-02,no heat,new fuse,done",
    "J72,2024-03-09,no heat,return visit: new belt,done",
    "J73,2024-03-03,no heat,new fuse,done",
    "J73,2024-03-12,no heat,new coils,came back",
    "J74,2024-03-04,no heat,new belt,done",
    "J74,2024-03-18,noisy,new rollers,done",
    "J75,2024-03-05,no heat,diag only,part ordered",
    "J75,2024-03-19,no heat,return visit: fitted igniter,done",
]


def test_the_same_number_with_a_call_back_is_a_return_visit(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """The earlier one came back; what says nothing of it, or follows a visit on which nothing was done, is none."""
    path = write(tmp_path / "jobs.csv", "\n".join(["job,date,complaint,work done,result", *FILL, *AGAIN]) + "\n")
    ended, told = _ended(path, data, dryer)
    assert [ended[f"J{n}"] for n in (71, 72, 73, 74, 75)] == ["came_back"] * 3 + ["gone", "unknown"]
    assert [ended[f"J{n}#2"] for n in (71, 72, 73, 74, 75)] == ["gone"] * 5
    assert "no second visit to tell the day from" not in told
    days = read_clean(files_of("jobs", data).clean).set_index("job")["back_after_days"]
    assert [days[f"J{n}"] for n in (71, 72, 73)] == [7, 7, 9]
    assert "3 visits came back by the job number" in told


def test_a_row_that_names_another_job_is_its_return_visit(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """With 'Callback? yes' on it as well: the linked one came back, and the row itself did not."""
    rows = [f"J{n},2024-01-{1 + n % 28:02},no heat,new coils,no," for n in range(60)]
    rows += [f"J{80 + n},2024-03-{1 + n:02},no heat,new igniter,yes,J{n}" for n in range(6)]
    path = write(tmp_path / "jobs.csv", "\n".join(["job,date,complaint,work done,Callback?,Callback of", *rows]) + "\n")
    ended, _ = _ended(path, data, dryer)
    assert {ended[f"J{n}"] for n in range(6)} == {"came_back"}
    assert {ended[f"J{80 + n}"] for n in range(6)} == {"gone"}
    assert ended["J7"] == "gone"


def test_a_remark_says_that_all_is_well_and_no_more() -> None:
    """No denial, and no test without what it showed."""
    told = {
        text: told_in_order.is_remark("gas_dryer", text)
        for text in ("all tested heats well now", "no heat now", "tested")
    }
    assert list(told.values()) == [True, False, False]
