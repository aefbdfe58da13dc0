"""Drills on disk: a folder a person, a file a drill, every line typed in it, and what it came to. Nothing is sent anywhere."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultodds.errors import FaultoddsError, StoreError
from faultodds.names import fold

if TYPE_CHECKING:
    from faultodds.calibration import Drilled

FOLDER = "drills"
LONGEST = 40


@dataclass
class Kept:
    """One drill of one person. `lines` are all that were typed; `done` what it came to, once it has ended."""

    path: Path
    level: int
    seed: int
    qualified: bool = False
    lines: list[str] = field(default_factory=list)
    done: dict[str, Any] | None = None

    @property
    def drill(self) -> str:
        """How it is called: level and seed."""
        return f"{self.level}-{self.seed}"

    def save(self) -> None:
        """Put it on disk, whole."""
        from faultodds.files import own_folder, written_whole

        record = {name: value for name, value in vars(self).items() if name != "path"}
        try:
            own_folder(self.path.parent)
            with written_whole(self.path) as beside:
                beside.write_text(json.dumps(record, indent=1), encoding="utf-8")
        except OSError as problem:
            raise StoreError(
                f"the drill cannot be kept in {self.path.parent}: {problem.strerror}. Type --data FOLDER."
            ) from None


def folder_of(person: str, data: str | None) -> Path:
    """Where a person's drills are. The name is of one's own choosing; letters, digits and underscores are kept of it."""
    name = fold(person)
    if not name or len(name) > LONGEST:
        raise FaultoddsError(
            f"--name '{person}': 1 to {LONGEST} letters or digits, any name you like. Such as --name bench3."
        )
    return _root(data) / name


def _root(data: str | None) -> Path:
    from faultodds.files import data_folder

    return (Path(data).expanduser() if data else data_folder()) / FOLDER


def people(data: str | None) -> list[str]:
    """Everybody who has drills."""
    root = _root(data)
    return sorted(p.name for p in root.iterdir() if p.is_dir()) if root.is_dir() else []


def drills(person: str, data: str | None) -> list[Kept]:
    """A person's drills in the order they were begun; a damaged file is named."""
    return list(_read(folder_of(person, data)))


def _read(folder: Path) -> Iterator[Kept]:
    for path in sorted(folder.glob("*.json")):
        try:
            yield Kept(path, **json.loads(path.read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            raise StoreError(
                f"{path} cannot be read as a drill. Put it elsewhere, and type the command again."
            ) from None


def begin(person: str, data: str | None, level: int, seed: int, qualified: bool) -> Kept:
    """A new drill of a person; it is on disk with its first line."""
    folder = folder_of(person, data)
    last = max((int(p.name[:4]) for p in folder.glob("[0-9][0-9][0-9][0-9]_*.json")), default=0)
    return Kept(folder / f"{last + 1:04d}_{level}-{seed}.json", level, seed, qualified)


def ended(kept: list[Kept]) -> list[Drilled]:
    """The drills that have ended, as scores are worked out from them."""
    import msgspec

    from faultodds.calibration import Drilled

    return [msgspec.convert(k.done, Drilled) for k in kept if k.done is not None]


def forget(person: str, data: str | None) -> int:
    """Take away all that is kept of a person; how many drills that was."""
    import contextlib

    folder = folder_of(person, data)
    found = sorted(folder.glob("*.json"))
    for path in found:
        path.unlink()
    with contextlib.suppress(OSError):  # not empty, or never there
        folder.rmdir()
    return len(found)
