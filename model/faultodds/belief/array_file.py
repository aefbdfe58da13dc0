"""Arrays on disk, fast to open and safe against damage: one flat file, mapped into memory.

Layout: a magic line; SHA-256 of the header (32 bytes); its length (8 bytes); the header, msgpack, with each array's type,
shape and place, a free text, and the length and digest of everything after the header; then the arrays, each on a 64-byte
border. A cut file has the wrong length, a damaged one the wrong digest. Files are written beside and renamed, so a
reader sees the whole entry or none; nothing in them is ever executed or unpickled.
"""

from __future__ import annotations

import contextlib
import hashlib
import mmap
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt

from faultodds.files import opened_entry, written_whole

MAGIC = b"faultodds arrays 2\n"
BORDER = 64
ROW = 4096
TYPES = ("float64", "int64", "int32", "int8", "bool")
# Older entries kept beside the newest one of the same appliance.
KEPT = 3


class _Place(msgspec.Struct):
    """Where one array lies, counted from the end of the header."""

    kind: str
    shape: list[int]
    start: int


class _Header(msgspec.Struct):
    text: bytes
    arrays: dict[str, _Place]
    length: int
    digest: bytes


def write(entry: Path, text: bytes, arrays: Mapping[str, npt.NDArray[Any]]) -> None:
    """Store arrays and a text as `entry`; raises OSError when the folder cannot be written."""
    body, places = bytearray(), {}
    for name, array in arrays.items():
        body += bytes(-len(body) % BORDER)
        places[name] = _Place(array.dtype.name, list(array.shape), len(body))
        body += np.ascontiguousarray(array).tobytes()
    body += bytes(-len(body) % BORDER)
    header = msgspec.msgpack.encode(_Header(text, places, len(body), _digest(body)))
    start = MAGIC + hashlib.sha256(header).digest() + len(header).to_bytes(8, "little") + header
    start += bytes(-len(start) % BORDER)
    with written_whole(entry) as beside:
        beside.write_bytes(start + body)
    _forget_old(entry)


def read(entry: Path) -> tuple[bytes, dict[str, npt.NDArray[Any]]] | None:
    """The text and the read-only arrays of an entry, or None when there is none or it is damaged."""
    try:
        handle = opened_entry(entry)
        try:
            # Mapped, not copied: entries are only ever replaced whole, so the pages stay what they are.
            whole = np.frombuffer(mmap.mmap(handle, 0, access=mmap.ACCESS_READ), dtype=np.uint8)
        finally:
            os.close(handle)
        at = len(MAGIC) + 40
        start = whole[:at].tobytes()
        size = int.from_bytes(start[-8:], "little")
        text = whole[at : at + size].tobytes()
        if not start.startswith(MAGIC) or hashlib.sha256(text).digest() != start[len(MAGIC) : len(MAGIC) + 32]:
            return None
        header = msgspec.msgpack.decode(text, type=_Header)
        body = whole[at + size + (-(at + size) % BORDER) :]
        if len(body) != header.length or _digest(body) != header.digest:
            return None
        return header.text, {name: _array(body, place) for name, place in header.arrays.items()}
    except (OSError, ValueError, KeyError, TypeError, msgspec.MsgspecError):
        return None


def _array(body: npt.NDArray[np.uint8], place: _Place) -> npt.NDArray[Any]:
    if place.kind not in TYPES:
        raise ValueError(place.kind)
    kind = np.dtype(place.kind)
    count = int(np.prod(place.shape))
    return np.asarray(body[place.start : place.start + count * kind.itemsize]).view(kind).reshape(place.shape)


def _digest(body: bytearray | npt.NDArray[np.uint8]) -> bytes:
    """SHA-256 of two-way sums: of the 64-bit words in each row of `ROW`, and of those in the same place of every row.

    A changed byte changes both; what changes place changes one of them, unless it goes to where the same was. A fifth of the time
    of SHA-256 over all: every command waits for it.
    """
    words = np.frombuffer(body, dtype=np.uint64)
    rows = words[: len(words) // ROW * ROW].reshape(-1, ROW)
    digest = hashlib.sha256(rows.sum(axis=1, dtype=np.uint64).tobytes())
    digest.update(rows.sum(axis=0, dtype=np.uint64).tobytes())
    digest.update(words[rows.size :].tobytes())
    return digest.digest()


def _forget_old(entry: Path) -> None:
    """Keep only the newest few entries of this appliance: each edit of a knowledge file makes one."""
    stem = entry.name.rpartition("-")[0]
    with contextlib.suppress(OSError):
        old = sorted(entry.parent.glob(f"{stem}-*{entry.suffix}"), key=lambda p: p.stat().st_mtime, reverse=True)
        for path in old[KEPT:]:
            path.unlink(missing_ok=True)
