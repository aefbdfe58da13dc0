"""Options that `tune` and `revision` share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

AboutOption = Annotated[
    str,
    typer.Option(
        "--about", metavar="KIND", help="Which numbers to show: causes, companions, facts, checks, repairs, habits."
    ),
]
TopOption = Annotated[int, typer.Option("--top", metavar="N", min=1, help="How many rows at most.")]
FigureOption = Annotated[
    Path | None, typer.Option("--figure", metavar="FILE", help="Also draw them: priors.png, .svg or .pdf.")
]


def kind_named(typed: str) -> str:
    """The kind of numbers that was typed."""
    from faultodds.names import match
    from faultodds.tuning import KIND_TITLES

    return match("kind of numbers", typed, KIND_TITLES, KIND_TITLES)


def check_figure(figure: Path | None) -> None:
    """Refuse a figure that could not be written, before any work is done."""
    if figure is not None:
        from faultodds.charts import check_path

        check_path(figure, "priors.png")
