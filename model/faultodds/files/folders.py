"""Where files are: a user's own in one data folder (jobs, logs, revisions), what can be made again in a cache folder."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path
from typing import Final

from faultodds.errors import FaultoddsError

DATA_VARIABLE: Final = "FAULTODDS_DATA"
CACHE_VARIABLE: Final = "FAULTODDS_CACHE"


def data_folder() -> Path:
    """The folder in the environment variable FAULTODDS_DATA, or the user's data folder."""
    chosen = os.environ.get(DATA_VARIABLE, "").strip()
    if chosen:
        return Path(chosen).expanduser()
    from platformdirs import user_data_dir

    return Path(user_data_dir("faultodds", appauthor=False)).expanduser()


def cache_folder() -> Path:
    """Where compiled appliances are kept: the environment variable FAULTODDS_CACHE, or the user's cache folder."""
    chosen = os.environ.get(CACHE_VARIABLE)
    if chosen:
        return Path(chosen).expanduser()
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("faultodds", appauthor=False))


def cache_entry(name: str, folder: Path | None = None) -> Path:
    """Where something that can be made again is kept, in a folder that only the user writes to (made when it is not there).

    Raises FaultoddsError for a cache folder that others can write to: what they put there would be believed.
    """
    folder = folder or cache_folder()
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        kept = (os.lstat(folder), os.stat(folder))
    except OSError:
        return folder / name  # nothing is read from it and nothing can be kept in it: that is done without
    if os.name == "posix":
        strangers = [s.st_uid for s in kept if s.st_uid not in (os.getuid(), 0)]
        if strangers or kept[1].st_mode & (stat.S_IWGRP | stat.S_IWOTH):
            whose = f"belongs to user {strangers[0]}" if strangers else "can be written by others"
            mend = "" if strangers else f"Type: chmod go-w '{folder}'. Or "
            raise FaultoddsError(
                f"the cache folder {folder} {whose}, so what is kept there could be anybody's, and nothing was read from it. "
                f"{mend or 'To go on, '}set {CACHE_VARIABLE} to a folder that is yours alone."
            )
    return folder / name


def opened_entry(entry: Path) -> int:
    """A cache entry, opened to be read; a link in its place is not followed. Raises OSError."""
    return _unwaiting(entry, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0))


def bytes_of(path: Path) -> bytes:
    """What is in a file. Raises OSError where it cannot be read or is none: a pipe is waited at for ever, a device never ends."""
    with open(path, "rb", opener=_unwaiting) as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise OSError(errno.EINVAL, "it is a pipe or a device and no file")
        return file.read()


def _unwaiting(path: str | os.PathLike[str], flags: int) -> int:
    """Opened without waiting for whoever writes to a pipe."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
