"""TOML files into records: what the readers of knowledge files and shop files share."""

from __future__ import annotations

import dataclasses
import json
import types
import typing
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any, TypeVar, cast

from faultodds.errors import FaultoddsError, nearest
from faultodds.files import toml_tables

Kind = TypeVar("Kind")
Place = tuple[str, ...]

# Of more mistakes than so many the first are told: such a file is none of this kind.
MOST_MISTAKES = 500
UNKNOWN_KEY = ("unexpected_keyword_argument", "extra_forbidden")
MISSING_KEY = ("missing", "missing_argument")


def read_toml(data: bytes, where: str, error_class: type[FaultoddsError]) -> dict[str, Any]:
    """The tables in a file's bytes; `where` names the file in the error that is raised when there are none."""
    try:
        return toml_tables(data)
    except UnicodeDecodeError as error:
        raise error_class(f"{where}: is not UTF-8 text (byte {error.start}); save it as UTF-8.") from None
    except ValueError as error:
        fault = "is not usable" if type(error) is ValueError else "is not valid TOML"
        raise error_class(f"{where}: {fault}: {error}.") from None


def kind_at(kind: Any, place: Iterable[object]) -> Any:
    """The type of what stands at a place in a file whose records start with `kind`, by walking the record types."""
    for part in place:
        hints = _hints(kind)
        kind = (typing.get_args(kind) or (object,))[-1] if hints is None else hints.get(str(part), object)
        forms = _forms(kind)
        kind = forms[0] if len(forms) == 1 else kind
    return kind


@cache
def _hints(kind: Any) -> dict[str, Any] | None:
    return typing.get_type_hints(kind) if dataclasses.is_dataclass(kind) else None


def _forms(kind: Any) -> list[Any]:
    """What a value may be, beside not being there."""
    either = typing.get_args(kind) if typing.get_origin(kind) in (typing.Union, types.UnionType) else (kind,)
    return [each for each in either if each is not type(None)]


def keys_at(kind: Any, place: Iterable[object]) -> list[str]:
    """Keys allowed at a place in a file whose records start with `kind`."""
    found = kind_at(kind, place)
    return [f.name for f in dataclasses.fields(found)] if dataclasses.is_dataclass(found) else []


def records(raw: Any, kind: type[Kind]) -> Kind | list[Any]:
    """The tables of a file as records of that kind, or pydantic's errors."""
    from pydantic import ValidationError

    try:
        # By way of JSON, where strict means no text or truth value for a number, yet a table for a record.
        found: Kind = _validator(cast("Any", kind)).validate_json(json.dumps(raw, default=str), strict=True)
    except ValidationError as error:
        return error.errors(include_url=False)[:MOST_MISTAKES]
    return found


@cache
def _validator(kind: Any) -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(kind)


def place_of(error: Mapping[str, Any], kind: Any) -> Place:
    """Where in the file. Of what may be one of two things pydantic tells for each, and names it in the place: that name is none of
    the file's."""
    place = []
    for part in error["loc"]:
        if len(forms := _forms(kind)) > 1:
            kind = next((each for each in forms if str(each).replace(" ", "") == part), object)
        else:
            place.append(str(part))
            kind = kind_at(kind, [part])
    return tuple(place)


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


def in_words(errors: Sequence[Mapping[str, Any]], kind: type) -> list[str]:
    """What pydantic found, a sentence for each place in the file, in the file's own words."""
    at: dict[Place, list[Mapping[str, Any]]] = {}
    for error in errors:
        at.setdefault(place_of(error, kind), []).append(error)
    # A table that may be a number as well is not told to be one where something in it is wrong.
    inner = {place[:n] for place in at for n in range(len(place))}
    return [f"{'.'.join(place)}: {_told(place, at[place], kind)}" for place in at if place not in inner]


def _told(place: Place, errors: Sequence[Mapping[str, Any]], kind: type) -> str:
    """What is wrong at one place; of what may be two things it is neither."""
    fault = str(errors[0]["type"])
    if fault in UNKNOWN_KEY:
        allowed = keys_at(kind, place[:-1])
        close = nearest(place[-1], allowed)
        guess = f" Did you mean '{close}'?" if close else ""
        return f"this key is not known.{guess} Allowed here: {', '.join(allowed)}."
    if fault in MISSING_KEY:
        return "this key is missing; add it."
    value = errors[0].get("input")
    found = str(value).lower() if isinstance(value, bool) else repr(value)
    found = found if len(found) < 60 else found[:57] + "..."
    wanted = [
        _WANTED.get(str(e["type"]).partition("_")[0]) or str(e["msg"]).removeprefix("Input should be ") for e in errors
    ]
    return f"found {found}; write {' or '.join(dict.fromkeys(wanted))}."
