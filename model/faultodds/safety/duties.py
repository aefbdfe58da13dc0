"""What a call itself makes unsafe or leaves owing: work not to be done now, and causes not yet found."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge, Work


def not_run_now(knowledge: Knowledge, known: Mapping[str, Collection[str]]) -> dict[str, str]:
    """Work that runs the machine with something open that is not run like that now -> why, in a sentence.

    `known`: for each fact and symptom that was answered, the values that may be so; a doubtful answer is both.
    """
    found = {}
    for name, work in {**knowledge.check, **knowledge.repair}.items():
        why = _why_not(knowledge, work, known) if work.running else ""
        if why:
            found[name] = why
    return found


def _why_not(k: Knowledge, work: Work, known: Mapping[str, Collection[str]]) -> str:
    for item in work.access:
        for name, values in k.access[item].not_while.items():
            there = sorted(set(values) & set(known.get(name, ())))
            if there:
                title = k.access[item].title
                return f"the machine is not run like that ({title}) with {name}={there[0]}. Put that right first."
    return ""


def still_owed(knowledge: Knowledge, repaired: Iterable[str], found: Collection[str]) -> dict[str, list[str]]:
    """Faults put right that something brought on, with nothing found that did -> the checks of which one is owed.

    `repaired`: names of the repairs done; `found`: of the checks done. A repair of what brings the fault on settles it, and so
    does one of the fault's own `cause_shown_by`.
    """
    done = [knowledge.repair[name] for name in repaired]
    mended = {mode for repair in done for target in repair.fixes for mode in knowledge.modes_under(target)}
    causes = {brought for name, mode in knowledge.modes() if name in mended for brought in mode.brings_on}
    return {
        name: mode.cause_shown_by
        for name, mode in knowledge.modes()
        if name in mended and mode.cause_shown_by and name not in causes and not set(mode.cause_shown_by) & set(found)
    }
