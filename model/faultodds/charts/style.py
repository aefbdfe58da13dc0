"""One style for every figure: how it is begun, its type, its tones, and the one way to save it.

A figure is drawn at the size at which it is printed on a letter or an A4 page, so a point in it is a point on paper. Tones go
from dark to light, so that a grey print and a colour-blind reader tell them apart.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, ParamSpec

from faultodds.charts.typeset import TEXT
from faultodds.files import cannot_write, refuse_taken, written_whole
from faultodds.names import harmless

if TYPE_CHECKING:
    from matplotlib.figure import Figure

P = ParamSpec("P")

SUFFIXES: Final = (".png", ".svg", ".pdf")
WIDE: Final = 7.2
"""Inches that letter and A4 hold upright, margins off."""
GREY: Final = "#777777"
PALE: Final = "#dddddd"
MARKS: Final = ("o", "s", "D", "^", "v", "P", "X")
LINES: Final = ("-", "--", "-.", ":", (0, (5, 1)), (0, (3, 1, 1, 1)), (0, (1, 1)))
_RC: Final = {
    "text.hinting": "none",  # letters fitted to whole pixels make a line up to 3 % wider than it was measured
    "font.size": 9.0,
    "figure.titlesize": 10.5,
    "axes.titlesize": 9.5,
    "axes.labelsize": TEXT,
    "xtick.labelsize": TEXT,
    "ytick.labelsize": TEXT,
    "legend.fontsize": TEXT,
    "legend.frameon": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": PALE,
    "grid.linewidth": 0.6,
    "lines.markersize": 5.0,
    "hatch.linewidth": 0.6,
    "text.parse_math": False,  # "$5" is a sum of money
}


def check_path(path: Path, example: str, *, force: bool = False, option: str = "--figure") -> None:
    """Raise FaultoddsError when no figure can be written there, or something is there (unless `force`); `example` is a name to
    show, `option` what it was typed with."""
    refuse_taken(path, option, example, kind="a figure", endings=SUFFIXES, force=force)


def in_style(draw: Callable[P, Figure]) -> Callable[P, Figure]:
    """A drawing function run with the type and lines of this style."""

    @functools.wraps(draw)
    def styled(*args: P.args, **kwargs: P.kwargs) -> Figure:
        import matplotlib as mpl

        with mpl.rc_context(_RC):  # type: ignore[arg-type]  # the stubs want every key spelt out
            return draw(*args, **kwargs)

    return styled


def begun(height: float, width: float = WIDE, layout: Any = "constrained") -> Figure:
    """An empty figure, inches wide and high, with what it takes to measure its text."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout=layout)
    FigureCanvasAgg(figure)
    return figure


def tones(count: int) -> list[str]:
    """So many tones, dark to light in even steps; the lightest can still be seen on white."""
    from matplotlib import colormaps
    from matplotlib.colors import to_hex

    scale = colormaps["cividis"]
    return [to_hex(scale(0.88 * i / max(count - 1, 1))) for i in range(count)]


def save(figure: Any, path: Path, *, dpi: int = 150, option: str = "--figure") -> None:
    """Write a figure, whole or not at all, with nothing in it that changes from run to run, and its title in words, which is
    what a screen reader says of it; FaultoddsError when it cannot be."""
    import matplotlib as mpl
    import matplotlib.text

    check_path(path, "figure.png", force=True, option=option)
    kind = path.suffix.lower()[1:]
    for drawn in figure.findobj(mpl.text.Text):
        if (text := drawn.get_text()) != (told := harmless(text)):
            drawn.set_text(told)
    texts = [t for t in (*figure.texts, *(t for a in figure.axes for t in (a.title, *a.texts))) if t.get_text()]
    title = figure.get_suptitle() or max(texts, key=lambda t: t.get_fontsize()).get_text()
    metadata: dict[str, Any] = {"png": {"Software": None}, "svg": {"Date": None}, "pdf": {"CreationDate": None}}[kind]
    metadata["Title"] = " ".join(harmless(title).split())
    try:
        with (
            mpl.rc_context({"svg.hashsalt": "faultodds", "text.hinting": "none"}),
            written_whole(path, shared=True) as beside,
        ):
            figure.savefig(beside, format=kind, dpi=dpi, metadata=metadata)
    except OSError as error:
        raise cannot_write(path, option, error) from None
