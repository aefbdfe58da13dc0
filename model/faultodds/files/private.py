"""What the program keeps is the user's alone: the one place that makes its folders."""

from __future__ import annotations

from pathlib import Path

from faultodds.files.folders import data_folder


def made_folder(path: Path) -> None:
    """Make a folder, and those above it that are not there, for the user alone (0700); one that is there is left as it is."""
    if not path.parent.exists():
        made_folder(path.parent)
    path.mkdir(mode=0o700, exist_ok=True)


def own_folder(path: Path) -> None:
    """A folder of the program's own in the data folder: made, or closed to others where it is there."""
    made_folder(path)
    if path.stat().st_mode & 0o077:
        path.chmod(0o700)


def is_kept(path: Path) -> bool:
    """Whether a file lies in the data folder, and so is for the user's eyes only."""
    return path.resolve().is_relative_to(data_folder().resolve())
