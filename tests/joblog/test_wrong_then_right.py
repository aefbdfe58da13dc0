"""A wrong part and then the right one on one row: the first is a repair that failed its run, the second one that held; and a part
that was fine beside one that was not. The phrases were written before the code."""

from __future__ import annotations

import csv
from itertools import product
from pathlib import Path

import pytest

from faultodds.joblog import by_technician, draft, files_of, import_log
from faultodds.joblog.cells import CellReader
from faultodds.joblog.clean import FAILED, FOUND, REPAIRS, read_clean
from faultodds.joblog.mapping import Column
from faultodds.knowledge import Knowledge

PARTS = (("igniter", "igniter"), ("gas valve coils", "coil_set"), ("flame sensor", "flame_sensor"), ("motor", "motor"))
FITTED = ("fitted new {}", "replaced {}", "{} replaced", "tried another {}", "tried a new {}", "first changed the {}")
FAILED_RUN = (
    "to no avail", "without success", "with no effect", "no effect", "had no effect", "no result", "nothing changed",
    "problem remained", "fault persists", "fault still there", "same result", "same symptoms", "that wasn't it",
    "didn't change anything", "did not make a difference", "still cold", "in vain", "no help", "problem not solved",
)  # fmt: skip
THEN = ("then fitted {} - ok", "replaced {}, works now", "then {}, all good", "changed {} and it heats")
LEAST_READ = 0.9


def _read(dryer: Knowledge, text: str, kind: str = "repairs") -> tuple[dict[str, set[str]], bool]:
    """What a cell says, by column, and whether some of it is asked about."""
    cell = CellReader(Column("h", kind), dryer).read(text)  # type: ignore[arg-type]
    told: dict[str, set[str]] = {}
    for column, value in cell.said:
        told.setdefault(column, set()).update(value.split(";"))
    return told, bool(cell.left)


def test_every_wrong_part_fails_and_the_right_one_holds(dryer: Knowledge) -> None:
    """Over all the made cells: read so, or asked about; never dropped, and the wrong part never held."""
    good, silent, held = 0, [], []
    made = [*product(PARTS, FITTED, FAILED_RUN, THEN)]
    made = made[::7]
    for n, ((wrong, failed), fitted, run, then) in enumerate(made):
        right, repair = PARTS[(PARTS.index((wrong, failed)) + 1 + n % 3) % len(PARTS)]
        text = f"{fitted.format(wrong)}{(', ', ' - ', '. ')[n % 3]}{run}{('. ', ', ', '; ')[n % 3]}{then.format(right)}"
        told, asked = _read(dryer, text)
        if told.get(REPAIRS) == {failed, repair} and told.get(FAILED) == {failed} and not asked:
            good += 1
        elif not asked:
            silent.append((text, told))
        elif failed in told.get(REPAIRS, set()) - told.get(FAILED, set()):
            held.append((text, told))
    assert not silent[:5] and not held[:5], (len(silent), len(held))
    assert good >= LEAST_READ * len(made), good / len(made)


@pytest.mark.parametrize(
    "text",
    [
        "replaced motor, no problem with the belt",
        "new igniter, did nothing else",
        "coils replaced, gas pressure unchanged",
        "replaced igniter, old sticker still there",
        "new flame sensor, no help needed from customer",
        "fault persisted so fitted new igniter",
        "no effect from cleaning by customer, new coils fitted",
        "fitted motor, heats with no effect on the timer",
    ],
)
def test_no_repair_fails_that_nobody_says_failed(text: str, dryer: Knowledge) -> None:
    """The words of a run that failed, said of something else."""
    assert FAILED not in _read(dryer, text)[0]


FINE = (
    ("duct not kinked, drum belt frayed - replaced", "belt_idler"),
    ("belt not frayed, rollers flat spotted, changed", "rollers"),
    ("hood not stuck, blower wheel cracked - renewed", "blower_wheel"),
    ("flame sensor not stuck, igniter burnt out - fitted new one", "igniter"),
    ("thermal fuse not open, coils weak, swapped", "coil_set"),
    ("idler wasn't seized, motor was humming - replaced", "motor"),
    ("lint filter isn't torn, thermal fuse open, new fitted", "thermal_fuse"),
    ("igniter fine, flame sensor welded - swapped out", "flame_sensor"),
    ("motor never seized, blower wheel spun on shaft - new wheel", "blower_wheel"),
    ("coils not weak, igniter not cracked, thermal fuse popped - replaced", "thermal_fuse"),
)
NOT_DONE = (
    "duct not kinked, belt frayed - not replaced",
    "igniter not cracked, coils weak - to be replaced",
    "belt not frayed, rollers neither, nothing replaced",
    "thermal fuse not open, coils weak - customer declined",
    "motor not seized, belt not broken - replaced nothing",
    "hood not stuck, blower wheel ok, left as is",
)


@pytest.mark.parametrize("kind", ["repairs", "notes"])
def test_a_part_that_was_fine_hides_no_repair_of_the_next(kind: str, dryer: Knowledge) -> None:
    """Read, or asked about; never the part that was fine, and nothing dropped."""
    unread = []
    for text, repair in FINE:
        told, asked = _read(dryer, text, kind)
        assert told.get(REPAIRS, set()) <= {repair}, text
        assert asked or told.get(REPAIRS) or any(column.startswith(FOUND) for column in told), text
        unread += [] if told.get(REPAIRS) else [text]
    assert len(unread) <= 2, unread


@pytest.mark.parametrize("text", NOT_DONE)
def test_what_was_not_done_is_not_read_behind_a_part_that_was_fine(text: str, dryer: Knowledge) -> None:
    """A denial or a plan behind the second part holds for it."""
    assert not _read(dryer, text)[0].get(REPAIRS)


def test_each_counts_for_the_technician(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Rows of two technicians, one of whom fits a wrong part first on every second call."""
    path = tmp_path / "shop.csv"
    with path.open("w", encoding="utf-8", newline="") as handle:
        out = csv.writer(handle)
        out.writerow(["ticket", "date", "technician", "complaint", "work done"])
        for n in range(80):
            slip = "tried a new flame sensor, no effect, then igniter replaced - ok"
            work = slip if n % 4 == 0 else "new igniter"
            out.writerow([f"Q{100 + n}", f"2024-0{1 + n % 9}-{1 + n % 28:02}", ("AB", "CD")[n % 2], "no heat", work])
    import_log(draft(path, dryer, data=data), dryer, data)
    found: dict[str, by_technician.Record] = {}
    by_technician.add_records(found, read_clean(files_of("shop", data).clean))
    assert sorted((r.wrong, r.repaired) for r in found.values()) == [(0, 40), (20, 40)]


@pytest.mark.parametrize(
    "text", ["swapped motor without trouble", "coils renewed without a hitch", "put new belt on without help"]
)
def test_work_done_without_something_is_not_dropped(text: str, dryer: Knowledge) -> None:
    """It is read, or asked about."""
    told, asked = _read(dryer, text)
    assert told.get(REPAIRS) or asked


@pytest.mark.parametrize("text", ["left without new coils", "closed up without replacing igniter"])
def test_work_that_something_was_left_without_is_none(text: str, dryer: Knowledge) -> None:
    """No repair is read of it."""
    assert not _read(dryer, text)[0].get(REPAIRS)
