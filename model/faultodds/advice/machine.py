"""Machine state: what is open, shut off or moved, what it takes to get to the next job, and the safe order of doing so.

A machine state is the frozen set of access items that are open ("open" for `unplugged` means it *is* unplugged). Getting
somewhere costs minutes now; whatever is open has to be closed again before the technician leaves, so opening also costs
the closing. That second part is charged when the thing is opened and given back when it is closed, so that whatever lies
behind a panel already open pays for neither.
"""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from faultodds.knowledge import Access, Knowledge, Work

State = frozenset[str]
CLOSED_UP: State = frozenset()


class Move(Struct, frozen=True):
    """One access item opened (`opens`) or closed."""

    item: str
    opens: bool


class Way(Struct, frozen=True):
    """How to get from one machine state to the one some work needs.

    `minutes` are spent now; `charged` adds the change in the minutes of closing up that are still owed.
    """

    moves: tuple[Move, ...]
    after: State
    minutes: float
    charged: float


class MachineStates:
    """Ways between machine states for one appliance; remembers those it has worked out."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._access = knowledge.access
        self._order = _requirements_first(knowledge.access)
        self._known: dict[tuple[State, frozenset[str], frozenset[str], bool], Way] = {}

    def way(self, state: State, access: Iterable[str], running: bool = False, closed: Iterable[str] = ()) -> Way:
        """The way from `state` to where `access` is open, `closed` is not, and, if `running`, the machine can run."""
        key = (state, frozenset(access), frozenset(closed), running)
        if key not in self._known:
            self._known[key] = self._work_out(*key)
        return self._known[key]

    def to_work(self, state: State, work: Work) -> Way:
        """The way to the state that a check or repair needs."""
        return self.way(state, work.access, work.running, work.closed)

    def closing_up(self, state: State) -> Way:
        """The way to everything closed, put back and switched on."""
        walk = _Walk(self._access, state)
        for item in reversed(self._order):
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

    def sentences(self, way: Way) -> list[str]:
        """The moves in words, in order."""
        return [self._access[m.item].open_step if m.opens else self._access[m.item].close_step for m in way.moves]

    def _work_out(self, state: State, wanted: frozenset[str], closed: frozenset[str], running: bool) -> Way:
        walk = _Walk(self._access, state)
        for item in self._order:
            if item in wanted:
                walk.open(item)
        # Put back first what lies behind other things, and switch on last.
        for item in reversed(self._order):
            if item in closed or (running and self._access[item].blocks_running and item not in wanted):
                walk.close(item)
        if not running:
            for item in self._order:
                if any(item in self.safe_requirements(w) for w in wanted):
                    walk.open(item)
        return self._way(state, walk)

    def _way(self, state: State, walk: _Walk) -> Way:
        after = frozenset(walk.state)
        return Way(tuple(walk.moves), after, walk.minutes, walk.minutes + self.owed(after) - self.owed(state))


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
        self.state.discard(item)
        self._note(item, False, self.access[item].close_minutes)

    def _secure(self, item: str) -> None:
        for needed in self.access[item].requires:
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
