"""What this program keeps of its user: which files, and how to take them away."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from faultodds.errors import FaultoddsError

OWN: Final = {
    "what was found and done on each call, and notes": ("jobs.sqlite", "jobs.sqlite-*"),
    "photographs kept with jobs": ("photos/*.jpg", "photos/.*.new"),
    "imported job logs": ("logs/*.parquet",),
    "their reports, mappings and rows set aside": (
        *(
            f"logs/*.{ending}"
            for ending in ("report.json", "report.txt", "set_aside.csv", "phrases.csv", "mapping.toml")
        ),
        "logs/.*.new",
        "logs/.*.whole",
    ),
    "numbers learned from logs": ("revisions/*/*",),
    "knowledge files of your own": ("appliances/*.toml", "appliances/.*.new"),
    "drills: what was typed, and how they ended": ("drills/*/*.json", "drills/*/.*.new", "drills/.*.new"),
    "the shop's prices, minutes and technicians": ("shop.toml", ".shop.toml.*.new"),
}
"""Everything that this program puts into its data folder, by what it is. Nothing else there is ever touched."""


# Folders that have a folder for each thing or person.
NESTED: Final = ("revisions", "drills")


@dataclass(frozen=True)
class Kept:
    """Files of one kind: what they are, where, and how many bytes."""

    what: str
    paths: tuple[Path, ...]
    size: int


def kept_in(folder: Path) -> list[Kept]:
    """What of a data folder is this program's."""
    found = {what: [p for pattern in patterns for p in sorted(folder.glob(pattern))] for what, patterns in OWN.items()}
    return [Kept(what, tuple(paths), sum(p.lstat().st_size for p in paths)) for what, paths in found.items() if paths]


def remove(kept: Sequence[Kept]) -> None:
    """Take files away, and folders that are empty then; of a link the link. Raises FaultoddsError naming the first that stays."""
    for path in (path for each in kept for path in each.paths):
        try:
            shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink(missing_ok=True)
        except OSError as error:
            raise FaultoddsError(
                f"{path} could not be deleted ({error.strerror or error}). What stands before it in the list is gone."
            ) from None
        nested = path.parent.parent.name in NESTED
        for above in (path.parent, path.parent.parent) if nested else (path.parent,):
            if above.name in ("logs", "appliances", "photos", *NESTED) or above.parent.name in NESTED:
                with contextlib.suppress(OSError):
                    above.rmdir()
