"""What is said around work: all that is opened for it; before a run who stays beside it, and after it what goes back on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge, Work
    from faultodds_cli.trial.visit import TrialJob


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


def opened_for(visit: TrialJob, work: Work) -> list[str]:
    """All that is opened, shut off or moved for some work, from a machine closed up to one closed up again, in that order; what
    is so more than once says how often."""
    access = visit.appliance.knowledge.access
    way = visit.machine.to_work(frozenset(), work)
    moves = (*way.moves, *visit.machine.closing_up(way.after).moves)
    times = Counter(m.item for m in moves if m.opens)
    often = {1: "", 2: " twice"}
    return [f"{access[i].title}{often.get(n, f' {n} times')}" for i, n in times.items()]
