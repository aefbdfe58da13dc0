"""A page as one HTML file that asks nobody for anything: style and photographs are in it, and every text is escaped."""

from __future__ import annotations

import base64
from functools import cache
from pathlib import Path
from typing import Any

from faultodds.charts import tied
from faultodds.reports.blocks import Page

# Text on what it stands on; `tests/reports` works out that each pair keeps WCAG 2's 4.5 to 1.
COLOURS = {
    "text": ("#1a1a1a", "#ffffff"),
    "alert": ("#6b0010", "#fdf0f0"),
    "head": ("#123a5c", "#ffffff"),
    "foot": ("#454545", "#ffffff"),
    "stripe": ("#1a1a1a", "#f3f5f7"),
}


def as_html(page: Page) -> str:
    """The page as HTML; the same page gives the same text."""
    return str(_template().render(page=page, colours=COLOURS, picture=_picture))


@cache
def _template() -> Any:
    from jinja2 import Environment, StrictUndefined

    text = Path(__file__).with_name("page.html.jinja").read_text("utf-8")
    settings: Any = {"autoescape": True, "undefined": StrictUndefined, "trim_blocks": True, "lstrip_blocks": True}
    return Environment(**settings, finalize=_tied).from_string(text)


def _tied(value: Any) -> Any:
    """Plain text with its numbers tied to their units, as in a PDF; what is markup already is left alone."""
    return tied(value) if type(value) is str else value


def _picture(file: Path) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(file.read_bytes()).decode("ascii")
