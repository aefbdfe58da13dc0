"""Options that `tune` and `revision` share, and what was asked for with them."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from faultodds_cli.shared import options

AboutOption = Annotated[
    str,
    typer.Option(
        "--about", metavar="KIND", help="Which numbers to show: causes, companions, facts, checks, repairs, habits."
    ),
]
TopOption = Annotated[int, typer.Option("--top", metavar="N", min=1, max=100_000, help="How many rows at most.")]


class Asked(NamedTuple):
    """How a revision is to be shown: which kind of numbers, how many rows, drawn where, as JSON or not."""

    kind: str
    top: int
    figure: Path | None
    as_json: bool


def asked(about: str, top: int, figure: Path | None, force: bool, as_json: bool) -> Asked:
    """What was asked for; a figure that could not be written is refused before any work is done."""
    kind = kind_named(about)
    options.refuse_figure(figure, force, "priors.png")
    return Asked(kind, top, figure, as_json)


def kind_named(typed: str) -> str:
    """The kind of numbers that was typed."""
    from faultodds.names import match
    from faultodds.tuning import KIND_TITLES

    return match("kind of numbers", typed, KIND_TITLES, KIND_TITLES)


def appliance_again(name: str, typed: str) -> str:
    """What the next command on this appliance has to say as well; nothing when it was called by its name."""
    return "" if typed in ("", name) else f" --appliance {shlex.quote(typed)}"
