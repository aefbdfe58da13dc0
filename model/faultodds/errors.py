"""Errors a user can act on.

Every message names what was found, what is allowed, the nearest valid name where there is one, and what to type next.
The command line prints the message and exits with `exit_code`; it never shows a traceback for these.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Self

MOST_TOLD = 20  # problems of one file on a screen
MOST_NAMES = 12  # known names told
SPEAKS = 4  # letters of a word that tells what is meant
LISTED_BY = {
    "job log": "faultodds log list",
    "revision": "faultodds revision list",
    "appliance": "faultodds appliance list",
    "learned number": "faultodds revision show",
    "job": "faultodds job list",
    **dict.fromkeys(
        ("name", "fault", "cause", "part", "symptom", "check", "question", "repair", "fact", "access", "panel", "tool"),
        "faultodds appliance show",
    ),
}
"""What lists all names of a kind, by a word of the kind; the names of any other kind are all told."""


class FaultoddsError(Exception):
    """Base of every error that is the user's to mend; `exit_code` is what the command line exits with."""

    exit_code = 2


class UnknownName(FaultoddsError):
    """A name that the knowledge file, the job or the command does not have."""


class BadReading(FaultoddsError):
    """A raw reading that cannot be read, or whose unit has to be asked for."""


class FileError(FaultoddsError):
    """A file that people write and that cannot be used; names the file and the key. `problems`: everything that was found wrong
    with it, one sentence each, when it could be read that far."""

    def __init__(self, message: str, problems: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.problems = tuple(problems)

    @classmethod
    def all_of(cls, where: str, problems: Sequence[str]) -> Self:
        """One error that tells all problems of the file called `where`."""
        if len(problems) == 1:
            return cls(f"{where}: {problems[0]}", problems)
        shown = [f"  - {problem}" for problem in problems[:MOST_TOLD]]
        more = [f"  and {len(problems) - MOST_TOLD} more."] if len(problems) > MOST_TOLD else []
        return cls("\n".join([f"{where}: {len(problems)} things to mend:", *shown, *more]), problems)


class KnowledgeError(FileError):
    """A knowledge file that cannot be used."""


class ClashError(FaultoddsError):
    """Findings that no suspect explains; `findings` is the smallest set of names that clash."""

    def __init__(self, message: str, findings: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.findings = tuple(findings)


class RevisionError(FaultoddsError):
    """A revision of the priors that cannot be read, accepted or used."""


class ShopError(FileError):
    """A shop file that cannot be used."""


class StoreError(FaultoddsError):
    """The job store cannot be opened, read or written."""


class StaleJobError(StoreError):
    """Another terminal changed the job since it was read; `job` is how it stands now. Nothing was saved."""

    def __init__(self, message: str, job: object) -> None:
        super().__init__(message)
        self.job = job


class SafetyStop(FaultoddsError):
    """Gas smell, CO alarm or fire signs: nothing else is computed or shown."""

    exit_code = 3


def nearest(found: str, allowed: Iterable[str]) -> str | None:
    """The allowed name closest to `found`, or None when nothing is close."""
    by_fold = {name.casefold().replace(" ", "_").replace("-", "_"): name for name in allowed}
    wanted = found.casefold().replace(" ", "_").replace("-", "_")
    import difflib

    close = difflib.get_close_matches(wanted, list(by_fold), n=1, cutoff=0.5)
    return by_fold[close[0]] if close else None


def _parts(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", text.casefold())


def unknown(
    kind: str, found: str, allowed: Iterable[str], next_step: str = "", where: str = "", in_file: bool = False
) -> UnknownName:
    """An `UnknownName` in the one wording used everywhere.

    `kind` is what was asked for ("check"), `next_step` what to type next, `where` a file and key or a command. Of many names
    that are known, those that share a word with what was typed are told, and what lists the others; all of them where no command
    does, as of those `in_file` that cannot be opened.
    """
    names = list(allowed)
    said = {word for word in _parts(found) if len(word) >= SPEAKS}
    near = [name for name in names if not said.isdisjoint(_parts(name))]
    close = nearest(found, near or names)
    head = f"{where}: " if where else ""
    parts = [f"{head}there is no {kind} called '{found}'."]
    if close:
        parts.append(f"Did you mean '{close}'?")
    by = None if in_file else next((by for word, by in LISTED_BY.items() if re.search(rf"\b{word}s?\b", kind)), None)
    told = names if len(names) <= MOST_NAMES or by is None else (near or names)[:MOST_NAMES]
    rest = f" and {len(names) - len(told)} more; '{by}' lists them all" if len(told) < len(names) else ""
    parts.append(f"Known: {', '.join(told) or 'none'}{rest}.")
    if next_step:
        parts.append(next_step)
    return UnknownName(" ".join(parts))
