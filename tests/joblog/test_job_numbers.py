"""A column of numbers that count on is the job's number, whatever little its heading says; it is nobody's, and no branch."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.joblog import draft, import_log
from faultodds.joblog.clean import JOB, read_clean
from faultodds.knowledge import Knowledge
from shop_logs import write

WORK = ("new igniter", "new coils", "cleaned vent", "thermal fuse")
MINE = [f"{n}" for n in range(1, 25)]
FORMS = {
    "plain": MINE,
    "from 4401": [str(4400 + n) for n in range(1, 25)],
    "letters": [f"B{n}" for n in range(1, 25)],
    "with gaps": [str(3 * n + n % 2) for n in range(1, 25)],
    "hash": [f"#{n}" for n in range(101, 125)],
    "newest first": [str(n) for n in range(900, 876, -1)],
}


def _log(tmp_path: Path, heading: str, numbers: list[str], customer: str = "") -> Path:
    heads = f"{heading},date,{f'{customer},' if customer else ''}complaint,work done"
    rows = [
        f"{number},2024-0{1 + n // 28}-{1 + n % 28:02},{f'C{n % 20},' if customer else ''}no heat,{WORK[n % 4]}"
        for n, number in enumerate(numbers)
    ]
    return write(tmp_path / "shop.csv", "\n".join([heads, *rows]) + "\n")


@pytest.mark.parametrize("heading", ["No", "No.", "#", "Nr", "Nr.", "no", "Num", "Number", "Sl no", "Line"])
@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("customer", ["", "client"])
def test_numbers_that_count_on_are_job_numbers(
    heading: str, form: str, customer: str, tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """And they are kept as the visits' names."""
    found = draft(_log(tmp_path, heading, FORMS[form], customer), dryer, data=data)
    kinds = {column.heading: column.kind for column in found.mapping.columns}
    assert kinds[heading] == "job" and kinds.get("client", "customer") == "customer"
    import_log(found, dryer, data)
    assert read_clean(Path(data) / "logs" / "shop.parquet")[JOB].astype(str).tolist() == FORMS[form]


@pytest.mark.parametrize("heading", ["No", "#", "Nr", "Number"])
def test_numbers_that_come_again_are_not_taken_for_the_jobs(heading: str, tmp_path: Path, dryer: Knowledge) -> None:
    """A number that stands on several visits, or jumps about, may be a customer's or a machine's: it is asked about or left out."""
    again = [str(100 + n % 8) for n in range(24)]
    found = draft(_log(tmp_path, heading, again), dryer, data=str(tmp_path))
    assert next(c.kind for c in found.mapping.columns if c.heading == heading) != "job"


@pytest.mark.parametrize("heading", ["Job No", "ticket", "Work order", "Job", "Ref"])
@pytest.mark.parametrize("letter", ["B", "R", "BR", "A-"])
def test_short_job_numbers_are_no_branches(
    heading: str, letter: str, tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """B1 to B10, some of them with a second visit, are the jobs' numbers, and stay as they are written."""
    numbers = [f"{letter}{n}" for n in range(1, 11)]
    found = draft(_log(tmp_path, heading, [*numbers, *numbers[:3]]), dryer, data=data)
    kinds = {column.heading: column.kind for column in found.mapping.columns}
    assert kinds[heading] == "job" and "branch" not in kinds.values()
    import_log(found, dryer, data)
    told = read_clean(Path(data) / "logs" / "shop.parquet")[JOB].astype(str).tolist()
    assert told[:10] == numbers and told[10:] == [f"{n}#2" for n in numbers[:3]]
