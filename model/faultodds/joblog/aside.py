"""The file of rows set aside: why, and what stood in them, without personal data and safe to open in a spreadsheet."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from faultodds.joblog import personal

_STARTS = ("=", "+", "-", "@", "\t", "\r")


def safe(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula: one that could be is shown with an apostrophe in front."""
    return f"'{cell}" if cell.startswith(_STARTS) else cell


class AsideFile:
    """Writes rows set aside, one by one; nothing of the columns that are not `kept` gets into it."""

    def __init__(self, path: Path, kept: Sequence[tuple[int, str]]) -> None:
        self._path, self._kept = path, kept

    def __enter__(self) -> AsideFile:
        self._handle = self._path.open("w", encoding="utf-8-sig", newline="")
        self._writer = csv.writer(self._handle)
        self._writer.writerow(["row", "why", *(safe(heading) for _, heading in self._kept)])
        return self

    def add(self, number: int, why: str, cells: Sequence[str]) -> None:
        """Write one row; what looks like a telephone number, an e-mail or an address is blotted out."""
        shown = [safe(personal.masked(cells[place])) if place < len(cells) else "" for place, _ in self._kept]
        self._writer.writerow([number, why, *shown])

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._handle.close()
