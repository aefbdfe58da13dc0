"""Plain text for a terminal: wrapped, numbered, drawn as bars, with nothing but characters it can show."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge

WIDEST = 80
NARROWEST = 60
BAR_CELLS = 16
_EIGHTHS = " ▏▎▍▌▋▊▉█"


def width() -> int:
    """Columns to write in: the terminal's, at most 80."""
    return max(NARROWEST, min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns))


def wrap(
    text: str, first: str = "", rest: str | None = None, room: int | None = None, hyphens: bool = False
) -> list[str]:
    """Text broken to the width (or to `room` columns) at blanks, and with `hyphens` after hyphens as well.

    `first` starts the first line, `rest` the others (blanks unless given).
    """
    follow = " " * len(first) if rest is None else rest
    lines = textwrap.wrap(
        text, room or width(), initial_indent=first, subsequent_indent=follow, break_on_hyphens=hyphens
    )
    return lines or [first.rstrip()]


def wrap_each(text: str, first: str = "") -> list[str]:
    """Every line of a text broken to the width; its own line breaks are kept."""
    return [line for part in text.splitlines() or [""] for line in wrap(part, first)]


def numbered(steps: Iterable[str]) -> list[str]:
    """Steps to be done in this order."""
    return [line for i, text in enumerate(steps, 1) for line in step(i, text)]


def step(number: int, text: str) -> list[str]:
    """One numbered step."""
    return wrap(text, f"  {number:2}. ")


def cautions(texts: Iterable[str]) -> list[str]:
    """What can hurt, clearly marked."""
    return [line for text in texts for line in wrap(text, "  !! ")]


def columns(head: str, cells: Sequence[str], widths: Sequence[int], margin: int = 0) -> str:
    """A line of a table: its head on the left, cells of these widths at the right edge or `margin` columns short of it."""
    side = "".join(c.rjust(w) for c, w in zip(cells, widths, strict=True))
    return (head.ljust(width() - margin - sum(widths)) + side).rstrip()


def row(first: str, rest: str, head: str, cells: Sequence[str], widths: Sequence[int], gap: int = 0) -> list[str]:
    """A line of a table whose head may be long: broken by `wrap`, with its `first` and `rest`, `gap` columns short of the cells."""
    line, *more = wrap(head, first, rest, width() - sum(widths) - gap)
    return [columns(line, cells, widths), *more]


def money(amount: float, knowledge: Knowledge) -> str:
    """An amount in the file's currency."""
    from faultodds.advice import money as in_words

    return in_words(amount, knowledge.costs.currency)


def percent(p: float) -> str:
    """A chance as a whole percent, never a false 0 or 100."""
    from faultodds.advice import percent as in_words

    return in_words(p)


def percent_fine(p: float) -> str:
    """A small chance with two digits."""
    return f"{p * 100:.2g} %"


def capital(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]


def bar(p: float, cells: int = BAR_CELLS) -> str:
    """A chance as a bar of `cells` columns; any chance above 0 shows."""
    if not _has_blocks():
        full = max(round(p * cells), 1 if p > 0 else 0)
        return ("#" * full).ljust(cells, ".")
    eighths = max(round(p * cells * 8), 1 if p > 0 else 0)
    full, part = divmod(eighths, 8)
    return ("█" * full + (_EIGHTHS[part] if part else "")).ljust(cells)


def _has_blocks() -> bool:
    try:
        _EIGHTHS.encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def fitted(title: str, room: int) -> str:
    """A fault's title cut to `room` columns: of "component: mode" the component gives way first."""
    component, colon, mode = title.partition(": ")
    if len(title) <= room:
        return title
    left = room - len(mode) - 4
    if colon and left >= 10:
        return f"{component[:left].rstrip(' ,')}..: {mode}"
    return title[: room - 2].rstrip(" ,") + ".."


def title_lines(title: str, room: int) -> list[str]:
    """A fault's title in lines of at most `room` columns, the later ones two less: "component: mode" breaks after the colon."""
    if len(title) <= room:
        return [title]
    component, colon, mode = title.partition(": ")
    if colon and len(component) < room:
        return [f"{component}:", *wrap(mode, room=room - 2, hyphens=True)]
    first, *rest = wrap(title, room=room, hyphens=True)
    return [first, *(wrap(" ".join(rest), room=room - 2, hyphens=True) if rest else [])]


def paragraphs(parts: Iterable[Sequence[str]]) -> list[str]:
    """Blocks of lines with a blank line between those that say something."""
    full = [part for part in parts if part]
    return [line for i, part in enumerate(full) for line in ([""] if i else []) + list(part)]
