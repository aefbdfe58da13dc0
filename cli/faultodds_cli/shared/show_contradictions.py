"""Where the repairs that held and the learned shares gainsay each other, as it is said before anything else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from faultodds_cli.shared.text import wrap

if TYPE_CHECKING:
    from faultodds.revisions import Revision


def contradiction_lines(revision: Revision) -> list[str]:
    """The contradictions of a revision; nothing where there are none."""
    if not revision.contradictions:
        return []
    head = wrap("LOOK FIRST: the repairs and what was learned contradict each other")
    return [*head, *(line for each in revision.contradictions for line in kept_together(each))]


def kept_together(text: str) -> list[str]:
    """A list item, with no line break between a number and its percent sign."""
    return [line.replace("\u00a0", " ") for line in wrap(text.replace(" %", "\u00a0%"), "  - ")]
