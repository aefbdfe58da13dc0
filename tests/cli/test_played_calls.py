"""Whole calls through a real terminal show what their records say, at 80 and 40 columns."""

from __future__ import annotations

from pathlib import Path

import pytest

from played_calls import COLUMNS, names, play, record, visits_of

CALLS = [(name, columns) for columns in COLUMNS for name in names()]  # at one width after the other, advised once


@pytest.mark.parametrize(("name", "columns"), CALLS, ids=[f"{name}-{columns}" for name, columns in CALLS])
def test_a_played_call_shows_its_record(name: str, columns: int, tmp_path: Path, advised: Path) -> None:
    """Renew with `python tests/played_calls.py`, and read the change aloud before committing it."""
    assert play(visits_of(name), columns, tmp_path, advised) == record(name, columns).read_text(encoding="utf-8")


@pytest.mark.parametrize(("name", "columns"), CALLS, ids=[f"{name}-{columns}" for name, columns in CALLS])
def test_no_line_is_wider_than_its_terminal(name: str, columns: int) -> None:
    """Text is set for the terminal; a question with what is typed after it may run over, as the line editor (which goes back
    with \\x08) draws it."""
    typed = [line for lines in visits_of(name) for line in lines]
    wide = [line for line in record(name, columns).read_text(encoding="utf-8").splitlines() if len(line) > columns]
    assert [line for line in wide if "\x08" not in line and not any(own and line.endswith(own) for own in typed)] == []
