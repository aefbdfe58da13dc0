"""Machine state: what is open, shut off or moved, what it takes to get to the next job, and the safe order of doing so.

A machine state is the frozen set of access items that are open ("open" for `unplugged` means it *is* unplugged). Getting
somewhere costs minutes now; whatever is open has to be closed again before the technician leaves, so opening also costs
the closing. That second part is charged when the thing is opened and given back when it is closed, so that whatever lies
behind a panel already open pays for neither.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import NamedTuple

from msgspec import Struct

from faultodds.knowledge import Access, Knowledge, Repair, Work
from faultodds.safety import Move, Part

State = frozenset[str]
CLOSED_UP: State = frozenset()


class Way(Struct, frozen=True):
    """How to get from one machine state to the one some work needs.

    `minutes` are spent now; `charged` adds the change in the minutes of closing up that are still owed.
    """

    moves: tuple[Move, ...]
    after: State
    minutes: float
    charged: float


class Need(NamedTuple):
    """What some work needs of the machine: open, closed, running, without heat; run first closed up; powered with a panel off;
    gas on for a soap test; run closed up after it."""

    access: frozenset[str]
    closed: frozenset[str]
    running: bool
    unheated: bool
    run_first: bool
    live: bool
    tight: bool
    prove: bool


def need_of(work: Work) -> Need:
    """What a check or repair needs of the machine."""
    access, closed = frozenset(work.access), frozenset(work.closed)
    proved = bool(work.prove) and not isinstance(work, Repair)
    return Need(
        access, closed, work.running, work.unheated, bool(work.run_first), work.energised, bool(work.tight), proved
    )


class MachineStates:
    """Ways between machine states for one appliance; remembers those it has worked out. `unlit`: the gas stays shut for every run
    without heat, since one with heat is barred."""

    def __init__(self, knowledge: Knowledge, unlit: bool = False) -> None:
        self._knowledge = knowledge
        self._unlit = unlit
        self._access = knowledge.access
        self._verify = knowledge.check[knowledge.costs.verify]
        self._order = _requirements_first(knowledge.access)
        self._closing = _closing_order(knowledge.access, self._order)
        self._known: dict[tuple[State, frozenset[str], frozenset[str], bool], Way] = {}
        self._needs: dict[tuple[State, Need], Way] = {}

    @cached_property
    def unlit(self) -> MachineStates:
        """The same machine while it must not run with heat."""
        return self if self._unlit else MachineStates(self._knowledge, True)

    def way(self, state: State, access: Iterable[str], running: bool = False, closed: Iterable[str] = ()) -> Way:
        """The way from `state` to where `access` is open, `closed` is not, and, if `running`, the machine can run.

        Where the same parts are open already another way, or are to be opened another way for other work, that will do.
        """
        wanted = frozenset(access)
        wanted = frozenset(self._by(item, state, wanted) for item in wanted)
        key = (state, wanted, frozenset(closed), running)
        if key not in self._known:
            self._known[key] = self._work_out(*key)
        return self._known[key]

    def _by(self, item: str, state: State, wanted: State) -> str:
        """The item that opens what `item` does: itself when it is open, else one of its `also_by` that is, or will be."""
        others = (other for other in self._access[item].also_by if other in state or other in wanted)
        return item if item in state else next(others, item)

    def to_work(self, state: State, work: Work) -> Way:
        """All the moves of a check or repair, and the state it leaves: where it works, dead again if it was live."""
        return self.to_need(state, need_of(work))

    def to_need(self, state: State, need: Need) -> Way:
        """All the moves that a need takes; work with the same need has the same way."""
        if (state, need) not in self._needs:
            self._needs[state, need] = _one_way([way for _, way in self.legs(state, need)])
        return self._needs[state, need]

    def legs(self, state: State, need: Need) -> list[tuple[Part, Way]]:
        """The ways of some work in order, each with the part of its steps that is done at the end of it."""
        legs: list[tuple[Part, Way]] = []

        def go(part: Part, way: Way) -> None:
            legs.append((part, way))

        def here() -> State:
            return legs[-1][1].after if legs else state

        if need.run_first:
            go("run_first", self.way(here(), (), running=True))
        if need.live:
            shut = need.closed | {i for i, a in self._access.items() if a.lets_out and i not in need.access}
            go("fit", self.way(here(), need.access, False, shut))
            go("steps", self.way(here(), need.access, True, shut))
            go("unfit", self.way(here(), need.access, False, shut))
        else:
            go("steps", self.way(here(), need.access | self._unopened(here(), need), need.running, need.closed))
        let_out = {i for i in need.access if need.running and not need.live and self._access[i].lets_out}
        if let_out:
            go("move", self.way(here(), need.access - let_out, False, let_out))
        if need.tight:
            before = here()
            go("tight", self._gas(before, False))
            go("move", self._gas(here(), True))
        if need.prove:
            go("prove", self.way(here(), (), running=True))
        return legs

    def _unopened(self, state: State, need: Need) -> frozenset[str]:
        """The gas items that stay shut for a run without heat: those that are, or are shut on the way there; every one while
        heat is barred, or with something off that would let the burner's exhaust out."""
        gas = {i for i, a in self._access.items() if a.makes_safe == "gas" and need.unheated}
        barred = self._unlit or any(self._access[i].lets_out for i in need.access)
        way = self.way(state, need.access, need.running, need.closed)
        return frozenset(gas if barred else gas & {*state, *(m.item for m in way.moves if m.opens)})

    def to_steps(self, state: State, work: Work, last_part: Part = "steps") -> Way:
        """The moves of a check or repair that lead to its own steps, or to the last of another part, and where they leave it."""
        legs = self.legs(state, need_of(work))
        last = max(n for n, (part, _) in enumerate(legs) if part == last_part)
        return _one_way([way for _, way in legs[: last + 1]])

    def leaves(self, state: State, work: Work) -> State:
        """The state in which everything that is printed for a check or repair leaves the machine: a repair ends closed up for
        its run, one that others do where it is."""
        after = self.to_work(state, work).after
        if isinstance(work, Repair) and not work.by_others:
            after = self.to_work(after, self._verify).after
        return after

    def _gas(self, state: State, shut: bool) -> Way:
        """Gas on, or shut again, with everything else as it is."""
        walk = _Walk(self._access, state)
        for item in self._order:
            if self._access[item].makes_safe == "gas":
                walk.open(item) if shut else walk.close(item)
        return self._way(state, walk)

    def closing_up(self, state: State) -> Way:
        """The way to everything closed, put back and switched on."""
        walk = _Walk(self._access, state)
        for item in self._closing:
            walk.close(item)
        return self._way(state, walk)

    def owed(self, state: State) -> float:
        """Minutes it takes to close up from `state`, not counting what has to be re-opened to do so safely."""
        return sum(self._access[i].close_minutes for i in state)

    def safe_requirements(self, item: str) -> set[str]:
        """Everything that must be open before `item` may be, at any remove."""
        found: set[str] = set()
        todo = list(self._access[item].requires)
        while todo:
            other = todo.pop()
            if other not in found:
                found.add(other)
                todo += self._access[other].requires
        return found

    def _work_out(self, state: State, wanted: frozenset[str], closed: frozenset[str], running: bool) -> Way:
        walk = _Walk(self._access, state)
        for item in self._order:
            if item in wanted:
                walk.open(item)
        # Put back first what lies behind other things, and switch on last; nothing that lets a hazard out stays open by chance.
        for item in self._closing:
            in_the_way = self._access[item].blocks_running or bool(self._access[item].lets_out)
            if item in closed or (running and in_the_way and item not in wanted):
                walk.close(item)
        if not running:
            for item in self._order:
                if any(item in self.safe_requirements(w) for w in wanted):
                    walk.open(item)
        return self._way(state, walk)

    def _way(self, state: State, walk: _Walk) -> Way:
        after = frozenset(walk.state)
        return Way(tuple(walk.moves), after, walk.minutes, walk.minutes + self.owed(after) - self.owed(state))


