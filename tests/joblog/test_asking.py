"""Columns of ticks and answers, and what only the shop can say of them: asked about, never lost and never guessed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog import asking, callbacks
from faultodds.joblog.cells import CellReader
from faultodds.joblog.clean import read_clean
from faultodds.joblog.drafts import draft
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.joblog.likely import Sample
from faultodds.joblog.mapping import Column
from faultodds.joblog.propose import propose
from faultodds.knowledge import Knowledge
from shop_logs import write

FOUND = (
    "belt broken",
    "thermal fuse open",
    "igniter open",
    "duct packed with lint",
    "rollers seized",
    "coils open when hot",
)
WORK = ("replaced igniter", "new belt", "replaced thermal fuse", "cleaned duct", "changed coils", "new drum rollers")


def proposed(dryer: Knowledge, heading: str, counts: dict[str, int], rows: int = 60) -> tuple[Column, str | None]:
    """What a column is taken for, and what is asked of it."""
    sample = Sample(heading, counts, rows)
    column = propose(dryer, [sample]).columns[0]
    return column, asking.question(dryer, column, sample)


@pytest.mark.parametrize(
    "heading", ["What we saw", "Found", "Noticed", "We noticed", "Seen", "Observed", "What was wrong", "Found on site"]
)
def test_what_was_seen_is_no_work(heading: str, dryer: Knowledge) -> None:
    """ "What we saw" was guessed to be repairs, for it is much like "what we did". Cells that say otherwise are asked about."""
    column, asked = proposed(dryer, heading, dict.fromkeys(FOUND, 10))
    assert (column.kind, asked) == ("findings", None)
    column, asked = proposed(dryer, heading, dict.fromkeys(WORK, 10))
    assert asked is not None and "most of its cells read as 'repairs'" in asked


@pytest.mark.parametrize(
    ("heading", "repair"),
    [
        ("Fitted igniter", "igniter"),
        ("Belt new?", "belt_idler"),
        ("Coils replaced (Y/N)", "coil_set"),
        ("New motor", "motor"),
    ],
)
@pytest.mark.parametrize("answers", [{"Y": 9}, {"x": 9}, {"1": 9, "0": 51}, {"Yes": 9, "No": 51}, {"\u2713": 9}])
def test_a_ticked_repair_is_read(heading: str, repair: str, answers: dict[str, int], dryer: Knowledge) -> None:
    """Columns named after a repair were left out, and every repair in them lost."""
    column, asked = proposed(dryer, heading, answers)
    assert (column.kind, asked) == ("repairs", None)
    reader = CellReader(column, dryer)
    told = {text: reader.read(text).said for text in answers}
    assert told == {text: (("repairs", repair),) if text not in ("0", "No") else () for text in answers}


def test_a_ticked_part_is_asked_about(dryer: Knowledge) -> None:
    """Fitted, or found bad? A symptom ticked is one; under its name a no says that it was looked for."""
    column, asked = proposed(dryer, "Coils", {"x": 9})
    assert column.kind == "repairs"
    assert asked is not None and "does not say whether the part was fitted or found bad" in asked
    column, asked = proposed(dryer, "Burning smell", {"Y": 9, "N": 9})
    assert [CellReader(column, dryer).read(text).said for text in "YN"] == [
        (("found:burning_smell", "yes"),),
        (("found:burning_smell", "no"),),
    ]
    assert asked is None
    column, asked = proposed(dryer, "Fitted door switch", {"Y": 9})
    assert (column.kind, column.why, asked) == ("left_out", "a repair the file does not know", None)


@pytest.mark.parametrize(
    ("heading", "counts", "yes", "blank"),
    [
        ("Back? Y", {"Y": 9}, "came_back", "gone"),
        ("Back? Y", {"Y": 9, "N": 1}, "came_back", "gone"),
        ("Back? (Y/N)", {"Y": 9, "N": 30}, "came_back", "?"),
        ("Return", {"x": 9}, "came_back", "gone"),
        ("Recall Y", {"Y": 9}, "came_back", "gone"),
        ("Back on", {"2024-03-04": 3, "2024-05-04": 3}, "came_back", "gone"),
        ("1st time fix", {"Y": 30, "N": 9}, "gone", "?"),
        ("Fixed first time?", {"Y": 30, "N": 30}, "gone", None),
        ("Fixed first time?", {"N": 9}, "gone", "gone"),
        ("Not fixed first time", {"Y": 9}, "came_back", "gone"),
        ("No callback", {"Y": 30, "N": 9}, "gone", "?"),
        ("Fixed yes/no", {"yes": 30, "no": 30}, "gone", None),
    ],
)
def test_a_heading_of_callbacks_is_read_with_its_sense(
    heading: str, counts: dict[str, int], yes: str, blank: str | None, dryer: Knowledge
) -> None:
    """A blank beside a written no is neither."""
    column, asked = proposed(dryer, heading, counts)
    assert (column.kind, column.assume.get("yes"), column.assume.get("blank"), asked) == ("ended", yes, blank, None)


def test_why_they_called_again_is_no_work_of_this_visit(dryer: Knowledge) -> None:
    """ "Back for: same again, was gas valve coils" was taken for repairs done."""
    column, _ = proposed(dryer, "Back for", dict.fromkeys(("same again, was coils", "was belt", "was igniter"), 9))
    assert (column.kind, column.why) == ("left_out", "about the visit that came after")
    assert callbacks.asks("Back panel off", {"Y": 9}) is None


def test_a_blank_that_may_be_a_no_is_asked_about(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Eighty times Y and else blank: the blanks were neither callbacks nor not known, but lost."""
    rows = [f"2024-0{1 + n // 20}-{1 + n % 20:02},no heat,replaced igniter,{'Y' if n % 5 else ''}" for n in range(100)]
    path = write(tmp_path / "jobs.csv", "\n".join(["Date,Complaint,What we did,Fixed first time?", *rows]) + "\n")
    found = draft(path, dryer, data=data)
    with pytest.raises(FaultoddsError, match="is blank on 20 rows: is a blank a no"):
        import_log(found, dryer, data=data)
    import_log(replace(found, mapping=found.mapping.confirm()), dryer, data=data)
    ended = read_clean(files_of("jobs", data).clean)["ended"].astype(str).value_counts().to_dict()
    assert ended == {"gone": 80, "unknown": 20}


def test_what_was_never_worked_on_did_not_come_back(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """ "Fixed? N" of a visit that was declined, or whose part is on order, says that it is not done; beside a repair it says that
    it did not hold, and a callback told as such stands."""
    heads = "Date,Complaint,What we did,Status,Fixed?,Callback?"
    rows = [f"2024-0{1 + n // 20}-{1 + n % 20:02},no heat,replaced igniter,done,Y,N" for n in range(80)]
    rows += [
        "2024-06-01,no heat,,declined,N,N",
        "2024-06-02,no heat,customer declined the repair,,N,N",
        "2024-06-03,no heat,replaced igniter,done,N,N",
        "2024-06-04,no heat,replaced coils,done,Y,Y",
    ]
    path = write(tmp_path / "jobs.csv", "\n".join([heads, *rows]) + "\n")
    import_log(draft(path, dryer, data=data), dryer, data=data)
    ended = read_clean(files_of("jobs", data).clean)["ended"].astype(str).to_list()
    assert ended[80:] == ["unknown", "unknown", "came_back", "came_back"]
