"""How far the work is, on a terminal's standard error; nothing anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console


@contextmanager
def counted(what: str) -> Iterator[Callable[[int, int], None]]:
    """Shows how much is done, of how much."""
    if not sys.stderr.isatty():
        yield lambda done, of: None
        return

    def show(done: int, of: int) -> None:
        sys.stderr.write(f"\r{what}: {done} of {max(of, done)} ")
        sys.stderr.flush()

    try:
        yield show
    finally:
        sys.stderr.write("\r" + " " * (len(what) + 20) + "\r")
        sys.stderr.flush()


def terminal() -> Console | None:
    """Standard error to draw a bar on, while somebody looks at it."""
    if not sys.stderr.isatty():
        return None
    from rich.console import Console

    return Console(stderr=True)


@contextmanager
def work(first: str) -> Iterator[Callable[[str, int, int], None]]:
    """What is being done and for how long: called with what, how much of it is done, and of how much (0: not known)."""
    screen = terminal()
    if screen is None:
        yield lambda what, done, of: None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn(elapsed_when_finished=True))
    with Progress(*columns, console=screen, transient=True) as bar:
        task = bar.add_task(first, total=None)

        def tick(what: str, done: int, of: int) -> None:
            if bar.tasks[0].description != what:
                bar.reset(task, description=what)
            # Of unknown length: the bar moves to and fro.
            bar.update(task, completed=done, total=of or None)

        yield tick
