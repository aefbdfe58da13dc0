"""The part of the network that matters now, drawn: faults, what they do to the machine, what that shows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultodds.charts.network_page import PAD, WIDTH, NetworkPage, network_page
from faultodds.charts.plan_figure import write
from faultodds.charts.style import GREY, PALE, begun, in_style, save

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from faultodds.belief import Belief
    from faultodds.knowledge import Knowledge

_MARGIN = 3.0
_HOW_TO_READ = (
    "Left: the likeliest faults, shaded as far as they are likely. Right: what was seen (solid), what would tell most (dashed).\n"
    "Bold lines lead from the likeliest fault to what was seen."
)


def draw_network(k: Knowledge, belief: Belief, checks: Sequence[str], path: Path) -> None:
    """Write the figure: the likeliest faults, what was seen, the `checks` (best first) that tell most now, and what lies
    between."""
    save(network_figure(network_page(k, belief, checks)), path)


@in_style
def network_figure(page: NetworkPage) -> Figure:
    """The figure of a page laid out."""
    from matplotlib.patches import Rectangle

    figure = begun((page.height + 2 * _MARGIN) / 72, (WIDTH + 2 * _MARGIN) / 72, layout=None)
    axes: Any = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(-_MARGIN, WIDTH + _MARGIN)
    axes.set_ylim(-_MARGIN, page.height + _MARGIN)
    axes.set_axis_off()
    strong = _followed(page)
    for node in page.nodes:
        for target in node.to:
            heavy = id(node) in strong and id(target) in strong
            look = {"color": "black", "linewidth": 1.4} if heavy else {"color": GREY, "linewidth": 0.7}
            axes.plot([node.x + page.box, target.x], [node.middle, target.middle], zorder=1, **look)
        if node.kind == "line":
            look = {"color": "black", "linewidth": 1.4} if id(node) in strong else {"color": GREY, "linewidth": 0.7}
            axes.plot([node.x, node.x + page.box], [node.middle] * 2, zorder=1, **look)
            continue
        style = "--" if node.kind == "next" else "-"
        wide = 1.4 if id(node) in strong else 0.7
        corner = (node.x, node.top - node.height)
        axes.add_patch(Rectangle(corner, page.box, node.height, facecolor="white", edgecolor="none", zorder=2))
        axes.add_patch(
            Rectangle(corner, page.box * node.chance, node.height, facecolor=PALE, edgecolor="none", zorder=2)
        )
        axes.add_patch(Rectangle(corner, page.box, node.height, facecolor="none", edgecolor="black", linewidth=wide,
                                 linestyle=style, zorder=3))  # fmt: skip
        write(axes, node.lines, node.x + PAD, node.top - PAD)
    axes.text(0, page.height - 2, "What matters now: from fault to finding", fontsize=11, fontweight="bold", va="top")
    axes.text(0, page.height - 20, _HOW_TO_READ, fontsize=8.5, va="top")
    return figure


def _followed(page: NetworkPage) -> set[int]:
    """The nodes on a way from the likeliest fault to what was seen."""

    def leads(node: Any) -> bool:
        on = [leads(target) for target in node.to]
        if node.kind == "seen" or any(on):
            strong.add(id(node))
        return id(node) in strong

    strong: set[int] = set()
    first = max((n for n in page.nodes if n.kind == "fault"), key=lambda n: n.chance)
    leads(first)
    return strong
