"""A page as blocks of text, before anybody knows on what it is shown: HTML, PDF or a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from msgspec import Struct

Kind = Literal["alert", "head", "text", "list", "table", "form", "photo", "sheet"]


class Block(Struct, frozen=True):
    """One block. `alert`: what must not be missed, in the size of the body; `list`: `items`; `table`: `rows`
    under the heads in `items`; `form`: a table with room to write in; `photo`: a file, with what it shows as `text`; `sheet`: a
    head on a new sheet of paper."""

    kind: Kind
    text: str = ""
    items: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    file: Path | None = None


class Page(Struct, frozen=True):
    """A page: its title, its blocks in order, and what stands at its foot."""

    title: str
    blocks: tuple[Block, ...]
    foot: tuple[str, ...]


def alerts(texts: Sequence[str]) -> list[Block]:
    """What must not be missed, one block each."""
    return [Block("alert", text) for text in texts]


def listed(head: str, items: Sequence[str]) -> list[Block]:
    """A head with a list below it; nothing where the list is empty."""
    return [Block("head", head), Block("list", items=tuple(items))] if items else []


def table(head: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[Block]:
    """A head with a table below it, without columns in which nothing stands; nothing where there are no rows."""
    kept = [c for c in range(len(heads)) if any(row[c] for row in rows)]
    lines = (tuple(row[c] for c in kept) for row in [heads, *rows])
    return [Block("head", head), Block("table", items=next(lines), rows=tuple(lines))] if rows else []
