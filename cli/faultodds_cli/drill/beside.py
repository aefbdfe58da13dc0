"""What is said around a run of the machine: before it, who stays beside it and what is on; after it, what goes back on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge, Work


def before_run(k: Knowledge, known: Mapping[str, Mapping[str, float]], work: Work) -> list[str]:
    """What is said before a run that wants somebody beside it, by what is known; nothing for any other work."""
    from faultodds.safety import watch_text

    if not work.running or work.away:
        return []
    watches = [k.access[i].watch for i in work.access if k.access[i].lets_out]
    texts = [text.format(minutes=f"{work.run_minutes:g}") for text in watches]
    return [t for t in dict.fromkeys((*texts, watch_text(k, known, work.run_minutes or work.minutes))) if t]


def after_run(k: Knowledge, work: Work) -> list[str]:
    """What goes back on after a run, because a hazard gets out while it is off."""
    return [k.access[i].close_step for i in work.access if work.running and k.access[i].lets_out]
