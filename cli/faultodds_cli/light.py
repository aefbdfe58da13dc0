"""Options that are plain text, numbers already right, or flags, without loading a validation library.

Recent typer looks at every value with pydantic, whose import takes as long as numpy's; without it `next --json` starts in
under three quarters of the time (`tests/benchmarks/bench_start_up.py`). For a string there is nothing to look at, so such values
pass here, and everything else is left to typer. Where a typer does not work that way, nothing is changed.
"""

from __future__ import annotations

from typing import Any

# The method by which a parameter of typer gets what looks at its values: an object whose `coerce` gives the value to use.
ASKED = "get_runtime_param"


def lighten(command: Any) -> Any:
    """The same command, and those below it, with plain values passed through."""
    listed = command.get_params

    def get_params(ctx: Any) -> Any:
        """The command's parameters; the one for help is made only when they are asked for."""
        params = listed(ctx)
        for param in params:
            if hasattr(param, ASKED) and hasattr(param, "type_descriptor") and ASKED not in vars(param):
                setattr(param, ASKED, _PassThrough(param).itself)
        return params

    command.get_params = get_params
    for below in getattr(command, "commands", {}).values():
        lighten(below)
    return command


class _PassThrough:
    """Stands where typer would look at a parameter's values; asks typer's own as soon as there is anything to look at."""

    def __init__(self, param: Any) -> None:
        self.param, self.typers_own = param, getattr(param, ASKED)

    def itself(self) -> _PassThrough:
        """What the parameter hands out instead of typer's own."""
        return self

    def coerce(self, value: Any, *how: Any, **more: Any) -> Any:
        """The value as the command takes it."""
        several = self.param.multiple or self.param.nargs == -1
        if value is None:
            return () if several else None
        if _is_plain(value, getattr(self.param.type_descriptor, "annotation", None)):
            return list(value) if several else value
        return self.typers_own().coerce(value, *how, **more)

    def __getattr__(self, name: str) -> Any:
        """Whatever else a typer may want of it."""
        return getattr(self.typers_own(), name)


def _is_plain(value: Any, wanted: Any) -> bool:
    """Whether a value is of the wanted type as it stands: text, or a default that needs no reading."""
    if wanted == list[str]:
        return isinstance(value, list | tuple) and all(isinstance(item, str) for item in value)
    # A number that is typed arrives as text; one that is of its type already is the default.
    return isinstance(wanted, type) and type(value) is wanted
