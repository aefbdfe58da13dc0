"""Stop signs before anything else: looked for in what was typed before the appliance is validated or loaded.

A smell of gas must stop a call even when the rest of the line is wrong, the knowledge file has a mistake in
it, or its arrays are not compiled yet. So only the `[stop.*]` tables are read here.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable, Mapping
from typing import Any

from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.files import find, read_bytes
from faultodds.names import fold

NO = frozenset({"no", "n", "false", "0", "off", "none"})
# A name this close to a sign's is taken for it: a slip of the finger is no all-clear.
CLOSE = 0.85
_TABLES = re.compile(r"(?ms)^[ \t]*\[[ \t]*stop\b.*?(?=^[ \t]*\[(?![ \t]*stop\b)|\Z)")
_ELSEWHERE = re.compile(r"(?m)^[ \t]*stop[ \t]*[.=]")


def stop_first(appliance: str, typed: Iterable[str]) -> None:
    """Raise SafetyStop when one of the "NAME=VALUE" texts tells of a stop sign and does not plainly deny it.

    `appliance` is a shipped name or a path. A sign with no value counts as there. A file that cannot be read
    or has no stop signs stops nothing here; whatever is wrong with it is said when it is opened.
    """
    named = [(fold(name), fold(value)) for name, _, value in (text.partition("=") for text in typed)]
    told = [name for name, value in named if name and value not in NO]
    if not told:
        return
    signs = stop_signs(appliance)
    for name in told:
        sign = _sign(name, signs)
        if sign is not None:
            raise SafetyStop(stop_text(str(signs[sign].get("title", sign)), signs[sign].get("steps", [])))


def stop_signs(appliance: str) -> Mapping[str, Mapping[str, Any]]:
    """The stop signs of a file as written, nothing else looked at; empty when there are none."""
    try:
        raw = _stop_tables(read_bytes(find(appliance)).decode("utf-8"))
    except (FaultoddsError, ValueError):
        return {}
    signs = raw.get("stop")
    return {n: s for n, s in signs.items() if isinstance(s, dict)} if isinstance(signs, dict) else {}


def _stop_tables(text: str) -> Mapping[str, Any]:
    """The file's `[stop...]` tables alone where they can be cut out: parsing all of it takes too long."""
    import tomllib

    if not _ELSEWHERE.search(text):
        with contextlib.suppress(tomllib.TOMLDecodeError):
            return tomllib.loads("".join(_TABLES.findall(text)))
    return tomllib.loads(text)


def stop_text(title: str, steps: Iterable[object]) -> str:
    """What is shown when a stop sign is there: the sign, then its steps."""
    return "\n".join([f"STOP. {title}.", *(f"{i}. {step}" for i, step in enumerate(steps, 1))])


def _sign(name: str, signs: Mapping[str, Mapping[str, Any]]) -> str | None:
    """The sign that a folded name stands for: its name or title, give or take a letter or two."""
    words = {sign: sign for sign in signs} | {fold(str(s.get("title", ""))): sign for sign, s in signs.items()}
    import difflib

    close = difflib.get_close_matches(name, list(words), n=1, cutoff=CLOSE)
    return words[close[0]] if close else None
