"""Putting a page in place as a file: whole, and never over another one unless that is asked for."""

from __future__ import annotations

from pathlib import Path

from faultodds.charts import PAPERS
from faultodds.errors import FaultoddsError
from faultodds.files import written_whole
from faultodds.reports.blocks import Page

ENDINGS = (".html", ".pdf")


def save(page: Page, path: Path, paper: str = "letter", force: bool = False) -> None:
    """Write a page as HTML or PDF, by the ending of `path`; raises FaultoddsError, and writes nothing, where that cannot be."""
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise FaultoddsError(f"--to {path}: a page ends in {' or '.join(ENDINGS)}. Type for example --to job.html.")
    if paper not in PAPERS:
        raise FaultoddsError(f"--paper {paper}: known papers are {', '.join(PAPERS)}. Type for example --paper a4.")
    if not path.parent.is_dir():
        raise FaultoddsError(f"--to {path}: there is no folder {path.parent}. Make it, or name another.")
    if path.exists() and (not force or path.is_dir()):
        raise FaultoddsError(
            f"--to {path} is there already and was left as it is. Add --force to write over it, or name another."
        )
    try:
        with written_whole(path, shared=True, fresh=not force) as beside:
            if ending == ".html":
                from faultodds.reports.html import as_html

                beside.write_text(as_html(page), encoding="utf-8")
            else:
                from faultodds.reports.pdf import save_pdf

                save_pdf(page, beside, paper)
    except OSError as error:
        raise FaultoddsError(f"--to {path} cannot be written ({error.strerror or error}). Name another file.") from None
