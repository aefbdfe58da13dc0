"""What a line, or a part of it, means, in the program's own terms."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from msgspec import Struct

Kind = Literal[
    "finding", "fact", "tool", "command", "doubt", "machine", "ask", "repair", "undone", "unread", "excluded"
]


class Said(Struct, frozen=True):
    """`name` and `value` in the program's terms; `text` as it was typed."""

    kind: Kind
    name: str
    value: str
    text: str


def goes_on(line: str, unread: Sequence[str]) -> bool:
    """Whether a line goes on, with something that was not understood, in a way that may turn what was found before: "lights, then
    goes out"."""
    _, *behind = re.split(r"\b(?:then|but|until|till)\b", line.casefold(), maxsplit=1)
    words = {word for text in unread for word in text.casefold().split()}
    return any(words & set(re.findall(r"\w+", text)) for text in behind)


def left_open(unread: Sequence[str]) -> Said:
    """The question about what was not understood behind a finding, which is not noted either."""
    rest = ", ".join(unread)
    return Said(
        "ask", f"'{rest}' is not understood and may turn the rest. Nothing was noted: type NAME=OUTCOME.", "", ""
    )
