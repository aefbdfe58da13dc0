"""Shop files that have been read before, in parsed form: a file is validated when it is new or changed, never twice.

An entry's name is a hash of the file and of the code that checks it; it begins with the SHA-256 of the rest. One that is
damaged, or a cache that cannot be written, only costs the validation again.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from faultodds.errors import ShopError
from faultodds.files import bytes_of, cache_entry, opened_entry, written_whole
from faultodds.shop.records import Shop

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge

_CHECKING_CODE = ("shop/records.py", "shop/shop_file.py", "knowledge/toml_records.py")
_SUFFIX = ".shop"
# Older entries kept beside the newest: two or three files may be in turns.
KEPT = 5
_DIGEST = 32
_MOST_BYTES = 1 << 22


def cached(path: Path, k: Knowledge | None = None) -> Shop:
    """The shop file at a path, validated now or earlier; ShopError when it cannot be read or used (`k`: see `shop_file.parse`)."""
    try:
        data = bytes_of(path)
    except OSError as error:
        raise ShopError(f"{path}: cannot be read ({error.strerror or error}).") from None
    entry = cache_entry(f"shop-{_key(data)}{_SUFFIX}")
    with contextlib.suppress(OSError, ValueError, msgspec.MsgspecError):
        if (kept := _read(entry)) is not None:
            return msgspec.msgpack.decode(kept, type=Shop)
    from faultodds.shop.shop_file import parse

    shop = parse(data, path.name, k)
    with contextlib.suppress(OSError):
        _write(entry, msgspec.msgpack.encode(shop))
    return shop


def _key(data: bytes) -> str:
    digest = hashlib.sha256(data)
    for source in _CHECKING_CODE:
        digest.update((Path(__file__).parents[1] / source).read_bytes())
    return digest.hexdigest()[:24]


def _read(entry: Path) -> bytes | None:
    """What an entry holds; None when it is not what was written."""
    with os.fdopen(opened_entry(entry), "rb") as file:
        kept = file.read(_MOST_BYTES)
    return kept[_DIGEST:] if hashlib.sha256(kept[_DIGEST:]).digest() == kept[:_DIGEST] else None


def _write(entry: Path, data: bytes) -> None:
    """Write the entry, and forget the oldest."""
    with written_whole(entry) as beside:
        beside.write_bytes(hashlib.sha256(data).digest() + data)
    old = sorted(entry.parent.glob(f"shop-*{_SUFFIX}"), key=lambda p: p.stat().st_mtime, reverse=True)
    for path in old[KEPT:]:
        path.unlink(missing_ok=True)
