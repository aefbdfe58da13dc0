"""The shelf of revisions: propose one, find it by a few letters, list them, hold two against each other.

What a revision *is* lies in `faultodds.revision`, what was decided about it in `faultodds.accepted`; both are light, because the
everyday commands read them.
"""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

from faultodds.errors import RevisionError
from faultodds.names import match
from faultodds.revisions import decisions
from faultodds.revisions.beside import Verdict, given, remark, remarks
from faultodds.revisions.decisions import (
    ACCEPT,
    FILE,
    SUFFIX,
    accepted,
    history,
    now,
    plain,
    revision_ids,
    revision_path,
    shelf,
    standing,
)
from faultodds.revisions.revision import LogSource, Number, Plain, Revision, read, write

Status = Literal["accepted", "accepted before", "proposed", "damaged"]
_SEE_LIST: Final = "Type 'faultodds revision list' to see them."


@dataclass(frozen=True)
class Shelved:
    """A revision on the shelf; `revision` is None, and `problem` says why, when its file is damaged."""

    id: str
    status: Status
    revision: Revision | None = None
    problem: str = ""


@dataclass(frozen=True)
class Difference:
    """One number in two revisions, or in one and the file; `low` and `high` are the first one's interval."""

    path: str
    one: float
    other: float
    low: float | None = None
    high: float | None = None
    jobs: float | None = None


def propose(
    appliance: str,
    fingerprint: str,
    log: LogSource,
    numbers: Mapping[str, Number],
    settings: Mapping[str, Plain] | None = None,
    notes: tuple[str, ...] = (),
    clock: Callable[[], datetime] = now,
    contradictions: tuple[str, ...] = (),
) -> Revision:
    """Write learned numbers as a new revision; it stands for nothing until it is accepted.

    The id is the day in the shop's own time and a letter. Raises RevisionError for numbers that are none, or when the folder cannot
    be written.
    """
    bad = [path for path, number in numbers.items() if not math.isfinite(number.learned)]
    if bad:
        raise RevisionError(f"learning gave no number for {bad[0]}, so nothing was kept. Please report this.")
    made_at = clock()
    log = LogSource(plain(log.name), log.sha256, log.jobs, log.first_day, log.last_day)
    while True:
        revision = Revision(
            id=_next_id(appliance, made_at),
            appliance=appliance,
            fingerprint=fingerprint,
            made_at=made_at.replace(microsecond=0),
            log=log,
            numbers=dict(numbers),
            settings=dict(settings or {}),
            notes=tuple(map(plain, notes)),
            contradictions=tuple(map(plain, contradictions)),
        )
        try:
            write(revision)
        except FileExistsError:
            continue  # another terminal took the id meanwhile
        with contextlib.suppress(RevisionError):  # its file is there, which keeps the id as well
            remark(appliance, revision.id)
        return revision


def find_id(appliance: str, typed: str, *, or_file: bool = False) -> str:
    """The id that `typed` stands for: all of it or as little as tells it from the others ("11-25-a", "b").

    `or_file` lets "file" stand for the knowledge file's own numbers. Raises UnknownName with the nearest id.
    """
    ids = revision_ids(appliance)
    called = {told.name: each for each, told in remarks(appliance).items() if told.name and each in ids}
    if typed in called:
        return called[typed]
    known = [*ids, *([FILE] if or_file else [])]
    return match("revision", typed, known, next_step=_elsewhere(appliance, typed) or _SEE_LIST)


def get(appliance: str, typed: str) -> Revision:
    """The revision that `typed` stands for; UnknownName when there is none, RevisionError when it is damaged."""
    return read(revision_path(appliance, find_id(appliance, typed)))


def shelved(appliance: str) -> list[Shelved]:
    """Every revision of an appliance, newest first, damaged ones too."""
    decided = history(appliance)
    stands = standing(decided)
    once = {d.revision for d in decided if d.action == ACCEPT}
    found = []
    for name in reversed(revision_ids(appliance)):
        status: Status = "accepted before" if name in once else "proposed"
        if stands and stands[-1] == name:
            status = "accepted"
        try:
            found.append(Shelved(name, status, read(revision_path(appliance, name))))
        except RevisionError as error:
            found.append(Shelved(name, "damaged", problem=str(error)))
    return found


