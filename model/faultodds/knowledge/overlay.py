"""Numbers laid over a knowledge file: what was learned, or what a shop says, by path.

A path goes through the records of `schema.py`, parts separated by "/": `component/duct/modes/partly_blocked/share`,
`context/vent_material/more_often/duct.partly_blocked/foil`, `check/coil_ohms/links/coils.open/off`, `costs/labour_rate`.
A path can address an outcome of a `leak` or link that the file writes as one number; the number then becomes a mapping. Names and
signs are checked here, sums are not, and nothing heavy is imported: this is on the everyday path.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Mapping
from typing import Any

from faultodds.errors import KnowledgeError, unknown
from faultodds.knowledge.schema import (
    NOTHING_WRONG,
    UNLISTED,
    UNLISTED_MODE,
    ContextFact,
    EquipmentFact,
    Knowledge,
    Mode,
    Observable,
)

SEPARATOR = "/"
Tree = dict[str, Any]


def apply(knowledge: Knowledge, numbers: Mapping[str, float]) -> Knowledge:
    """The same knowledge with `numbers` (path to value) in place of its own; `knowledge` itself is not changed.

    Raises KnowledgeError when a path leads to no number or a value is not a number of 0 or more, UnknownName for a name.
    """
    tree: Tree = {}
    for path, number in numbers.items():
        _plant(tree, path, number)
    laid: Knowledge = _laid(knowledge, tree, "", knowledge)
    return laid


def value(knowledge: Knowledge, path: str) -> float:
    """The number a path leads to, or what the engine takes where the file leaves it out.

    Left out, a factor of `more_often` is 1, a companion rate is the one under `other_causes`, a brought-on rate is
    the companion rate, and an outcome of a link, a leak or a table row has what the others leave for it.
    """
    record: Any = knowledge
    owner: Any = knowledge
    parts = path.split(SEPARATOR)
    for depth, part in enumerate(parts):
        here = SEPARATOR.join(parts[: depth + 1])
        if dataclasses.is_dataclass(record):
            owner = record
            record = _field(record, part, here)
        elif isinstance(record, Mapping) and part in record:
            record = record[part]
        else:
            _check_key(owner, parts, depth, knowledge)
            return _left_out(owner, parts, depth, record, knowledge)
    if record is None and parts[-1] == "companion":
        return knowledge.other_causes.companion
    if not _is_number(record):
        raise KnowledgeError(f"'{path}' is not a number; go on to one of its parts.")
    return float(record)


# --- laying over ---------------------------------------------------------------------------------------------------


def _plant(tree: Tree, path: str, number: float) -> None:
    """Put one number into the tree of paths."""
    if not _is_number(number) or not 0 <= number < math.inf:
        raise KnowledgeError(f"'{path}': found {number!r}; it is a number of 0 or more.")
    *way, last = path.split(SEPARATOR)
    for part in way:
        tree = tree.setdefault(part, {})
        if not isinstance(tree, dict):
            raise KnowledgeError(f"'{path}' goes through '{part}', which another path sets to a number.")
    if isinstance(tree.get(last), dict):
        raise KnowledgeError(f"'{path}' is set to a number, and another path goes through it.")
    tree[last] = float(number)


def _laid(record: Any, tree: Tree, path: str, knowledge: Knowledge) -> Any:
    """A record, or a table of records, with its part of the tree laid over it."""
    if not dataclasses.is_dataclass(record):
        merged = dict(record)
        for part, branch in tree.items():
            here = f"{path}{SEPARATOR}{part}"
            if part not in record:
                raise unknown(f"{path.rpartition(SEPARATOR)[2] or 'name'}", part, record, where=here)
            merged[part] = _entry(merged[part], branch, here, knowledge)
        return merged
    changed = {}
    for part, branch in tree.items():
        here = f"{path}{SEPARATOR}{part}".removeprefix(SEPARATOR)
        old = _field(record, part, here)
        opens = _open_keys(record, part, knowledge)
        changed[part] = (
            _entry(old, branch, here, knowledge) if opens is None else _open(record, old, branch, here, opens)
        )
    laid: Any = dataclasses.replace(record, **changed)  # type: ignore[type-var]
    return laid


def _entry(old: Any, branch: Any, path: str, knowledge: Knowledge) -> Any:
    if isinstance(branch, float):
        if not _is_number(old) and not (old is None and path.endswith("/companion")):
            raise KnowledgeError(f"'{path}' is not a number; go on to one of its parts.")
        return branch
    if not dataclasses.is_dataclass(old) and not isinstance(old, Mapping):
        raise KnowledgeError(f"'{path}' has no part '{next(iter(branch))}'.")
    return _laid(old, branch, path, knowledge)


def _open(owner: Any, old: Any, branch: Any, path: str, opens: tuple[Collection[str], Collection[str] | None]) -> Any:
    """A table that may get new keys (`links`, `more_often` ...), or a leak; `opens` are the keys allowed in it."""
    names, inner = opens
    if isinstance(branch, float):
        if isinstance(old, Mapping) and not path.endswith("/leak"):
            raise KnowledgeError(f"'{path}' is not a number; go on to one of its parts.")
        return branch
    merged = _as_mapping(old, owner)
    for part, below in branch.items():
        here = f"{path}{SEPARATOR}{part}"
        _known(part, names, here)
        if isinstance(below, dict):
            if inner is None:
                raise KnowledgeError(f"'{here}' is a number; it has no part '{next(iter(below))}'.")
            for name in below:
                _known(name, inner, f"{here}{SEPARATOR}{name}")
            merged[part] = {**_as_mapping(merged.get(part, {}), owner), **below}
        elif inner is not None and not isinstance(owner, Observable):
            raise KnowledgeError(f"'{here}' is not a number; go on to one of its parts.")
        else:
            merged[part] = below
    return merged


def _as_mapping(weights: Any, owner: Any) -> dict[str, Any]:
    """A copy of a table, or one number (the chance of the one outcome that is not normal) written as one."""
    if isinstance(weights, Mapping):
        return dict(weights)
    return {list(owner.outcomes)[1]: float(weights)} if weights else {}


def _open_keys(owner: Any, field: str, knowledge: Knowledge) -> tuple[Collection[str], Collection[str] | None] | None:
    """What may be a key of a record's table, and of the tables in it; None when its keys are fixed by the file."""
    modes = dict(knowledge.modes())
    if isinstance(owner, Mode) and field == "brings_on":
        return modes, None
    if isinstance(owner, ContextFact | EquipmentFact) and field == "usual":
        return owner.values, None
    if isinstance(owner, ContextFact) and field == "more_often":
        return [*modes, *knowledge.component, NOTHING_WRONG, UNLISTED], owner.values
    if isinstance(owner, Observable) and field == "leak":
        return owner.outcomes, None
    if isinstance(owner, Observable) and owner.depends_on and field in ("leak", "links"):
        return (), None
    if isinstance(owner, Observable) and field == "links":
        states = [f"{m}.{s}" for m, r in knowledge.mechanism.items() for s in list(r.states)[1:]]
        return [*modes, *states, UNLISTED_MODE], owner.outcomes
    if isinstance(owner, Observable) and field == "table":
        return owner.table, owner.outcomes
    return None


