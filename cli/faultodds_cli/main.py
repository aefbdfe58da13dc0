"""Entry point of `faultodds`: finds the command, runs it, and turns whatever goes wrong into plain words.

Sub-commands are imported only when they are typed. Exit codes: 0 done, 1 a fault of this program, 2 bad
input, 3 a safety stop, 130 interrupted.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Sequence
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

from faultodds.errors import FaultoddsError, SafetyStop, nearest
from faultodds_cli.light import lighten
from faultodds_cli.shared import options
from faultodds_cli.shared.printing import complain, say
from faultodds_cli.shared.text import width, wrap_each

DEBUG_VARIABLE = "FAULTODDS_DEBUG"
INTERRUPTED = 130

# Command -> (module, the typer app in it, what `faultodds --help` says), in the order of that list.
COMMANDS: dict[str, tuple[str, str, str]] = {
    "demo": ("demo", "app", "A whole worked job on the gas dryer, nothing to type."),
    "bench": ("bench.command", "app", "Guided call: findings in, odds and next check out, undo, save."),
    "next": ("next.command", "app", "What to do next, from what you know now."),
    "odds": ("odds", "app", "Fault odds, and how they came about."),
    "read": ("read", "app", 'Judge one raw reading, such as coil_ohms "1.15k".'),
    "calc": ("calc.command", "app", "The trade's sums: duct, input, drytime, thermistor, airflow ..."),
    "job": ("job.command", "app", "A call step by step, for scripts: new, find, fix, close ..."),
    "report": ("report", "app", "A page for the customer or the shop, or the manager's month."),
    "log": ("log.command", "app", "Your own job log: import, phrases, describe, list, export."),
    "drill": ("drill.command", "app", "Learn to reason: your odds and moves on a simulated call."),
    "trial": ("trial.command", "app", "Policies side by side on simulated jobs: what each costs."),
    "learn": ("tune.learn", "app", "Your job log in, your own numbers and a verdict out, in one go."),
    "tune": ("tune.command", "app", "Learn the shop's own numbers from a job log, as a proposal."),
    "audit": ("audit.command", "app", "Would learning from a log have helped? Past against what came next."),
    "revision": ("tune.revision", "app", "Learned numbers: list, show, diff, accept, rollback, drop."),
    "chart": ("chart", "app", "Figures to print: the whole plan on one page."),
    "ask": ("ask", "app", "Before the visit: the questions whose answers would change most."),
    "stock": ("stock.command", "app", "Before the visit: parts worth carrying, chance of finishing, minutes."),
    "shop": ("shop", "app", "Your own prices, minutes and technicians, in one file."),
    "data": ("data", "app", "What is kept of your jobs and logs: where, and how to delete it."),
    "appliance": ("appliance.command", "app", "Knowledge files: list, show, check, add, remove, export."),
}

# In fewer columns an option and its meaning do not go side by side.
NARROW_HELP = 55

# Typer keeps its own copy of click from 0.26 on; its base classes are reached through what it exports.
UsageError: Any = typer.BadParameter.__mro__[1]
ClickException: Any = UsageError.__mro__[1]


_Context: Any = typer.Context.__mro__[1]


class Help(_Context.formatter_class):  # type: ignore[misc]
    """Help as typer sets it; on a narrow screen what an option means stands under it."""

    def write_dl(self, rows: Iterable[tuple[str, str]], *how: Any, **more: Any) -> None:
        """Options or commands, and what they mean."""
        if self.width >= NARROW_HELP:
            super().write_dl(rows, *how, **more)
            return
        for name, meaning in rows:
            self.write_text(name)
            self.indent()
            self.write_text(meaning)
            self.dedent()


_Context.formatter_class = Help


class LazyGroup(TyperGroup):
    """The top command: knows its sub-commands by name, imports the one that was typed."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Every command, in the order of need."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command of that name, imported now; None when there is none."""
        if cmd_name not in COMMANDS:
            return None
        module, name, _ = COMMANDS[cmd_name]
        command = typer.main.get_command(getattr(import_module(f"faultodds_cli.{module}"), name))
        command.name = cmd_name
        return lighten(command)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """As typer does, with our own words for a command that is not there."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            raise FaultoddsError(no_such_command(args[0]))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """The list of commands, without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, help_text) for name, (_, _, help_text) in COMMANDS.items()])


def no_such_command(found: str) -> str:
    """The message for a command that does not exist."""
    close = nearest(found, COMMANDS)
    guess = f" Did you mean '{close}'?" if close else ""
    return f"there is no command 'faultodds {found}'.{guess} Commands: {', '.join(COMMANDS)}."


