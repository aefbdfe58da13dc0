"""Talking with a person, or with a pipe, one line at a time."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from faultodds_cli.shared.printing import say
from faultodds_cli.shared.text import width, wrap, wrap_each

if TYPE_CHECKING:
    from faultodds.job import OpenJob

# What an answer is typed behind. A question stands above it: behind a question on the same line a long answer would scroll the
# question away.
PROMPT = "> "
# What leaves a call, whatever was asked.
LEAVES = frozenset({"leave", "quit", "exit", "q", "bye"})


class CallLeft(Exception):
    """Somebody left the call in place of an answer."""


class Talk:
    """Lines in and out.

    On a pipe the typed line is printed as well, so that a record of the call reads well.
    """

    def __init__(self) -> None:
        self._put_off: list[str] = []
        self._held: list[str | list[str]] = []
        self._settle: Callable[[], None] | None = None
        self._person = sys.stdin.isatty()
        if isinstance(sys.stdin, io.TextIOWrapper):
            sys.stdin.reconfigure(errors="replace")  # a byte that is no text is no reason to lose a call
        if self._person:
            _line_editing()

    def ask(self, question: str = "", any_line: bool = False) -> str | None:
        """One line from the other side, blanks trimmed; None at the end of input or on Ctrl-C.

        The question, if there is one, has lines of its own above the answer's. A line that was put off comes where there is no
        question, or one that `any_line` may follow.
        """
        if self._put_off and (any_line or not question):
            return self._put_off.pop(0)
        if self._settle is not None:
            self._settle()
            self._let_out()
        try:
            if question:
                say(wrap(question))
            line = input(PROMPT) if self._person else _from_pipe()
        except (EOFError, KeyboardInterrupt):
            say()
            return None
        return "".join(c if c.isprintable() else " " for c in line).strip()

    def answer(self, question: str) -> str:
        """An answer to a question that comes in the middle of a line, empty at the end of input; raises CallLeft for "leave"."""
        reply = self.ask(question) or ""
        if reply.casefold() in LEAVES:
            raise CallLeft
        return reply

    def put_off(self, line: str) -> None:
        """Keep a line that was no answer to the question before it: it comes when the next line is asked for."""
        self._put_off.append(line)

    def say(self, lines: str | Iterable[str] = "") -> None:
        """Print lines as they are."""
        self._held.append(lines if isinstance(lines, str) else list(lines))
        if self._settle is None:
            self._let_out()

    def tell(self, text: str, first: str = "") -> None:
        """Print a text, wrapped; its line breaks are kept."""
        self.say(wrap_each(text, first))

    def rule(self) -> None:
        """A line across the screen."""
        self.say("-" * (width() - 1))

    @contextlib.contextmanager
    def held(self, visit: OpenJob) -> Iterator[None]:
        """Make what is entered within one entry of the job: nothing that is said of it is printed before it is on disk. A question
        within puts there what came before it. When nothing was kept, what was said of it is not printed."""
        if self._settle is not None:
            yield
            return
        self._settle = visit.settle
        try:
            with visit.together():
                yield
        except BaseException:
            if not visit.store.kept:
                self._held.clear()
            raise
        finally:
            self._settle = None
            self._let_out()

    def _let_out(self) -> None:
        held, self._held = self._held, []
        for lines in held:
            say(lines)


def _from_pipe() -> str:
    sys.stdout.write(PROMPT)
    sys.stdout.flush()
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    fits = len(PROMPT) + len(line.strip()) <= width()
    say(line.strip() if fits else ["", *wrap(line.strip(), "  ")])
    return line


def _line_editing() -> None:
    with contextlib.suppress(ImportError):
        import readline  # noqa: F401  (importing it gives input() its arrow keys)
