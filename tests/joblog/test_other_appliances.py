"""Work on other appliances in a log that does not say which: set aside with its reason; what only stands by is no reason."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import pytest

from faultodds.joblog import draft, files_of, import_log, machines
from faultodds.joblog.clean import JOB, read_clean
from faultodds.knowledge import Knowledge

CORPUS = tomllib.loads((Path(__file__).parent / "other_appliances.toml").read_text("utf-8"))
HEADS = ["ticket", "date", "complaint", "what we found", "work done", "notes"]
DRYERS = 70


def _set_aside(rows: list[str], tmp_path: Path, data: str, dryer: Knowledge) -> dict[int, str]:
    """Which of some rows, among many of dryers, are set aside as another machine's, and why."""
    cells = [[cell.strip() for cell in row.split("|")] for row in rows]
    cells += [["no heat", "igniter open", "new igniter", f"n{n}"] for n in range(DRYERS)]
    path = tmp_path / "jobs.csv"
    with path.open("w", encoding="utf-8", newline="") as handle:
        out = csv.writer(handle)
        out.writerow(HEADS)
        out.writerows([f"Q{100 + n}", f"2024-0{1 + n % 9}-{1 + n % 28:02}", *row] for n, row in enumerate(cells))
    import_log(draft(path, dryer, data=data), dryer, data)
    files = files_of("jobs", data)
    kept = set(read_clean(files.clean)[JOB].astype(str))
    with files.aside.open(encoding="utf-8-sig", newline="") as handle:
        found = {int(line["row"]) - 2: line["why"] for line in csv.DictReader(handle)}
    assert all((f"Q{100 + n}" in kept) == (n not in found) for n in range(len(cells)))
    return {n: why for n, why in found.items() if why.startswith("is about another machine")}


def test_work_on_other_appliances_is_set_aside_with_its_reason(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Each row of the corpus, none of the dryers', and the words that told."""
    found = _set_aside(CORPUS["aside"], tmp_path, data, dryer)
    assert [row for n, row in enumerate(CORPUS["aside"]) if n not in found] == []
    assert set(found) == set(range(len(CORPUS["aside"])))
    assert all(why.split("'")[1].casefold() in CORPUS["aside"][n] for n, why in found.items())


def test_what_only_stands_beside_is_kept(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """A washer below, a stove on the same gas line, an oven that it is as hot as."""
    found = _set_aside(CORPUS["kept"], tmp_path, data, dryer)
    assert [CORPUS["kept"][n] for n in found] == []


@pytest.mark.parametrize("forgotten", ["not_after", "unless"])
def test_the_corpus_sees_what_is_forgotten(
    forgotten: str, tmp_path: Path, data: str, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the words for standing beside, or those of the dryer itself, rows that are kept go."""
    words = machines.trade(dryer.appliance.id)
    kins = [{**kin, **({forgotten: "(?!)"} if forgotten in kin else {})} for kin in words["kin"]]
    monkeypatch.setattr(machines, "trade", lambda appliance: {**words, "kin": kins})
    assert _set_aside(CORPUS["kept"], tmp_path, data, dryer) != {}
