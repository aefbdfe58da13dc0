"""How well single cells are read, scored on a corpus: `python tests/joblog/score_cells.py [odd|even] [-v]`.

A cell of the corpus (`cells.toml`) has the heading of its `column`, its `text`, sometimes the rest of the column (`column_values`),
and what it says: `symptoms`, `findings`, `repairs`, `came_back`, `minutes`. `may` is neither right nor wrong, `not` would be the
opposite, and a cell that is `unclear` is to be asked about. Each is read as a log of that one column. It is

* harmful: something of `not` was read;
* wrong: something else was read that it does not say;
* right: all that it says was read and nothing else, or, of an unclear one, nothing was read and it is asked about;
* asked: a part of it was not read, and it is asked about; missed: not even that.
"""

from __future__ import annotations

import datetime as dt
import sys
import tomllib
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from faultodds.joblog import clean
from faultodds.joblog.cleaning_report import CleaningReport
from faultodds.joblog.endings import CODE
from faultodds.joblog.likely import samples
from faultodds.joblog.propose import propose
from faultodds.joblog.reading import Piece, PieceReader
from faultodds.joblog.sources import Source
from faultodds.knowledge import Knowledge, load
from faultodds.safety import hear

MARKS = ("right", "asked", "missed", "wrong", "harmful")
CORPUS = Path(__file__).with_name("cells.toml")
_STOPS = {"gas": "gas_smell", "fire": "fire_signs", "co": "co_alarm", "ill": "co_alarm"}


def read(part: str = "") -> list[dict[str, Any]]:
    """The cells of the corpus; of one half when `part` is "odd" or "even" (the first is odd)."""
    cells: list[dict[str, Any]] = tomllib.loads(CORPUS.read_text("utf-8"))["cell"]
    return cells[0::2] if part == "odd" else cells[1::2] if part == "even" else cells


def heard(knowledge: Knowledge, cell: Mapping[str, Any]) -> tuple[set[str], bool]:
    """What is read of a cell, as the corpus writes it, and whether something of it is asked about."""
    texts = [cell["text"], *cell.get("column_values", ())]
    rows = [[text] for text in texts]
    mapping = propose(knowledge, samples([cell["column"]], rows))
    source = Source("cells", "CSV", [cell["column"]], [], lambda: iter(()))
    reader = PieceReader(mapping, source, knowledge, "month first", dt.date(2030, 1, 1))
    piece = reader._read_columns([tuple(texts)], np.arange(1, len(texts) + 1))
    report = CleaningReport("cells", "cells", knowledge.appliance.id, [])
    reader.report_into(report)
    left_out = bool(report.left_out) and bool(cell["text"].strip())
    asked = (
        left_out
        or any(c.counts[s] for c in report.columns for s in ("unknown", "either"))
        or any(c.words for c in report.columns)
    )
    danger = hear(cell["text"])
    # Danger is told of in the report, and read beside the log, never into it: too much of it is no harm.
    told = {f"{_STOPS.get(danger.hazard)}=yes"} & set(cell.get("symptoms", ())) if danger else set()
    return _said(piece) | told, bool(asked)


def _said(piece: Piece) -> set[str]:
    said: set[str] = set()
    failed = set((piece.values.get(clean.FAILED, [None])[0] or "").split(";")) - {""}
    for name, column in piece.values.items():
        kind, _, target = name.partition(":")
        value = column[0]
        if value is None or kind in ("fact", clean.JOB, clean.TECHNICIAN):
            continue
        if name == clean.FAILED:
            said |= {f"failed={repair}" for repair in failed}
        elif name == clean.REPAIRS:
            said |= set(value.split(";")) - failed
        else:
            weights = clean.weights(value)
            said.add(f"{target}={max(weights, key=lambda outcome: weights[outcome])}")
    ended = {CODE[clean.CAME_BACK]: "came_back=true", CODE[clean.GONE]: "came_back=false"}
    said |= {ended[code] for code in [int(piece.ending_words[0])] if code in ended}
    minutes = piece.numbers.get(clean.MINUTES, [None])[0]
    return said | ({f"minutes={minutes:g}"} if minutes is not None else set())


def score(knowledge: Knowledge, cell: Mapping[str, Any]) -> tuple[str, set[str]]:
    """The mark of a cell, and what was read."""
    said, asked = heard(knowledge, cell)
    return mark(cell, said, asked), said


def mark(cell: Mapping[str, Any], said: set[str], asked: bool) -> str:
    """What is to be thought of `said` as the meaning of a cell."""
    wanted = {each for kind in ("symptoms", "findings", "repairs") for each in cell.get(kind, ())}
    if "came_back" in cell:
        wanted.add(f"came_back={str(cell['came_back']).lower()}")
    if "minutes" in cell:
        wanted.add(f"minutes={cell['minutes']:g}")
    if said & set(cell.get("not", ())):
        return "harmful"
    if said - wanted - set(cell.get("may", ())):
        return "wrong"
    if cell.get("unclear"):
        return "right" if asked or said else "missed"
    return "right" if wanted <= said else "asked" if asked else "missed"


def table(scored: list[tuple[dict[str, Any], str, set[str]]]) -> list[str]:
    """How many of each kind got which mark."""
    kinds = sorted({cell["kind"] for cell, _, _ in scored})
    rows = [f"{'':10}" + "".join(f"{m:>9}" for m in (*MARKS, "cells"))]
    for kind in [*kinds, "all"]:
        marks = Counter(m for cell, m, _ in scored if kind in (cell["kind"], "all"))
        rows.append(f"{kind:10}" + "".join(f"{marks[m]:9}" for m in MARKS) + f"{sum(marks.values()):9}")
    return rows


def main(arguments: list[str]) -> None:
    """Print the failures, worst first, and the table; without -v the table alone."""
    knowledge = load("gas_dryer")
    part = next((a for a in arguments if not a.startswith("-")), "")
    scored = [(cell, *score(knowledge, cell)) for cell in read(part)]
    for m in reversed(MARKS[1:]) if "-v" in arguments else ():
        for cell, _, said in (each for each in scored if each[1] == m):
            wanted = [each for kind in ("symptoms", "findings", "repairs") for each in cell.get(kind, ())]
            wanted += [f"{k}={cell[k]}" for k in ("came_back", "minutes", "unclear") if k in cell]
            print(f"{m:8} {cell['column']} | {cell['text']!r}: {', '.join(sorted(said)) or 'nothing'}; says {wanted}")
    print("\n".join(table(scored)))


if __name__ == "__main__":
    main(sys.argv[1:])
