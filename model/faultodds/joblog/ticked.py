"""Columns that are named after a repair or a symptom and ticked where it was: "Fitted igniter" Y, "No heat" x, "Belt new?" 1.

Such a column is one of repairs, complaints or findings, with what a tick means among its words. A heading that names a part alone
("Coils") may mean that it was fitted, or found bad: it is taken for fitted, and asked about.
"""

from __future__ import annotations

import re
from typing import Final

from faultodds.joblog import by_values, callbacks
from faultodds.joblog.cells import CellReader
from faultodds.joblog.clean import FOUND, REPAIRS
from faultodds.joblog.likely import Sample
from faultodds.joblog.mapping import SAYS_NOTHING, Column, Kind
from faultodds.knowledge import Knowledge

_ASKS: Final = re.compile(r"\W*(?:\(?\b(?:y|yes)\W{1,3}(?:n|no)\b\)?)?[\s?:.#]*$", re.I)
_KINDS: Final[tuple[Kind, ...]] = ("complaint", "repairs", "findings")
SURE: Final = 0.9
GUESSED: Final = 0.5
_UNSAID: Final = "ticked, and its heading names no one finding or repair: say in the mapping what a tick means"


def proposed(knowledge: Knowledge, sample: Sample) -> Column | None:
    """What a column of ticks is by its heading; None when it is no such column, or its heading says nothing that is known."""
    if not by_values.is_ticked(sample.counts):
        return None
    named = _ASKS.sub("", sample.heading)
    for kind in _KINDS:
        cell = CellReader(Column("", kind), knowledge).read(named)
        if len(cell.said) == 1 and not cell.left and ";" not in cell.said[0][1]:
            words = _words(knowledge, sample, *cell.said[0])
            sure = GUESSED if kind == "repairs" and names_a_part_alone(knowledge, named) else SURE
            return Column(sample.heading, kind, words=words, sure=sure, why="ticked")
    if sample.nameless:
        return None
    if CellReader(Column("", "repairs"), knowledge).is_foreign(named):
        return Column(sample.heading, "left_out", sure=0.0, why="a repair the file does not know")
    return unsaid(sample)


def unsaid(sample: Sample) -> Column:
    """A column of ticks, left out until somebody says what one means."""
    return Column(sample.heading, "left_out", sure=0.0, why=_UNSAID)


def names_a_part_alone(knowledge: Knowledge, heading: str) -> bool:
    """Whether a heading names a part and nothing that was done to it: in a column of findings or notes that is no repair."""
    return not CellReader(Column("", "notes"), knowledge).read(_ASKS.sub("", heading)).said


def _words(knowledge: Knowledge, sample: Sample, column: str, value: str) -> dict[str, str]:
    """What each answer of the column means: a tick what the heading says, a "no" nothing, or that a symptom was looked for."""
    name = column.removeprefix(FOUND)
    outcomes = () if column == REPAIRS else knowledge.observables[name].outcomes
    denied = f"{name}=no" if value == "yes" and set(outcomes) == {"no", "yes"} else SAYS_NOTHING
    told = value if column == REPAIRS else f"{name}={value}"
    answers = {text: callbacks.answer(text) for text in sample.counts if by_values.is_tick(text)}
    return {text: told if yes else denied for text, yes in answers.items() if yes is not None}
