"""TOML files into records: what the readers of knowledge files and shop files share."""

from __future__ import annotations

import dataclasses
import typing
from collections.abc import Iterable
from typing import Any

from faultodds.errors import FaultoddsError
from faultodds.files import toml_tables


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
        if dataclasses.is_dataclass(kind):
            kind = typing.get_type_hints(kind).get(str(part), object)
        else:
            kind = (typing.get_args(kind) or (object,))[-1]
    return kind


def keys_at(kind: Any, place: Iterable[object]) -> list[str]:
    """Keys allowed at a place in a file whose records start with `kind`."""
    found = kind_at(kind, place)
    return [f.name for f in dataclasses.fields(found)] if dataclasses.is_dataclass(found) else []
