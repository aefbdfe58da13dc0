"""Figures, with matplotlib; imported only where one is drawn.

Every figure is a file, is readable in grey (shapes tell things apart, not colours), and fits one page.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from faultodds.errors import FaultoddsError
from faultodds.files import cannot_write, refuse_taken, written_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from faultodds.tuning import Item

SUFFIXES: Final = (".png", ".svg", ".pdf")
MOST_ROWS: Final = 48
"""Rows that still can be read on one page."""
_WIDE, _TALL, _ROW = 7.6, 10.8, 0.205
_GREY: Final = "#777777"
_LABEL: Final = 56


def check_path(path: Path, example: str, *, force: bool = False, option: str = "--figure") -> None:
    """Raise FaultoddsError when no figure can be written there, or something is there (unless `force`); `example` is a name to
    show, `option` what it was typed with."""
    refuse_taken(path, option, example, kind="a figure", endings=SUFFIXES, force=force)


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
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    drawn = list(rows[:MOST_ROWS])
    if not drawn:
        raise FaultoddsError("there is nothing of that kind to draw. Leave out --figure, or choose another --about.")
    figure = Figure(figsize=(_WIDE, min(_TALL, 1.6 + _ROW * len(drawn))), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    _draw_rows(axes, drawn)
    _dress(axes, drawn, axis)
    figure.suptitle(textwrap.fill(title, 90), fontsize=10)
    figure.legend(handles=_marks(), fontsize=7.5, frameon=False, loc="outside lower center", ncols=4)
    save(figure, path)
    return len(drawn)


def save(figure: Any, path: Path, *, dpi: int = 150, option: str = "--figure") -> None:
    """Write a figure, whole or not at all, with nothing in it that changes from run to run; FaultoddsError when it cannot be."""
    import matplotlib as mpl

    check_path(path, "figure.png", force=True, option=option)
    kind = path.suffix.lower()[1:]
    metadata = {"png": {"Software": None}, "svg": {"Date": None}, "pdf": {"CreationDate": None}}[kind]
    try:
        with mpl.rc_context({"svg.hashsalt": "faultodds"}), written_whole(path, shared=True) as beside:
            figure.savefig(beside, format=kind, dpi=dpi, metadata=metadata)
    except OSError as error:
        raise cannot_write(path, option, error) from None


def _draw_rows(axes: Axes, rows: Sequence[Item]) -> None:
    scale = _scale(rows)
    places = list(range(len(rows)))
    for at, item in zip(places, rows, strict=True):
        if item.low is not None and item.high is not None:
            axes.plot([item.low * scale, item.high * scale], [at, at], color="black", linewidth=1.4, zorder=2)
    file = [(at, item.file * scale) for at, item in zip(places, rows, strict=True) if item.file is not None]
    axes.plot(
        [x for _, x in file],
        [y for y, _ in file],
        "D",
        markersize=5.5,
        markerfacecolor="white",
        markeredgecolor=_GREY,
        zorder=3,
    )
    for moved, face in ((False, "#bbbbbb"), (True, "black")):
        points = [(at, item.learned * scale) for at, item in zip(places, rows, strict=True) if item.moved == moved]
        axes.plot(
            [x for _, x in points],
            [y for y, _ in points],
            "o",
            markersize=5,
            color=face,
            markeredgecolor="black",
            zorder=4,
        )


def _dress(axes: Axes, rows: Sequence[Item], axis: str) -> None:
    axes.set_yticks(range(len(rows)), [f"{_label(i.title)}  ({_jobs(i)})" for i in rows], fontsize=6.6, linespacing=0.9)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.grid(axis="x", color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=8)
    if rows[0].kind in ("causes", "facts"):
        _ratio_axis(axes)
    else:
        axes.set_xlim(0, 100)
    axes.set_xlabel(f"{axis}\nin brackets: jobs that spoke to it", fontsize=8)


def _ratio_axis(axes: Axes) -> None:
    """A log scale: twice as many is the same distance everywhere, so small shares can be read as well as large ones."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axes.set_xscale("log")
    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())


def _label(title: str) -> str:
    """A title on at most two lines; the middle of a longer one gives way, since both ends tell it from its like."""
    first, *more = textwrap.wrap(title, _LABEL, break_on_hyphens=False)
    rest = " ".join(more)
    if len(rest) > _LABEL:
        rest = ".. " + rest[3 - _LABEL :].partition(" ")[2]
    return f"{first}\n{rest}" if rest else first


def _marks() -> list[Any]:
    from matplotlib.lines import Line2D

    return [
        Line2D(
            [], [], marker="D", linestyle="none", markerfacecolor="white", markeredgecolor=_GREY, label="knowledge file"
        ),
        Line2D([], [], marker="o", linestyle="none", color="#bbbbbb", markeredgecolor="black", label="learned"),
        Line2D([], [], marker="o", linestyle="none", color="black", label="learned, the file's outside the interval"),
        Line2D([], [], color="black", label="90 % interval"),
    ]


def _scale(rows: Sequence[Item]) -> float:
    """100 where the numbers are shares or chances, 1 for factors."""
    return 1.0 if rows[0].kind == "facts" else 100.0


def _jobs(item: Item) -> str:
    return "?" if item.jobs is None else f"{item.jobs:.0f}"
