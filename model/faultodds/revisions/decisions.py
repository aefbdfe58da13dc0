"""Which revision of the priors stands for an appliance, and how it came to.

A revision (`revision.py`) is a file that is written once. What a manager decides about it is a line in `history.jsonl` beside
it: "accept this one", "roll back". Lines are only ever added, each whole or not at all, so two terminals can decide at the same
moment and nothing is lost; what stands follows from reading them in order. A line that cannot be read may have said
anything: what stood before it is not known any more, so the knowledge file's own numbers stand until the next "accept", and every
answer says so. The everyday commands read this one small file, so nothing heavy is imported here.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from msgspec import Struct

from faultodds.errors import RevisionError
from faultodds.files import bytes_of, data_folder, line_added, own_folder

FILE: Final = "file"
"""Stands for the knowledge file as it is, with no revision over it."""
SUFFIX: Final = ".toml"
HISTORY: Final = "history.jsonl"
ACCEPT: Final = "accept"
ROLLBACK: Final = "rollback"
DROP: Final = "drop"
DAMAGED: Final = "damaged"
UNREADABLE: Final = "cannot be read"
_LONGEST: Final = 2000


class Decision(Struct, frozen=True):
    """One line of the history: at `at` (UTC) `revision` was accepted, rolled back or dropped, `by` whom and `why`. Of a damaged one
    `revision` says which line of the file it is, or why the file cannot be read."""

    at: str
    action: str
    revision: str
    by: str = ""
    why: str = ""


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
    """Ids of the revisions on the shelf, oldest first; one that was dropped is not on it, whether its file is gone yet or not."""
    dropped = {each.revision for each in history(appliance) if each.action == DROP}
    return sorted({path.stem for path in _files(appliance)} - dropped, key=_age)


def _files(appliance: str) -> list[Path]:
    return sorted(shelf(appliance).glob("*" + SUFFIX))


def _age(revision: str) -> tuple[str, int, str]:
    """Sorts "2026-11-25-z" before "2026-11-25-aa"."""
    day, _, counter = revision.rpartition("-")
    return day, len(counter), counter


def history(appliance: str) -> tuple[Decision, ...]:
    """Every decision, oldest first, damaged lines among them; none when nothing was ever accepted."""
    path = shelf(appliance) / HISTORY
    try:
        data = bytes_of(path)
    except FileNotFoundError:
        return ()
    except OSError as error:
        return (Decision("", DAMAGED, f"{UNREADABLE}: {error.strerror or error}"),)
    lines = data.decode("utf-8", "replace").split("\n")
    return tuple(_decision(number, line) for number, line in enumerate(lines, 1) if line.strip())


def standing(decisions: Sequence[Decision]) -> tuple[str, ...]:
    """What was accepted and not rolled back, in order: the last one stands, the one before is what a rollback gives."""
    stack: list[str] = []
    for decision in decisions:
        if decision.action == ACCEPT:
            # Two terminals that accept the same revision at once accept it once.
            stack += [] if stack and stack[-1] == decision.revision else [decision.revision]
        elif decision.action == DAMAGED:
            stack.clear()
        elif decision.action == DROP:
            stack = [each for each in stack if each != decision.revision]
            stack = [each for at, each in enumerate(stack) if not at or each != stack[at - 1]]
        elif stack and stack[-1] == decision.revision:
            # Two terminals that roll back the same revision at once take it back once.
            stack.pop()
    return tuple(stack)


def accepted(appliance: str) -> str:
    """Id of the revision that stands for an appliance, or `FILE`."""
    return (FILE, *standing(history(appliance)))[-1]


def doubt(appliance: str, again: str = "") -> str:
    """What is to be said with every answer while damage to the history leaves it open which revision stands; else empty. `again`:
    what the commands that it names need as well, to be about this appliance."""
    decisions = history(appliance)
    damaged = [decision.revision for decision in decisions if decision.action == DAMAGED]
    if not damaged or standing(decisions):
        return ""
    return (
        f"Which learned numbers were accepted is not known: {shelf(appliance) / HISTORY} is damaged ({damaged[-1]}). The "
        f"knowledge file's own are used. Type 'faultodds revision list{again}', then 'faultodds revision accept ID{again}' with "
        f"the one to use, or 'faultodds revision accept {FILE}{again}' to keep the knowledge file's own."
    )


def accept(appliance: str, revision: str, clock: Callable[[], datetime] = now, *, by: str = "", why: str = "") -> None:
    """Let a revision, or `FILE`, stand from now on. RevisionError when it does already, or when that cannot be written down."""
    decisions = history(appliance)
    stands = standing(decisions)
    if stands[-1:] == (revision,) or (not stands and revision == FILE and not doubt(appliance)):
        raise RevisionError(
            f"'{revision}' is in use for {appliance} already, so there is nothing to accept. Type 'faultodds revision list' to see "
            "what was decided."
        )
    _set_aside(appliance)
    _add(appliance, Decision(_stamp(clock()), ACCEPT, revision, plain(by), plain(why)))


def rollback(appliance: str, clock: Callable[[], datetime] = now, *, by: str = "", why: str = "") -> tuple[str, str]:
    """Go back to what was accepted before: (what stood, what stands now). RevisionError when nothing is accepted."""
    stack = standing(history(appliance))
    if not stack:
        raise RevisionError(
            doubt(appliance)
            or f"no revision of {appliance} is accepted, so there is nothing to roll back: the knowledge file's own numbers "
            "are in use. Type 'faultodds revision list' to see what was proposed."
        )
    _add(appliance, Decision(_stamp(clock()), ROLLBACK, stack[-1], plain(by), plain(why)))
    return stack[-1], (FILE, *stack)[-2]


def drop(appliance: str, revision: str, clock: Callable[[], datetime] = now, *, by: str = "", why: str = "") -> None:
    """Delete a revision for good; its id is not given again. RevisionError for the one in use."""
    if accepted(appliance) == revision:
        raise RevisionError(
            f"revision {revision} is in use for {appliance}. Type 'faultodds revision rollback' first, or accept another."
        )
    _add(appliance, Decision(_stamp(clock()), DROP, revision, plain(by), plain(why)))
    kept = revision_ids(appliance)
    for path in (each for each in _files(appliance) if each.stem not in kept):
        try:
            path.unlink(missing_ok=True)  # this one, and any whose dropping was cut off here
        except OSError as error:
            raise RevisionError(
                f"{path} cannot be deleted ({error.strerror or error}). Delete it by hand: it is not used any more."
            ) from None


def _set_aside(appliance: str) -> None:
    """Put a history that cannot be read (a folder, a closed file) out of the way, so that it can be begun anew."""
    path = shelf(appliance) / HISTORY
    if any(d.action == DAMAGED and d.revision.startswith(UNREADABLE) for d in history(appliance)):
        with contextlib.suppress(OSError):  # then adding to it says why not
            path.rename(path.with_suffix(f".unreadable-{now():%Y%m%d%H%M%S}"))


def plain(text: str) -> str:
    """One line of valid text: a terminal can pass on what no file can hold."""
    whole = " ".join(text.encode("utf-8", "backslashreplace").decode("utf-8").split())
    return whole[:_LONGEST]


def _stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")


def _decision(number: int, line: str) -> Decision:
    try:
        said = json.loads(line)
        decision = Decision(
            said["at"], said["action"], said["revision"], str(said.get("by", "")), str(said.get("why", ""))
        )
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return Decision("", DAMAGED, f"line {number}")
    sound = isinstance(decision.at, str) and isinstance(decision.revision, str) and decision.revision
    return (
        decision if sound and decision.action in (ACCEPT, ROLLBACK, DROP) else Decision("", DAMAGED, f"line {number}")
    )


def _add(appliance: str, decision: Decision) -> None:
    """Add one line, on disk when this returns."""
    path = shelf(appliance) / HISTORY
    said = {name: value for name in decision.__struct_fields__ if (value := getattr(decision, name))}
    try:
        own_folder(path.parent)
        line_added(path, json.dumps(said))
    except OSError as error:
        raise RevisionError(
            f"{path} cannot be written ({error.strerror or error}), so nothing has changed. Make it writable, or set "
            "FAULTODDS_DATA to a folder of yours."
        ) from None
