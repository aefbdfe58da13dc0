"""A page as PDF, by matplotlib, which needs no browser: lines laid down one below the other, page after page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from faultodds.charts import LEADING, PAPERS, TextLine, tall, text_width, wrapped
from faultodds.names import harmless
from faultodds.reports.blocks import Block, Page
from faultodds.reports.html import COLOURS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BODY, HEAD, TITLE, FOOT = 10.5, 12.0, 16.0, 9.0
MARGIN, GAP, PAD, INDENT = 50.0, 7.0, 5.0, 16.0
TALLEST_PHOTO = 260.0
# A line that is written on by hand.
WRITTEN = 30.0


class _Strip(NamedTuple):
    """A strip across the page that is not parted: lines at an indent, or beside one another in columns, at `least` so high and
    with a rule below where `ruled`; shaded; or a picture. `breaks`: it begins a sheet."""

    columns: tuple[tuple[float, list[TextLine]], ...]
    gap: float = 0.0
    alert: bool = False
    photo: Path | None = None
    with_next: bool = False
    breaks: bool = False
    ruled: bool = False
    least: float = 0.0

    @property
    def height(self) -> float:
        lines = max((self.least, *(tall(lines) for _, lines in self.columns)))
        return lines + (2 * PAD if self.alert else 0.0) + (TALLEST_PHOTO if self.photo else 0.0)


def save_pdf(page: Page, path: Path, paper: str = "letter") -> int:
    """Write the page to `path`, and say how many sheets it takes. Same page, same bytes."""
    import matplotlib
    from matplotlib.backends.backend_pdf import PdfPages

    height, width = PAPERS[paper]
    sheets = list(_sheets(list(_strips(page, width - 2 * MARGIN)), height - 2 * MARGIN - 2 * FOOT))
    settings: Any = {"pdf.fonttype": 42}
    info: Any = {"Title": harmless(page.title), "CreationDate": None}
    with matplotlib.rc_context(settings), PdfPages(path, metadata=info) as pdf:
        for number, sheet in enumerate(sheets, 1):
            pdf.savefig(_drawn(sheet, width, height, f"{harmless(page.title)}, page {number} of {len(sheets)}"))
    return len(sheets)


def _strips(page: Page, room: float) -> Iterator[_Strip]:
    yield _one(page.title, room, TITLE, "bold", COLOURS["head"][0])
    for block in page.blocks:
        yield from _block(block, room)
    for at, text in enumerate(page.foot):
        yield _one(text, room, FOOT, colour=COLOURS["foot"][0])._replace(gap=GAP if at else 2 * GAP)


def _one(
    text: str, room: float, size: float = BODY, weight: str = "normal", colour: str = COLOURS["text"][0]
) -> _Strip:
    return _Strip(((0.0, wrapped(text, room, size, weight, colour)),), GAP)


def _block(block: Block, room: float) -> Iterator[_Strip]:
    match block.kind:
        case "alert":
            lines = wrapped(block.text, room - 2 * INDENT, BODY, "bold", COLOURS["alert"][0])
            yield _Strip(((INDENT, lines),), GAP, alert=True)
        case "head":
            strip = _one(block.text, room, HEAD, "bold", COLOURS["head"][0])
            yield strip._replace(gap=2 * GAP, with_next=True)
        case "sheet":
            yield _one(block.text, room, TITLE, "bold", COLOURS["head"][0])._replace(breaks=True, with_next=True)
        case "list":
            for text in block.items:
                columns = ((2.0, wrapped("\u2022", INDENT, BODY)), (INDENT + 4, wrapped(text, room - INDENT - 4, BODY)))
                yield _Strip(columns, GAP / 2)
        case "table" | "form":
            yield from _rows(block, room)
        case "photo":
            yield _one(block.text, room)._replace(photo=block.file)
        case _:
            yield _one(block.text, room)


def _rows(block: Block, room: float) -> Iterator[_Strip]:
    """A table: columns as wide as what stands in them asks for, within the room, and words whole where they can be."""
    cells = [block.items, *block.rows]
    columns = range(len(block.items))
    words = [[w for row in cells for w in row[c].split()] for c in columns]
    most = room / len(words)
    least = [min(max((text_width(w, BODY - 1, "bold") for w in each), default=0.0) + 9, most) for each in words]
    weights = [min(max(len(row[c]) for row in cells), 45) + 4 for c in columns]
    spare = room - sum(least)
    shares = [w / sum(weights) for w in weights]
    widths = [low + spare * s for low, s in zip(least, shares, strict=True)]
    for at, row in enumerate(cells):
        left, placed = 0.0, []
        for text, width in zip(row, widths, strict=True):
            placed.append((left, wrapped(text, width - 8, BODY - 1, "bold" if at == 0 else "normal") if text else []))
            left += width
        high = WRITTEN if block.kind == "form" and at else 0.0
        yield _Strip(tuple(placed), GAP / 2, with_next=at == 0, ruled=True, least=high)


def _sheets(strips: list[_Strip], room: float) -> Iterator[list[_Strip]]:
    """The strips shared out over sheets; a head stays with what it is over."""
    sheet: list[_Strip] = []
    left = room
    for at, strip in enumerate(strips):
        follow, needed = at, strip.gap + strip.height
        while strips[follow].with_next and follow + 1 < len(strips):
            follow += 1
            needed += strips[follow].gap + strips[follow].height
        if sheet and (strip.breaks or needed > left):
            yield sheet
            sheet, left = [], room
        sheet.append(strip)
        left -= strip.gap + strip.height
    yield sheet


def _drawn(sheet: list[_Strip], width: float, height: float, foot: str) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.patches import Rectangle

    figure = Figure(figsize=(width / 72, height / 72))
    FigureCanvasAgg(figure)
    axes: Any = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, width)
    axes.set_ylim(0, height)
    axes.set_axis_off()
    top = height - MARGIN
    for strip in sheet:
        top -= strip.gap
        if strip.alert:
            ink, paper = COLOURS["alert"]
            corner, room = (MARGIN, top - strip.height), width - 2 * MARGIN
            axes.add_patch(Rectangle(corner, room, strip.height, facecolor=paper, edgecolor="none"))
            axes.add_patch(Rectangle(corner, 4, strip.height, facecolor=ink, edgecolor="none"))
        for left, lines in strip.columns:
            _write(axes, lines, MARGIN + left, top - (PAD if strip.alert else 0.0))
        if strip.ruled:
            axes.plot(
                (MARGIN, width - MARGIN), (top - strip.height - 1.5,) * 2, color=COLOURS["foot"][0], linewidth=0.5
            )
        if strip.photo is not None:
            _hang(axes, strip.photo, top - tall(strip.columns[0][1]), width)
        top -= strip.height
    _write(axes, [TextLine(foot, FOOT, colour=COLOURS["foot"][0])], MARGIN, MARGIN)
    return figure


def _write(axes: Any, lines: list[TextLine], x: float, y: float) -> None:
    for line in lines:
        y -= line.size * LEADING
        axes.text(
            x, y + 0.27 * line.size, line.text, fontsize=line.size, fontweight=line.weight, color=line.colour,
            va="baseline", ha="left", parse_math=False,
        )  # fmt: skip


def _hang(axes: Any, photo: Path, top: float, width: float) -> None:
    from PIL import Image

    with Image.open(photo) as picture:
        scale = min((TALLEST_PHOTO - GAP) / picture.height, (width - 2 * MARGIN) / picture.width)
        extent = (MARGIN, MARGIN + picture.width * scale, top - picture.height * scale, top)
        axes.imshow(picture.convert("RGB"), extent=extent, aspect="auto")
    axes.set_xlim(0, width)
    axes.set_ylim(0, axes.figure.get_figheight() * 72)
