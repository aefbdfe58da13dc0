"""The whole plan drawn on one printed page, as PDF, PNG or SVG; laid out by `plan_page.py`."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultodds.advice.plan import Plan
from faultodds.charts.plan_page import GUTTER, MARGIN, PAD, PAPERS, Box, Page, laid_out
from faultodds.charts.style import GREY, begun, in_style, save
from faultodds.charts.typeset import LEADING, TextLine, tall
from faultodds.errors import FaultoddsError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from faultodds.belief import Appliance, Belief

FILLS = {"check": "#eef3fa", "repair": "#fdf1e3", "stop": "#e9f6ea", "refer": "#f6e9ee", "ask": "#ffffff"}

_JOINED = 9.0  # below its upper edge a box is joined to those beside it


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


@in_style
def draw(page: Page) -> Figure:
    """The page as a matplotlib figure; every line of text is an artist of its own. The likely path has thick lines and frames."""
    figure = begun(page.height / 72, page.width / 72, layout=None)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, page.width)
    axes.set_ylim(0, page.height)
    axes.set_axis_off()
    write(axes, page.head, MARGIN, page.height - MARGIN)
    write(axes, page.foot, MARGIN, MARGIN + tall(page.foot))
    path = [page.root]
    while path[-1].children and path[-1].children[0].kind != "ask":
        path.append(path[-1].children[0])
    for box in page.root.boxes():
        _draw_box(axes, box, page.column, any(box is each for each in path))
    return figure


def _draw_box(axes: Any, box: Box, column: float, likely: bool) -> None:
    from matplotlib.patches import Rectangle

    look: dict[str, Any] = {"edgecolor": "black", "linewidth": 2.0} if likely else {"edgecolor": GREY, "linewidth": 0.6}
    axes.add_patch(
        Rectangle((box.x, box.top - box.height), column, box.height, facecolor=FILLS[box.kind], zorder=3,
                  linestyle=":" if box.kind == "ask" else "-", **look)
    )  # fmt: skip
    write(axes, box.lines, box.x + PAD, box.top - PAD)
    start, middle = box.x + column, box.x + column + GUTTER / 2
    here = box.top - _JOINED
    for child in box.children:
        there = child.top - _JOINED
        on = likely and child is box.children[0] and child.kind != "ask"
        line = (
            {"color": "black", "linewidth": 2.4, "zorder": 2} if on else {"color": GREY, "linewidth": 0.7, "zorder": 1}
        )
        axes.plot([start, middle, middle, child.x], [here, here, there, there], **line)


def write(axes: Any, lines: list[TextLine], x: float, top: float) -> None:
    """Lines one below the other, from an upper left corner."""
    y = top
    for line in lines:
        y -= line.size * LEADING
        # The baseline sits where a line's descenders still stay inside its own band.
        axes.text(
            x, y + 0.27 * line.size, line.text, fontsize=line.size, fontweight=line.weight, color=line.colour,
            va="baseline", ha="left", zorder=4,
        )  # fmt: skip
