"""The main causes as a manager weighs them: the file, a plain count, the log alone, what is made of both, and why."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from faultodds.tuning import Item, items, of_kind, percent, repair_groups, shown, span
from faultodds_cli.shared.text import columns, row, wrap

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge
    from faultodds.revisions import Revision

_HEADS = ("file", "held", "log alone", "learned", "90 % interval", "believed")
_WIDTHS = (8, 13, 13, 10, 17, 11)
# Nearer than this the log says what the file says, and there is nothing to believe or not.
_ALIKE = math.log(1.1)
_LEGEND = (
    "held: visits on which one repair was done, that cause's, and the machine stayed well; what the same repair puts right "
    "shares a count (=).",
    "log alone: jobs that have that cause, by all that is written of them, and their share.",
    "believed: how far the learned share goes from the file's to the log's. It goes as far as shares from this log's earlier "
    "jobs forecast its later ones, and the fewer the jobs of a cause, the less far.",
)


def cause_lines(k: Knowledge, revision: Revision, top: int) -> list[str]:
    """The table of main causes, largest first; empty when no share was learned."""
    found = of_kind(items(k, revision.numbers), "causes")
    if not found:
        return []
    shared = _shared(k)
    lines = [*wrap("MAIN CAUSES, SHARE OF CALLS"), *columns("", _HEADS, _WIDTHS)]
    for item in found[:top]:
        star = "* " if item.moved else "  "
        lines += row(star, "    ", item.title, _cells(item, revision, item.path in shared), _WIDTHS)
    if len(found) > top:
        lines += wrap(f"  and {len(found) - top} more; --top {len(found)} shows them all.")
    telling = revision.settings.get("visits_that_tell")
    of = [f"{telling:,} of {revision.log.jobs:,} visits tell which repair held."] if telling is not None else []
    return lines + [line for text in (*_LEGEND, *of) for line in wrap(text, "  ", "    ")]


def cause_answer(revision: Revision, item: Item) -> dict[str, Any]:
    """What the table adds to a number, as plain data."""
    return {"held": item.held, "log_share": _alone(item, revision), "believed": believed(item, revision)}


def believed(item: Item, revision: Revision) -> float | None:
    """How far the learned share goes from the file's (0) to the log's own (1); None where the two are about the same."""
    alone = _alone(item, revision)
    if alone is None or not item.file or item.learned <= 0:
        return None
    whole = math.log(alone / item.file)
    return min(1.0, max(0.0, math.log(item.learned / item.file) / whole)) if abs(whole) > _ALIKE else None


def _alone(item: Item, revision: Revision) -> float | None:
    """The share of a cause by the log alone; half a job more, so that none is not never."""
    jobs = revision.log.jobs - int(revision.settings.get("jobs_set_aside", 0))
    return None if item.jobs is None or jobs <= 0 else (item.jobs + 0.5) / (jobs + 0.5)


def _cells(item: Item, revision: Revision, shared: bool) -> list[str]:
    telling = revision.settings.get("visits_that_tell")
    held = "" if item.held is None else f"{item.held:,.0f}"
    if held and telling:
        held = f"{'=' if shared else ''}{held}, {percent(item.held / float(telling)) if item.held else '0 %'}"
    alone, way = _alone(item, revision), believed(item, revision)
    log = "" if item.jobs is None or alone is None else f"{item.jobs:,.0f}, {percent(alone)}"
    between = span(item) if item.low is not None else "not computed"
    far = "as the file" if way is None and alone is not None else "" if way is None else f"{way:.0%}"
    return [shown(item, item.file), held, log, shown(item, item.learned), between, far]


def _shared(k: Knowledge) -> set[str]:
    """Paths of the shares of causes that have their repair in common with others."""
    groups = repair_groups(k)
    columns_of = list(groups.of_main.values())
    shared = {main for main, column in groups.of_main.items() if columns_of.count(column) > 1}
    return {f"component/{m.partition('.')[0]}/modes/{m.partition('.')[2]}/share" for m in shared}
