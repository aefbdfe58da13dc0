"""Headings that say little ("Time", "No", "Unit") or name a part and its money: told by what stands under them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from faultodds.joblog.likely import samples
from faultodds.joblog.propose import propose
from faultodds.knowledge import Knowledge

ROWS = 90
CASES: list[tuple[str, list[str], str]] = [
    ("Time", ["70", "35", "90"], "minutes"),
    ("TIME", ["1.5", "0.75", "2"], "minutes"),
    ("Time taken", ["25", "55", "80"], "minutes"),
    ("Time on call", ["1:10", "0:40"], "minutes"),
    ("Rollers £", ["31", "44.10", "9"], "left_out"),
    ("Repair $", ["95", "120"], "left_out"),
    ("Parts used €", ["12,50", "7"], "left_out"),
    ("Part", ["$12.00", "$9.95", "£7"], "left_out"),
    ("Parts", ["igniter", "2 coils", "belt"], "repairs"),
    ("Unit", ["Drier", "wash. mach.", "Ref", "Dryer"], "machine"),
    ("Unit", ["4A", "210", "17"], "left_out"),
    ("Unit", ["F", "C"], "left_out"),
    ("No", [str(880 + n) for n in range(ROWS)], "job"),
    ("No.", [str(880 + n - n // 6) for n in range(ROWS)], "job"),
    ("Nr", [str(990 - n + 30 * (n % 17 == 0)) for n in range(ROWS)], "job"),
    ("No", [str(1 + n % 4) for n in range(ROWS)], "left_out"),
    ("No", [str(100 + 37 * n % 83) for n in range(ROWS)], "left_out"),
    ("#", ["Y", "N"], "left_out"),
]


def _columns() -> Iterator[tuple[str, list[str]]]:
    yield "Visit date", [f"2023-{1 + n // 28:02}-{1 + n % 28:02}" for n in range(ROWS)]
    yield "Complaint", ["no heat", "squeals", "takes two cycles"] * (ROWS // 3)
    yield "Work done", ["new igniter", "new rollers", "cleaned duct"] * (ROWS // 3)


@pytest.mark.parametrize(("heading", "cells", "kind"), CASES)
def test_a_plain_heading_is_what_its_cells_say(heading: str, cells: list[str], kind: str, dryer: Knowledge) -> None:
    """Minutes by heading and size, money by its sign, a machine by its name, job numbers by how they grow."""
    columns = [*_columns(), (heading, [cells[n % len(cells)] for n in range(ROWS)])]
    heads, filled = zip(*columns, strict=True)
    found = propose(dryer, samples(heads, list(zip(*filled, strict=True)))).columns
    assert [c.kind for c in found] == ["day", "complaint", "repairs", kind]
