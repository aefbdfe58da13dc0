"""Plain text for a terminal: wrapped, numbered, drawn as bars, with nothing but characters it can show."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge

WIDEST = 80
NARROWEST = 40
# A title beside the cells of a table has at least so many columns; with fewer the cells go on a line of their own.
LEAST_BESIDE = 20
BAR_CELLS = 16
_EIGHTHS = " ▏▎▍▌▋▊▉█"
# A number and its unit stay on one line: while text is broken, the blank between them is a sign that nobody types.
_TIED = "\ue000"
_UNITS = "%|min|minutes?|h|hours?|s|seconds?|days?|k?ohm|V|volts?|A|F|C|in|ft|ft/min|cfm|ppm|lb|kg|g|mm|cm|m|psi|Btu/h"
_AMOUNT = re.compile(rf"(?<=\d) (?=(?:{_UNITS})(?![\w/]))|(?<=\d in) (?=w\.?c)")
# "what tells coils from igniter", as it is typed.
WHAT_TELLS = re.compile(
    r"(?i)(?:what|how)\s+(?:to\s+|do i\s+|can i\s+)?(?:tells?|parts?)\s+(?:the\s+)?(\S.*\sfrom\s.*\S?)"
)


def sentence(text: str) -> str:
    """A title as a sentence: with a full stop, unless it asks."""
    return text if text.endswith("?") else f"{text}."


def width() -> int:
    """Columns to write in: the terminal's, from 40 to 80."""
    return max(NARROWEST, min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns))


def wrap(
    text: str,
    first: str = "",
    rest: str | None = None,
    room: int | None = None,
    hyphens: bool = False,
    whole: bool = False,
) -> list[str]:
    """Text broken to the width (or to `room` columns) at blanks, and with `hyphens` after hyphens as well.

    `first` starts the first line, `rest` the others (blanks unless given). A word that fits the width is never broken:
    the blanks before it give way. One that does not, such as a path, is broken unless it is to be left `whole`. A number
    and its unit are one word.
    """
    text = _AMOUNT.sub(_TIED, text)  # as one word
    follow = " " * len(first) if rest is None else rest
    longest = max(map(len, text.split()), default=0)
    most = room or width()
    if longest > most:
        text = " ".join(_parted(word, most) for word in text.split())
        longest = max(map(len, text.split()))
    if len(follow) > most // 2 and not follow.strip():
        follow = "    "
    if len(follow) + longest > most and not follow.strip():
        follow = follow[: max(most - longest, 2 if follow else 0)]
    lines = textwrap.wrap(
        text,
        most,
        initial_indent=first,
        subsequent_indent=follow,
        break_on_hyphens=hyphens,
        break_long_words=longest > most and not whole,
    )
    if not lines:
        return [first.rstrip()]
    if len(lines[0]) > most and first.strip() and not follow.strip():
        # The first word does not fit behind what starts the line.
        lines = [first.rstrip(), *wrap(text, follow, follow, room, hyphens, whole)]
    return [line.replace(_TIED, " ") for line in lines]


def _parted(word: str, most: int) -> str:
    """A word that is too long, with blanks where it may be parted: "fuel=natural|propane" between its answers, then before them."""
    for sign, apart in (("|", " |"), ("=", "= ")):
        if max(map(len, word.split())) > most:
            word = word.replace(sign, apart)
    return word


def fit(text: str) -> str:
    """A text for the screen, every line of it broken to the width under its own indent; a command to copy stays whole."""
    return "\n".join(line for each in text.split("\n") for line in _fit(each))


def _fit(line: str) -> list[str]:
    if len(line) <= width() or line.lstrip().startswith("faultodds "):
        return [line]
    indent = line[: len(line) - len(line.lstrip())]
    said, colon, command = line.partition(": faultodds ")
    if colon:
        return [*_fit(f"{said}:"), f"{indent}faultodds {command}"]
    return wrap(line.strip(), indent, indent + "  ", whole=True)


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


def columns(head: str, cells: Sequence[str], widths: Sequence[int], margin: int = 0) -> list[str]:
    """A line of a table: its head on the left, cells of these widths at the right edge or `margin` columns short of it; two lines
    where the head does not fit beside the cells."""
    # A cell as wide as its column takes a blank more, not to stand against the one before it.
    side = "".join(f" {c}".rjust(w) if c else " " * w for c, w in zip(cells, widths, strict=True))
    room = width() - margin
    beside_head = len(head) + 1 + len(side.lstrip()) <= room or len(head) + len(side) <= room
    if beside_head:
        return [(head + side.lstrip().rjust(room - len(head))).rstrip() if side.strip() else head]
    return [head, side.lstrip().rjust(room)] if side.strip() else [head]


def beside(widths: Sequence[int], gap: int = 0) -> int:
    """Columns for a title beside cells of these widths; the whole line where they go below it."""
    room = width() - sum(widths) - gap
    return room if room >= LEAST_BESIDE else width()


def row(first: str, rest: str, head: str, cells: Sequence[str], widths: Sequence[int], gap: int = 0) -> list[str]:
    """A line of a table whose head may be long: broken by `wrap`, with its `first` and `rest`, `gap` columns short of the cells;
    or all of the head, and the cells on the line below, where there is little room, or too little for its longest word."""
    room = beside(widths, gap)
    if room < len(rest) + max([LEAST_BESIDE, *map(len, head.split())]):
        room = width()
    lines = wrap(head, first, rest, room)
    if room == width():
        return [*lines, *columns("", cells, widths)]
    line, *more = lines
    return [*columns(line, cells, widths), *more]


def listed(head: str, labels: Sequence[str], cells: Sequence[str]) -> list[str]:
    """A line of a table that is too wide for the screen, as words: the head, then each label with its cell."""
    told = ", ".join(
        " ".join(f"{label} {cell}".split()) for label, cell in zip(labels, cells, strict=True) if cell.strip()
    )
    return [*wrap(head, "  ", "    "), *wrap(told, "    ")]


def labelled(name: str, text: str, room: int) -> list[str]:
    """A name and what is said of it, in a column of its own from `room` on; straight behind the name where there is little."""
    if width() - room < LEAST_BESIDE:
        return wrap(f"{name.strip()}: {text}", "  ", "    ")
    return wrap(text, name.ljust(room), " " * room)


def money(amount: float, knowledge: Knowledge) -> str:
    """An amount in the file's currency."""
    from faultodds.advice import money as in_words

    return in_words(amount, knowledge.costs.currency)


def moneys(amounts: Iterable[float], knowledge: Knowledge) -> list[str]:
    """The parts of a sum, none below 0, and the sum at the end, written alike; what is written adds up."""
    from faultodds.names import whole_parts

    each = list(amounts)
    unit = 1 if sum(each) >= 9.5 else 100  # whole units, or their hundredths, as `money` writes the sum
    parts = [whole / unit for whole in whole_parts([x * unit for x in each])]
    written = [money(x, knowledge) for x in (*parts, sum(parts))]
    return [text.removesuffix(".00") for text in written] if unit == 1 else written


def percent(p: float) -> str:
    """A chance as a whole percent, never a false 0 or 100."""
    from faultodds.advice import percent as in_words

    return in_words(p)


def percents(chances: Iterable[float]) -> list[str]:
    """Chances that exclude each other, as whole percents that add up."""
    from faultodds.advice import percents as in_words

    return in_words(chances)


def percent_fine(p: float) -> str:
    """A small chance with two digits."""
    return f"{p * 100:.2g} %"


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