# --- reading -------------------------------------------------------------------------------------------------------


def _left_out(owner: Any, parts: list[str], depth: int, record: Any, knowledge: Knowledge) -> float:
    """What stands for a number that the file does not write."""
    field = next((f for f in ("more_often", "brings_on") if f in parts), None)
    if field == "more_often":
        return 1.0
    if field == "brings_on":
        component, _, mode = parts[-1].partition(".")
        rate = knowledge.component[component].modes[mode].companion
        return knowledge.other_causes.companion if rate is None else rate
    if not isinstance(owner, Observable):
        raise KnowledgeError(f"'{SEPARATOR.join(parts)}' is not a number of this file.")
    weights = _as_mapping(record, owner) if depth == len(parts) - 1 else {}
    if parts[-1] in weights:
        return float(weights[parts[-1]])
    return max(0.0, 1.0 - sum(weights.values())) if parts[-1] == next(iter(owner.outcomes)) else 0.0


def _check_key(owner: Any, parts: list[str], depth: int, knowledge: Knowledge) -> None:
    """Refuse a name that could not stand where it does, though it may be left out there."""
    field = next((p for p in reversed(parts[:depth]) if hasattr(owner, p)), "")
    opens = _open_keys(owner, field, knowledge) if field else None
    path = SEPARATOR.join(parts)
    if opens is None:
        raise KnowledgeError(f"'{path}': there is nothing called '{parts[depth]}' there.")
    names = parts[parts.index(field) + 1 :]
    if opens[1] is not None and len(names) < 2 and not isinstance(owner, Observable):
        raise KnowledgeError(f"'{path}' is not a number; go on to one of its parts.")
    for name, allowed in zip(names, opens, strict=False):
        if allowed is None:
            raise KnowledgeError(f"'{path}' goes past a number.")
        _known(name, allowed, path)


def _field(record: Any, name: str, path: str) -> Any:
    names = [f.name for f in dataclasses.fields(record)]
    if name not in names:
        raise unknown("entry", name, names, where=path)
    return getattr(record, name)


def _known(name: str, allowed: Collection[str], path: str) -> None:
    if name not in allowed:
        raise unknown("name", name, allowed, where=path)


def _is_number(found: Any) -> bool:
    return isinstance(found, int | float) and not isinstance(found, bool)