def newest(appliance: str) -> str:
    """Id of the newest revision; RevisionError when there is none yet."""
    known = revision_ids(appliance)
    if not known:
        raise RevisionError(f"there is no revision of {appliance} yet. Learn one: faultodds tune LOG.")
    return known[-1]


def accept(
    appliance: str, typed: str, fingerprint: str, *, anyway: bool = False, by: str = "", why: str = ""
) -> tuple[str, str]:
    """Let a revision (or "file") stand from now on: (its id, what stood before, "file" if nothing did).

    `fingerprint` is the knowledge file's as it is now. Raises RevisionError when the revision was learned on other content, unless
    `anyway`, and when it is damaged.
    """
    name = find_id(appliance, typed, or_file=True)
    if name != FILE:
        revision = read(revision_path(appliance, name))
        if revision.fingerprint != fingerprint and not anyway:
            raise RevisionError(
                f"the knowledge file of {appliance} has changed since revision {name} was learned (it was {revision.fingerprint}, "
                f"and is {fingerprint}). The revision would stand over what was edited. Learn anew with "
                f"'faultodds tune {revision.log.name}', or accept it all the same: faultodds revision accept {name} --anyway"
            )
    before = accepted(appliance)
    decisions.accept(appliance, name, by=by, why=why)
    return name, before


def drop(appliance: str, typed: str, *, by: str = "", why: str = "") -> str:
    """Delete a revision that is not in use, by the id that `typed` stands for, which is returned and never given again."""
    name = find_id(appliance, typed)
    decisions.drop(appliance, name, by=by, why=why)
    return name


def rename(appliance: str, typed: str, name: str) -> str:
    """Give a revision a name of its own, by which it is then found as well; the id it stands for.

    RevisionError for a name that is taken, or that could be an id.
    """
    revision, name = find_id(appliance, typed), plain(name)
    others = {told.name for each, told in remarks(appliance).items() if each != revision}
    if not re.fullmatch(r"[a-z][a-z0-9_]{2,40}", name) or name == FILE or name in others:
        taken = " it is another revision's." if name in others else ""
        raise RevisionError(
            f"'{name}' cannot be a revision's name:{taken} write 3 to 41 small letters, digits or _, a letter first, such as "
            "winter_2025."
        )
    remark(appliance, revision, name=name)
    return revision


def judge(appliance: str, revision: str, verdict: Verdict) -> None:
    """Keep what an audit found of a revision's numbers."""
    remark(appliance, revision, verdict=verdict)


def differences(
    one: Mapping[str, Number], other: Mapping[str, Number] | None = None, *, least: float = 0.0
) -> list[Difference]:
    """Numbers that differ between two revisions (`other` None: the file), in the first one's order.

    What one of them does not name it leaves at the file's number. `least` is the smallest relative change that counts.
    """
    paths = [*one, *(path for path in other or {} if path not in one)]
    found = []
    for path in paths:
        a, b = one.get(path), (other or {}).get(path)
        left, right = _value(a, b), _value(b, a)
        if left is None or right is None or math.isclose(left, right, rel_tol=max(least, 1e-9)):
            continue
        low, high, jobs = (a.low, a.high, a.jobs) if a else (None, None, None)
        found.append(Difference(path, left, right, low, high, jobs))
    return found


def _value(here: Number | None, there: Number | None) -> float | None:
    """A revision's number, or the file's when it has none of its own."""
    return here.learned if here is not None else there.file if there is not None else None


def _next_id(appliance: str, made_at: datetime) -> str:
    day = f"{made_at.astimezone():%Y-%m-%d}"
    taken = {path.stem for path in shelf(appliance).glob(f"{day}-*{SUFFIX}")} | given(appliance)
    number = 1
    while (name := f"{day}-{_letters(number)}") in taken:
        number += 1
    return name


def _letters(number: int) -> str:
    """1, 2 ... 26, 27 as a, b ... z, aa."""
    text = ""
    while number:
        number, place = divmod(number - 1, 26)
        text = chr(ord("a") + place) + text
    return text


def _elsewhere(appliance: str, typed: str) -> str:
    """A hint when another appliance has a revision of that very name."""
    here = shelf(appliance)
    others = sorted(p.parent.name for p in here.parent.glob(f"*/{_safe(typed)}{SUFFIX}") if p.parent != here)
    return f"'{others[0]}' has one of that name: add --appliance {others[0]}." if others else ""


def _safe(typed: str) -> str:
    return "".join(c for c in typed if c.isalnum() or c == "-") or "none"