def _one_way(ways: list[Way]) -> Way:
    """Ways one after the other as one."""
    moves = tuple(m for way in ways for m in way.moves)
    return Way(moves, ways[-1].after, sum(w.minutes for w in ways), sum(w.charged for w in ways))


class _Walk:
    """A walk from state to state that never opens or closes an item without what it requires."""

    def __init__(self, access: dict[str, Access], state: State) -> None:
        self.access = access
        self.state = set(state)
        self.moves: list[Move] = []
        self.minutes = 0.0

    def open(self, item: str) -> None:
        if item in self.state:
            return
        self._secure(item)
        self._shut(self.access[item].shut_first)
        self.state.add(item)
        self._note(item, True, self.access[item].open_minutes)

    def close(self, item: str) -> None:
        """Close an item, shutting off again first what it takes to touch it; that is switched on again in its turn."""
        if item not in self.state:
            return
        self._secure(item)
        if self.access[item].makes_safe is None:
            for other in sorted(o for o in self.state if item in self.access[o].requires):
                self.close(other)
        self._shut(o for o in self.access[item].shut_first if item not in self.access[o].close_while)
        self.state.discard(item)
        self._note(item, False, self.access[item].close_minutes)

    def _secure(self, item: str) -> None:
        for needed in self.access[item].requires:
            self.open(needed)

    def _shut(self, items: Iterable[str]) -> None:
        for needed in items:
            self.open(needed)

    def _note(self, item: str, opens: bool, minutes: float) -> None:
        self.moves.append(Move(item, opens))
        self.minutes += minutes


def _requirements_first(access: dict[str, Access]) -> list[str]:
    order: list[str] = []

    def visit(name: str) -> None:
        if name not in order:
            for other in access[name].requires:
                visit(other)
            order.append(name)

    for name in access:
        visit(name)
    return order


def _closing_order(access: dict[str, Access], opening: list[str]) -> list[str]:
    """What lies behind other things first; `close_while` brings an item forward to where those others are still open."""
    order = opening[::-1]
    for item in opening:
        later = [order.index(other) for other in access[item].close_while]
        if later and min(later) < order.index(item):
            order.remove(item)
            order.insert(min(later), item)
    return order
