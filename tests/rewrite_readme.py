"""The console blocks of README.md: found, run, and refreshed. `python tests/rewrite_readme.py` rewrites their
outputs; `--check` only says whether they are stale.

A block is fenced as ```console. Each `$ faultodds ...` line in it is run in this process; the lines up to the
next `$` are its output, standard output and standard error together. What a reader can paste, and this file
can run, is:

    $ faultodds next --found dry_time=longer
    $ faultodds demo | head -20
    $ printf '%s\\n' no no no no leave | faultodds bench
    $ faultodds next --found gas_smell=yes; echo "exit code $?"

All blocks share one empty job store, an 80-column screen and a clock that starts on an invented Tuesday and
moves on a minute with every look at it. A block right after a line `<!-- not run: reason -->` is left alone.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest import mock

from faultodds_cli.main import run

README = Path(__file__).resolve().parents[1] / "README.md"
BLOCK = re.compile(r"^(?P<mark><!-- not run: [^\n]+ -->\n)?```console\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL)
OPENING = datetime(2025, 3, 4, 8, 40, tzinfo=UTC)
EXIT_CODE = '; echo "exit code $?"'


@dataclass(frozen=True)
class Command:
    """A command line of a block and the output written under it."""

    line: str
    output: str


def commands(body: str) -> list[Command]:
    """The commands of a block's body; raises ValueError for a block that does not start with one."""
    head, *parts = re.split(r"^\$ ", body, flags=re.MULTILINE)
    if head or not parts:
        raise ValueError(f"a console block starts with '$ faultodds ...', found {body[:40]!r}")
    return [Command(line, output) for line, _, output in (part.partition("\n") for part in parts)]


def run_blocks(text: str) -> list[Command]:
    """The commands of every block that is run, in order."""
    found = [b for b in BLOCK.finditer(text) if not b["mark"]]
    return [command for block in found for command in commands(block["body"])]


def output_of(line: str) -> str:
    """What a command line prints. Call it inside `shop()`."""
    line, shows_code = (line.removesuffix(EXIT_CODE), True) if line.endswith(EXIT_CODE) else (line, False)
    argv, typed, cut = _taken_apart(line)
    out, stdin = _Screen(), io.StringIO(typed)
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(out),
        mock.patch.object(sys, "stdin", stdin),
    ):
        code = run(argv)
    text = cut(out.shown())
    return text + (f"exit code {code}\n" if shows_code else "")


class _Screen(io.TextIOWrapper):
    """A terminal that shows every character and keeps what was written."""

    def __init__(self) -> None:
        super().__init__(io.BytesIO(), encoding="utf-8", newline="\n")

    def isatty(self) -> bool:
        """What is shown on a terminal once is in the README once."""
        return True

    def shown(self) -> str:
        """Everything written so far."""
        self.flush()
        written = self.buffer
        assert isinstance(written, io.BytesIO)
        return written.getvalue().decode("utf-8")


def _taken_apart(line: str) -> tuple[list[str], str, Callable[[str], str]]:
    """The arguments of `faultodds`, what is typed into it, and what `head` or `tail` leaves of its output."""
    stages = [list(stage) for stage in _stages(shlex.split(line, comments=True))]
    typed = ""
    if stages[0][:2] == ["printf", "%s\\n"]:
        typed = "".join(f"{word}\n" for word in stages.pop(0)[2:])
    shell = any(set(word) & set("<>;&") for stage in stages for word in stage if " " not in word)
    if not stages or stages[0][0] != "faultodds" or len(stages) > 2 or shell:
        raise ValueError(f"a README block cannot run '{line}'; see the top of {Path(__file__).name}")
    return stages[0][1:], typed, _cut(line, stages[1] if len(stages) == 2 else None)


def _stages(words: list[str]) -> Iterator[list[str]]:
    while "|" in words:
        at = words.index("|")
        yield words[:at]
        words = words[at + 1 :]
    yield words


def _cut(line: str, stage: list[str] | None) -> Callable[[str], str]:
    if stage is None:
        return lambda text: text
    match stage:
        case ["head", count] if re.fullmatch(r"-\d+", count):
            return lambda text: "".join(text.splitlines(keepends=True)[: -int(count)])
        case ["tail", count] if re.fullmatch(r"-\d+", count):
            return lambda text: "".join(text.splitlines(keepends=True)[int(count) :])
    raise ValueError(f"a README block cannot run '{line}': only head -N and tail -N may follow")


@contextlib.contextmanager
def shop(data: Path) -> Iterator[None]:
    """An empty job store in `data`, 80 columns, UTC, and the invented clock."""
    from faultodds.job.store import Store

    ticks = iter(range(10**9))
    settings = {"FAULTODDS_DATA": str(data), "COLUMNS": "80", "TZ": "UTC"}
    # The clock is the default of a keyword; there is no other place that the command line takes it from.
    defaults = Store.open.__func__.__kwdefaults__
    clock = {"clock": lambda: OPENING + timedelta(minutes=next(ticks))}
    try:
        with mock.patch.dict(os.environ, settings), mock.patch.dict(defaults, clock):
            time.tzset()
            yield
    finally:
        time.tzset()


def rewritten(text: str, data: Path) -> str:
    """The README with every block's outputs as they are now."""

    def block(found: re.Match[str]) -> str:
        if found["mark"]:
            return found[0]
        body = "".join(f"$ {c.line}\n{_tidy(output_of(c.line))}" for c in commands(found["body"]))
        return f"```console\n{body}```"

    with shop(data):
        return BLOCK.sub(block, text)


def _tidy(output: str) -> str:
    """Output as a text file keeps it: no blanks at line ends."""
    return "".join(f"{line.rstrip()}\n" for line in output.splitlines())


def main(arguments: list[str]) -> int:
    """Refresh README.md, or with --check say whether it is stale; returns the exit code."""
    before = README.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as data:
        after = rewritten(before, Path(data))
    if after == before:
        sys.stdout.write("README.md is as the commands print it.\n")
        return 0
    if "--check" in arguments:
        sys.stdout.write("README.md is stale: python tests/rewrite_readme.py\n")
        return 1
    README.write_text(after, encoding="utf-8")
    sys.stdout.write("README.md rewritten.\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
