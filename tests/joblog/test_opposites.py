"""Cells that may be taken for their opposite: phrases a shop has explained inside longer cells, parts not yet fitted, results,
heat, what stands behind a word for a call back. The cells were written before the code; what is not read may be asked about."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from faultodds.joblog import callbacks, cells, endings_told, log_words, sentences
from faultodds.joblog.cells import CellReader
from faultodds.joblog.explained import Explained
from faultodds.joblog.lexicon import hint
from faultodds.joblog.mapping import Column
from faultodds.joblog.sentences import Sentences
from faultodds.joblog.stems import key
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
    for kind, each in CELLS[family].items():
        for cell in each:
            text, says = (cell, "") if isinstance(cell, str) else cell
            said, wanted = read(dryer, kind, text, family), {*says.split(";")} - {""}
            found["right" if said == wanted else "wrong" if said - wanted else "unread"].append(
                f"{text}: {sorted(said)}"
            )
    return found


FAMILIES = {"said": 0, "unsaid": 0, "done": 0, "not_done": 0, "ends": 0, "heat": 0, "recall": 0}
"""How many cells of each family may go unread."""


@pytest.mark.parametrize("family", FAMILIES)
def test_nothing_is_taken_for_its_opposite(family: str, dryer: Knowledge) -> None:
    """No cell says what it does not; hardly one is not read."""
    found = marks(dryer, family)
    assert not found["wrong"]
    assert len(found["unread"]) <= FAMILIES[family], found["unread"]


def test_no_hint_is_the_opposite(dryer: Knowledge) -> None:
    """What is not understood is brought near no part that only sounds so, and never to "all is well"."""
    for kind, each in CELLS["hints"].items():
        for text, never in each:
            near = hint(dryer, CellReader(Column("h", kind), dryer).lexicon, text)
            assert near is None or near.value != never
    assert hint(dryer, CellReader(Column("h", "repairs"), dryer).lexicon, "ignitr thingummy") is not None


@pytest.mark.parametrize(
    ("family", "where", "name", "instead"),
    [
        ("unsaid", Explained, "stand_in", lambda self, text: text),
        ("unsaid", cells, "exactly", key),
        ("not_done", Sentences, "_is_left_open", lambda *_: False),
        ("not_done", sentences, "_NOT_OURS", re.compile("(?!)")),
        ("not_done", log_words, "_shorthand", lambda appliance: ()),
        ("ends", endings_told, "is_remark", lambda appliance, text: True),
        ("recall", callbacks, "AGAIN_FOR", re.compile("(?!)")),
        ("heat", log_words, "_shorthand", lambda appliance: ()),
    ],
)
def test_the_cells_see_a_planted_mistake(
    family: str, where: Any, name: str, instead: Any, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each of the rules left out is seen by the family that it was made for."""
    log_words.written.cache_clear()
    monkeypatch.setattr(where, name, instead)
    found = marks(dryer, family)
    monkeypatch.undo()
    log_words.written.cache_clear()
    assert found["wrong"] or found["unread"]
