"""Options that are plain text, numbers already right, or flags, without loading a validation library.

Recent typer checks every value with pydantic, whose import takes as long as numpy's. For a string there is
nothing to check, so such values are passed through here, and everything else is still left to typer. Where
a typer does not work that way, nothing is changed.
"""

from __future__ import annotations

from typing import Any

_HOLDER = "_runtime_param"


def lighten(command: Any) -> Any:
    """The same command, and those below it, with plain values passed through."""
    listed = command.get_params

    def get_params(ctx: Any) -> Any:
        """The command's parameters; the one for help is made only when they are asked for."""
        params = listed(ctx)
        for param in params:
            if getattr(param, _HOLDER, _HOLDER) is None and hasattr(param, "type_descriptor"):
                setattr(param, _HOLDER, _PassThrough())
        return params

    command.get_params = get_params
    for below in getattr(command, "commands", {}).values():
        lighten(below)
    return command


class _PassThrough:
    """Stands where typer keeps a parameter's validator, until a value needs validating."""

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        """The value as the command takes it."""
        several = param.multiple or param.nargs == -1
        if value is None:
            return () if several else None
        if _is_plain(value, param.type_descriptor.annotation):
            return list(value) if several else value
        setattr(param, _HOLDER, None)
        return param.get_runtime_param().coerce(value, param=param, ctx=ctx)


def _is_plain(value: Any, wanted: Any) -> bool:
    """Whether a value is of the wanted type as it stands: text, or a default that needs no reading."""
    if wanted == list[str]:
        return isinstance(value, list | tuple) and all(isinstance(item, str) for item in value)
    # A number that is typed arrives as text; one that is of its type already is the default.
    return isinstance(wanted, type) and type(value) is wanted
