"""What every printed figure must keep, read off the drawn figure: a list of the places where it does not."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from typing import Any
from unittest import mock

from matplotlib.collections import LineCollection
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Text

#: Points; the page's margins off, upright or turned, on letter and A4.
SMALLEST, SHORT, LONG = 8.0, 612.0, 842.0
#: Difference in CIE lightness (0 to 100) from which two tones are told apart in a grey print.
APART = 9.0
#: Names as they are typed, which no title may show: "dry_time", "duct.blocked", "dry_time=longer".
CODE = re.compile(r"\w_\w|=|\b[a-z]{3,}\.[a-z]{3,}\b")
_TOLERANCE = 0.75  # pixels, for the renderer's own rounding


def broken(figure: Figure) -> list[str]:
    """Every law that a figure breaks, in words; drawn first, since places are known only then."""
    shown = [t for t in _drawn(figure) if t.get_text().strip()]
    assert shown, "no text at all"
    return [*_page(figure), *_small(shown), *_codes(shown), *_off(figure, shown), *_touching(figure, shown),
            *_clipped(figure), *_alike(figure)]  # fmt: skip


def _drawn(figure: Figure) -> list[Text]:
    """Every text that a drawing of the figure puts on the page, once each."""
    drawn: dict[int, Text] = {}
    put = Text.draw
    with mock.patch.object(
        Text, "draw", lambda self, renderer: (drawn.setdefault(id(self), self), put(self, renderer))
    ):
        figure.canvas.draw()
    return [t for t in drawn.values() if t.get_visible()]


def _page(figure: Figure) -> Iterator[str]:
    wide, high = (72 * x for x in figure.get_size_inches())
    if min(wide, high) > SHORT + 0.1 or max(wide, high) > LONG + 0.1:
        yield f"{wide:.0f} by {high:.0f} points do not fit a page"


def _small(shown: list[Text]) -> Iterator[str]:
    yield from (f"{t.get_fontsize():.1f} point: {t.get_text()!r}" for t in shown if t.get_fontsize() < SMALLEST)


def _codes(shown: list[Text]) -> Iterator[str]:
    yield from (f"a code: {t.get_text()!r}" for t in shown if CODE.search(t.get_text()))


def _off(figure: Figure, shown: list[Text]) -> Iterator[str]:
    for text in shown:
        e = text.get_window_extent().padded(-_TOLERANCE)
        if e.x0 < 0 or e.y0 < 0 or e.x1 > figure.bbox.width or e.y1 > figure.bbox.height:
            yield f"outside the page: {text.get_text()!r}"


def _touching(figure: Figure, shown: list[Text]) -> Iterator[str]:
    extents = [t.get_window_extent().padded(-_TOLERANCE) for t in shown]
    for (a, one), (b, other) in itertools.combinations(zip(shown, extents, strict=True), 2):
        if one.overlaps(other):
            yield f"touching: {a.get_text()!r} and {b.get_text()!r}"


def _clipped(figure: Figure) -> Iterator[str]:
    """Marks that the axes' edge would cut, and marks off the page."""
    for axes in figure.axes:
        for line in axes.lines:
            if line.get_marker() in ("None", "none", " ", "", None):
                continue
            half = line.get_markersize() / 2 * figure.dpi / 72
            box = axes.bbox if line.get_clip_on() else figure.bbox
            for x, y in axes.transData.transform(line.get_xydata()):
                inside = box.x0 <= x - half and x + half <= box.x1 and box.y0 <= y - half and y + half <= box.y1
                if not inside and axes.bbox.padded(half).contains(x, y):
                    yield f"a mark is cut at {x:.0f}, {y:.0f}"


def lightness(colour: Any) -> float:
    """CIE 1976 lightness of a colour, 0 black to 100 white."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    y = sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    return 116.0 * y ** (1 / 3) - 16.0 if y > 0.008856 else 903.3 * y


def _alike(figure: Figure) -> Iterator[str]:
    """Pairs in a legend that neither their lightness nor their shape tells apart; bars need lightness."""
    legends = [*figure.legends, *(a.get_legend() for a in figure.axes if a.get_legend() is not None)]
    for legend in legends:
        looks = [(_tone(h), _shape(h), t.get_text()) for h, t in zip(legend.legend_handles, legend.texts, strict=True)]
        for (a, shape, one), (b, other, two) in itertools.combinations(looks, 2):
            if abs(a - b) < APART and shape == other:
                yield f"alike in grey: {one!r} and {two!r}"


def _tone(handle: Any) -> float:
    """The lightness of what a legend shows: of a bar its fill, of a line or an error bar its stroke."""
    if isinstance(handle, Patch):
        return lightness(handle.get_facecolor())
    stroke = next(h for h in handle.findobj(lambda a: isinstance(a, Line2D | LineCollection)))
    return lightness(stroke.get_color() if isinstance(stroke, Line2D) else stroke.get_color()[0])


def _shape(handle: Any) -> Any:
    """What tells lines apart beside their tone; nothing for bars."""
    if not isinstance(handle, Line2D):
        return None
    return handle.get_marker(), handle.get_linestyle(), str(handle.get_markerfacecolor())
