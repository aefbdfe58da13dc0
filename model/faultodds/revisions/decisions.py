"""Which revision of the priors stands for an appliance, and how it came to.

A revision (`revision.py`) is a file that is written once. What a manager decides about it is a line in `history.jsonl` beside
it: "accept this one", "roll back". Lines are only ever added, each in one write, so two terminals can decide at the same
moment and nothing is lost; what stands follows from reading them in order. The everyday commands read this one small
file, so nothing heavy is imported here.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from msgspec import Struct

from faultodds.errors import RevisionError
from faultodds.files import data_folder

FILE: Final = "file"
"""Stands for the knowledge file as it is, with no revision over it."""
SUFFIX: Final = ".toml"
HISTORY: Final = "history.jsonl"
ACCEPT: Final = "accept"
ROLLBACK: Final = "rollback"


class Decision(Struct, frozen=True):
    """One line of the history: at `at` (UTC) `revision` was accepted, or the accepted `revision` was rolled back."""

    at: str
    action: str
    revision: str


def now() -> datetime:
    """The time, in UTC."""
    return datetime.now(UTC)


def shelf(appliance: str) -> Path:
    """The folder with the revisions of an appliance, by the id in its knowledge file; it need not exist."""
    # An id is free text; what is no plain name could lead out of the folder.
    plain = re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,60}", appliance)
    name = appliance if plain else "id-" + hashlib.sha256(appliance.encode()).hexdigest()[:16]
    return data_folder() / "revisions" / name


def revision_path(appliance: str, revision: str) -> Path:
    """Where a revision is, by its full id; it need not exist."""
    return shelf(appliance) / (revision + SUFFIX)


def revision_ids(appliance: str) -> list[str]:
    """Ids of the revisions on the shelf, oldest first."""
    found = [path.stem for path in shelf(appliance).glob("*" + SUFFIX)]
    return sorted(found, key=_age)


def _age(revision: str) -> tuple[str, int, str]:
    """Sorts "2026-11-25-z" before "2026-11-25-aa"."""
    day, _, counter = revision.rpartition("-")
    return day, len(counter), counter


def history(appliance: str) -> tuple[Decision, ...]:
    """Every decision, oldest first; none when nothing was ever accepted.

    Raises RevisionError when the history is damaged: what stands is then not known, and nothing else is put in its place.
    """
    path = shelf(appliance) / HISTORY
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise RevisionError(f"{path} cannot be read ({error.strerror or error}). Make it readable.") from None
    lines = data.decode("utf-8", "replace").splitlines()
    return tuple(_decision(path, number, line) for number, line in enumerate(lines, 1) if line.strip())


def standing(decisions: Sequence[Decision]) -> tuple[str, ...]:
    """What was accepted and not rolled back, in order: the last one stands, the one before is what a rollback gives."""
    stack: list[str] = []
    for decision in decisions:
        if decision.action == ACCEPT:
            stack.append(decision.revision)
        elif stack and stack[-1] == decision.revision:
            # Two terminals that roll back the same revision at once take it back once.
            stack.pop()
    return tuple(stack)


def accepted(appliance: str) -> str:
    """Id of the revision that stands for an appliance, or `FILE`."""
    return (FILE, *standing(history(appliance)))[-1]


def accept(appliance: str, revision: str, clock: Callable[[], datetime] = now) -> None:
    """Let a revision, or `FILE`, stand from now on.

    A damaged history is put aside, with the lines that can still be read kept in the new one: accepting is the way out of it.
    """
    path = shelf(appliance) / HISTORY
    try:
        history(appliance)
    except RevisionError:
        _put_aside(path, clock())
    _add(path, Decision(_stamp(clock()), ACCEPT, revision))


def rollback(appliance: str, clock: Callable[[], datetime] = now) -> tuple[str, str]:
    """Go back to what was accepted before: (what stood, what stands now). RevisionError when nothing is accepted."""
    stack = standing(history(appliance))
    if not stack:
        raise RevisionError(
            f"no revision of {appliance} is accepted, so there is nothing to roll back: the knowledge file's own numbers "
            "are in use. Type 'faultodds revision list' to see what was proposed."
        )
    _add(shelf(appliance) / HISTORY, Decision(_stamp(clock()), ROLLBACK, stack[-1]))
    return stack[-1], (FILE, *stack)[-2]


def _stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")


def _decision(path: Path, number: int, line: str) -> Decision:
    try:
        said = json.loads(line)
        decision = Decision(said["at"], said["action"], said["revision"])
    except (ValueError, TypeError, KeyError):
        decision = Decision("", "", "")
    if decision.action not in (ACCEPT, ROLLBACK) or not isinstance(decision.revision, str) or not decision.revision:
        raise RevisionError(
            f"{path} is damaged at line {number}, so which revision is accepted is not known. Nothing was put in its place. "
            f"Type 'faultodds revision list', then 'faultodds revision accept ID' with the one to use "
            f"('faultodds revision accept {FILE}' for the knowledge file's own numbers)."
        )
    return decision


def _add(path: Path, decision: Decision) -> None:
    """Add one line, on disk when this returns."""
    said = {"at": decision.at, "action": decision.action, "revision": decision.revision}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            # One write of one line: nobody else's line can come in between.
            os.write(handle, (json.dumps(said) + "\n").encode())
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        raise RevisionError(
            f"{path} cannot be written ({error.strerror or error}), so nothing has changed. Make it writable, or set "
            "FAULTODDS_DATA to a folder of yours."
        ) from None


def _put_aside(path: Path, at: datetime) -> None:
    """Keep a damaged history under another name, and start a new one with its readable lines."""
    lines = path.read_bytes().decode("utf-8", "replace").splitlines()
    kept = []
    for number, line in enumerate(lines, 1):
        try:
            kept.append(_decision(path, number, line))
        except RevisionError:
            continue
    try:
        os.replace(path, path.with_name(f"history-damaged-{at:%Y%m%d%H%M%S}.jsonl"))
    except OSError as error:
        raise RevisionError(f"{path} is damaged and cannot be moved aside ({error.strerror or error}).") from None
    for decision in kept:
        _add(path, decision)
