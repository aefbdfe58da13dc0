"""One column of a log over all its pieces: what its cells say, each different text read once, and what became of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

from faultodds.joblog import money_and_time as amounts
from faultodds.joblog.cells import BLANK, Cell, CellReader, pieces_to_ask, text_reader
from faultodds.joblog.clean import ENDED, FAILED, GONE, REPAIRS, UNKNOWN
from faultodds.joblog.cleaning_report import ASKED, NOT_DONE, UNREAD, ColumnReport
from faultodds.joblog.lexicon import hint
from faultodds.joblog.likely import FREE
from faultodds.joblog.log_words import sentences_of
from faultodds.joblog.mapping import Column
from faultodds.joblog.metered import NO_DIAL
from faultodds.joblog.personal import Keeper
from faultodds.knowledge import Knowledge

MOST_REMEMBERED: Final = 200_000
MOST_PHRASES: Final = 50_000

Texts = Sequence[str]


class _Memo(dict[Any, Cell]):
    """Every different text of a column read once; forgets all when there are too many."""

    def __init__(self, read: Callable[[Any], Cell]) -> None:
        super().__init__()
        self._read = read

    def __missing__(self, text: Any) -> Cell:
        if len(self) > MOST_REMEMBERED:
            self.clear()
        self[text] = self._read(text)
        return self[text]


class ColumnReader:
    """One column with its memory and its report."""

    def __init__(self, column: Column, place: int, knowledge: Knowledge) -> None:
        self._reader, self._knowledge = CellReader(column, knowledge), knowledge
        self.place, self.targets, self.context = place, column.targets(knowledge), self._reader.context
        self.report = ColumnReport(column.heading, ", ".join(column.of) or column.kind)
        self.free = column.kind in FREE
        #: Whether it asks if a visit held: a no is then no word of the customer's.
        self.held = column.assume.get("yes") == GONE
        self._memo = _Memo(self._read)

    def _read(self, text_and_row: Any) -> Cell:
        if isinstance(text_and_row, str):
            return self._reader.read(text_and_row)
        text, row = text_and_row
        return self._reader.read(text, dict(zip(self.context, row, strict=True)))

    def understands(self, text: str) -> bool:
        """Whether a text is read whole, with no fact of its row at hand."""
        cell = self._reader.read(text)
        return bool(cell.said) and not cell.left

    def cells(self, texts: Texts, facts: Sequence[tuple[str | None, ...]]) -> list[Cell]:
        """What each cell says, given the facts of its row."""
        memo = self._memo
        if facts:
            found = [memo[text, row] if text else BLANK for text, row in zip(texts, facts, strict=True)]
        else:
            found = [memo[text] for text in texts]
        self.report.counts.update(cell.status for cell in found)
        self.report.add_words(Counter(self._words(found)))
        self._show(texts, found)
        self.report.no_dial += sum(cell.note == NO_DIAL for cell in found)
        return found

    def _show(self, texts: Texts, cells: Sequence[Cell]) -> None:
        """Note what each phrase became, for looking over."""
        shown = self.report.phrases
        for (text, cell), times in Counter(zip(texts, cells, strict=True)).items():
            for phrase, said in self._phrases(text, cell) if cell.status != "blank" else ():
                shown[" ".join(phrase.split()), _became(said)] += times
        if len(shown) > MOST_PHRASES:
            self.report.phrases = Counter({key: n for key, n in shown.items() if n > 1})

    def _phrases(self, text: str, cell: Cell) -> list[tuple[str, Cell]]:
        """The sentences of a cell of free text with what each became, where each says the same by itself; else the whole cell."""
        sentences = sentences_of(text, REPAIRS in self.targets) if self.free else []
        parts = [(sentence, self._memo[sentence]) for sentence in sentences]
        whole, together = (_said_and_left(each) for each in ([cell], [part for _, part in parts]))
        return parts if len(parts) > 1 and whole == together else [(text, cell)]

    def _words(self, cells: Sequence[Cell]) -> Iterator[str]:
        for cell in cells:
            if cell.left:
                yield from pieces_to_ask(cell)

    def close(self, keeper: Keeper) -> None:
        """Forget every text that may not be kept; find the known meaning nearest to each of the commonest words, or that it is a
        repair that the file does not know."""
        self.report.keep_only(keeper, self.free)
        self.report.foreign = {w: n for w, n in self.report.words.items() if self._reader.is_foreign(w)}
        for word, _ in self.report.words.most_common(20):
            if word in self.report.foreign:
                continue
            meaning = hint(self._knowledge, self._reader.lexicon, word)
            if meaning is not None:
                name = meaning.column.partition(":")[2]
                self.report.nearest[word] = f"{name}={meaning.value}" if name else meaning.value


def _said_and_left(cells: Sequence[Cell]) -> tuple[set[tuple[str, str]], set[str]]:
    said = {(column, value) for cell in cells for column, values in cell.said for value in values.split(";")}
    return said, {text for cell in cells for text in cell.left}


def _became(cell: Cell) -> str:
    """What a cell became, as the table of phrases has it."""
    # A repair that the file does not know is asked about, and no ending anybody told.
    said = [_told(*pair) for pair in cell.said if not cell.left or pair != (ENDED, UNKNOWN)]
    open_ = [ASKED] if cell.left or cell.unclear or cell.status in ("unknown", "impossible", "either") else []
    return "; ".join([*said, *open_]) or UNREAD


def _told(column: str, value: str) -> str:
    if (column, value) == (ENDED, UNKNOWN):
        return NOT_DONE
    return (
        f"{column.partition(':')[2]}={value}"
        if ":" in column
        else f"{value} (did not hold)"
        if column == FAILED
        else value
    )


def parser_of(column: Column) -> Callable[[str], float | None] | None:
    """How a column of minutes or money is read; None for any other."""
    if column.kind == "bill":
        return amounts.money
    unit = column.assume.get("unit", "minutes")
    return (lambda text: amounts.minutes(text, unit)) if column.kind == "minutes" else None


class AmountReader:
    """A column of minutes or money."""

    def __init__(self, column: Column, place: int, parse: Callable[[str], float | None]) -> None:
        self.place = place
        self.name: str = column.kind
        self._parse = parse
        self._check = text_reader(self._parse)
        self.report = ColumnReport(column.heading, column.kind)

    def read(self, texts: Texts) -> list[float | None]:
        """The amounts, None where there is none."""
        cells = [self._check(text) for text in texts]
        self.report.counts.update(cell.status for cell in cells)
        self.report.add_words(Counter(piece for cell in cells for piece in cell.left))
        found = [self._parse(text) if cell.status == "read" else None for text, cell in zip(texts, cells, strict=True)]
        self.report.too_long += sum(n is not None and n > amounts.LONG_VISIT for n in found if self.name == "minutes")
        return found
