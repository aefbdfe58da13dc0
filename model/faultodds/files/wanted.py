"""A file that somebody asks for: refused in words, before any work goes into it, where it cannot or must not be written."""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path

from faultodds.errors import FaultoddsError


def refuse_taken(
    path: Path, option: str, example: str, *, kind: str = "it", endings: Collection[str] = (), force: bool = False
) -> None:
    """Raise FaultoddsError when `path`, typed with `option`, is no file to write: another ending than `endings`, a folder, in no
    folder, in one that is closed, or there already (unless `force`). `kind` is what it would hold ("a figure"), `example` a file
    name to show."""
    said = f"{option} {path}"
    if endings and path.suffix.casefold() not in endings:
        raise FaultoddsError(f"{said}: {kind} ends in {', '.join(endings)}. Type for example {option} {example}.")
    try:
        if path.is_dir():
            raise FaultoddsError(f"{said}: that is a folder. Name a file, for example {option} {path / example}.")
        if not path.parent.is_dir():
            raise FaultoddsError(f"{said}: there is no folder {path.parent}. Make it, or name another.")
        if os.path.lexists(path):
            if not force:
                raise FaultoddsError(
                    f"{said}: it is there already. Add --force to write over it, or name another file."
                )
            if not path.is_file():
                raise FaultoddsError(f"{said}: what is there is no file, and is left as it is. Name another.")
        if not os.access(path.parent, os.W_OK):
            raise FaultoddsError(f"{said}: the folder {path.parent} cannot be written to. Name another.")
    except (OSError, ValueError) as error:
        raise FaultoddsError(f"{said}: no file can have that name ({_reason(error)}). Name another.") from None


def cannot_write(path: Path, option: str, error: OSError) -> FaultoddsError:
    """What is said when a file that was asked for could not be written after all."""
    return FaultoddsError(
        f"{option} {path}: it cannot be written ({_reason(error)}), and nothing was put there. Name another file."
    )


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)
