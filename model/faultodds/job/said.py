"""What a line, or a part of it, means, in the program's own terms."""

from __future__ import annotations

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
