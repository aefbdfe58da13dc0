"""Putting a page in place as a file: whole, and never over another one unless that is asked for."""

from __future__ import annotations

from pathlib import Path

from faultodds.charts import PAPERS
from faultodds.errors import FaultoddsError
from faultodds.files import cannot_write, refuse_taken, written_whole
from faultodds.reports.blocks import Page

ENDINGS = (".html", ".pdf")


def refuse_page(path: Path, example: str, paper: str, force: bool = False) -> None:
    """Raise FaultoddsError where no page can be written there, or something is there (unless `force`)."""
    if paper not in PAPERS:
        raise FaultoddsError(f"--paper {paper}: known papers are {', '.join(PAPERS)}. Type for example --paper a4.")
    refuse_taken(path, "--to", example, kind="a page", endings=ENDINGS, force=force)


def save(page: Page, path: Path, paper: str = "letter", force: bool = False) -> None:
    """Write a page as HTML or PDF, by the ending of `path`; raises FaultoddsError, and writes nothing, where that cannot be."""
    refuse_page(path, "job.html", paper, force)
    try:
        with written_whole(path, shared=True, fresh=not force) as beside:
            if path.suffix.casefold() == ".html":
                from faultodds.reports.html import as_html

                beside.write_text(as_html(page), encoding="utf-8")
            else:
                from faultodds.reports.pdf import save_pdf

                save_pdf(page, beside, paper)
    except OSError as error:
        raise cannot_write(path, "--to", error) from None
