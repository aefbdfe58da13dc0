"""The file of rows set aside: their numbers, and why. What stood in them is in the shop's own log, and nowhere else."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import TracebackType

from faultodds.joblog.sources import Source
from faultodds.names import harmless

_STARTS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def safe(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula or a command: one that could be is shown with an apostrophe in front."""
    cell = harmless(cell)
    return f"'{cell}" if cell.lstrip().startswith(_STARTS) else cell


HEAD = ("file", "sheet", "row", "why")


class AsideFile:
    """Writes rows set aside, one by one: where they stand in their file (`Source.where`), and why; behind the rows `before` of
    files that were read into the log earlier."""

    def __init__(self, path: Path, source: Source, before: Iterable[Mapping[str, str]] = ()) -> None:
        self._path, self._source, self._before = path, source, before

    def __enter__(self) -> AsideFile:
        self._handle = self._path.open("w", encoding="utf-8-sig", newline="")
        self._writer = csv.writer(self._handle)
        self._writer.writerow(HEAD)
        self._writer.writerows([row.get(name) or "" for name in HEAD] for row in self._before)
        return self

    def add(self, number: int, why: str) -> None:
        """Write one row."""
        sheet, row = self._source.where(number)
        name = self._source.sheets[sheet] if self._source.sheets else ""
        self._writer.writerow([safe(self._source.name), safe(name), row, why])

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._handle.close()


def rows_of(path: Path, source: str) -> list[dict[str, str]]:
    """The rows that a file of rows set aside holds; those that name no file are of `source`. None where there is no such file."""
    if not path.exists():
        return []
    with path.open(encoding="utf-8-sig", newline="") as handle:
        return [{"file": safe(source), **row} for row in csv.DictReader(handle)]
