"""The part of the network that matters now: which faults, states of the machine and findings, and where they stand on the page.

Faults stand at the left, what is seen at the right, each other node one column right of the last of its causes. A line that
passes a column on its way gets a place of its own there, so that it never runs behind a box. Units are points.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from faultodds.advice import percent
from faultodds.cards import words
from faultodds.charts.typeset import TextLine, tall, wrapped
from faultodds.names import capital

if TYPE_CHECKING:
    from faultodds.belief import Belief
    from faultodds.knowledge import Knowledge

Kind = Literal["fault", "state", "seen", "next", "line"]

FAULTS, LEAST, SEEN, NEXT = 5, 0.02, 5, 3
WIDTH, HEIGHT, HEAD, PAD, GAP, GUTTER = 712.0, 510.0, 58.0, 3.5, 8.0, 26.0
SIZE = 8.5


@dataclass
class Node:
    """One box, or ("line") the place where a line passes a column: its lines of text, its place, and whom it leads to."""

    name: str
    kind: Kind
    text: str
    chance: float = 0.0
    column: int = 0
    lines: list[TextLine] = field(default_factory=list)
    height: float = 4.0
    x: float = 0.0
    top: float = 0.0
    to: list[Node] = field(default_factory=list)

    @property
    def middle(self) -> float:
        """Half its height."""
        return self.top - self.height / 2


@dataclass(frozen=True)
class NetworkPage:
    """The nodes placed, the width of a box, and how high it all is with its head."""

    nodes: list[Node]
    box: float
    height: float


def network_page(k: Knowledge, belief: Belief, checks: Sequence[str]) -> NetworkPage:
    """The nodes that matter now, placed: the likeliest faults, what was seen last, the `checks` that tell most, and what lies
    between them."""
    nodes = _nodes(k, belief, checks)
    columns = 1 + max(n.column for n in nodes)
    box = min(190.0, (WIDTH - GUTTER * (columns - 1)) / columns)
    step = (WIDTH - box) / max(columns - 1, 1)
    for node in nodes:
        bold = "bold" if node.kind in ("fault", "seen") else "normal"
        node.lines = wrapped(node.text, box - 2 * PAD, SIZE, bold) if node.text else []
        node.height = tall(node.lines) + 2 * PAD if node.lines else 4.0
        node.x = node.column * step
    _place([[n for n in nodes if n.column == c] for c in range(columns)])
    lowest = min(n.top - n.height for n in nodes)
    for node in nodes:
        node.top -= lowest
    return NetworkPage(nodes, box, HEAD + max(n.top for n in nodes))


def _nodes(k: Knowledge, belief: Belief, checks: Sequence[str]) -> list[Node]:
    odds = [o for o in belief.fault_odds()[:FAULTS] if o.probability >= LEAST] or belief.fault_odds()[:1]
    nodes = {o.name: Node(o.name, "fault", f"{capital(k.title_of(o.name))} ({percent(o.probability)})", o.probability)
             for o in odds}  # fmt: skip
    seen = {f.name: f.label for f in belief.evidence.seen if f.stage == len(belief.evidence.repairs)}
    seen = dict(list(seen.items())[-SEEN:])
    ahead = [c for c in checks if c not in seen][:NEXT]
    between = _between(k, set(nodes), [*seen, *ahead])
    nodes |= {m: Node(m, "state", capital(k.mechanism[m].title)) for m in between}
    nodes |= {name: Node(name, "seen", capital(words.thing_words(k, "found", label))) for name, label in seen.items()}
    nodes |= {name: Node(name, "next", f"Still to be looked at: {k.observables[name].title}") for name in ahead}
    for node in nodes.values():
        for cause in _parents(k, node.name):
            if cause in nodes:
                nodes[cause].to.append(node)
    for name in between:  # causes come before what they bring
        nodes[name].column = 1 + max((nodes[c].column for c in _parents(k, name) if c in nodes), default=0)
    last = 1 + max(n.column for n in nodes.values())
    for node in nodes.values():
        if node.kind in ("seen", "next"):
            node.column = last
    return _with_lines(list(nodes.values()))


def _parents(k: Knowledge, name: str) -> list[str]:
    """What a mechanism, symptom or check hangs on: modes and mechanisms; nothing for a mode."""
    if name in k.mechanism:
        refs: Iterable[str] = k.mechanism[name].causes
    elif name in k.observables:
        refs = [*k.observables[name].links, *k.observables[name].depends_on]
    else:
        return []
    modes, found = dict(k.modes()), list[str]()
    for ref in refs:
        head = ref.partition(".")[0]
        found += [ref] if ref in modes else [head] if head in k.mechanism else k.modes_under(head)
    return list(dict.fromkeys(found))


def _between(k: Knowledge, faults: set[str], shown: Sequence[str]) -> list[str]:
    """The mechanisms that lie on a way from one of the faults to something that is shown, causes first."""
    up: set[str] = set()
    todo = list(shown)
    while todo:
        new = [p for p in _parents(k, todo.pop()) if p in k.mechanism and p not in up]
        up |= set(new)
        todo += new
    reached, order = set(faults), list[str]()
    while True:
        new = [m for m in k.mechanism if m in up and m not in reached
               and all(p in reached or p not in up for p in _parents(k, m))]  # fmt: skip
        if not new:
            return [m for m in order if _led_to(k, m, faults)]
        reached |= set(new)
        order += new


def _led_to(k: Knowledge, name: str, faults: set[str]) -> bool:
    return any(p in faults or (p in k.mechanism and _led_to(k, p, faults)) for p in _parents(k, name))


def _with_lines(nodes: list[Node]) -> list[Node]:
    """The same with a place in every column that a line passes."""
    more = list(nodes)
    for node in nodes:
        for place, target in enumerate(node.to):
            before = node
            for column in range(node.column + 1, target.column):
                bend = Node(f"{node.name} to {target.name}", "line", "", column=column)
                more.append(bend)
                if before is node:
                    node.to[place] = bend
                else:
                    before.to.append(bend)
                before = bend
            if before is not node:
                before.to.append(target)
    return more


def _place(columns: list[list[Node]]) -> None:
    """Order every column by where its neighbours stand, to and fro, and keep the order with the fewest crossings; then let each
    node stand as near to the level of its neighbours as those above it let it."""
    beside: dict[int, tuple[list[Node], list[Node]]] = {id(n): ([], n.to) for column in columns for n in column}
    for node in (n for column in columns for n in column):
        for target in node.to:
            beside[id(target)][0].append(node)
    best, fewest = [list(c) for c in columns], _crossings(columns)
    for sweep in range(12):
        for column in columns if sweep % 2 == 0 else columns[::-1]:
            at = {id(n): i for c in columns for i, n in enumerate(c)}
            there = {id(n): [at[id(b)] for b in beside[id(n)][sweep % 2]] or [at[id(n)]] for n in column}
            column.sort(key=lambda n: float(np.mean(there[id(n)])))
        if _crossings(columns) < fewest:
            best, fewest = [list(c) for c in columns], _crossings(columns)
    for column in best:
        _settle(column, {})
    for sweep in range(8):
        for column in best if sweep % 2 == 0 else best[::-1]:
            sides = {id(n): beside[id(n)][sweep % 2] or [n] for n in column}
            _settle(column, {key: float(np.mean([n.middle for n in nodes])) for key, nodes in sides.items()})


def _crossings(columns: list[list[Node]]) -> int:
    """How often lines cross between neighbouring columns."""
    count = 0
    for here, there in itertools.pairwise(columns):
        at = {id(n): i for i, n in enumerate(there)}
        ends = [(i, at[id(t)]) for i, n in enumerate(here) for t in n.to]
        count += sum((a - c) * (b - d) < 0 for (a, b), (c, d) in itertools.combinations(ends, 2))
    return count


def _settle(column: list[Node], wanted: dict[int, float]) -> None:
    """Put a column's nodes, in their order, where they are `wanted` as far as they do not overlap and stay on the page."""
    room = HEIGHT - HEAD
    bottom = room + GAP
    for node in column:
        node.top = min(wanted.get(id(node), room) + node.height / 2, bottom - GAP)
        bottom = node.top - node.height
    floor = 0.0
    for node in reversed(column):
        node.top = max(node.top, floor + node.height)
        floor = node.top + GAP
