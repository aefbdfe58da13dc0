"""How far the work is, on a terminal's standard error; nothing anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def counted(what: str) -> Iterator[Callable[[int, int], None]]:
    """Shows how much is done, of how much."""
    with work(what) as tick:
        yield lambda done, of: tick(what, done, of)


@contextmanager
def work(first: str) -> Iterator[Callable[[str, int, int], None]]:
    """What is being done and for how long: called with what, how much of it is done, and of how much (0: not known)."""
    if not sys.stderr.isatty():
        yield lambda what, done, of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn(elapsed_when_finished=True))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(first, total=None)

        def tick(what: str, done: int, of: int) -> None:
            if bar.tasks[0].description != what:
                bar.reset(task, description=what)
            # Of unknown length: the bar moves to and fro.
            bar.update(task, completed=done, total=of or None)

        yield tick
