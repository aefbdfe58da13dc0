"""The whole plan drawn on one printed page, as PDF, PNG or SVG; laid out by `charts_plan_page.py`."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultodds.advice.plan import Plan
from faultodds.charts.figures import save
from faultodds.charts.plan_page import GUTTER, LEADING, MARGIN, PAD, PAPERS, Box, Page, TextLine, laid_out, tall
from faultodds.errors import FaultoddsError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from faultodds.belief import Appliance, Belief

FILLS = {"check": "#eef3fa", "repair": "#fdf1e3", "stop": "#e9f6ea", "refer": "#f6e9ee", "ask": "#ffffff"}


def check_paper(paper: str) -> None:
    """Raise FaultoddsError when there is no such paper."""
    if paper not in PAPERS:
        raise FaultoddsError(f"--paper {paper}: known papers are {', '.join(PAPERS)}. Type for example --paper a4.")


def save_plan(
    appliance: Appliance, belief: Belief, plan: Plan, path: Path, paper: str = "letter", day: date | None = None
) -> Page:
    """Draw the plan and write it to `path`; the page as laid out. Same plan and day, same bytes."""
    check_paper(paper)
    page = laid_out(appliance, belief, plan, paper, day or date.today())
    save(draw(page), path, dpi=200, option="--to")
    return page


def draw(page: Page) -> Figure:
    """The page as a matplotlib figure; every line of text is an artist of its own."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(page.width / 72, page.height / 72))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, page.width)
    axes.set_ylim(0, page.height)
    axes.set_axis_off()
    _write(axes, page.head, MARGIN, page.height - MARGIN)
    _write(axes, page.foot, MARGIN, MARGIN + tall(page.foot))
    for box in page.root.boxes():
        _draw_box(axes, box, page.column)
    return figure


def _draw_box(axes: Any, box: Box, column: float) -> None:
    from matplotlib.patches import Rectangle

    edge: dict[str, Any] = {"edgecolor": "#555555", "linewidth": 0.6, "linestyle": ":" if box.kind == "ask" else "-"}
    axes.add_patch(
        Rectangle((box.x, box.top - box.height), column, box.height, facecolor=FILLS[box.kind], zorder=2, **edge)
    )
    _write(axes, box.lines, box.x + PAD, box.top - PAD)
    start, middle = box.x + column, box.x + column + GUTTER / 2
    here = box.top - box.height / 2
    for child in box.children:
        there = child.top - child.height / 2
        axes.plot(
            [start, middle, middle, child.x], [here, here, there, there], color="#777777", linewidth=0.7, zorder=1
        )


def _write(axes: Any, lines: list[TextLine], x: float, top: float) -> None:
    y = top
    for line in lines:
        y -= line.size * LEADING
        # The baseline sits where a line's descenders still stay inside its own band.
        axes.text(
            x, y + 0.27 * line.size, line.text, fontsize=line.size, fontweight=line.weight, color=line.colour,
            va="baseline", ha="left", zorder=3, parse_math=False,
        )  # fmt: skip
