"""What is kept about revisions beside their sealed files: that an id was given, a name, what an audit found.

Lines are only ever added to `remarks.jsonl`; one that cannot be read is passed over, since nothing here decides what is in use.
No everyday command reads it.
"""

from __future__ import annotations

import contextlib
import json
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

from faultodds.errors import RevisionError
from faultodds.files import bytes_of, line_added
from faultodds.revisions.decisions import history, shelf

REMARKS: Final = "remarks.jsonl"


@dataclass(frozen=True)
class Verdict:
    """What an audit found: whether such numbers forecast worse than `base` (a revision's id, or "file"), in words, and the day;
    and whether anybody can tell."""

    worse: bool
    base: str
    words: str
    day: str
    known: bool = True


@dataclass(frozen=True)
class Told:
    """What is known of one revision beside its numbers."""

    name: str = ""
    verdict: Verdict | None = None


def remark(appliance: str, revision: str, *, name: str = "", verdict: Verdict | None = None) -> None:
    """Add a line; RevisionError when it cannot be written."""
    said: dict[str, Any] = {"revision": revision}
    said |= {"name": name} if name else {}
    said |= {"verdict": asdict(verdict)} if verdict else {}
    path = shelf(appliance) / REMARKS
    try:
        line_added(path, json.dumps(said))
    except OSError as error:
        raise RevisionError(f"{path} cannot be written ({error.strerror or error}), so nothing was kept.") from None


def remarks(appliance: str) -> dict[str, Told]:
    """Id of every revision there ever was to what was told of it last."""
    try:
        lines = bytes_of(shelf(appliance) / REMARKS).decode("utf-8", "replace").splitlines()
    except OSError:
        return {}
    found: dict[str, Told] = {}
    for line in lines:
        with contextlib.suppress(ValueError, TypeError, KeyError, RecursionError):
            said = json.loads(line)
            told = found.get(str(said["revision"]), Told())
            told = replace(told, name=str(said.get("name") or told.name))
            told = replace(told, verdict=Verdict(**said["verdict"])) if "verdict" in said else told
            found[str(said["revision"])] = told
    return found


def given(appliance: str) -> set[str]:
    """Every id that was ever given: none of them is given again."""
    return {*remarks(appliance), *(decision.revision for decision in history(appliance))}
