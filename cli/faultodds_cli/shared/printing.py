"""What leaves the program: text on standard output and standard error, or one JSON object."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from typing import Any

from faultodds.names import harmless


def say(lines: str | Iterable[str] = "") -> None:
    """Print text on standard output, in whatever characters it can show, and in lines that fit."""
    from faultodds_cli.shared.text import fit

    text = lines if isinstance(lines, str) else "\n".join(lines)
    sys.stdout.write(fit(_showable(text, sys.stdout.encoding)) + "\n")


def complain(text: str) -> None:
    """Print text on standard error."""
    sys.stderr.write(_showable(text, sys.stderr.encoding) + "\n")


def say_json(answer: Any) -> None:
    """Print one JSON object: keys in the answer's order, no infinities, ASCII so that any pipe takes it."""
    sys.stdout.write(json.dumps(answer, allow_nan=False) + "\n")


_PLAIN = str.maketrans(
    {"£": "GBP ", "€": "EUR ", "°": " deg ", "×": "x", "–": "-", "—": "-", "…": "...", "Ω": "ohm", "²": "2"}
)


def _showable(text: str, encoding: str | None) -> str:
    """The text with nothing in it that a terminal would obey, and what the stream cannot encode spelt out."""
    text = harmless(text)
    name = encoding or "utf-8"
    try:
        text.encode(name)
    except UnicodeEncodeError:
        return text.translate(_PLAIN).encode(name, "replace").decode(name)
    return text
