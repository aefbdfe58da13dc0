"""One way to put a file in place: whole and on disk, or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def written_whole(path: Path, *, shared: bool = False, fresh: bool = False) -> Iterator[Path]:
    """A file beside `path` to write to; at the end it takes the place of `path`, after an error it is gone.

    Whoever reads `path` sees the old file or the whole new one. `shared`: others may read it as far as the user's mask
    allows, else only the user. `fresh`: never in place of another file. Raises OSError, FileExistsError among them.
    """
    import tempfile

    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".new", dir=path.parent)
    os.close(handle)
    beside = Path(name)
    try:
        yield beside
        with beside.open("rb+") as file:
            os.fsync(file.fileno())
        if shared:
            beside.chmod(0o666 & ~_mask())
        if fresh:
            _take_free_name(beside, path)
        else:
            os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


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
