"""The file of rows set aside: their numbers, and why. What stood in them is in the shop's own log, and nowhere else."""

from __future__ import annotations

import csv
from pathlib import Path
from types import TracebackType

from faultodds.joblog.sources import Source
from faultodds.names import harmless

_STARTS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def safe(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula or a command: one that could be is shown with an apostrophe in front."""
    cell = harmless(cell)
    return f"'{cell}" if cell.lstrip().startswith(_STARTS) else cell


class AsideFile:
    """Writes rows set aside, one by one: where they stand in their file (`Source.where`), and why."""

    def __init__(self, path: Path, source: Source) -> None:
        self._path, self._source = path, source

    def __enter__(self) -> AsideFile:
        self._handle = self._path.open("w", encoding="utf-8-sig", newline="")
        self._writer = csv.writer(self._handle)
        self._writer.writerow([*(["sheet"] if self._source.sheets else []), "row", "why"])
        return self

    def add(self, number: int, why: str) -> None:
        """Write one row."""
        sheet, row = self._source.where(number)
        self._writer.writerow([*(safe(name) for name in self._source.sheets[sheet : sheet + 1]), row, why])

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._handle.close()
