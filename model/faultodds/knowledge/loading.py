"""Knowledge files: load, validate, refuse with one message that says what to change.

A knowledge file is TOML with the tables of `schema.py`. Pydantic checks types and unknown keys, `rules.py` what the file means,
and `partly.py` has it check what can be checked where types are wrong. Every error names the file and the key.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from faultodds.errors import KnowledgeError, nearest
from faultodds.files import find, read_bytes
from faultodds.knowledge.partly import MISSING_KEY, UNKNOWN_KEY, also_wrong, place_of
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
    found = _tried(raw)
    if isinstance(found, Knowledge):
        knowledge, problems = found, list(dict.fromkeys(problems_of(found)))
    else:
        problems = [*_in_words(found), *dict.fromkeys(also_wrong(raw, found, _tried))]
    if problems:
        raise KnowledgeError.all_of(where, problems)
    return knowledge


def _tried(raw: Any) -> Knowledge | list[Any]:
    """The records, or pydantic's errors."""
    from pydantic import ValidationError

    try:
        knowledge: Knowledge = _validator().validate_python(raw)
    except ValidationError as error:
        return error.errors(include_url=False)
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


def _in_words(errors: Sequence[Mapping[str, Any]]) -> list[str]:
    """What pydantic found, a sentence for each place in the file, in the file's own words."""
    at: dict[str, list[str]] = {}
    said: dict[str, str] = {}
    for error in errors:
        place = place_of(error)
        key = ".".join(place)
        kind = str(error["type"])
        if kind in UNKNOWN_KEY:
            allowed = keys_at(Knowledge, place[:-1])
            close = nearest(place[-1], allowed)
            guess = f" Did you mean '{close}'?" if close else ""
            said[key] = f"this key is not known.{guess} Allowed here: {', '.join(allowed)}."
        elif kind in MISSING_KEY:
            said[key] = "this key is missing; add it."
        else:
            found = repr(error.get("input"))
            found = found if len(found) < 60 else found[:57] + "..."
            wanted = _WANTED.get(kind.partition("_")[0]) or str(error["msg"]).removeprefix("Input should be ")
            at.setdefault(key, []).extend([wanted] if wanted not in at.get(key, []) else [])
            said[key] = f"found {found}; write {' or '.join(at[key])}."
    return [f"{key}: {text}" for key, text in said.items()]
