"""Shop files that have been read before, in parsed form: a file is validated when it is new or changed, never twice.

An entry's name is a hash of the file and of the code that checks it. One that is damaged, or a cache that cannot be
written, only costs the validation again.
"""

from __future__ import annotations

import contextlib
import hashlib
from pathlib import Path

import msgspec

from faultodds.errors import ShopError
from faultodds.files import cache_folder, written_whole
from faultodds.shop.records import Shop

_CHECKING_CODE = ("records.py", "shop_file.py")
_SUFFIX = ".shop"
# Older entries kept beside the newest: two or three files may be in turns.
KEPT = 5


def cached(path: Path) -> Shop:
    """The shop file at a path, validated now or earlier; ShopError when it cannot be read or used."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ShopError(f"{path}: cannot be read ({error.strerror or error}).") from None
    entry = cache_folder() / f"shop-{_key(data)}{_SUFFIX}"
    with contextlib.suppress(OSError, msgspec.MsgspecError):
        return msgspec.msgpack.decode(entry.read_bytes(), type=Shop)
    from faultodds.shop.shop_file import parse

    shop = parse(data, path.name)
    with contextlib.suppress(OSError):
        _write(entry, msgspec.msgpack.encode(shop))
    return shop


def _key(data: bytes) -> str:
    digest = hashlib.sha256(data)
    for source in _CHECKING_CODE:
        digest.update((Path(__file__).parent / source).read_bytes())
    return digest.hexdigest()[:24]


def _write(entry: Path, data: bytes) -> None:
    """Write the entry, and forget the oldest."""
    entry.parent.mkdir(parents=True, exist_ok=True)
    with written_whole(entry, shared=True) as beside:
        beside.write_bytes(data)
    old = sorted(entry.parent.glob(f"shop-*{_SUFFIX}"), key=lambda p: p.stat().st_mtime, reverse=True)
    for path in old[KEPT:]:
        path.unlink(missing_ok=True)
