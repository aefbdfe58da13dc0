"""A page in a terminal: the blocks of `reports` as lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

from faultodds_cli.shared.text import LEAST_BESIDE, columns, listed, row, width, wrap

if TYPE_CHECKING:
    from faultodds.reports import Block, Page

# A table of numbers, its columns but the first no wider than this, is shown as one; others are told in words, a line a row.
NARROW = 16


def page_lines(page: Page) -> list[str]:
    """The page, broken to the width of the screen."""
    lines = [*wrap(page.title.upper()), ""]
    for block in page.blocks:
        match block.kind:
            case "alert":
                lines += [*wrap(f"!! {block.text}"), ""]
            case "head" | "sheet":
                lines += ["", *wrap(block.text.upper())]
            case "list":
                lines += [line for text in block.items for line in wrap(text, "  - ")]
            case "table" | "form":
                lines += _table(block)
            case "photo":
                lines += wrap(f"[photograph: {block.text}]", "  ", "    ")
            case _:
                lines += wrap(block.text)
    return [*lines, "", *(line for text in page.foot for line in wrap(text))]


def _table(block: Block) -> list[str]:
    widths = [max(map(len, cells)) + 2 for cells in list(zip(block.items, *block.rows, strict=True))[1:]]
    numbers = all(any(map(str.isdigit, cell)) for each in block.rows for cell in each[1:] if cell)
    if not numbers or not widths or max(widths) > NARROW + 2:
        return [line for each in block.rows for line in wrap(_in_words(block.items, each), "  ", "    ")]
    if width() - sum(widths) < LEAST_BESIDE:
        return [line for each in block.rows for line in listed(each[0], _small(block.items[1:]), each[1:])]
    heads = columns(f"  {block.items[0]}", block.items[1:], widths) if any(block.items) else []
    return [*heads, *(line for each in block.rows for line in row("  ", "    ", each[0], each[1:], widths, gap=1))]


def _small(heads: tuple[str, ...]) -> list[str]:
    return [head[:1].lower() + head[1:] for head in heads]


def _in_words(heads: tuple[str, ...], cells: tuple[str, ...]) -> str:
    told = [(head, cell) for head, cell in zip(heads, cells, strict=True) if cell]
    if not any(head for head, _ in told):
        return ": ".join(cell for _, cell in told)
    return "; ".join(f"{head}: {cell}" for head, cell in told)
