"""The file of rows set aside: their numbers, and why. What stood in them is in the shop's own log, and nowhere else."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

from faultodds.names import harmless

_STARTS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def safe(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula or a command: one that could be is shown with an apostrophe in front."""
    cell = harmless(cell)
    return f"'{cell}" if cell.lstrip().startswith(_STARTS) else cell


class AsideFile:
    """Writes rows set aside, one by one: their numbers, of a workbook also where they stand in it (`Source.sheet_row`), and why."""

    def __init__(self, path: Path, sheet_row: Callable[[int], tuple[str, int]] | None = None) -> None:
        self._path, self._sheet_row = path, sheet_row

    def __enter__(self) -> AsideFile:
        self._handle = self._path.open("w", encoding="utf-8-sig", newline="")
        self._writer = csv.writer(self._handle)
        self._writer.writerow(["row", *(["sheet", "row in sheet"] if self._sheet_row else []), "why"])
        return self

    def add(self, number: int, why: str) -> None:
        """Write one row."""
        place = self._sheet_row(number) if self._sheet_row else ()
        self._writer.writerow([number, *(safe(str(part)) for part in place), why])

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._handle.close()
