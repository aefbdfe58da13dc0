"""Cells that may be taken for their opposite: phrases a shop has explained inside longer cells, parts not yet fitted, results, heat,
what stands behind a word for a call back. The cells were written before the code; what is not read may be asked about."""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from faultodds.joblog import sentences
from faultodds.joblog.cells import CellReader
from faultodds.joblog.free_text import FreeText
from faultodds.joblog.mapping import Column
from faultodds.knowledge import Knowledge

CELLS = tomllib.loads(Path(__file__).with_name("opposite_cells.toml").read_text("utf-8"))
OWN = {**CELLS["explained"], "complaint": {"my long word": "dry_time=longer"}}


def read(dryer: Knowledge, kind: Any, text: str, family: str = "") -> set[str]:
    """What a cell says; the endings of a column of work left out."""
    words = OWN.get(kind, {}) if family in ("said", "unsaid", "recall") else {}
    told = CellReader(Column("h", kind, words=words), dryer).read(text).said
    pairs = [(column.partition(":")[2], each) for column, value in told for each in value.split(";")]
    said = {f"{name}={value}" if name else value for name, value in pairs}
    return said if kind == "ended" else said - {"gone", "unknown", "referred"}


def marks(dryer: Knowledge, family: str) -> dict[str, list[str]]:
    """The cells of a family by their marks: right, not read, wrong."""
    found: dict[str, list[str]] = {"right": [], "unread": [], "wrong": []}
    for kind, cells in CELLS[family].items():
        for cell in cells:
            text, says = (cell, "") if isinstance(cell, str) else cell
            said, wanted = read(dryer, kind, text, family), {*says.split(";")} - {""}
            found["right" if said == wanted else "wrong" if said - wanted else "unread"].append(f"{text}: {sorted(said)}")
    return found


FAMILIES = {"said": 0, "unsaid": 0, "done": 0, "not_done": 0, "ends": 0, "heat": 0, "recall": 0}
"""How many cells of each family may go unread."""


@pytest.mark.parametrize("family", FAMILIES)
def test_nothing_is_taken_for_its_opposite(family: str, dryer: Knowledge) -> None:
    """No cell says what it does not; hardly one is not read."""
    found = marks(dryer, family)
    assert not found["wrong"]
    assert len(found["unread"]) <= FAMILIES[family], found["unread"]
