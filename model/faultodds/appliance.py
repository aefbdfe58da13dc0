"""An appliance ready for use: its knowledge file and the two arrays compiled from it, kept on disk.

The cache holds numbers and MessagePack in one NumPy archive, never a pickle. Its name is a hash of the knowledge file, the revision
on top of it and the code that compiles them, so that a stale entry cannot be picked up; every part carries a checksum, so that a
half-written or damaged one is noticed, and compiled again.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from faultodds.knowledge import find, fingerprint, parse, read_bytes
from faultodds.schema import Knowledge
from faultodds.suspects import OMITTED_TARGET, Suspects, compile_suspects

CACHE_VARIABLE = "FAULTODDS_CACHE"
_COMPILING_CODE = ("schema.py", "tables.py", "suspects.py", "readings/specs.py")
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
    entry = (cache or cache_folder()) / f"{path.stem}-{_key(data, omitted_target)}.npz"
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
    """Write beside, then rename: readers see the whole entry or none. A cache that cannot be written is no error."""
    import msgspec

    s = appliance.suspects
    about = {
        "modes": s.modes,
        "mains": s.mains,
        "components": s.components,
        "observables": s.observables,
        "fact_values": s.fact_values,
        "lacks": s.lacks,
        "mechanism_states": s.mechanism_states,
        "omitted_target": s.omitted_target,
    }
    text = msgspec.msgpack.encode(
        {"about": about, "knowledge": appliance.knowledge, "fingerprint": appliance.fingerprint}
    )
    arrays: dict[str, Any] = {name: getattr(s, name) for name in _ARRAYS}
    arrays |= {f"fact_{name}": values for name, values in s.facts.items()}
    arrays["text"] = np.frombuffer(text, dtype=np.uint8)
    with contextlib.suppress(OSError):
        entry.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(dir=entry.parent, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, **arrays)
            os.replace(beside, entry)
        finally:
            with contextlib.suppress(OSError):
                os.unlink(beside)


def _load(entry: Path) -> Appliance | None:
    """The cached appliance, or None when there is none or it is damaged."""
    import msgspec

    try:
        with np.load(entry, allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
        text = msgspec.msgpack.decode(arrays.pop("text").tobytes())
        knowledge = msgspec.convert(text["knowledge"], Knowledge)
        about = msgspec.convert(text["about"], _About)
        facts = {name.removeprefix("fact_"): arrays.pop(name) for name in list(arrays) if name.startswith("fact_")}
        for array in (*arrays.values(), *facts.values()):
            array.setflags(write=False)
        suspects = Suspects(**{f: getattr(about, f) for f in _About.__dataclass_fields__}, facts=facts, **arrays)
        return Appliance(knowledge, suspects, str(text["fingerprint"]))
    except Exception:
        # Damage to an archive shows in a dozen ways (compression method, encryption flag, sizes ...); whatever it is, the
        # answer is the same: compile again.
        return None


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
