"""An appliance ready for use: its knowledge file and the two arrays compiled from it, kept on disk.

The cache (`cache.py`) holds arrays and records, never a pickle. An entry's name is a hash of the knowledge file, the revision
on top of it and the code that compiles them, so that a stale entry cannot be picked up; a half-written or damaged one is
noticed, and compiled again.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path
from typing import Any

from faultodds.knowledge import find, fingerprint, parse, read_bytes
from faultodds.records import dataclass
from faultodds.schema import Knowledge
from faultodds.suspects import OMITTED_TARGET, Suspects, compile_suspects

CACHE_VARIABLE = "FAULTODDS_CACHE"
_COMPILING_CODE = ("schema.py", "tables.py", "suspects.py", "readings/specs.py", "cache.py")
FACT_PREFIX = "fact_"
_ARRAYS = ("share", "given_main", "ok", "member", "mechanism", "likelihood", "without")


@dataclass(frozen=True)
class Appliance:
    """A knowledge file, compiled. `fingerprint` names the exact file content, `revision` the priors laid over it."""

    knowledge: Knowledge
    suspects: Suspects
    fingerprint: str
    revision: str = "file"


def open_appliance(name: str, omitted_target: float = OMITTED_TARGET, cache: Path | None = None) -> Appliance:
    """A shipped appliance by name, or a knowledge file by path; compiled, or read from the cache.

    `cache` is the folder to use instead of the user's. Raises KnowledgeError for a file that cannot be used; a cache
    that cannot be written is done without.
    """
    path = find(name)
    data = read_bytes(path)
    entry = (cache or cache_folder()) / f"{path.stem}-{_key(data, omitted_target)}.arrays"
    loaded = _load(entry)
    if loaded is None:
        knowledge = parse(data, path.name)
        loaded = Appliance(knowledge, compile_suspects(knowledge, omitted_target), fingerprint(data))
        _save(entry, loaded)
    return loaded


def compiled(knowledge: Knowledge, omitted_target: float = OMITTED_TARGET) -> Appliance:
    """An appliance straight from a knowledge record, with no file and no cache."""
    return Appliance(knowledge, compile_suspects(knowledge, omitted_target), "in memory")


def cache_folder() -> Path:
    """Where compiled appliances are kept: the environment variable FAULTODDS_CACHE, or the user's cache folder."""
    chosen = os.environ.get(CACHE_VARIABLE)
    if chosen:
        return Path(chosen).expanduser()
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("faultodds", appauthor=False))


def _key(data: bytes, omitted_target: float) -> str:
    digest = hashlib.sha256(data)
    digest.update(repr(omitted_target).encode())
    here = Path(__file__).parent
    for source in _COMPILING_CODE:
        digest.update((here / source).read_bytes())
    return digest.hexdigest()[:24]


def _save(entry: Path, appliance: Appliance) -> None:
    """Store an appliance; a cache that cannot be written is no error."""
    import msgspec

    from faultodds import cache

    s = appliance.suspects
    about = _About(*(getattr(s, name) for name in _About.__dataclass_fields__))
    stored = _Stored(about, appliance.knowledge, appliance.fingerprint)
    arrays: dict[str, Any] = {name: getattr(s, name) for name in _ARRAYS}
    arrays |= {FACT_PREFIX + name: values for name, values in s.facts.items()}
    with contextlib.suppress(OSError):
        cache.write(entry, msgspec.msgpack.encode(stored), arrays)


def _load(entry: Path) -> Appliance | None:
    """The cached appliance, or None when there is none or it is damaged."""
    import msgspec

    from faultodds import cache

    found = cache.read(entry)
    if found is None:
        return None
    text, arrays = found
    try:
        stored = msgspec.msgpack.decode(text, type=_Stored)
        if {n for n in arrays if not n.startswith(FACT_PREFIX)} != set(_ARRAYS):
            return None
    except msgspec.MsgspecError:
        return None
    facts = {n.removeprefix(FACT_PREFIX): arrays.pop(n) for n in list(arrays) if n.startswith(FACT_PREFIX)}
    parts: dict[str, Any] = {**arrays, "facts": facts}
    about: dict[str, Any] = {name: getattr(stored.about, name) for name in _About.__dataclass_fields__}
    return Appliance(stored.knowledge, Suspects(**about, **parts), stored.fingerprint)


@dataclass(frozen=True)
class _About:
    """The part of `Suspects` that is names, as stored."""

    modes: tuple[str, ...]
    mains: tuple[str, ...]
    components: tuple[str, ...]
    observables: dict[str, tuple[str, ...]]
    fact_values: dict[str, tuple[str, ...]]
    lacks: dict[str, dict[str, tuple[str, ...]]]
    mechanism_states: dict[str, tuple[str, ...]]
    omitted_target: float


@dataclass(frozen=True)
class _Stored:
    """Everything of an appliance that is not an array."""

    about: _About
    knowledge: Knowledge
    fingerprint: str
