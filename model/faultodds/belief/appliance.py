"""An appliance ready for use: its knowledge file and the two arrays compiled from it, kept on disk.

The cache (`array_file.py`) holds arrays and records, never a pickle. An entry's name is a hash of the knowledge file, the revision
on top of it and the code that compiles them, so that a stale entry cannot be picked up; a half-written or damaged one is
noticed, and compiled again.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from msgspec import Struct

from faultodds.belief.suspects import OMITTED_TARGET, Suspects, compile_suspects
from faultodds.errors import KnowledgeError, RevisionError
from faultodds.files import again, cache_entry, find, fingerprint, id_in, named, read_bytes
from faultodds.knowledge import Knowledge, fitted
from faultodds.revisions import FILE, accepted, doubt, revision_ids, revision_path
from faultodds.safety import refuse_unsafe_file

_COMPILING_CODE = (
    "knowledge/loading.py",
    "knowledge/partly.py",
    "knowledge/reach.py",
    "knowledge/rules.py",
    "knowledge/work_rules.py",
    "knowledge/schema.py",
    "knowledge/tables.py",
    "knowledge/toml_records.py",
    "knowledge/fitted.py",
    "belief/kept_sets.py",
    "belief/suspects.py",
    "readings/bands.py",
    "readings/numbers.py",
    "readings/problems.py",
    "readings/specs.py",
    "safety/duties.py",
    "safety/file_rules.py",
    "safety/rules.py",
    "safety/sequence.py",
    "belief/array_file.py",
)
_LAYING_CODE = ("knowledge/overlay.py", "revisions/revision.py")
FACT_PREFIX = "fact_"
_ARRAYS = ("share", "given_main", "ok", "member", "mechanism", "likelihood", "without")


class Used(Struct, frozen=True):
    """Which shop file was laid over an appliance, and for which technician (empty for none in particular). `lacking`: the tools
    that are not carried."""

    path: Path
    name: str
    technician: str
    qualified: bool
    carrying: float
    lacking: tuple[str, ...] = ()


@dataclass(frozen=True)
class Appliance:
    """A knowledge file, compiled. `fingerprint` names the exact file content, `revision` the priors laid over it.

    `overruled` lists numbers (paths of `overlay.py`) that were changed in the file after the revision was learned: the revision
    stands over them. `doubt`: what to say while it is not known which revision stands, or that one cannot be used. `source`: what
    to type for the file; `changed`: what to say when it is not what a job was started on. `shop`: whose prices and minutes were
    laid over it (`shop.py`), None for the file's own.
    """

    knowledge: Knowledge
    suspects: Suspects
    fingerprint: str
    revision: str = FILE
    overruled: tuple[str, ...] = ()
    doubt: str = ""
    source: str = ""
    changed: str = ""
    shop: Used | None = None

    def fitted(self, facts: Mapping[str, str]) -> Appliance:
        """The appliance as this machine is made, by what is told of it: its way in to parts that not all open alike."""
        knowledge = fitted(self.knowledge, facts)
        return self if knowledge is self.knowledge else replace(self, knowledge=knowledge)


def open_appliance(
    name: str, omitted_target: float = OMITTED_TARGET, cache: Path | None = None, revision: str | None = None
) -> Appliance:
    """An appliance by name, or a knowledge file by path, as `files.find` takes it; compiled, or read from the cache.

    `cache` is the folder to use instead of the user's. `revision`: the accepted one, if any (None); "file" for the file's own
    numbers; or the id of one. Raises KnowledgeError for a file that cannot be used, RevisionError for a revision that was asked for
    and cannot; an accepted one that cannot is set aside, and `doubt` says so; a cache that cannot be written is done without.
    """
    path = find(name)
    data = read_bytes(path)
    chosen = _chosen(data, revision)
    unsure = "" if revision is not None or chosen is not None else doubt(id_in(data), again(path))
    try:
        ready = _opened(path, data, omitted_target, chosen, cache)
    except RevisionError as error:
        if revision is not None:
            raise RevisionError(f"{error} {_WAY_OUT}") from None
        # What was accepted once and cannot be used must not stop the day's work.
        ready, unsure = (
            _opened(path, data, omitted_target, None, cache),
            f"{error} {_SET_ASIDE.format(again=again(path))}",
        )
    return replace(ready, doubt=unsure, source=named(path))


def _opened(path: Path, data: bytes, omitted_target: float, chosen: Path | None, cache: Path | None) -> Appliance:
    laid = None if chosen is None else _revision_bytes(chosen)
    entry = cache_entry(f"{path.stem}-{_key(data, omitted_target, laid)}.arrays", cache)
    loaded = _load(entry)
    if loaded is None:
        from faultodds.knowledge import parse

        knowledge = parse(data, path.name)
        refuse_unsafe_file(knowledge, path.name)
        stands, over = FILE, tuple[str, ...]()
        if chosen is not None and laid is not None:
            knowledge, stands, over = _laid_over(knowledge, laid, chosen)
        loaded = Appliance(
            knowledge, _compiled(knowledge, omitted_target, path.name, stands), fingerprint(data), stands, over
        )
        _save(entry, loaded)
    return loaded


def _compiled(knowledge: Knowledge, omitted_target: float, where: str, revision: str) -> Suspects:
    try:
        return compile_suspects(knowledge, omitted_target)
    except KnowledgeError as error:
        if revision != FILE:
            raise RevisionError(f"revision {revision} cannot be used: {error}") from None
        raise KnowledgeError(f"{where}: {error}") from None


# --- the revision on top -------------------------------------------------------------------------------------------

_WAY_OUT = (
    "No other numbers were put in its place. Type 'faultodds revision list' to see the others, or add --revision file to use the "
    "knowledge file's own numbers."
)
_SET_ASIDE = (
    "It was set aside: the knowledge file's own numbers are used. To go back to what was accepted before, type 'faultodds revision "
    "rollback{again}'; to keep the file's own, 'faultodds revision accept file{again}'."
)


def _chosen(data: bytes, revision: str | None) -> Path | None:
    """The file of the revision to lay over, or None for the knowledge file as it is."""
    if revision == FILE:
        return None
    appliance = id_in(data)
    if revision is None:
        stands = accepted(appliance)
        return None if stands == FILE else revision_path(appliance, stands)
    from faultodds.names import match

    known = [FILE, *revision_ids(appliance)]
    name = match("revision", revision, known, next_step="Type 'faultodds revision list' to see them.")
    return None if name == FILE else revision_path(appliance, name)


def _revision_bytes(path: Path) -> bytes:
    from faultodds.revisions import read_bytes as read_revision

    return read_revision(path)


def _laid_over(knowledge: Knowledge, laid: bytes, path: Path) -> tuple[Knowledge, str, tuple[str, ...]]:
    from faultodds.revisions import from_bytes, lay_over, overruled

    revision = from_bytes(laid, path)
    return lay_over(knowledge, revision), revision.id, overruled(knowledge, revision)


def compiled(knowledge: Knowledge, omitted_target: float = OMITTED_TARGET) -> Appliance:
    """An appliance straight from a knowledge record, with no file and no cache; KnowledgeError when it is not safe to use."""
    refuse_unsafe_file(knowledge, knowledge.appliance.id)
    return Appliance(knowledge, compile_suspects(knowledge, omitted_target), "in memory")


def _key(data: bytes, omitted_target: float, laid: bytes | None = None) -> str:
    digest = hashlib.sha256(data)
    digest.update(repr(omitted_target).encode())
    if laid is not None:
        digest.update(b"revision" + laid)  # an empty one is damaged, and must not pass for the file itself
    library = Path(__file__).parent.parent
    for source in (*_COMPILING_CODE, *(_LAYING_CODE if laid is not None else ())):
        digest.update((library / source).read_bytes())
    return digest.hexdigest()[:24]


def _save(entry: Path, appliance: Appliance) -> None:
    """Store an appliance; a cache that cannot be written is no error."""
    import msgspec

    from faultodds.belief import array_file

    s = appliance.suspects
    about = _About(*(getattr(s, name) for name in _About.__struct_fields__))
    stored = _Stored(about, appliance.knowledge, appliance.fingerprint, appliance.revision, appliance.overruled)
    arrays: dict[str, Any] = {name: getattr(s, name) for name in _ARRAYS}
    arrays |= {FACT_PREFIX + name: values for name, values in s.facts.items()}
    with contextlib.suppress(OSError):
        array_file.write(entry, msgspec.msgpack.encode(stored), arrays)


def _load(entry: Path) -> Appliance | None:
    """The cached appliance, or None when there is none or it is damaged."""
    import msgspec

    from faultodds.belief import array_file

    found = array_file.read(entry)
    if found is None:
        return None
    text, arrays = found
    try:
        stored = msgspec.msgpack.decode(text, type=_Stored)
        if {n for n in arrays if not n.startswith(FACT_PREFIX)} != set(_ARRAYS):
            return None
    except (msgspec.MsgspecError, ValueError):
        return None
    facts = {n.removeprefix(FACT_PREFIX): arrays.pop(n) for n in list(arrays) if n.startswith(FACT_PREFIX)}
    parts: dict[str, Any] = {**arrays, "facts": facts}
    about: dict[str, Any] = {name: getattr(stored.about, name) for name in _About.__struct_fields__}
    return Appliance(
        stored.knowledge, Suspects(**about, **parts), stored.fingerprint, stored.revision, stored.overruled
    )


class _About(Struct, frozen=True):
    """The part of `Suspects` that is names, as stored."""

    modes: tuple[str, ...]
    mains: tuple[str, ...]
    components: tuple[str, ...]
    observables: dict[str, tuple[str, ...]]
    fact_values: dict[str, tuple[str, ...]]
    lacks: dict[str, dict[str, tuple[str, ...]]]
    mechanism_states: dict[str, tuple[str, ...]]
    omitted_target: float


class _Stored(Struct, frozen=True):
    """Everything of an appliance that is not an array."""

    about: _About
    knowledge: Knowledge
    fingerprint: str
    revision: str = FILE
    overruled: tuple[str, ...] = ()
