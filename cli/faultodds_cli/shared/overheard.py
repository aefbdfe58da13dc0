"""Danger in the words of a command line that cannot be obeyed: heard before anybody is told of a misplaced word."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.safety import stop_first
from faultodds_cli.shared.options import DEFAULT_APPLIANCE

# Options that take the name of a file, a folder or a person: what is called "fire" there burns nothing.
_NAMING = {"--data", "--appliance", "-a", "--revision", "--shop", "--technician", "--to"}
_FILE = re.compile(r"^(?:~|\.{0,2}/)\S*$|^\S+\.[A-Za-z]\w{1,6}$")


def overheard(arguments: Sequence[str]) -> SafetyStop | None:
    """The stop for what the words of a command line tell of, kept with the job whose number is there; None for no danger."""
    words = list(_words(arguments))
    # A NAME=VALUE is a sentence of its own: in "heat=none gas smell" the "none" is about the heat.
    line = " ".join(f"{word}." if "=" in word else word for word in words)
    pairs = [word for word in words if "=" in word]
    try:
        stop_first(_after(arguments, "--appliance") or DEFAULT_APPLIANCE, [*pairs, line], _clears(arguments))
    except SafetyStop as stop:
        return _kept(arguments, [*pairs, line]) or stop
    return None


def _clears(arguments: Sequence[str]) -> bool:
    """Whether a command line tells how a danger was cleared."""
    return [*arguments[:2]] == ["job", "safe"]


def _words(arguments: Sequence[str]) -> Iterator[str]:
    """What was typed, without the names of options and of files."""
    before = ""
    for argument in arguments:
        option, sign, value = argument.partition("=")
        word = argument if not argument.startswith("-") else value if sign and option not in _NAMING else ""
        if word and before not in _NAMING and not _FILE.match(word):
            yield word
        before = argument


def _after(arguments: Sequence[str], option: str) -> str | None:
    return next((after for at, after in pairwise(arguments) if at == option), None)


def _kept(arguments: Sequence[str], texts: Sequence[str]) -> SafetyStop | None:
    """The same stop from the job that the line names by its number, where it now is; None when there is no such job."""
    from faultodds_cli.shared.jobs import opened_store, resume

    number = next((a for a in arguments[1:3] if a.isdigit()), None)
    if number is None or arguments[0] not in ("job", "bench"):
        return None
    try:
        with opened_store(_after(arguments, "--data")) as store:
            visit = resume(store, number)
            for name, _, value in (text.partition("=") for text in texts):
                visit.stop_sign(name, value)
            visit.listen(*texts, over=_clears(arguments))
    except SafetyStop as stop:
        return stop
    except FaultoddsError:
        return None
    return None
