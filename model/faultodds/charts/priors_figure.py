"""Priors before and after: a row a number, the file's and the learned one, with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from faultodds.charts.style import GREY, begun, in_style, save
from faultodds.charts.typeset import TEXT, lines_of, wrapped
from faultodds.errors import FaultoddsError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from faultodds.tuning import Item

MOST_ROWS: Final = 26
"""Rows that still can be read on one page."""
_ROW: Final = 0.32
_LABEL: Final = 215.0  # points


def forest(rows: Sequence[Item], title: str, axis: str, path: Path) -> int:
    """Draw a forest plot: a row an item, the file's number, the learned one and its 90 % interval.

    Parameters
    ----------
    rows: what to draw, best first; shares and chances are drawn in percent, factors ("facts") on a log scale.
    title, axis: words above, and under the axis.
    path: the file to write: .png, .svg or .pdf.

    Returns how many rows were drawn: at most `MOST_ROWS`, the first ones. Raises FaultoddsError when there is nothing to draw or
    the file cannot be written.
    """
    drawn = list(rows[:MOST_ROWS])
    if not drawn:
        raise FaultoddsError("there is nothing of that kind to draw. Leave out --figure, or choose another --about.")
    save(forest_figure(drawn, title, axis), path)
    return len(drawn)


@in_style
def forest_figure(rows: Sequence[Item], title: str, axis: str) -> Figure:
    """The forest plot of some rows."""
    figure = begun(1.3 + _ROW * len(rows))
    axes = figure.subplots()
    _draw_rows(axes, rows)
    _dress(axes, rows, axis)
    figure.suptitle(lines_of(title, 480.0, 2, 10.5))
    figure.legend(handles=_marks(), loc="outside lower center", ncols=4, columnspacing=1.2, handletextpad=0.4)
    return figure


def _draw_rows(axes: Axes, rows: Sequence[Item]) -> None:
    scale = _scale(rows)
    for at, item in enumerate(rows):
        if item.low is not None and item.high is not None:
            axes.plot([item.low * scale, item.high * scale], [at, at], color="black", linewidth=1.4, zorder=2)
        if item.file is not None:
            # The diamond is the larger and stands behind, so that both are seen where they meet.
            axes.plot(item.file * scale, at, "D", ms=7, mfc="white", mec=GREY, zorder=3, clip_on=False)
        face = "black" if item.moved else "#bbbbbb"
        axes.plot(item.learned * scale, at, "o", ms=4.5, color=face, mec="black", zorder=4, clip_on=False)


def _dress(axes: Axes, rows: Sequence[Item], axis: str) -> None:
    labels = [_label(i) for i in rows]
    axes.set_yticks(range(len(rows)), labels, linespacing=1.0)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.grid(axis="x")
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    if rows[0].kind in ("causes", "facts"):
        _ratio_axis(axes)
    else:
        axes.set_xlim(0, 100)
    axes.set_xlabel(f"{lines_of(axis, 260.0, 3)}\nin brackets: jobs that spoke to it")


def _label(item: Item) -> str:
    """An item's title on two lines. Of one that is too long what comes before the outcome gives way first: two outcomes of one
    check are two rows."""
    check, quote, shown = f"{item.title} ({_jobs(item)})".partition(": '")
    words = check.split()
    said = [" ".join(words), *(f"{' '.join(words[:n])} .." for n in range(len(words) - 1, 2, -1))] if quote else [check]
    texts = [f"{head}{quote}{shown}" for head in said]
    return lines_of(next((t for t in texts if len(wrapped(t, _LABEL, TEXT)) <= 2), texts[-1]), _LABEL)


def _ratio_axis(axes: Axes) -> None:
    """A log scale: twice as many is the same distance everywhere, so small shares can be read as well as large ones."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axes.set_xscale("log")
    low, high = axes.get_xlim()
    # Over many powers of ten only those have room for their numbers.
    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if high / low < 200 else (1.0,)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())


def _marks() -> list[Any]:
    from matplotlib.lines import Line2D

    return [
        Line2D([], [], marker="D", ms=7, linestyle="none", mfc="white", mec=GREY, label="knowledge file"),
        Line2D([], [], marker="o", ms=4.5, linestyle="none", color="#bbbbbb", mec="black", label="learned"),
        Line2D([], [], marker="o", ms=4.5, linestyle="none", color="black", label="learned, file outside the interval"),
        Line2D([], [], color="black", label="90 % interval"),
    ]


def _scale(rows: Sequence[Item]) -> float:
    """100 where the numbers are shares or chances, 1 for factors."""
    return 1.0 if rows[0].kind == "facts" else 100.0


def _jobs(item: Item) -> str:
    return "?" if item.jobs is None else f"{item.jobs:.0f}"
