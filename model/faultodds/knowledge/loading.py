"""Knowledge files: load, validate, refuse with one message that says what to change.

A knowledge file is TOML with the tables of `schema.py`. Validation has two layers: pydantic checks types and unknown keys;
`rules.py` checks what the file means. Every error names the file and the key.
"""

from __future__ import annotations

from collections.abc import Mapping
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
        raise KnowledgeError(_pydantic_message(error, where)) from None
    problem = next(problems_of(knowledge), None)
    if problem is not None:
        raise KnowledgeError(f"{where}: {problem}")
    return knowledge


@cache
def _validator() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(Knowledge)


def _pydantic_message(error: Any, where: str) -> str:
    problems = error.errors(include_url=False)
    first = problems[0]
    key = ".".join(str(p) for p in first["loc"])
    more = f" ({len(problems) - 1} more problems after this one.)" if len(problems) > 1 else ""
    if first["type"] in ("unexpected_keyword_argument", "extra_forbidden"):
        allowed = keys_at(Knowledge, first["loc"][:-1])
        close = nearest(str(first["loc"][-1]), allowed)
        guess = f" Did you mean '{close}'?" if close else ""
        return f"{where}: {key}: this key is not known.{guess} Allowed here: {', '.join(allowed)}.{more}"
    if first["type"] in ("missing", "missing_argument"):
        return f"{where}: {key}: this key is missing; add it.{more}"
    found = repr(first.get("input"))
    found = found if len(found) < 60 else found[:57] + "..."
    return f"{where}: {key}: found {found}; {first['msg'][0].lower()}{first['msg'][1:]}.{more}"
