"""A revision of the priors: numbers learned from a job log, with where they come from, as a dated file.

The file is TOML, written once and sealed: its first line holds the SHA-256 of everything below it, so that a damaged or edited
file is noticed before a number of it is used. `numbers` are laid over the knowledge file, which is never changed itself.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from faultodds.errors import RevisionError
from faultodds.files import bytes_of, own_folder, toml_tables, written_whole
from faultodds.knowledge import Knowledge
from faultodds.revisions.decisions import revision_path

FORMAT: Final = 1
_SEAL: Final = "# faultodds revision, sha256 of what follows: "
_REMARK: Final = "# Written once, never edited: an edited file is refused. Learn anew with 'faultodds tune' instead.\n"

Plain = str | int | float | bool


@dataclass(frozen=True)
class Number:
    """One number of the knowledge file: as learned, as the file had it, its 90 % interval, the jobs that spoke to it; of a share,
    also the visits whose one repair was for that cause and held (`held`).

    In the file's own unit (a share in `shares_per`, a chance from 0 to 1, a factor). `draws` is the effective sample size behind
    the interval. What is not known is None.
    """

    learned: float
    file: float | None = None
    low: float | None = None
    high: float | None = None
    jobs: float | None = None
    draws: float | None = None
    held: float | None = None


@dataclass(frozen=True)
class LogSource:
    """The clean log that was learned from: its name, the SHA-256 of its bytes, its jobs and its first and last day."""

    name: str
    sha256: str
    jobs: int
    first_day: str = ""
    last_day: str = ""


@dataclass(frozen=True)
class Revision:
    """Learned priors with their provenance. `fingerprint` names the knowledge file's content at the time (`knowledge.fingerprint`);
    `numbers` go by the paths of `overlay.py`; `notes` are what learning and drift had to say, `contradictions` where the repairs
    that held and the shares gainsay each other: to be looked at before anything else."""

    id: str
    appliance: str
    fingerprint: str
    made_at: datetime
    log: LogSource
    numbers: dict[str, Number]
    settings: dict[str, Plain] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()


def lay_over(knowledge: Knowledge, revision: Revision) -> Knowledge:
    """The knowledge with the revision's numbers in it.

    Raises RevisionError when the revision is for another appliance, or names what the file no longer has.
    """
    from faultodds.errors import FaultoddsError
    from faultodds.knowledge import overlay

    if revision.appliance != knowledge.appliance.id:
        raise RevisionError(
            f"revision {revision.id} is for '{revision.appliance}', and this knowledge file is '{knowledge.appliance.id}'."
        )
    try:
        return overlay.apply(knowledge, {path: number.learned for path, number in revision.numbers.items()})
    except FaultoddsError as error:
        raise RevisionError(
            f"revision {revision.id} does not fit the knowledge file as it is now: {error} "
            "Learn anew with 'faultodds tune', or go back with 'faultodds revision rollback'."
        ) from None


def overruled(knowledge: Knowledge, revision: Revision) -> tuple[str, ...]:
    """Paths whose number in the knowledge file is no longer what it was when the revision was learned.

    The revision stands over them, so the later edit has no effect; whoever made it should know.
    """
    from faultodds.knowledge import overlay

    known = {path: number.file for path, number in revision.numbers.items() if number.file is not None}
    return tuple(p for p, was in known.items() if not math.isclose(overlay.value(knowledge, p), was, rel_tol=1e-9))


# --- the file ------------------------------------------------------------------------------------------------------


def as_text(revision: Revision) -> str:
    """The revision as the text of its file, seal included."""
    log = revision.log
    lines = [
        f"format = {FORMAT}",
        f"id = {_value(revision.id)}",
        f"made_at = {revision.made_at.isoformat(timespec='seconds')}",
        *(f"{part} = [{', '.join(map(_value, getattr(revision, part)))}]" for part in ("notes", "contradictions")),
        "",
        "[appliance]",
        f"id = {_value(revision.appliance)}",
        f"fingerprint = {_value(revision.fingerprint)}",
        "",
        "[log]",
        *(f"{name} = {_value(getattr(log, name))}" for name in LogSource.__dataclass_fields__),
        "",
        "[settings]",
        *(f"{_value(name)} = {_value(value)}" for name, value in revision.settings.items()),
        "",
        "[numbers]  # path = learned, in the file, 90 % interval, jobs that spoke to it, effective draws",
        *(f"{_value(path)} = {_number(number)}" for path, number in revision.numbers.items()),
    ]
    body = _REMARK + "\n".join(lines) + "\n"
    return f"{_SEAL}{hashlib.sha256(body.encode()).hexdigest()}\n{body}"


def read(path: Path) -> Revision:
    """The revision in a file; RevisionError when there is none, or it is damaged or was edited."""
    return from_bytes(read_bytes(path), path)


def read_bytes(path: Path) -> bytes:
    """The bytes of a revision's file; RevisionError, with the way out, when there is none."""
    try:
        return bytes_of(path)
    except OSError as error:
        missing = (
            "is not there" if isinstance(error, FileNotFoundError) else f"cannot be read ({error.strerror or error})"
        )
        raise RevisionError(f"revision {path.stem}: {path} {missing}.") from None


def from_bytes(data: bytes, path: Path) -> Revision:
    """The revision in the bytes of the file at `path`; RevisionError when they are damaged or were edited."""
    first, _, body = data.partition(b"\n")
    if not first.startswith(_SEAL.encode()):
        raise _damaged(path, "it has no seal")
    if hashlib.sha256(body).hexdigest().encode() != first[len(_SEAL) :].strip():
        raise _damaged(path, "its content is not what was written")
    try:
        return _record(toml_tables(body))
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise _damaged(path, f"{type(error).__name__}: {error}") from None


def _damaged(path: Path, why: str) -> RevisionError:
    return RevisionError(f"revision {path.stem} is damaged or was edited ({why}): {path}.")


def _record(raw: Mapping[str, Any]) -> Revision:
    if raw["format"] != FORMAT:
        raise ValueError(f"format {raw['format']}; this version reads format {FORMAT}")
    return Revision(
        id=raw["id"],
        appliance=raw["appliance"]["id"],
        fingerprint=raw["appliance"]["fingerprint"],
        made_at=raw["made_at"],
        log=LogSource(**raw["log"]),
        numbers={path: Number(**number) for path, number in raw["numbers"].items()},
        settings=dict(raw["settings"]),
        notes=tuple(raw["notes"]),
        contradictions=tuple(raw.get("contradictions", ())),
    )


def write(revision: Revision) -> Path:
    """Put a new revision on its shelf, whole or not at all.

    Raises FileExistsError when the id is taken (another terminal was quicker), RevisionError when the folder cannot be written.
    """
    path = revision_path(revision.appliance, revision.id)
    try:
        own_folder(path.parent)
        with written_whole(path, fresh=True) as beside:
            beside.write_text(as_text(revision), encoding="utf-8", newline="\n")
    except FileExistsError:
        raise
    except OSError as error:
        raise RevisionError(
            f"{path} cannot be written ({error.strerror or error}); the revision was not kept. Free some space or make the "
            "folder writable; to keep revisions somewhere else, set FAULTODDS_DATA to a folder of yours."
        ) from None
    return path


def _value(value: Plain) -> str:
    """A plain value as TOML. JSON's strings, numbers and booleans are TOML's as well, once DEL is escaped."""
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(number: Number) -> str:
    parts = {name: getattr(number, name) for name in Number.__dataclass_fields__}
    return "{ " + ", ".join(f"{name} = {float(v)!r}" for name, v in parts.items() if v is not None) + " }"
