"""Logs as text: encoding and delimiter found out and said, rows read one by one so that nothing is lost silently."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from faultodds.errors import FaultoddsError
from faultodds.joblog import headings as headings_of, narrative
from faultodds.joblog.sources import (
    LOOKED_THROUGH,
    Chunk,
    Source,
    in_chunks,
    refuse_too_wide,
    tidy_headings,
)

DELIMITERS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
LONGEST_LINE: Final = 1_000_000
_MARKS: Final = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
_PIECE: Final = 1 << 20


def open_text(path: Path, encoding: str | None = None) -> Source:
    """A delimited text file as a log; raises FaultoddsError for what is no text or no table."""
    found, note = (encoding, f"read as {encoding}, as asked") if encoding else find_encoding(path)
    _refuse_unknown(found)
    head = _head(path, found)
    delimiter = _delimiter(head)
    refuse_too_wide(path, max(line.count(delimiter) for line in head) + 1)
    rows = _parsed(path, iter(head), delimiter)
    begin = _narrative(rows)
    if begin is not None:
        return _told(path, found, delimiter, begin, note)
    found_headings, begins = headings_of.place(rows)
    notes = [f"{note}; columns separated by {DELIMITERS[delimiter]}s"]
    if found_headings:
        headings = tidy_headings(_without_blank_end(found_headings), path)
    else:
        headings = headings_of.names(max((len(_without_blank_end(row)) for row in rows[begins:]), default=0))
        notes.append("no row of headings")
    above = begins - 1 if found_headings else begins
    if above > 0:
        notes.append(f"{above} lines above the headings were passed over")

    def chunks() -> Iterator[Chunk]:
        """The rows under the headings."""
        with path.open(encoding=found, newline="") as handle:
            yield from in_chunks(_rows(path, handle, delimiter, begins), len(headings), begins + 1 - _hint(rows))

    return Source(path.name, "CSV", headings, notes, chunks)


def _hint(rows: list[list[str]]) -> int:
    """How many lines on top a spreadsheet takes as a hint and does not show: one that names the delimiter."""
    return int(bool(rows and rows[0] and rows[0][0].startswith("sep=")))


def _narrative(rows: list[list[str]]) -> int | None:
    """How many lines to pass over before jobs told one a line; None for a table."""
    if max((len(_without_blank_end(list(row))) for row in rows), default=0) != 1:
        return None
    lines = [row[0] for row in rows]
    return narrative.begin(lines) if narrative.is_narrative(lines) else None


def _told(path: Path, encoding: str, delimiter: str, begin: int, note: str) -> Source:
    def chunks() -> Iterator[Chunk]:
        """The jobs, taken apart."""
        with path.open(encoding=encoding, newline="") as handle:
            lines = narrative.taken_apart(_rows(path, handle, delimiter, begin))
            yield from in_chunks(lines, len(narrative.HEADINGS), begin + 1)

    return Source(path.name, "text", narrative.HEADINGS, [f"{note}; one line of text a job, taken apart"], chunks)


# --- encoding ------------------------------------------------------------------------------------------------------


def find_encoding(path: Path) -> tuple[str, str]:
    """The encoding of a text file and a sentence on how it was told; the whole file is looked at.

    Raises FaultoddsError for a file that is no text in any encoding this reads.
    """
    with path.open("rb") as handle:
        start = handle.read(_PIECE)
    for mark, name in _MARKS.items():
        if start.startswith(mark):
            if name == "utf-16" and not _decodes(path, name):
                raise FaultoddsError(f"{path} says it is UTF-16 text and is not: it is damaged. Export it again.")
            return name, f"text in {name.upper().removesuffix('-SIG')} (marked so)"
    if b"\0" in start and (wide := _wide(path, start)):
        return wide
    if b"\0" in start and _is_binary(start):
        raise _binary(path)
    if _decodes(path, "utf-8"):
        return "utf-8", "text in UTF-8"
    if _is_binary(start):
        raise _binary(path)
    if _decodes(path, "cp1252"):
        return "cp1252", "text in Windows-1252, since it is not UTF-8"
    raise FaultoddsError(
        f"{path} is text in an encoding this cannot tell (neither UTF-8 nor UTF-16 nor Windows-1252). "
        "Save it as CSV UTF-8, or name its encoding: --encoding cp437."
    )


def _wide(path: Path, start: bytes) -> tuple[str, str] | None:
    even, odd = start[0::2].count(0), start[1::2].count(0)
    half = len(start) / 2
    for zeros, others, name in ((odd, even, "utf-16-le"), (even, odd, "utf-16-be")):
        if zeros > 0.7 * half and others < 0.05 * half and _decodes(path, name):
            return name, f"text in {name.upper()} (not marked, told by its bytes)"
    return None


def _binary(path: Path) -> FaultoddsError:
    return FaultoddsError(
        f"{path} is not text, nor an Excel or Parquet file: it cannot be a job log. Export the log as CSV or .xlsx."
    )


def _is_binary(start: bytes) -> bool:
    control = sum(start.count(code) for code in range(32) if code not in (9, 10, 12, 13))
    return control > 0.01 * len(start)


def _decodes(path: Path, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        with path.open("rb") as handle:
            while piece := handle.read(_PIECE):
                decoder.decode(piece)
            decoder.decode(b"", final=True)
    except UnicodeError:
        return False
    return True


def _refuse_unknown(encoding: str) -> None:
    try:
        codecs.lookup(encoding)
    except LookupError:
        raise FaultoddsError(
            f"there is no encoding called '{encoding}'. Known are for example utf-8, utf-16, cp1252, latin-1, cp437."
        ) from None


# --- delimiter and rows --------------------------------------------------------------------------------------------


def _head(path: Path, encoding: str) -> list[str]:
    """The first lines; raises FaultoddsError for a line that no table has, or text in another encoding."""
    lines: list[str] = []
    try:
        with path.open(encoding=encoding, newline="") as handle:
            while len(lines) < LOOKED_THROUGH and (line := handle.readline(LONGEST_LINE)):
                if len(line) >= LONGEST_LINE:
                    refuse_too_wide(path, max(line.count(mark) for mark in DELIMITERS), at_least=True)
                    raise FaultoddsError(f"{path} has a line of more than {LONGEST_LINE:,} characters: it is no table.")
                lines.append(line)
    except UnicodeError:
        raise FaultoddsError(f"{path} is not text in {encoding}. Leave --encoding out to have it found out.") from None
    return lines


def _delimiter(head: list[str]) -> str:
    """The delimiter that cuts most lines into as many cells as any."""

    def fit(mark: str) -> tuple[int, int]:
        try:
            widths = [len(row) for row in csv.reader(head, delimiter=mark) if row]
        except csv.Error:
            widths = [len(head[0].split(mark))]
        usual = max(set(widths), key=widths.count, default=1)
        return (usual if usual > 1 else 0) * widths.count(usual), usual

    return max(DELIMITERS, key=fit)


def _parsed(path: Path, lines: Iterator[str], delimiter: str) -> list[list[str]]:
    return list(_rows(path, lines, delimiter, 0, partial=True))


def _rows(path: Path, lines: Iterator[str], delimiter: str, skip: int, partial: bool = False) -> Iterator[list[str]]:
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True)
    try:
        line = 0
        for place, row in enumerate(reader):
            if reader.line_num > line + 1 and not partial:
                _refuse_swallowed(path, row, delimiter, line + 1)
            line = reader.line_num
            if place >= skip:
                yield row
    except csv.Error as error:
        if partial:
            return
        raise FaultoddsError(
            f"{path}, line {reader.line_num}: this is not a sound table ({error}). Look for a quotation mark that is "
            "opened and never closed, or save the log anew as CSV."
        ) from None
    except UnicodeError as error:
        raise FaultoddsError(f"{path}, line {reader.line_num}: cannot be read as text ({error}).") from None


def _refuse_swallowed(path: Path, row: list[str], delimiter: str, line: int) -> None:
    """Raise FaultoddsError when a cell has swallowed the rows that follow: a quotation mark was never closed."""
    for cell in row:
        if "\n" in cell and cell.count(delimiter) > max(3, len(row) // 2):
            raise FaultoddsError(
                f"{path}, line {line}: a quotation mark is opened there and not closed, so that {cell.count(chr(10)):,} lines "
                "after it would be lost. Mend that line, or save the log anew as CSV."
            )


def _without_blank_end(row: list[str]) -> list[str]:
    while row and not row[-1].strip():
        row = row[:-1]
    return row
