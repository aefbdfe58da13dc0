"""The rules that every printed sequence keeps, for any appliance: each a short function over a sequence played through.

They know hazards, states and access items as the knowledge file declares them, and nothing of how a sequence came about:
`broken` plays it from the machine state it starts in, and names each rule that it breaks, and where.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from faultodds.safety.duties import Known, known_after, not_lit_with, not_run_with, run_attended
from faultodds.safety.sequence import Line

if TYPE_CHECKING:
    from faultodds.knowledge import Access, Caution, Knowledge, Work

State = frozenset[str]
NOTHING_KNOWN: Known = {}


class Broken(Struct, frozen=True):
    """A rule that a sequence breaks: its name, the place of the line (from 0), and why."""

    rule: str
    at: int
    why: str


class Moment(Struct, frozen=True):
    """One line of a sequence as it is played: the machine before and after it, what it is of, and whether the machine runs."""

    lines: Sequence[Line]
    at: int
    before: State
    after: State
    known: Known
    line: Line
    work: Work | None
    runs: bool


def broken(knowledge: Knowledge, state: State, lines: Sequence[Line], known: Known = NOTHING_KNOWN) -> list[Broken]:
    """Every rule that a sequence breaks, line by line, with what is known on the call; empty for one that is safe."""
    found = []
    for moment in moments(knowledge, state, lines, known):
        for name, rule in RULES.items():
            found += [Broken(name, moment.at, why) for why in rule(knowledge, moment)]
    return found


def moments(knowledge: Knowledge, state: State, lines: Sequence[Line], known: Known) -> Iterator[Moment]:
    """A sequence played from a machine state; what a repair in it mends is not known any more after its steps."""
    for at, line in enumerate(lines):
        if line.work in knowledge.repair and line.part == "steps":
            known = known_after(knowledge, known, line.work)
        after = state
        if line.move is not None:
            after = state | {line.move.item} if line.move.opens else state - {line.move.item}
        yield Moment(lines, at, state, after, known, line, _work(knowledge, line), runs(knowledge, line))
        state = after


# --- what the file says of items and work ---


def needed_first(knowledge: Knowledge, item: str) -> set[str]:
    """Everything that must be open before an item is moved, at any remove."""
    found: set[str] = set()
    todo = list(knowledge.access[item].requires)
    while todo:
        other = todo.pop()
        if other not in found and other in knowledge.access:
            found.add(other)
            todo += knowledge.access[other].requires
    return found


def shut_off_for(knowledge: Knowledge, work: Work) -> set[str]:
    """The items that make it safe to have hands where some work has them."""
    return {i for a in work.access for i in needed_first(knowledge, a) if knowledge.access[i].makes_safe}


def openings(knowledge: Knowledge, work: Work) -> list[set[str]]:
    """What must be open for some work: of each set one item, since some parts can be reached in several ways."""
    return [{item, *knowledge.access[item].also_by} for item in work.access]


def exposed(knowledge: Knowledge, state: State) -> list[str]:
    """What is open that must not be with power or gas on: a panel with a shut-off missing."""
    access = knowledge.access
    return [
        i for i in sorted(state) if any(access[r].makes_safe and r not in state for r in needed_first(knowledge, i))
    ]


def _work(k: Knowledge, line: Line) -> Work | None:
    return k.check.get(line.work) or k.repair.get(line.work) if line.work else None


def _item(k: Knowledge, moment: Moment, opens: bool) -> Access | None:
    """The access item that a moment opens, or closes; None when it does not."""
    move = moment.line.move
    return k.access[move.item] if move is not None and move.opens == opens else None


def runs(k: Knowledge, line: Line) -> bool:
    """Whether the machine runs during a line."""
    work = _work(k, line)
    return line.part in ("run_first", "prove") or (line.part == "steps" and work is not None and work.running)


def heats(k: Knowledge, line: Line) -> bool:
    """Whether the machine runs with heat during a line."""
    work = _work(k, line)
    return runs(k, line) and not (work is not None and work.unheated and line.part == "steps")


def _next_work(moment: Moment) -> Line | None:
    return next((line for line in moment.lines[moment.at + 1 :] if line.move is None), None)


def _last_work(moment: Moment) -> Line | None:
    return next((line for line in reversed(moment.lines[: moment.at]) if line.move is None), None)


def said_each_time(caution: Caution) -> bool:
    """Whether a caution is said every time that it applies, however often it was before: gas, exhaust, a ladder; not that of a
    shut-off, which stands."""
    return bool({"gas", "co", "fall"} & set(caution.covers)) and "power" not in caution.covers


# --- the rules ---


def shut_off_first(k: Knowledge, m: Moment) -> Iterator[str]:
    """Nothing is opened or put back without what must be open first: never a hand at a panel with power or gas on, nor at a
    machine that is moved; the gas is on again to be tested before it goes back."""
    if m.line.move is not None:
        item, opens, access = m.line.move.item, m.line.move.opens, k.access
        for shut in sorted(set(access[item].shut_first) - m.before):
            if opens or item not in access[shut].close_while:
                yield f"'{item}' is moved without '{shut}'"
        for missing in sorted(needed_first(k, m.line.move.item) - m.before):
            yield f"'{m.line.move.item}' is moved without '{missing}'"


def moved_once(k: Knowledge, m: Moment) -> Iterator[str]:
    """Nothing is opened that is open, or closed that is closed: somebody would believe a shut-off that is not there."""
    if m.line.move is not None and m.before == m.after:
        yield f"'{m.line.move.item}' is {'open' if m.line.move.opens else 'closed'} already"


def hands_in_dead(k: Knowledge, m: Moment) -> Iterator[str]:
    """Hands go in only where it is open, with everything shut off that makes it safe."""
    work = m.work
    if work is None or m.line.part not in ("fit", "steps", "unfit") or m.runs:
        return
    shut = {item for ways in openings(k, work) if not ways & m.before for item in sorted(ways & set(work.access))[:1]}
    for missing in sorted(shut | (shut_off_for(k, work) - m.before)):
        yield f"'{m.line.work}' is worked on without '{missing}'"


def on_inside_for_the_qualified(k: Knowledge, m: Moment) -> Iterator[str]:
    """Power or gas comes on with a panel off only for qualified work that needs it: live with hands out, gas alone to test a
    joint."""
    item = _item(k, m, opens=False)
    if item is None or item.makes_safe is None or not exposed(k, m.after):
        return
    ahead = _next_work(m)
    work = _work(k, ahead) if ahead is not None else None
    if ahead is None or work is None or not work.qualified:
        yield f"'{item.title}' is undone with {exposed(k, m.after)} open"
    elif ahead.part == "steps" and work.energised:
        last = _last_work(m)
        if last is None or (last.work, last.part) != (ahead.work, "clear"):
            yield f"'{item.title}' is undone before hands are out"
    elif not (ahead.part == "tight" and work.gas_work and item.makes_safe == "gas"):
        yield f"'{item.title}' is undone with {exposed(k, m.after)} open"


def leads_on_and_off_dead(k: Knowledge, m: Moment) -> Iterator[str]:
    """Leads and manometer are fitted before power or gas comes on, and come off after both are off again."""
    work = m.work
    if work is None or not work.energised or m.line.part != "steps":
        return
    same = [line.part for line in m.lines[: m.at] if line.work == m.line.work]
    if "fit" not in same or "clear" not in same[same.index("fit") :]:
        yield f"'{m.line.work}' is read before its leads are on and hands are out"
    if "unfit" not in [line.part for line in m.lines[m.at :] if line.work == m.line.work]:
        yield f"'{m.line.work}' leaves its leads on"


def never_left_live(k: Knowledge, m: Moment) -> Iterator[str]:
    """No sequence ends with a panel off and power or gas on."""
    if m.at == len(m.lines) - 1 and exposed(k, m.after):
        yield f"it ends with {exposed(k, m.after)} open and power or gas on"


def runs_closed_up(k: Knowledge, m: Moment) -> Iterator[str]:
    """The machine runs closed up: to prove a repair, to warm it up, for any check that is not live work of the qualified."""
    if not m.runs:
        return
    work = m.work
    live = work is not None and work.energised and work.qualified and m.line.part == "steps"
    for item in sorted(m.before):
        needed = live and work is not None and any(item in ways for ways in openings(k, work))
        gas_shut = k.access[item].makes_safe == "gas" and not heats(k, m.line)
        if k.access[item].blocks_running and not needed and not gas_shut:
            yield f"'{m.line.work}' runs the machine with '{item}' open"
    if not live and exposed(k, m.before):
        yield f"'{m.line.work}' runs the machine with a panel off"


def tested_with_power_off(k: Knowledge, m: Moment) -> Iterator[str]:
    """A joint is tested with the gas on and the power off."""
    if m.line.part != "tight":
        return
    for name, item in k.access.items():
        if item.makes_safe == "power" and name not in m.before:
            yield f"'{m.line.work}' tests a joint with '{name}' undone"
        if item.makes_safe == "gas" and name in m.before:
            yield f"'{m.line.work}' tests a joint with '{name}'"


def watched_when_it_lets_out(k: Knowledge, m: Moment) -> Iterator[str]:
    """With something open that lets a hazard into the room, the machine runs only for work that needs it so, attended, the
    watch and its minutes said first."""
    if not m.runs:
        return
    work = m.work
    for item in sorted(i for i in m.before if k.access[i].lets_out):
        needs = work is not None and m.line.part == "steps" and item in work.access and not work.away
        if work is None or not needs:
            yield f"'{m.line.work}' runs the machine with '{item}'"
            continue
        said = k.access[item].watch.format(minutes=f"{work.run_minutes:g}")
        first = next(i for i, line in enumerate(m.lines) if (line.work, line.part) == (m.line.work, "steps"))
        if not any(line.text == said and line.part == "watch" for line in m.lines[:first]):
            yield f"'{m.line.work}' runs the machine with '{item}' and nobody told to watch it"


def never_lit_into_the_room(k: Knowledge, m: Moment) -> Iterator[str]:
    """The burner is never lit with something off that lets its exhaust into the room; without heat it runs so with the gas shut."""
    gas_on = any(a.makes_safe == "gas" and i not in m.before for i, a in k.access.items())
    for item in sorted(i for i in m.before if k.access[i].lets_out) if m.runs else ():
        if heats(k, m.line) or gas_on:
            yield f"'{m.line.work}' runs the machine with '{item}' and {'heat' if heats(k, m.line) else 'the gas on'}"


def not_opened_for_nothing(k: Knowledge, m: Moment) -> Iterator[str]:
    """The gas is not opened for a run that needs no heat: one wrong turn of a knob would light it."""
    item, ahead = _item(k, m, opens=False), next((line for line in m.lines[m.at + 1 :] if runs(k, line)), None)
    if item is not None and item.makes_safe == "gas" and ahead is not None and not heats(k, ahead):
        yield f"'{item.title}' is undone for '{ahead.work}', which needs no heat"


def not_run_like_that(k: Knowledge, m: Moment) -> Iterator[str]:
    """With something open, the machine does not run while something is known with which it is not run like that."""
    for item in sorted(m.before) if m.runs else ():
        for name, values in k.access[item].not_while.items():
            if set(values) & set(m.known.get(name, ())):
                yield f"'{m.line.work}' runs the machine with '{item}' and {name} known"


def not_run_when_stopped(k: Knowledge, m: Moment) -> Iterator[str]:
    """The machine does not run with what was found that stops the run: too much gas, CO, its exhaust in the room."""
    for name, outcome in not_run_with(k, m.known) if m.runs else ():
        yield f"'{m.line.work}' runs the machine with {name}={outcome}"


def not_lit_without_air(k: Knowledge, m: Moment) -> Iterator[str]:
    """It does not run with heat with what was found that stops the heat: no air through it, a fuse's cause not mended; without
    heat it runs with the gas shut."""
    gas_on = any(a.makes_safe == "gas" and i not in m.before for i, a in k.access.items())
    for name, outcome in not_lit_with(k, m.known) if m.runs else ():
        if heats(k, m.line):
            yield f"'{m.line.work}' runs the machine with heat and {name}={outcome}"
        elif gas_on:
            yield f"'{m.line.work}' runs the machine with the gas on and {name}={outcome}"


def watched_when_it_may_let_out(k: Knowledge, m: Moment) -> Iterator[str]:
    """While something may let a hazard into the room, or wants somebody beside it, the machine runs attended, the watch and its
    minutes said first."""
    out = run_attended(k, m.known) if m.runs else []
    work = m.work
    for name, outcome in out:
        if work is not None and work.away and m.line.part == "steps":
            yield f"'{m.line.work}' runs the machine with nobody beside it and perhaps {name}={outcome}"
        if not any(line.part == "watch" for line in m.lines[: m.at]):
            yield f"'{m.line.work}' runs the machine with perhaps {name}={outcome} and nobody told to watch it"


def put_back_in_order(k: Knowledge, m: Moment) -> Iterator[str]:
    """What is tested as it is closed is closed while it can be reached; power comes on last."""
    item = _item(k, m, opens=False)
    if item is None:
        return
    since = _closed_before(m)
    for other in item.close_while:
        if other in since:
            yield f"'{m.line.move and m.line.move.item}' is closed after '{other}'"
    if item.makes_safe is None and any(k.access[i].makes_safe == "power" for i in since):
        yield f"'{m.line.move and m.line.move.item}' is closed after the power came on"


def _closed_before(m: Moment) -> list[str]:
    """What was closed in the same run of closings, just before."""
    out = []
    for line in reversed(m.lines[: m.at]):
        if line.move is None or line.move.opens:
            break
        out.append(line.move.item)
    return out


Rule = Callable[["Knowledge", Moment], Iterator[str]]
RULES: dict[str, Rule] = {
    rule.__name__: rule
    for rule in (
        shut_off_first,
        moved_once,
        hands_in_dead,
        on_inside_for_the_qualified,
        leads_on_and_off_dead,
        never_left_live,
        runs_closed_up,
        tested_with_power_off,
        watched_when_it_lets_out,
        never_lit_into_the_room,
        not_opened_for_nothing,
        not_run_like_that,
        not_run_when_stopped,
        not_lit_without_air,
        watched_when_it_may_let_out,
        put_back_in_order,
    )
}
