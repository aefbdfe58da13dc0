"""Knowledge files: load, validate, refuse with one message that says what to change.

A knowledge file is TOML with the tables of `schema.py`. Validation has two layers: pydantic checks types and unknown keys;
`rules.py` checks what the file means. Every error names the file and the key.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from faultodds.errors import KnowledgeError, nearest
from faultodds.files import find, read_bytes
from faultodds.knowledge.rules import problems_of
from faultodds.knowledge.schema import Knowledge
from faultodds.knowledge.toml_records import keys_at, read_toml


def load(name: str) -> Knowledge:
    """Load and validate a shipped appliance or a knowledge file at a path."""
    return load_file(find(name))


def load_file(path: Path) -> Knowledge:
    """Load and validate one file; raises KnowledgeError naming file and key."""
    return parse(read_bytes(path), path.name)


def parse(data: bytes, where: str = "knowledge file") -> Knowledge:
    """Validate TOML bytes; `where` names the file in messages."""
    return from_mapping(read_toml(data, where, KnowledgeError), where)


def from_mapping(raw: Mapping[str, Any], where: str = "knowledge") -> Knowledge:
    """Validate a mapping shaped like a knowledge file (tests and notebooks build small appliances this way)."""
    from pydantic import ValidationError

    try:
        knowledge: Knowledge = _validator().validate_python(raw)
    except ValidationError as error:
        raise KnowledgeError.all_of(where, _in_words(error.errors(include_url=False))) from None
    problems = list(dict.fromkeys(problems_of(knowledge)))
    if problems:
        raise KnowledgeError.all_of(where, problems)
    return knowledge


@cache
def _validator() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(Knowledge)


_WANTED = {
    "string": "text in quotes",
    "float": "a number, without quotes",
    "int": "a whole number, without quotes",
    "bool": "true or false",
    "list": "a list, such as [ ... ]",
    "dict": "a table, such as { name = ... }",
    "dataclass": "a table, such as { name = ... }",
}
"""What is wanted in a place, by how pydantic's name for the mistake begins."""

_EITHER = ("float", "int", "str", "dict[str,float]")
"""Pydantic's names for what `leak` and `causes` may be."""


def _place(parts: list[str]) -> list[str]:
    """Where in the file. What may be one of two things is told of twice, with the name of each behind it: the place is the same."""
    return [
        each
        for n, each in enumerate(parts)
        if not (n > 2 and each in _EITHER and (parts[n - 1] == "leak" or parts[n - 2] == "causes"))
    ]


def _in_words(errors: Sequence[Mapping[str, Any]]) -> list[str]:
    """What pydantic found, a sentence for each place in the file, in the file's own words."""
    at: dict[str, list[str]] = {}
    said: dict[str, str] = {}
    for error in errors:
        place = _place([str(p) for p in error["loc"]])
        key = ".".join(place)
        kind = str(error["type"])
        if kind in ("unexpected_keyword_argument", "extra_forbidden"):
            allowed = keys_at(Knowledge, place[:-1])
            close = nearest(place[-1], allowed)
            guess = f" Did you mean '{close}'?" if close else ""
            said[key] = f"this key is not known.{guess} Allowed here: {', '.join(allowed)}."
        elif kind in ("missing", "missing_argument"):
            said[key] = "this key is missing; add it."
        else:
            found = repr(error.get("input"))
            found = found if len(found) < 60 else found[:57] + "..."
            wanted = _WANTED.get(kind.partition("_")[0]) or str(error["msg"]).removeprefix("Input should be ")
            at.setdefault(key, []).extend([wanted] if wanted not in at.get(key, []) else [])
            said[key] = f"found {found}; write {' or '.join(at[key])}."
    return [f"{key}: {text}" for key, text in said.items()]
