"""Errors of the simulator: each names what was found and the nearest valid name."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


class SimError(Exception):
    """Anything the simulator refuses to do."""


class UnknownNameError(SimError):
    """A mode, check, repair or file kind that the simulator does not have.

    Parameters
    ----------
    kind : what was looked up, such as "check".
    found : the name that was given.
    allowed : the names that exist.
    """

    def __init__(self, kind: str, found: str, allowed: Iterable[str]) -> None:
        names = sorted(allowed)
        near = get_close_matches(found, names, n=1)
        hint = f"did you mean {near[0]!r}?" if near else f"try one of: {', '.join(names)}"
        super().__init__(f"unknown {kind} {found!r}; {hint}")


def pick(kind: str, found: str, allowed: Iterable[str]) -> str:
    """Return `found` if it is allowed, else raise `UnknownNameError` with the nearest name."""
    names = list(allowed)
    if found not in names:
        raise UnknownNameError(kind, found, names)
    return found