app = options.new_app(
    "Fault odds for a household appliance, and the next check that pays. "
    "Start with 'faultodds demo', or with 'faultodds next --found dry_time=longer'."
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        say(f"faultodds {version('faultodds')}")
        raise typer.Exit


@app.callback(cls=LazyGroup, no_args_is_help=True)
def _top(
    version: bool = typer.Option(
        False, "--version", is_eager=True, callback=_print_version, help="Print the version and leave."
    ),
) -> None:
    """Options before the command."""


def run(argv: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit code. Nothing escapes it."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    code = _guarded(arguments)
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        code = _pipe_closed()
    except OSError as error:
        code = _not_said(error)
    return code


def _guarded(arguments: list[str]) -> int:
    arguments = _minus_signs(arguments)
    try:
        command = lighten(typer.main.get_command(app))
        result = command.main(arguments, prog_name="faultodds", standalone_mode=False, terminal_width=width() - 2)
        return result if isinstance(result, int) else 0
    except SafetyStop as stop:
        return _refused(stop, arguments)
    except (FaultoddsError, ClickException) as error:
        return _not_obeyed(error, arguments)
    except (KeyboardInterrupt, typer.Abort):
        complain("\nStopped.")
        return INTERRUPTED
    except BrokenPipeError:
        return _pipe_closed()
    except SystemExit as leaving:
        # Typer meets a closed pipe by leaving with 1.
        if isinstance(leaving.__context__, BrokenPipeError):
            return _pipe_closed()
        return leaving.code if isinstance(leaving.code, int) else 1
    except OSError as error:
        return _not_said(error) if _is_full(error) else _own_fault(error)
    except Exception as error:
        return _own_fault(error)


def _not_obeyed(error: Any, arguments: Sequence[str]) -> int:
    """A line that cannot be done: any danger in its words is heard before its mistake is told."""
    from faultodds_cli.shared.overheard import overheard

    stop = overheard(arguments)
    if stop is not None:
        return _refused(stop, arguments)
    return _refused(error, arguments) if isinstance(error, FaultoddsError) else _misused(error, arguments)


def _refused(error: FaultoddsError, arguments: Sequence[str]) -> int:
    """Bad input goes to standard error. A stop is the answer, and is said once: where the answer would have stood, so that it is
    not lost with the errors; on standard error where a program reads one JSON object, or where that alone is on a screen."""
    unseen = sys.stderr.isatty() and not sys.stdout.isatty()
    text = wrapped(str(error))
    if isinstance(error, SafetyStop) and "--json" not in arguments and not unseen:
        try:
            say(text)
            sys.stdout.flush()
            return error.exit_code
        except OSError:  # nobody reads it there
            _pipe_closed()
    complain(text)
    return error.exit_code


def wrapped(text: str) -> str:
    """A message broken to the terminal's width, its own line breaks kept. A word longer than any name is cut."""
    return "\n".join(wrap_each(re.sub(r"\S{400,}", lambda word: f"{word[0][:60]}...{word[0][-20:]}", text)))


def _minus_signs(arguments: list[str]) -> list[str]:
    """For commands that take readings, "-0.5 in wc" with a minus sign that is no option."""
    if arguments[:1] not in (["read"], ["calc"]):
        return arguments
    return ["\u2212" + a[1:] if re.match(r"-[.,]?\d", a) else a for a in arguments]


def _given(error: Any, arguments: Sequence[str]) -> str:
    """What was typed for the option that a message is about; empty where none is."""
    for name in getattr(getattr(error, "param", None), "opts", ()):
        for typed, behind in zip(arguments, [*arguments[1:], ""], strict=True):
            if typed == name or typed.startswith(f"{name}="):
                return typed.partition("=")[2] or behind
    return ""


def _misused(error: Any, arguments: Sequence[str]) -> int:
    """A command line that cannot be parsed, in a sentence with what to type."""
    context = getattr(error, "ctx", None)
    path = " ".join(["faultodds", *(a for a in arguments[:1] if a in COMMANDS)])
    path = context.command_path if context is not None else path
    message = str(error.format_message())
    if type(error).__name__ == "NoArgsIsHelpError":
        complain(message)
        return 2
    if type(error).__name__ == "NoSuchOption":
        message = _no_such_option(error, context)
    message = message[:1].upper() + message[1:]
    if (given := _given(error, arguments)) and given not in message:
        message = f"{message.rstrip('.')}; '{given}' was given."
    end = "?" if message.endswith("?") else "."
    complain(wrapped(f"{message.rstrip('.?')}{end} Type '{path} --help' for what it takes."))
    return 2


def _no_such_option(error: Any, context: Any) -> str:
    options = [o for p in context.command.get_params(context) for o in p.opts if o.startswith("--")]
    close = nearest(error.option_name, options)
    guess = f" Did you mean '{close}'?" if close else ""
    return f"there is no option '{error.option_name}'.{guess} Options: {', '.join(options)}."


def _own_fault(error: Exception) -> int:
    """Anything unforeseen: one line, and how to tell us."""
    if os.environ.get(DEBUG_VARIABLE) == "1":
        import traceback

        traceback.print_exc()
        return 1
    what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    complain(
        wrapped(
            f"faultodds hit an error of its own ({' '.join(what.split())[:300]}). Please report it with what "
            f"you typed; set {DEBUG_VARIABLE}=1 and run it again for the details to send."
        )
    )
    return 1


def _is_full(error: OSError) -> bool:
    import errno

    return error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS)


def _not_said(error: OSError) -> int:
    """The disk is full that the answer, or a file of the program's own, would have gone to."""
    complain(
        wrapped(
            f"the disk is full or closed ({error.strerror or error}), so the answer could not be written out. What was entered "
            "is kept. Free some space, or name another place, and type the command again."
        )
    )
    _pipe_closed()
    return 2


def _pipe_closed() -> int:
    """Whoever read our output has gone (as `head` does): nothing to say, and nothing to say it to."""
    # What is still buffered must not raise again when Python shuts down.
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    return 0


if __name__ == "__main__":
    sys.exit(run())
