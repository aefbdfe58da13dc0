"""Folders of customers' data: made for the user alone."""

from __future__ import annotations

from pathlib import Path


def own_folder(path: Path) -> None:
    """Make a folder, and those above it that are not there, for the user alone (0700); one that is there is closed to others."""
    if not path.parent.exists():
        own_folder(path.parent)
    path.mkdir(mode=0o700, exist_ok=True)
    if path.stat().st_mode & 0o077:
        path.chmod(0o700)
