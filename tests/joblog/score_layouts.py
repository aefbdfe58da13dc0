"""How well whole logs are read with no mapping made by hand: `python tests/joblog/score_layouts.py [-v] [01 02 ...]`.

Each layout has a truth beside it: of every row the repairs that were really done, what the customer told, whether it came back, and
whether the row is another machine's (`skip`). A row that is to be skipped is right when nothing of it is kept as a repair.
"""

from __future__ import annotations

import sys
import tempfile
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean
from faultodds.joblog.drafts import draft
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.knowledge import Knowledge, load

FOLDER = Path(__file__).with_name("layouts")


@dataclass
class Score:
    """Of how many rows each thing was right, of how many it is known; and the rows that are not."""

    name: str
    rows: int = 0
    repairs: int = 0
    back: int = 0
    back_known: int = 0
    symptoms: int = 0
    minutes: int = 0
    minutes_known: int = 0
    problem: str = ""
    failures: list[str] = field(default_factory=list)


def layouts(wanted: Iterable[str] = ()) -> list[Path]:
    """The truth files, of the layouts wanted."""
    found = sorted(FOLDER.glob("layout_*.truth.toml"))
    return [path for path in found if not wanted or path.name[7:9] in wanted]


def imported(knowledge: Knowledge, truth: dict[str, Any]) -> tuple[pd.DataFrame, list[str]]:
    """The clean log of a layout, and what visits without a job number are called, by the place of their row."""
    with tempfile.TemporaryDirectory() as folder:
        drafted = draft(FOLDER / truth["file"], knowledge, name="layout", data=folder)
        import_log(drafted, knowledge, data=folder)
        called = [drafted.source.visit(n) for chunk in drafted.source.chunks() for n in chunk.numbers]
        return clean.read_clean(files_of("layout", folder).clean).astype(object), called


def score(knowledge: Knowledge, path: Path) -> Score:
    """Import one layout and hold it against its truth."""
    truth = tomllib.loads(path.read_text("utf-8"))
    found = Score(path.name[:9])
    try:
        frame, called = imported(knowledge, truth)
    except FaultoddsError as error:
        found.problem, found.rows = str(error), len(truth["row"])
        return found
    by_job: dict[str, list[Any]] = {}
    for entry in frame.to_dict("records"):
        by_job.setdefault(str(entry["job"]).partition("#")[0], []).append(entry)
    for row in truth["row"]:
        _add(found, row, by_job.get(str(row.get("ticket") or called[row["row"] - 1]), []))
    return found


def _add(found: Score, row: dict[str, Any], entries: list[Any]) -> None:
    found.rows += 1
    got = entries.pop(0) if entries else {}
    done = set(str(got.get(clean.REPAIRS)).split(";")) if _is(got.get(clean.REPAIRS)) else set()
    wanted = set() if row.get("skip") else set(row["repairs"])
    found.repairs += done == wanted
    told = {f"{n.partition(':')[2]}={v}" for n, v in got.items() if n.startswith(clean.FOUND) and _is(v)}
    symptoms = set(row.get("symptoms", ()))
    allowed = symptoms | set(row.get("may_symptoms", ())) | set(row.get("findings", ()))
    missing = symptoms - told - ({s for s in symptoms if s.startswith(_STOPS)})
    wrong = {t for t in told if any(t.partition("=")[0] == s.partition("=")[0] and t not in allowed for s in symptoms)}
    ok = row.get("skip") or (not missing and not wrong)
    found.symptoms += bool(ok)
    back_ok = True
    if "came_back" in row and not row.get("skip"):
        found.back_known += 1
        back_ok = (got.get(clean.ENDED) == clean.CAME_BACK) == row["came_back"]
        found.back += back_ok
    minutes_ok = True
    if "minutes" in row and not row.get("skip"):
        found.minutes_known += 1
        minutes_ok = _is(got.get(clean.MINUTES)) and abs(got[clean.MINUTES] - row["minutes"]) < 1
        found.minutes += minutes_ok
    if done != wanted:
        found.failures.append(f"{row.get('ticket', row.get('row'))} repairs {sorted(done)}, really {sorted(wanted)}")
    if not ok:
        found.failures.append(
            f"{row.get('ticket', row.get('row'))} told {sorted(told)}, missing {sorted(missing)}, wrong {sorted(wrong)}"
        )
    if not back_ok:
        found.failures.append(
            f"{row.get('ticket', row.get('row'))} ended {got.get(clean.ENDED)}, really back {row['came_back']}"
        )
    if not minutes_ok:
        found.failures.append(
            f"{row.get('ticket', row.get('row'))} minutes {got.get(clean.MINUTES)}, really {row['minutes']}"
        )


_STOPS = ("fire_signs", "gas_smell", "co_alarm")


def _is(value: Any) -> bool:
    return value is not None and not (isinstance(value, float) and pd.isna(value))


def line(score: Score) -> str:
    """One layout in figures."""
    if score.problem:
        return f"{score.name}: {score.rows:4} rows, not imported: {score.problem[:150]}"
    return (
        f"{score.name}: {score.rows:4} rows, repair sets right {100 * score.repairs / score.rows:5.1f} %, "
        f"came back {100 * score.back / max(score.back_known, 1):5.1f} %, symptoms {100 * score.symptoms / score.rows:5.1f} %, "
        f"minutes {100 * score.minutes / max(score.minutes_known, 1):5.1f} %"
    )


def main(arguments: list[str]) -> None:
    """Print every layout in figures; with -v the rows that are not right."""
    knowledge = load("gas_dryer")
    scores = [score(knowledge, path) for path in layouts([a for a in arguments if a.isdigit()])]
    for each in scores:
        print(line(each))
        for failure in each.failures if "-v" in arguments else ():
            print("   ", failure)
    rows = sum(s.rows for s in scores)
    print(f"repair sets right in {100 * sum(s.repairs for s in scores) / rows:.1f} % of {rows} rows")


if __name__ == "__main__":
    main(sys.argv[1:])
