"""How a sum is printed."""

from __future__ import annotations

from typing import Any

from faultodds_cli.shared.options import say, say_json


def answer(as_json: bool, name: str, values: dict[str, Any], text: list[str], source: str) -> None:
    """Print one sum: `values` are numbers with the unit in their name, `text` sentences."""
    if as_json:
        say_json({"calc": name, **{k: _round(v) for k, v in values.items()}, "source": source})
        return
    from faultodds_cli.shared.text import wrap

    for sentence in text:
        say(wrap(sentence))
    say(wrap(source, "Source: "))


def _round(value: Any) -> Any:
    return float(f"{value:.6g}") if isinstance(value, float) else value
