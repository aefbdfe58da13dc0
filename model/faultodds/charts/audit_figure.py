"""An audit as a figure: how the log score falls as a job goes on, and whether stated chances can be believed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from faultodds.audit import Audit, Row
from faultodds.charts.figures import save

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Told apart by shape and line, so that a grey print reads as well.
_MARKS = ("D", "o", "s", "^", "v", "P", "X")
_LINES = ("--", "-", ":", ":", ":", "-.", "-.")


def draw(audit: Audit, method: str, path: Path) -> None:
    """Write the figure: log score by stage for every method; calibration curves of `method` and the file at the last stage."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.6, 4.6), layout="constrained")
    FigureCanvasAgg(figure)
    left, right = figure.subplots(1, 2)
    _by_stage(left, audit)
    last = audit.stages[-1]
    _curves(right, [audit.row(last.name, m) for m in (audit.methods[0], method)])
    figure.suptitle(f"{audit.counts['scored']} jobs forecast from what was known before them", fontsize=10)
    save(figure, path)


def _by_stage(axes: Axes, audit: Audit) -> None:
    places = range(len(audit.stages))
    for method, mark, line in zip(audit.methods, _MARKS, _LINES, strict=False):
        losses = [audit.row(s.name, method).log_score for s in audit.stages]
        strong = method in audit.methods[:2]
        axes.plot(
            places,
            losses,
            line,
            marker=mark,
            color="black" if strong else "#888888",
            label=method,
            markerfacecolor="white",
        )
    axes.set_xticks(places, [s.title.removeprefix("after ") for s in audit.stages])
    axes.set_xlabel("known by then")
    axes.set_ylabel("log score (smaller is better)")
    axes.set_ylim(bottom=0)
    axes.legend(frameon=False, fontsize=8)


def _curves(axes: Axes, rows: list[Row]) -> None:
    axes.plot([0, 1], [0, 1], color="#bbbbbb", linewidth=1)
    for row, mark, colour, shift in zip(rows, _MARKS, ("#888888", "black"), (-0.006, 0.006), strict=False):
        stated = [p.stated + shift for p in row.curve]
        right = [p.right for p in row.curve]
        error = [[p.right - p.low for p in row.curve], [p.high - p.right for p in row.curve]]
        axes.errorbar(
            stated, right, yerr=error, fmt=mark, color=colour, capsize=2, markerfacecolor="white", label=row.method
        )
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.set_xlabel(f"chance stated for the likeliest repair, {rows[0].stage.title}")
    axes.set_ylabel("share of those jobs that it put right (95 %)")
    axes.legend(frameon=False, fontsize=8, loc="upper left")
