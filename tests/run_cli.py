"""Runs `faultodds` in this process and keeps what it printed; writes small knowledge files."""

from __future__ import annotations

import contextlib
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultodds.reports import Page
from faultodds_cli.main import run
from toys import raw_toy


@dataclass(frozen=True)
class Ran:
    """One command line's exit code and text."""

    code: int
    out: str
    err: str

    @property
    def said(self) -> str:
        """Standard error as one line, however it was wrapped."""
        return " ".join(self.err.split())

    @property
    def text(self) -> str:
        """Standard output as one line, however it was wrapped."""
        return " ".join(self.out.split())

    @property
    def answer(self) -> dict[str, Any]:
        """The one JSON object on standard output."""
        assert self.out.count("\n") == 1, self.out
        found = json.loads(self.out)
        assert isinstance(found, dict)
        return found


def faultodds(*argv: str) -> Ran:
    """Run `faultodds argv...`."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(argv)
    return Ran(code, out.getvalue(), err.getvalue())


def toml(value: Any) -> str:
    """A value as TOML, mappings as inline tables."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{json.dumps(k)} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    return json.dumps(value)


def write_toy(path: Path, **groups: Any) -> Path:
    """The toy of `toys.raw_toy` as a knowledge file; `groups` override or add tables."""
    path.write_text("".join(f"{k} = {toml(v)}\n" for k, v in raw_toy(**groups).items()), encoding="utf-8")
    return path


def said_on(page: Page) -> str:
    """What a terminal says of a page, on one line."""
    from faultodds_cli.shared.show_page import page_lines

    return " ".join(" ".join(page_lines(page)).split())
