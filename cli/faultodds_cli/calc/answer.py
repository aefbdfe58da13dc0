"""How a sum is printed."""

from __future__ import annotations

from typing import Any

from faultodds.names import rounded
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import wrap


def answer(as_json: bool, name: str, values: dict[str, Any], text: list[str], source: str) -> None:
    """Print one sum: `values` are numbers with the unit in their name, `text` sentences."""
    if as_json:
        shown = {each: rounded(v) if isinstance(v, float) else v for each, v in values.items()}
        say_json({"calc": name, **shown, "source": source})
        return
    for sentence in text:
        say(wrap(sentence))
    say(wrap(source, "Source: "))
