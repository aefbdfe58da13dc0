"""Priors before and after: the file that was asked for, on one page, the same bytes each time."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.charts.priors_figure import MOST_ROWS, forest
from faultodds.charts.style import check_path
from faultodds.errors import FaultoddsError
from faultodds.tuning.learned_words import Item, Kind

STARTS = {".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}


def rows(count: int, kind: Kind = "causes") -> list[Item]:
    """Made-up items; every third has no interval."""
    return [
        Item(f"p{i}", kind, f"part number {i}: worn, and a long title that has to be broken somewhere", 0.02 + i / 200, 0.03,
             None if i % 3 == 0 else 0.01, None if i % 3 == 0 else 0.5, None if i % 5 == 0 else 12.0)
        for i in range(count)
    ]  # fmt: skip


@pytest.mark.parametrize("suffix", STARTS)
def test_each_kind_of_file_is_what_its_name_says(tmp_path: Path, suffix: str) -> None:
    """PNG, SVG and PDF, and the same bytes when drawn again."""
    paths = [tmp_path / f"{name}{suffix}" for name in "ab"]
    for path in paths:
        assert forest(rows(5), "title", "axis", path) == 5
    one, two = (path.read_bytes() for path in paths)
    assert one.startswith(STARTS[suffix])
    assert one == two


def test_more_rows_than_a_page_holds_are_cut_and_told(tmp_path: Path) -> None:
    """The first rows are drawn; the page stays one page in height."""
    path = tmp_path / "a.svg"
    assert forest(rows(MOST_ROWS + 30), "title", "axis", path) == MOST_ROWS
    text = path.read_text()
    height = float(text.partition('height="')[2].partition("pt")[0])
    assert height <= 11.0 * 72
    assert f"part number {MOST_ROWS - 1}:" in text
    assert f"part number {MOST_ROWS}:" not in text


@pytest.mark.parametrize("kind", ["causes", "facts", "checks"])
def test_a_number_without_an_interval_is_still_drawn(tmp_path: Path, kind: Kind) -> None:
    """Learned without sampling there are no intervals; the figure has the two numbers."""
    bare = [Item("p", kind, "a title", 0.2, 0.1)]
    assert forest(bare, "title", "axis", tmp_path / "a.png") == 1


def test_nothing_to_draw_is_said(tmp_path: Path) -> None:
    """No empty figure is left behind."""
    with pytest.raises(FaultoddsError, match="nothing of that kind to draw"):
        forest([], "title", "axis", tmp_path / "a.png")
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_is_said_before_and_after(tmp_path: Path) -> None:
    """The ending and the folder are looked at first; a file that cannot be written is no traceback."""
    with pytest.raises(FaultoddsError, match=r"ends in \.png, \.svg, \.pdf\. Type for example --figure priors\.png"):
        check_path(tmp_path / "a.jpg", "priors.png")
    with pytest.raises(FaultoddsError, match="there is no folder"):
        check_path(tmp_path / "no" / "a.png", "priors.png")
    (tmp_path / "a.png").mkdir()
    with pytest.raises(FaultoddsError, match="is a folder"):
        forest(rows(1), "title", "axis", tmp_path / "a.png")
