"""One way to put a file in place, and one to add a line to one: whole and on disk, or not at all."""

from __future__ import annotations

import contextlib
import glob
import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

_BESIDE: Final = ".new"
# A place that was made but a moment ago may not be held yet by whoever made it. Where nothing can be held, a day is enough.
_MADE_NOW: Final = 60.0
_LONG_AGO: Final = 86_400.0


@contextlib.contextmanager
def written_whole(path: Path, *, shared: bool = False, fresh: bool = False) -> Iterator[Path]:
    """A file beside `path` to write to; at the end it takes the place of `path`, after an error it is gone.

    Whoever reads `path` sees the old file or the whole new one. `shared`: others may read it as far as the user's mask
    allows, else only the user. `fresh`: never in place of another file. Its name cannot be guessed, and a link at `path` is
    replaced, not followed. Raises OSError, FileExistsError among them.
    """
    import tempfile

    forget_left(path.parent, path.name)
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=_BESIDE, dir=path.parent)
    beside = Path(name)
    try:
        _hold(handle)
        yield beside
        synced(beside)
        if shared:
            beside.chmod(0o666 & ~_mask())
        if os.name == "nt":  # pragma: no cover (an open file cannot be renamed there)
            os.close(handle)
            handle = -1
        if fresh:
            _take_free_name(beside, path)
        else:
            os.replace(beside, path)
        synced(path.parent)
    finally:
        if handle >= 0:
            os.close(handle)
        beside.unlink(missing_ok=True)


@contextlib.contextmanager
def held_folder(folder: Path, name: str) -> Iterator[Path]:
    """A new folder in `folder` to write in, for the user's eyes only; gone at the end, whatever is left in it.

    What killed programs left of the same name goes first. Raises OSError.
    """
    import tempfile

    forget_left(folder, name)
    place = Path(tempfile.mkdtemp(prefix=f".{name}.", suffix=_BESIDE, dir=folder))
    handle = -1
    try:
        if os.name == "posix":
            handle = os.open(place, os.O_RDONLY)
            _hold(handle)
        yield place
    finally:
        if handle >= 0:
            os.close(handle)
        shutil.rmtree(place, ignore_errors=True)


def line_added(path: Path, line: str) -> None:
    """Add one line to a file of lines: whole and on disk when this returns. After an OSError the file is as it was.

    Programs that add at the same time wait for each other.
    """
    handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o600)
    try:
        _hold(handle, wait=True)
        end = os.fstat(handle).st_size
        # A last line that was cut off in a fall of the power stays a line of its own.
        os.lseek(handle, max(end - 1, 0), os.SEEK_SET)
        text = ("" if os.read(handle, 1) in (b"", b"\n") else "\n") + line + "\n"
        try:
            _write_all(handle, text.encode())
            os.fsync(handle)
        except BaseException:
            os.ftruncate(handle, end)
            raise
    finally:
        os.close(handle)
    synced(path.parent)


def synced(path: Path) -> None:
    """Have a file, or a folder's list of names, on disk when this returns; raises OSError."""
    if path.is_dir() and os.name != "posix":  # pragma: no cover
        return
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    except OSError:
        # Some file systems do not synchronise folders; what is in them is on disk all the same.
        if not path.is_dir():
            raise
    finally:
        os.close(handle)


def forget_left(folder: Path, name: str | None = None) -> None:
    """Remove what killed programs left beside the file or folder `name`, or beside any; what somebody is writing to stays."""
    for left in folder.glob(f".*{_BESIDE}" if name is None else f".{glob.escape(name)}.*{_BESIDE}"):
        with contextlib.suppress(OSError):
            age = time.time() - left.lstat().st_mtime
            if age > _MADE_NOW and _is_left(left, age):
                shutil.rmtree(left) if left.is_dir() and not left.is_symlink() else left.unlink()


def _is_left(place: Path, age: float) -> bool:
    """Whether nobody holds a place any more."""
    if os.name != "posix" or place.is_symlink():
        return age > _LONG_AGO
    handle = os.open(place, os.O_RDONLY)
    try:
        return _hold(handle) or age > _LONG_AGO
    finally:
        os.close(handle)


def _hold(handle: int, *, wait: bool = False) -> bool:
    """Hold an open file until it is closed; false when another program holds it, or nothing can be held."""
    try:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except (ImportError, OSError):
        return False
    return True


def _write_all(handle: int, data: bytes) -> None:
    """Write all of it: a disk that is nearly full takes a part and says nothing until it is asked to take the rest."""
    while data:
        data = data[os.write(handle, data) :]


def _take_free_name(beside: Path, path: Path) -> None:
    """Give the finished file its name, unless that is taken: a hard link does both in one step."""
    try:
        os.link(beside, path)
    except FileExistsError:
        raise
    except OSError:
        # A file system without hard links: nearly as good.
        if path.exists():
            raise FileExistsError(path) from None
        os.replace(beside, path)


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
