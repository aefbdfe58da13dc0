"""What a call itself makes unsafe: work not to be done now, and what has to be done at once."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge, Observable, Work

# Fact or thing seen -> values that may be so, with the share of each.
Known = Mapping[str, Mapping[str, float]]


# From this share on a value is taken to be so.
LIKELY = 0.5
# From this share on a finding that stops the machine counts as so: a doubtful answer is a yes.
DOUBTFUL = 0.25
# What may be so of a fault put right that something brought on.
CAUSE_LEFT = "its cause not mended"


def not_run_now(knowledge: Knowledge, known: Known, lacking: Collection[str] = ()) -> dict[str, str]:
    """Work that runs the machine and is not for now -> why, in a sentence.

    `known`: for each fact and each thing seen, the values that may be so with their shares; a doubtful answer is both. Where
    something may let a hazard into the room, or wants somebody beside it, nothing that is done away from the machine runs it,
    and nothing at all without what the watch takes, of tools that are `lacking`; where it is likely so, or something was found
    after which the machine is not run, nothing runs it.
    """
    found = {}
    out = [f"{n}={o}" for n, o in run_attended(knowledge, known)]
    unwatched = [
        (f"{n}={o}", t) for n, o in run_attended(knowledge, known) for t in _watch(knowledge, n, o)[1] if t in lacking
    ]
    stops = [said(n, o) for n, o in not_run_with(knowledge, known)]
    unlit = [said(n, o) for n, o in not_lit_with(knowledge, known)]
    for name, work in {**knowledge.check, **knowledge.repair}.items():
        runs = work.running or work.run_first
        why = _why_not(knowledge, work, known) if runs else ""
        if out and runs and work.away:
            why = (
                f"the machine is not run with nobody beside it while {out[0]} may be so. Look, or put that right first."
            )
        if unwatched and runs:
            seen, tool = unwatched[0]
            why = (
                f"the machine is not run while {seen} may be so and there is no {tool.replace('_', ' ')}. Look, or put that right "
                f"first; or have a {tool.replace('_', ' ')} brought."
            )
        if unlit and runs and not work.unheated:
            why = f"the machine is not run with heat with {unlit[0]}. Put that right first."
        if stops and runs:
            why = f"the machine is not run with {stops[0]}. Put that right first."
        if why:
            found[name] = why
    return found


def taken(seen: Observable, outcome: str, share: float) -> float:
    """The share that an outcome of a finding counts with: one that stops the machine, or its heat, is so from `DOUBTFUL` on."""
    return 1.0 if outcome in seen.stops and share >= DOUBTFUL else share


def let_out(knowledge: Knowledge, known: Known) -> list[tuple[str, str]]:
    """What may be so that lets a hazard into the room when the machine runs: names with their outcomes."""
    return [(n, o) for n, each in _told(knowledge, known) for o in each.lets_out if o in known[n]]


def run_attended(knowledge: Knowledge, known: Known) -> list[tuple[str, str]]:
    """What may be so with which the machine runs with somebody beside it only: names with their outcomes."""
    return [(n, o) for n, each in _told(knowledge, known) for o in (*each.lets_out, *each.stops_away) if o in known[n]]


def not_run_with(knowledge: Knowledge, known: Known) -> list[tuple[str, str]]:
    """What is likely so with which the machine is not run at all: names with their outcomes."""
    stops = [(n, o) for n, each in _told(knowledge, known) for o in each.stops_run]
    return [(n, o) for n, o in (*stops, *let_out(knowledge, known)) if known.get(n, {}).get(o, 0.0) > LIKELY]


def not_lit_with(knowledge: Knowledge, known: Known) -> list[tuple[str, str]]:
    """What is likely so with which the machine is not run with heat: no air through it, or a fuse put right whose cause is as
    likely as not still there."""
    stops = [(n, o) for n, each in _told(knowledge, known) for o in each.stops_heat]
    stops += [(n, CAUSE_LEFT) for n, values in known.items() if CAUSE_LEFT in values]
    return [(n, o) for n, o in stops if known.get(n, {}).get(o, 0.0) > LIKELY]


def barred(knowledge: Knowledge, known: Known) -> list[tuple[str, str]]:
    """All that is likely so with which the machine is left shut off: it must not run, or not with heat."""
    return [*not_run_with(knowledge, known), *not_lit_with(knowledge, known)]


def said(name: str, outcome: str) -> str:
    """What is so, as it is told."""
    return f"{name} and {outcome}" if outcome == CAUSE_LEFT else f"{name}={outcome}"


def at_once(knowledge: Knowledge, known: Known) -> tuple[str, ...]:
    """What is to be done before anything else because of what was found, such as shutting the gas."""
    texts = []
    for name, outcome in barred(knowledge, known):
        if outcome == CAUSE_LEFT:
            fault, checks = knowledge.title_of(name), " or ".join(dict(knowledge.modes())[name].cause_shown_by)
            texts.append(
                f"What brought it on ({fault}) is as likely as not still there. Leave it shut off: plug out, gas cock shut; power "
                f"on only for a no-heat run, the gas shut. No run with heat until that is mended, or measured to be "
                f"right ({checks}); one made all the same does not settle it."
            )
            continue
        texts.append(
            knowledge.observables[name].stops.get(outcome)
            or f"{name}={outcome}: what the machine lets out goes into the room. It is not run until that is mended."
        )
    return tuple(dict.fromkeys(texts))


def watch_text(knowledge: Knowledge, known: Known, minutes: float) -> str:
    """What is said before the machine runs with somebody beside it only; empty when nothing wants that."""
    for name, outcome in run_attended(knowledge, known):
        return _watch(knowledge, name, outcome)[0].format(minutes=f"{minutes:g}")
    return ""


def _watch(knowledge: Knowledge, name: str, outcome: str) -> tuple[str, list[str]]:
    """What is said before a run that something seen wants somebody beside, with "{minutes}" in it, and the tools it takes."""
    seen = knowledge.observables[name]
    if outcome in seen.stops_away:
        return seen.stops_away[outcome], seen.watch_tools
    items = (a for a in knowledge.access.values() if set(a.lets_out) & set(seen.lets_out[outcome]))
    item = next(items, None)
    watch = item.watch if item else "Somebody beside it all the time: {minutes} min at most."
    return f"Perhaps {seen.outcomes[outcome]} ({name}): {watch}", item.watch_tools if item else []


def still_holds(knowledge: Knowledge, name: str, repaired: Iterable[str]) -> bool:
    """Whether what was seen still stands after some repairs: none of them mends what it speaks of."""
    about = knowledge.speaks_of.get(name, frozenset())
    return not any(about & set(knowledge.modes_under(t)) for r in repaired for t in knowledge.repair[r].fixes)


def known_after(knowledge: Knowledge, known: Known, repair: str) -> Known:
    """What is still known when a repair is done. Whether it mends what stops the run is for whoever offers it to judge."""
    stopping = {n for n, each in _told(knowledge, known) if each.stops}
    return {
        n: v
        for n, v in known.items()
        if still_holds(knowledge, n, [repair]) and n not in stopping and CAUSE_LEFT not in v
    }


def _told(knowledge: Knowledge, known: Known) -> list[tuple[str, Observable]]:
    return [(n, each) for n, each in knowledge.barring.items() if n in known]


def _why_not(k: Knowledge, work: Work, known: Known) -> str:
    for item in work.access:
        for name, values in k.access[item].not_while.items():
            there = sorted(set(values) & set(known.get(name, ())))
            if there:
                title = k.access[item].title
                return f"the machine is not run like that ({title}) with {name}={there[0]}. Put that right first."
    return ""
