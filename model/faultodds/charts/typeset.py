"""Text as it will be printed: how wide a line is, broken into lines by that, and shortened. Units are points."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from faultodds.names import harmless

LEADING: Final = 1.27
_TIED: Final = "\u00a0"
TEXT: Final = 8.5
"""The small print of a figure; nothing is smaller than 8."""


@dataclass(frozen=True)
class TextLine:
    """One line of text; `weight` and `colour` as matplotlib has them."""

    text: str
    size: float
    weight: str = "normal"
    colour: str = "black"


@cache
def _measure() -> Any:
    from matplotlib.textpath import TextToPath

    return TextToPath()


@cache
def text_width(text: str, size: float, weight: str) -> float:
    """Width of a line in points."""
    from matplotlib.font_manager import FontProperties

    prop = FontProperties(size=size, weight=weight)
    return float(_measure().get_text_width_height_descent(harmless(text), prop, ismath=False)[0])


def wrapped(text: str, room: float, size: float, weight: str = "normal", colour: str = "black") -> list[TextLine]:
    """Text broken into lines no wider than `room`; a single word that is too wide is broken as well."""
    lines: list[list[str]] = [[]]
    left, space = room, text_width(" ", size, weight)
    for word in (piece for w in _words(text) for piece in _pieces(w, room, size, weight)):
        wide = text_width(word, size, weight)
        if lines[-1] and wide + space > left:
            lines.append([])
            left = room
        left -= wide + (space if lines[-1] else 0.0)
        lines[-1].append(word)
    return [TextLine(" ".join(words).replace(_TIED, " "), size, weight, colour) for words in lines]


def tied(text: str) -> str:
    """Text as every page has it: made harmless, and with blanks that no line is broken at: a number stays with its percent sign,
    its minutes or the "now" before it, and nothing begins with an ellipsis."""
    return re.sub(r" (?=\.\.|\u2026)|(?<=\d) (?=%|min\b)|(?<=\bnow) (?=[$\d])", _TIED, harmless(text))


def _words(text: str) -> list[str]:
    """What a line may break between."""
    return tied(re.sub(r"\s+", " ", text).strip()).split(" ")


def _pieces(word: str, room: float, size: float, weight: str) -> Iterator[str]:
    while text_width(word, size, weight) > room and len(word) > 1:
        fits = (n for n in range(len(word) - 1, 1, -1) if text_width(word[:n], size, weight) <= room)
        cut = next(fits, 1)
        yield word[:cut]
        word = word[cut:]
    yield word


def tall(lines: list[TextLine]) -> float:
    """How much height some lines take."""
    return sum(line.size * LEADING for line in lines)


def lines_of(text: str, room: float, most: int = 2, size: float = TEXT) -> str:
    """Text on at most so many lines; the middle of a longer one gives way, since both ends tell it from its like. Of one line the
    end does."""
    lines = [line.text for line in wrapped(text, room, size)]
    if len(lines) <= most:
        return "\n".join(lines)
    if most == 1:
        return next(w[0].text for n in range(len(lines[0]), 0, -1)
                    if len(w := wrapped(f"{lines[0][:n].rstrip()} ..", room, size)) == 1)  # fmt: skip
    words = " ".join(lines[most - 1 :]).split()
    last = next(w for n in range(len(words) + 1) if len(w := wrapped(" ".join(["..", *words[n:]]), room, size)) <= 1)
    return "\n".join([*lines[: most - 1], last[0].text])
