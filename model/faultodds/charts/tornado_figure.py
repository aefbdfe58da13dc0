"""What matters: how far each input, moved alone, moves the cost of the whole job, the one that moves it most at the top."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from faultodds.advice import money
from faultodds.advice.sensitivity import about, amount, move_words
from faultodds.charts.style import begun, in_style, save, tones
from faultodds.charts.typeset import lines_of
from faultodds.errors import FaultoddsError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from faultodds.advice.sensitivity import Edge, Sensitivity, WhatIf
    from faultodds.knowledge import Knowledge

MOST_ROWS = 16
_ROW, _LABEL, _SIDE = 0.52, 150.0, 192.0


def draw_tornado(k: Knowledge, found: Sensitivity, path: Path) -> None:
    """Write the figure: what the job costs at either end of each input's range, and where the advice changes on the way.

    Raises FaultoddsError where there is nothing to move.
    """
    save(tornado_figure(k, found), path)


@in_style
def tornado_figure(k: Knowledge, found: Sensitivity) -> Figure:
    """The figure of what matters, as `draw_tornado` writes it."""
    rows = sorted(found.what_ifs, key=lambda w: -_swing(w, found.move.expected_cost))[:MOST_ROWS]
    if not rows:
        raise FaultoddsError("there is no input to move here: the next step is forced. Leave out --figure.")
    below = ["dark: input lower; light: higher; hatched: the advice changes", *_terms(rows)]
    foot = 0.53 + 0.16 * len(below)
    figure = begun(0.65 + foot + _ROW * len(rows), layout=None)
    height = figure.get_size_inches()[1]
    axes = figure.add_axes((0.325, foot / height, 0.29, 1 - (0.65 + foot) / height))
    for place, w in enumerate(rows):
        for edge, tone, lane in zip((w.below, w.above), tones(2), (-0.2, 0.2), strict=True):
            _bar(axes, k, w, edge, (found.move.expected_cost, place + lane, tone))
    axes.axvline(found.move.expected_cost, color="black", linewidth=1)
    axes.set_yticks(range(len(rows)), [lines_of(f"{about(w)}, now {amount(k, w, w.now)}", _LABEL, 3) for w in rows])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.margins(x=0.08)
    axes.locator_params(axis="x", nbins=5)
    axes.grid(axis="x")
    cost = money(found.move.expected_cost, k.costs.currency)
    axes.set_xlabel("\n".join([f"expected cost of the whole job, {k.costs.currency} (now {cost})", *below]))
    advice = lines_of(f"Advice now: {move_words(k, found.move, code=False)}", 440.0, 1)
    figure.suptitle(f"What matters for the cost of this job\n{advice}", y=1 - 0.1 / height)
    return figure


def _terms(rows: Sequence[WhatIf]) -> list[str]:
    """What the shares of a check mean, where one is among the rows."""
    kinds = {w.kind for w in rows}
    said = {"blind": "tells nothing: share of looks that say nothing of the machine",
            "mistakes": "mistakes left: share of the mistakes that the file gives a check"}  # fmt: skip
    return [text for kind, text in said.items() if kind in kinds]


def _swing(w: WhatIf, now: float) -> float:
    """How far apart the job's costs are over an input's range."""
    costs = [now, *(e.cost for e in (w.below, w.above) if e is not None and e.cost is not None)]
    return max(costs) - min(costs)


def _bar(axes: Axes, k: Knowledge, w: WhatIf, edge: Edge | None, at: tuple[float, float, str]) -> None:
    """One end of one input: its bar, hatched where the advice changes on the way, and in words at the side."""
    now, place, tone = at
    if edge is None or edge.cost is None:
        return
    hatch = None if edge.at is None else "////"
    axes.barh(place, edge.cost - now, 0.36, left=now, color=tone, edgecolor="white", hatch=hatch, linewidth=0.5)
    said = f"{amount(k, w, edge.looked_to)}: same advice"
    if edge.at is not None:
        side = "below" if edge.at < w.now else "above"
        said = f"{amount(k, w, edge.looked_to)}: other advice {side} {amount(k, w, edge.at)}"
    axes.annotate(
        lines_of(said, _SIDE, 1), (1.03, place), xycoords=("axes fraction", "data"), va="center", fontsize=8.5
    )
