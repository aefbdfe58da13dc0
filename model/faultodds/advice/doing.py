"""How to do checks and repairs from a machine state: every instruction in order, with the cautions that belong to it.

What is printed is what the job takes the machine's state from: a repair is told to its end, closed up and proved, and a live
check until it is dead again (`MachineStates.leaves`).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from faultodds.advice.machine import CLOSED_UP, MachineStates, State, Way, need_of
from faultodds.advice.situation import Price
from faultodds.belief import Appliance
from faultodds.knowledge import Knowledge, Work, kinds
from faultodds.safety import (
    HANDS_OUT,
    Known,
    Line,
    Part,
    broken,
    heats,
    known_after,
    not_lit_with,
    runs,
    shut_off_for,
    watch_text,
)

NOTHING_KNOWN: Known = {}


class Action(Struct, frozen=True):
    """One check or repair with everything needed to do it: its price, its instructions in order, the state they leave."""

    name: str
    title: str
    price: Price
    lines: tuple[Line, ...]
    cautions: list[str]
    after: State

    @property
    def steps(self) -> list[str]:
        """The instructions as texts."""
        return [line.text for line in self.lines]


def action(
    appliance: Appliance,
    name: str,
    state: State = CLOSED_UP,
    labour_rate: float | None = None,
    known: Known | None = None,
) -> Action:
    """How to do one check or repair from a machine state. `labour_rate`: instead of the file's, per hour. `known`: what is known
    on this call, for what is said before the machine runs."""
    return actions(appliance, [name], state, labour_rate, known)[0]


def actions(
    appliance: Appliance,
    names: Sequence[str],
    state: State = CLOSED_UP,
    labour_rate: float | None = None,
    known: Known | None = None,
) -> list[Action]:
    """How to do checks or repairs one after the other; after the last repair the machine is closed up, and each is proved."""
    k = appliance.knowledge
    rate = k.costs.labour_rate if labour_rate is None else labour_rate
    return [_priced(k, told, rate) for told in instructions(k, MachineStates(k), names, state, known or {})]


class Told(Struct, frozen=True):
    """The instructions of one check or repair among several: the way it goes, its lines, the state they leave."""

    name: str
    way: Way
    lines: tuple[Line, ...]
    after: State


def instructions(
    k: Knowledge,
    machine: MachineStates,
    names: Sequence[str],
    state: State = CLOSED_UP,
    known: Known = NOTHING_KNOWN,
    proved: bool = True,
) -> list[Told]:
    """The instructions of checks or repairs one after the other, from a machine state; a caution is told once, where it first
    applies. `known`: what is known on this call. `proved`: with the closing up and the proof after the last repair."""
    out: list[Told] = []
    told: set[str] = set()
    for name in names:
        if not_lit_with(k, known):
            machine = machine.unlit
        work = k.check.get(name) or k.repair[name]
        way = machine.to_work(state, work)
        lines = tuple(_watched(k, known, name, _doing(k, machine, state, name, work, told)))
        out.append(Told(name, way, lines, way.after))
        state = way.after
        if name in k.repair:
            known = known_after(k, known, name)
    if proved and any(n in k.repair and not k.repair[n].by_others for n in names):
        out[-1] = _closed_up(k, machine, out[-1], names, known, told)
    return out


def closing_lines(knowledge: Knowledge, state: State, dead: bool = False) -> list[Line]:
    """Putting the machine back together and on again; `dead`: it stays shut off, for a machine that must not run."""
    machine = MachineStates(knowledge)
    if not dead:
        return list(_moves(knowledge, machine.closing_up(state)))
    shut_off = {n for n, item in knowledge.access.items() if item.makes_safe}
    return list(_moves(knowledge, machine.way(state, shut_off, closed=set(knowledge.access) - shut_off)))


def left_off(knowledge: Knowledge) -> str:
    """What stands above the steps that put away a machine that must not run."""
    kept = dict.fromkeys(item.makes_safe for item in knowledge.access.values() if item.makes_safe)
    return f"Leave it shut off ({' and '.join(kept)}):"


def unsafe_ways(knowledge: Knowledge) -> Iterator[str]:
    """What the rules of `safety` find in the instructions of every check and repair, closed up and after every other, on every
    kind of machine."""
    yield from dict.fromkeys(wrong for kind in kinds(knowledge) for wrong in _unsafe_ways(kind))


def _unsafe_ways(knowledge: Knowledge) -> Iterator[str]:
    machine, work = MachineStates(knowledge), {**knowledge.check, **knowledge.repair}
    starts = dict.fromkeys([CLOSED_UP, *(machine.leaves(CLOSED_UP, w) for w in work.values())])
    for state, name in itertools.product(starts, work):
        for told in instructions(knowledge, machine, [name], state):
            for wrong in broken(knowledge, state, told.lines):
                open_now = f" with {', '.join(sorted(state))} open" if state else ""
                yield f"{'check' if name in knowledge.check else 'repair'}.{name}{open_now}: {wrong.why} ({wrong.rule})."


def _priced(k: Knowledge, told: Told, rate: float) -> Action:
    work = k.check.get(told.name) or k.repair[told.name]
    # What was opened is charged for closing it as well; only a run is told with the closing up that has to come first.
    minutes = (told.way.minutes if told.name == k.costs.verify else told.way.charged) + work.minutes
    price = Price(told.way, minutes, minutes * rate / 60 + work.cost)
    return Action(told.name, work.title, price, told.lines, _cautions(k, told.lines), told.after)


def _closed_up(
    k: Knowledge, machine: MachineStates, last: Told, names: Iterable[str], known: Known, told: set[str]
) -> Told:
    run = machine.to_work(last.after, k.check[k.costs.verify])
    proofs = [Line(text, None, n, "prove") for n in names if n in k.repair for text in k.repair[n].prove]
    proofs = list(_watched(k, known, last.name, proofs))
    if proofs:
        proofs[0] = replace(proofs[0], cautions=tuple(c for c in _of_the_run(k, proofs[-1]) if c not in told))
    return replace(last, lines=(*last.lines, *_moves(k, run), *proofs), after=run.after)


def _of_the_run(k: Knowledge, line: Line) -> list[str]:
    """The cautions that belong to every line that runs the machine with heat: those of the verification run."""
    return k.check[k.costs.verify].cautions if heats(k, line) else []


def _watched(k: Knowledge, known: Known, name: str, lines: Iterable[Line]) -> Iterator[Line]:
    """Lines with what is said before the machine runs, or is got ready to be live, while it may let a hazard into the room."""
    work = k.check.get(name) or k.check[k.costs.verify]
    text = watch_text(k, known, work.run_minutes or work.minutes)
    for line in lines:
        if line.part == "watch":
            text = ""
        if text and (line.part == "fit" or runs(k, line)):
            yield Line(text, None, name, "watch")
            text = ""
        yield line


def _doing(k: Knowledge, machine: MachineStates, state: State, name: str, work: Work, told: set[str]) -> Iterator[Line]:
    """The moves of some work with its steps between them; `told`: the cautions told before, to which it adds its own. Hands go
    in behind a panel that is open already with its cautions told: nobody knows who opened it."""
    ways = [way for item in work.access for way in (item, *k.access[item].also_by)] if shut_off_for(k, work) else []
    panels = [way for way in ways if way in state]
    own = (*(c for item in panels for c in k.access[item].cautions), *work.cautions)
    for part, way in machine.legs(state, need_of(work)):
        for line in (*_moves(k, way), *_steps(k, name, work, part)):
            mine = (*line.cautions, *(own if line.work else ()), *_of_the_run(k, line))
            yield replace(line, cautions=tuple(c for c in dict.fromkeys(mine) if c not in told))
            told.update(mine)


def _moves(k: Knowledge, way: Way) -> Iterator[Line]:
    for move in way.moves:
        item = k.access[move.item]
        cautions = tuple(item.cautions) if move.opens else ()
        yield Line(item.open_step if move.opens else item.close_step, move, cautions=cautions)


def _steps(k: Knowledge, name: str, work: Work, part: Part) -> Iterator[Line]:
    """The steps of one part, after what is said before the machine runs with something open."""
    if part == "steps" and work.running:
        for item in work.access:
            if k.access[item].lets_out:
                text = k.access[item].watch.format(minutes=f"{work.run_minutes:g}")
                yield Line(text, None, name, "watch")
    texts: list[str] = getattr(work, part, []) if part != "move" else []
    for text in texts:
        yield Line(text, None, name, part)
    if part == "fit":
        yield Line(HANDS_OUT, None, name, "clear")


def _cautions(k: Knowledge, lines: Iterable[Line]) -> list[str]:
    return [k.caution[c].text for c in dict.fromkeys(c for line in lines for c in line.cautions)]
