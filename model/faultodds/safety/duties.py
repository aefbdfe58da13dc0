"""What a call itself makes unsafe or leaves owing: work not to be done now, and causes not yet found."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge, Work


def not_run_now(knowledge: Knowledge, known: Mapping[str, Collection[str]]) -> dict[str, str]:
    """Work that runs the machine with something open that is not run like that now -> why, in a sentence.

    `known`: for each fact and each thing seen, the values that may be so; a doubtful answer is both. Where something seen lets
    a hazard into the room, nothing that is done away from the machine runs it.
    """
    found = {}
    out = let_out(knowledge, known)
    for name, work in {**knowledge.check, **knowledge.repair}.items():
        why = _why_not(knowledge, work, known) if work.running else ""
        if out and work.running and work.away:
            why = f"the machine is not run with nobody beside it while {out[0]}. Put that right first."
        if why:
            found[name] = why
    return found


def let_out(knowledge: Knowledge, known: Mapping[str, Collection[str]]) -> list[str]:
    """What was seen that lets a hazard into the room when the machine runs, as "name=outcome"."""
    observables = knowledge.observables().items()
    return [f"{n}={o}" for n, seen in observables for o in seen.lets_out if o in known.get(n, ())]


def still_holds(knowledge: Knowledge, name: str, repaired: Iterable[str]) -> bool:
    """Whether what was seen still stands after some repairs: none of them mends what it speaks of."""
    seen = knowledge.observables().get(name)
    about = {m for ref in (*seen.links, *seen.depends_on) for m in knowledge.modes_under(ref)} if seen else set()
    return not any(about & set(knowledge.modes_under(t)) for r in repaired for t in knowledge.repair[r].fixes)


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
