"""Who fits wrong parts and who is called back: planted technicians come out by name, equal ones do not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from faultodds.joblog.by_technician import Record, add_records, differences
from faultodds.joblog.describe import describe
from faultodds.joblog.drafts import draft
from faultodds.joblog.importing import import_log
from faultodds.knowledge.schema import Knowledge
from faultodds.reports import log_months
from technician_log import EVEN, ONE_BAD, Habit, write

SHOPS = 400


def _drawn(rng: np.random.Generator, back: dict[str, float], visits: int) -> dict[str, Record]:
    found = {}
    for name, chance in back.items():
        n = int(rng.integers(max(10, visits // 3), 2 * visits))
        found[name] = Record(n, int(rng.binomial(n, chance)), n, int(rng.binomial(n, 0.05)), n)
    return found


def test_equal_technicians_are_hardly_ever_told_apart() -> None:
    """Of 400 shops in which all are alike about one in twenty may be accused, not more; of two people and of nine."""
    rng = np.random.default_rng(5)
    for people in (2, 4, 9):
        shops = [_drawn(rng, dict.fromkeys("ABCDEFGHI"[:people], 0.1), 120) for _ in range(SHOPS)]
        false = sum(bool(differences(shop)) for shop in shops)
        print(people, false / SHOPS)
        assert false <= 0.075 * SHOPS


def test_the_one_who_is_called_back_twice_as_often_is_named() -> None:
    """With 300 visits each of four, and only they: those who are measured against them are no news."""
    rng = np.random.default_rng(6)
    told = [differences(_drawn(rng, {"A": 0.08, "B": 0.08, "C": 0.2, "D": 0.08}, 300)) for _ in range(100)]
    assert sum("C" in " ".join(t) for t in told) >= 90
    assert sum(any(s.startswith(("A ", "B ", "D ")) for s in t) for t in told) <= 10


def test_one_who_is_better_than_all_others_is_named_as_that() -> None:
    """Nothing is taken for its opposite: fewer is told as fewer."""
    records = {n: Record(300, 45, 300, 30, 300) for n in "ABC"} | {"D": Record(300, 9, 300, 30, 300)}
    assert [s.split(":")[0] for s in differences(records)] == ["D was called back less often than the others"]


def test_few_visits_are_said_to_be_too_few() -> None:
    """Under ten visits nothing is said of a person, and such a person is no part of the others either."""
    records = {"A": Record(9, 9, 9, 0, 9), "B": Record(200, 10, 200, 2, 200), "C": Record(210, 11, 210, 3, 210)}
    assert differences(records) == []
    assert "too few to say" in records["A"].came_back and "too few" not in records["B"].came_back
    assert records["B"].came_back == "10 of 200, 5% (3 to 8%)"


def test_a_log_that_tells_nothing_of_endings_accuses_nobody() -> None:
    """Without endings, repairs or names there is nothing to compare."""
    for frame in (pd.DataFrame({"job": ["1"]}), pd.DataFrame({"job": ["1"], "technician": ["A"]})):
        found: dict[str, Record] = {}
        add_records(found, frame)
        assert differences(found) == [] and all("not told" in r.came_back for r in found.values())


@pytest.mark.parametrize(("people", "named"), [(ONE_BAD, True), (EVEN, False)])
def test_from_the_shops_own_table_to_the_name(
    people: dict[str, Habit], named: bool, tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """The whole way: a typed log in, the description and the month name TC where one was planted, and nobody else; how often each
    takes the wrong part comes out by the return visits."""
    path = tmp_path / "shop.csv"
    write(path, people, jobs=900, seed=3)
    import_log(draft(path, dryer, data=data), dryer, data)
    found = describe(Path(data) / "logs" / "shop.parquet")
    said = " ".join(differences(found.people))
    assert ("TC was called back more often" in said) == named
    assert ("TC's first repair failed more often" in said) == named
    assert not any(f"{other} was" in said or f"{other}'s" in said for other in ("TA", "TB", "TD"))
    wrong = {name: record.wrong / record.repaired for name, record in found.people.items()}
    assert all(abs(wrong[name] - habit.wrong) < 0.06 for name, habit in people.items()), wrong
    (month,) = log_months(dryer, "2025-03", data)
    assert " ".join(month.apart) == said and set(month.people) <= set(EVEN)
