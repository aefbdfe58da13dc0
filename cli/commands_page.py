"""COMMANDS.md: every command with its arguments, options and defaults, read off the commands themselves.

`python cli/commands_page.py` writes the page anew; `--check` only says whether it is stale. Of typer only what a command and a
parameter *are* is used, not how its help is laid out, so that neither the terminal nor the version of typer shows in the page.
"""

from __future__ import annotations

import inspect
import re
import sys
import textwrap
from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Any

import typer

from faultodds.errors import FaultoddsError, SafetyStop
from faultodds_cli.main import INTERRUPTED, app

PAGE = Path(__file__).parent / "COMMANDS.md"
RENEW = "python cli/commands_page.py"
WIDTH = 120
TOP = f"""\
# Every command

Written by `{RENEW}` from the commands themselves; change the commands, not this page.

Every command takes `-h` or `--help`. Exit codes, whatever the command: 0 done, 1 a fault of this program,
{FaultoddsError.exit_code} bad input, {SafetyStop.exit_code} a safety stop, {INTERRUPTED} interrupted."""


def page() -> str:
    """The whole page."""
    blocks = [*TOP.split("\n\n"), *_blocks(["faultodds"], typer.main.get_command(app))]
    return "\n\n".join(block if block.startswith("-") else _filled(block) for block in blocks) + "\n"


def _blocks(path: list[str], command: Any) -> Iterator[str]:
    """A command's paragraphs and lists, and then those of the commands below it."""
    arguments = [p for p in command.params if p.param_type_name == "argument"]
    options = [p for p in command.params if p.param_type_name == "option"]
    context = typer.Context(command)
    below = command.list_commands(context) if hasattr(command, "list_commands") else []
    yield f"{'#' * (len(path) + 1)} {' '.join(path)}"
    words = [*path, *(["[OPTIONS]"] if options else []), *(["COMMAND ..."] if below else []), *map(_called, arguments)]
    yield f"`{' '.join(words)}`"
    yield from (_examples(paragraph) for paragraph in inspect.cleandoc(command.help).split("\n\n"))
    if arguments or options:
        yield "\n".join([*(_item(f"`{_called(a)}`", a) for a in arguments), *(_item(_typed(o), o) for o in options)])
    for name in below:
        yield from _blocks([*path, name], command.get_command(context, name))


def _called(argument: Any) -> str:
    return str(argument.metavar or argument.name.upper())


def _typed(option: Any) -> str:
    """An option in all its spellings: "`--found NAME=OUTCOME`, `-o`"."""
    spellings: list[str] = option.opts + option.secondary_opts
    first, *others = spellings
    choices = "|".join(each.value for each in type(option.default)) if isinstance(option.default, Enum) else ""
    value = "" if option.is_flag else f" {option.metavar or choices or 'VALUE'}"
    return ", ".join(f"`{words}`" for words in (first + value, *others))


def _item(typed: str, param: Any) -> str:
    needed = "must be given" if param.required and param.param_type_name == "option" else ""
    notes = "; ".join(filter(None, (needed, _range(param), _default(param))))
    return _filled(f"{typed}: {param.help or ''}" + (f" ({notes})" if notes else ""), "- ", "  ")


def _range(param: Any) -> str:
    low, high = (getattr(param, end, getattr(getattr(param, "type", None), end, None)) for end in ("min", "max"))
    if low is None:
        return ""
    return f"{low:,} or more" if high is None else f"{low:,} to {high:,}"


def _default(param: Any) -> str:
    """What holds when it is not given; nothing where that goes without saying."""
    default = param.default.value if isinstance(param.default, Enum) else param.default
    if default is None or default is False or default == "":
        return ""
    return f"default: `{param.opts[0] if default is True else default}`"


def _examples(paragraph: str) -> str:
    """A paragraph of help; command lines in it are marked as such."""
    head, _, lines = " ".join(paragraph.split()).partition(": ")
    if not re.fullmatch("Examples?", head):
        return paragraph
    return f"{head}: " + ", ".join(f"`{line}`" for line in lines.split(" / "))


def _filled(text: str, first: str = "", rest: str = "") -> str:
    return textwrap.fill(
        " ".join(text.split()), WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def main(arguments: list[str]) -> int:
    """Renew COMMANDS.md, or with --check say whether it is stale; returns the exit code."""
    fresh = page()
    stale = not PAGE.exists() or PAGE.read_text(encoding="utf-8") != fresh
    if stale and "--check" not in arguments:
        PAGE.write_text(fresh, encoding="utf-8")
    state = "as the commands are" if not stale else f"stale: {RENEW}" if "--check" in arguments else "written anew"
    sys.stdout.write(f"{PAGE.name} is {state}.\n")
    return int(stale and "--check" in arguments)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
