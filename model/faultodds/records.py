"""`dataclass` for the records on the everyday path: the standard library's, made several times faster.

A command is a short process, and most of what making a standard frozen dataclass takes is compiling methods that are the same for
every class. Here they are written once and shared; fields, `replace`, `asdict`, pydantic and msgspec see an ordinary
dataclass. To type checkers it *is* the standard one.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(cls: type | None = None, /, *, frozen: bool = False, kw_only: bool = False) -> Any:
        """As `dataclasses.dataclass`, with equality, hash, repr and freezing shared between all classes."""

        def make(cls: type) -> type:
            made = dataclasses.dataclass(cls, repr=False, eq=False, kw_only=kw_only)
            made.__repr__, made.__eq__ = _repr, _eq
            made.__hash__ = _hash if frozen else None
            if frozen:
                made.__setattr__, made.__delattr__ = _set_once, _refuse
            return made

        return make if cls is None else make(cls)


def _values(record: Any) -> tuple[Any, ...]:
    return tuple(getattr(record, name) for name in record.__dataclass_fields__)


def _repr(self: Any) -> str:
    parts = (f"{name}={value!r}" for name, value in zip(self.__dataclass_fields__, _values(self), strict=True))
    return f"{type(self).__qualname__}({', '.join(parts)})"


def _eq(self: Any, other: Any) -> Any:
    return _values(self) == _values(other) if type(self) is type(other) else NotImplemented


def _hash(self: Any) -> int:
    return hash(_values(self))


def _set_once(self: Any, name: str, value: Any) -> None:
    """Lets `__init__` set each field; after that the record stays as it is."""
    if name in self.__dict__:
        raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")
    self.__dict__[name] = value


def _refuse(_self: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


__all__ = ["dataclass"]
