"""Danger told of in a log: every cell is listened to, whatever its column is taken for, before anything is set aside.

Only the words that tell of it are kept, never the whole cell: the column may be one that is left out as personal.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

from faultodds.joblog.cleaning_report import Told
from faultodds.joblog.columns import MOST_REMEMBERED
from faultodds.joblog.personal import Keeper
from faultodds.joblog.sources import Chunk
from faultodds.joblog.stems import is_blank
from faultodds.safety import hear

_LETTER: Final = re.compile(r"[^\W\d_]")
_CO_READING: Final = re.compile(r"(?:co|ppm)[ |:=]{1,3}\d{1,3}")


class Listener:
    """Listens to the cells of one log; each different text once."""

    def __init__(
        self, headings: Sequence[str], understood: Mapping[int, Callable[[str], bool]], keeper: Keeper
    ) -> None:
        """`understood`: by the place of a column, whether it reads a text as what one of its checks showed, which is no danger
        told of: "burnt" under harness."""
        self._headings, self._understood, self._keeper = headings, understood, keeper
        # A heading that speaks of danger itself ("CO ppm", "gas smell") makes a bare number or a yes tell of it.
        self._telling = [bool(hear(heading) or hear(f"{heading} 400")) for heading in headings]
        self._known: dict[tuple[int, str], tuple[str, str] | None] = {}

    def told(self, chunk: Chunk) -> Iterator[Told]:
        """The rows of a piece that tell of danger, those that do not fit the headings among them, with the first words that do."""
        for number, row in zip(chunk.numbers, chunk.rows, strict=True):
            found = next((f for f in (self._cell(place, text) for place, text in enumerate(row)) if f), None)
            if found:
                yield Told(number, *found)
        for number, _, text in chunk.broken:
            heard = hear(text)
            if heard:
                yield Told(number, "", heard.hazard, self._masked(heard.words))

    def _cell(self, place: int, text: str) -> tuple[str, str, str] | None:
        if not text or not (self._telling[place] or _LETTER.search(text)):
            return None
        if (place, text) not in self._known:
            if len(self._known) > MOST_REMEMBERED:
                self._known.clear()
            self._known[place, text] = self._listen(place, text)
        heard = self._known[place, text]
        return (self._headings[place], *heard) if heard else None

    def _listen(self, place: int, text: str) -> tuple[str, str] | None:
        heard, understands = hear(text), self._understood.get(place)
        if heard is not None and understands is not None and understands(text):
            heard = None
        if heard is None and self._telling[place] and not is_blank(text):
            heard = hear(f"{self._headings[place]}: {text}") or hear(f"{self._headings[place]} {text}")
        if heard and heard.hazard == "fire" and understands is not None and understands(text):
            heard = None  # a yes under "burning smell" is what the symptom showed
        return (heard.hazard, self._masked(heard.words)) if heard else None

    def _masked(self, words: str) -> str:
        return words if _CO_READING.fullmatch(words) else self._keeper.masked(words)
