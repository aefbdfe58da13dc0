"""Knowledge files: load, validate, refuse with one message that says what to change.

A knowledge file is TOML with the tables of `schema.py`. Pydantic checks types and unknown keys, `rules.py` what the file means,
and `partly.py` has it check what can be checked where types are wrong. Every error names the file and the key.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from faultodds.errors import KnowledgeError
from faultodds.files import find, read_bytes
from faultodds.knowledge.partly import also_wrong
from faultodds.knowledge.rules import problems_of
from faultodds.knowledge.schema import Knowledge
from faultodds.knowledge.toml_records import in_words, read_toml, records


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
    found = records(raw, Knowledge)
    if isinstance(found, Knowledge):
        knowledge, problems = found, list(dict.fromkeys(problems_of(found)))
    else:
        problems = [*in_words(found, Knowledge), *dict.fromkeys(also_wrong(raw, found))]
    if problems:
        raise KnowledgeError.all_of(where, problems)
    return knowledge
