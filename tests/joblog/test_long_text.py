"""Text of any length: a megabyte of any one kind of character is answered at once, and no pattern runs away."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator

import pytest

from faultodds.errors import FaultoddsError
from faultodds.job import asked, sayings, typed
from faultodds.joblog.cells import CellReader
from faultodds.joblog.mapping import KINDS, Column
from faultodds.joblog.sources import LONGEST_CELL
from faultodds.knowledge import Knowledge
from faultodds.names import LONGEST_LINE
from faultodds.readings import amount, drill_inches, judge, quantity, split_windings
from faultodds.readings.parse import LONGEST_READING
from faultodds.safety import hear

UNITS = [
    *(" ", "1", "a", ".", ",", "-", "/", "(", "_", "=", "\n", "\t", "'", "²", "\u0663", "é", "x", "+"),
    *(
        "1 ",
        "1.",
        "1,",
        "1/",
        "1-",
        "a ",
        "a, ",
        "no ",
        "co ",
        "no gas ",
        "1 a",
        "x1",
        "a=",
        "; ",
        "and ",
        "~",
        "leads ",
    ),
]
MEGABYTE = 1_000_000
SECONDS = 10.0


def readers(knowledge: Knowledge) -> Iterator[Callable[[str], object]]:
    """Everything that takes a reading or a typed line."""
    for name, spec in knowledge.reading.items():
        outcomes = list(knowledge.observables[name].outcomes)
        yield lambda text, s=spec, o=outcomes: judge(s, o, text)
        yield lambda text, s=spec: quantity(text, s)
    yield from (split_windings, drill_inches, lambda text: amount(text, "ft", "3"))
    yield lambda text: sayings.understand(knowledge, text)
    yield lambda text: typed.parts(text)
    yield lambda text: typed.findings(knowledge, text)


def cell_readers(knowledge: Knowledge) -> Iterator[Callable[[str], object]]:
    """Readers of the cells of a log: one of every kind of column, some of every kind of reading."""
    for kind in KINDS:
        if kind not in ("fact", "finding"):
            yield CellReader(Column("c", kind), knowledge).read  # type: ignore[arg-type]
    yield CellReader(Column("c", "fact", (next(iter(asked(knowledge))),)), knowledge).read
    for name in ("coil_ohms", "meter_clocking", "dry_time", "hood_flap"):
        if name in knowledge.observables:
            yield CellReader(Column("c", "finding", (name,)), knowledge).read


def slowest(reader: Callable[[str], object], length: int) -> tuple[float, str]:
    """The longest time that a text of one unit takes, and the unit."""
    worst = (0.0, "")
    for unit in UNITS:
        text = (unit * length)[:length]
        begin = time.process_time()
        with contextlib.suppress(FaultoddsError):
            reader(text)
        worst = max(worst, (time.process_time() - begin, unit))
    return worst


def test_a_megabyte_is_refused_at_once(dryer: Knowledge) -> None:
    """Typed lines and readings: refused by their length, before any pattern."""
    for reader in readers(dryer):
        assert slowest(reader, MEGABYTE)[0] < 1.0


@pytest.mark.parametrize("length", [LONGEST_READING, LONGEST_LINE])
def test_the_longest_text_that_is_taken_is_read_quickly(dryer: Knowledge, length: int) -> None:
    """At the bound no pattern runs away: a cube of the length would show."""
    for reader in readers(dryer):
        assert slowest(reader, length)[0] < SECONDS


def test_the_longest_cell_is_read_quickly(dryer: Knowledge) -> None:
    """Cells of a log, free text among them."""
    for reader in cell_readers(dryer):
        assert slowest(reader, LONGEST_CELL)[0] < SECONDS


def test_danger_is_heard_in_a_megabyte() -> None:
    """It is listened to all the same, in parts; what stands at its end is heard."""
    assert slowest(hear, MEGABYTE)[0] < SECONDS
    heard = hear("all fine here. " * 50_000 + "i smell gas")
    assert heard is not None
    assert heard.hazard == "gas"
    for shift in range(0, 400, 7):
        assert hear("x " * 900 + "y" * shift + " i smell gas in the hall " + "x " * 2000) is not None
