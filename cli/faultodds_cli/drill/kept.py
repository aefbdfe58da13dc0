"""Drills on disk: a folder a person, a file a drill, every line typed in it, and what it came to. Nothing is sent anywhere."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import msgspec

from faultodds.calibration import Drilled
from faultodds.errors import FaultoddsError, StoreError
from faultodds.names import fold
from faultodds_cli.drill.levels import LEVELS
from faultodds_cli.shared.printing import complain
from faultodds_cli.shared.text import wrap

FOLDER = "drills"
LONGEST = 40
# A file of more bytes than this is no drill.
LARGEST = 10_000_000


class Record(msgspec.Struct, forbid_unknown_fields=True):
    """A drill as it lies on disk. `lines` are all that were typed; `done` what it came to, once it has ended."""

    level: Annotated[int, msgspec.Meta(ge=min(LEVELS), le=max(LEVELS))]
    seed: Annotated[int, msgspec.Meta(ge=0)]
    qualified: bool = False
    lines: list[str] = []
    done: Drilled | None = None


class Kept(msgspec.Struct):
    """One drill of one person, and where it lies. `again`: the same call was begun before by the same name; its findings, if not
    its end, are known, so it is practice and counts for no score."""

    path: Path
    record: Record
    again: bool = False

    @property
    def drill(self) -> str:
        """How it is called: level and seed."""
        return f"{self.record.level}-{self.record.seed}"

    def save(self) -> None:
        """Put it on disk, whole."""
        from faultodds.files import own_folder, written_whole

        try:
            own_folder(self.path.parent)
            with written_whole(self.path) as beside:
                beside.write_bytes(msgspec.json.format(msgspec.json.encode(self.record), indent=1))
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
    return sorted(p.name for p in root.iterdir() if p.is_dir() and not p.name.startswith(".")) if root.is_dir() else []


def drills(person: str, data: str | None) -> list[Kept]:
    """A person's drills in the order they were begun; a damaged file is named, and left out."""
    return list(_read(folder_of(person, data)))


def _read(folder: Path) -> Iterator[Kept]:
    known = set[str]()
    for kept in _decoded(folder):
        kept.again = kept.drill in known
        known.add(kept.drill)
        yield kept


def _decoded(folder: Path) -> Iterator[Kept]:
    from faultodds.files import bytes_of

    for path in sorted(folder.glob("*.json")):
        try:
            if path.stat().st_size > LARGEST:
                raise ValueError
            yield Kept(path, msgspec.json.decode(bytes_of(path), type=Record))
        except (OSError, ValueError, RecursionError):
            complain("\n".join(wrap(f"{path} cannot be read as a drill, and is left out.")))


def begin(person: str, data: str | None, level: int, seed: int, qualified: bool) -> Kept:
    """A new drill of a person; it is on disk with its first line."""
    folder = folder_of(person, data)
    last = max((int(p.name[:4]) for p in folder.glob("[0-9][0-9][0-9][0-9]_*.json")), default=0)
    kept = Kept(folder / f"{last + 1:04d}_{level}-{seed}.json", Record(level, seed, qualified))
    kept.again = kept.drill in {k.drill for k in drills(person, data)}
    return kept


class Played(msgspec.Struct, frozen=True):
    """What a person's drills come to: those that have ended and count, how many were played again, and how many were left half
    way."""

    done: list[Drilled]
    again: int
    unfinished: int


def played(kept: list[Kept]) -> Played:
    """The drills as scores are worked out from them: each call counts once, the first time."""
    done = [k.record.done for k in kept if k.record.done is not None and not k.again]
    return Played(done, sum(k.again for k in kept), sum(k.record.done is None for k in kept if not k.again))


def forget(person: str, data: str | None) -> int:
    """Take away all that is kept of a person; how many drills that was."""
    import secrets
    import shutil

    from faultodds.files import forget_left

    folder = folder_of(person, data)
    found = sorted(folder.glob("*.json"))
    if not found:
        return 0
    try:
        forget_left(folder.parent, folder.name)
        forget_left(folder)
        if strange := sorted({*folder.iterdir()} - {*found}):
            raise FaultoddsError(f"{strange[0]} is no drill. Put it elsewhere, and type the same again.")
        # Out of sight in one step: nobody is ever scored on what is left of them.
        shutil.rmtree(folder.rename(folder.with_name(f".{folder.name}.{secrets.token_hex(4)}.new")))
    except OSError as problem:
        raise StoreError(f"the drills in {folder} cannot be taken away: {problem.strerror}.") from None
    return len(found)
