"""The network as plain conditional tables.

`build_tables` turns a knowledge file into one `Table` per node, parents first. Two things are made from that list: the
two arrays (`suspects.py`), with numpy alone, and a pgmpy network (`network.py`), which is what the tests and the exports
use. So there is one place where a number in a knowledge file becomes a probability.

Wide causes are folded: a mechanism or a noisy-MAX observable with a dozen causes becomes a chain of small tables whose
last node carries the name and whose earlier ones are called `name__1`, `name__2` ... The fold is exact.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from faultodds.errors import KnowledgeError
from faultodds.knowledge.schema import NOTHING_WRONG, OK, UNLISTED, UNLISTED_MODE, Knowledge, Mechanism, Observable

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Places = npt.NDArray[np.intp]
Role = Literal["main_cause", "fact", "component", "mechanism", "step", "observable", "part"]

MAIN_CAUSE = "main_cause"
MAX_CELLS = 20_000
# A fold step stays around this size: small enough for any engine, large enough to keep chains short.
STEP_CELLS = 600


class Table(Struct, frozen=True):
    """`values[s, p1, p2, ...]` = P(node is in `states[s]` given its parents' states); each column sums to 1."""

    node: str
    role: Role
    states: tuple[str, ...]
    parents: tuple[str, ...]
    values: Floats


class _Cause(Struct, frozen=True):
    """What one parent does: an entry per state of the parent."""

    parent: str
    effect: tuple[object, ...]


def main_cause_states(knowledge: Knowledge) -> tuple[str, ...]:
    """Every mode in file order, then the unlisted cause, then nothing wrong."""
    return (*(mode for mode, _ in knowledge.modes()), UNLISTED_MODE, NOTHING_WRONG)


def identifier(state: str) -> str:
    """A state name that network files and other libraries take: `coils.drop_out_hot` -> `coils__drop_out_hot`."""
    return state.replace(".", "__")


def shares(knowledge: Knowledge) -> Floats:
    """Main-cause shares in the order of `main_cause_states`, normalised to 1."""
    other = knowledge.other_causes
    raw = [record.share for _, record in knowledge.modes()] + [other.unlisted, other.nothing_wrong]
    total = float(sum(raw))
    if not total > 0:
        raise KnowledgeError("the shares of all main causes add up to nothing; give at least one mode a share.")
    return np.array(raw, dtype=float) / total


def build_tables(knowledge: Knowledge, max_cells: int = MAX_CELLS) -> list[Table]:
    """Every table of the network, parents before children.

    Raises KnowledgeError when a table would have more than `max_cells` cells, naming node, parents and size.
    """
    mains = main_cause_states(knowledge)
    tables = [Table(MAIN_CAUSE, "main_cause", tuple(map(identifier, mains)), (), shares(knowledge))]
    tables += _fact_tables(knowledge, mains)
    tables += _component_tables(knowledge, mains)
    states: dict[str, tuple[str, ...]] = {t.node: t.states for t in tables if t.role == "component"}
    for name in mechanism_order(knowledge):
        made = _mechanism_tables(name, knowledge.mechanism[name], states)
        states[name] = made[-1].states
        tables += made
    for name, observable in knowledge.observables.items():
        tables += _observable_tables(name, observable, states, max_cells)
    for table in tables:
        _refuse_large(table.node, table.parents, table.values.size, max_cells)
    return tables


def mechanism_order(knowledge: Knowledge) -> list[str]:
    """Mechanisms with those they depend on first; raises KnowledgeError naming the ring if they go in a circle."""
    order: list[str] = []
    path: list[str] = []

    def visit(name: str) -> None:
        if name in order:
            return
        if name in path:
            ring = " -> ".join([*path[path.index(name) :], name])
            raise KnowledgeError(f"mechanisms go in a circle: {ring}. Take one of these causes out.")
        path.append(name)
        for cause in knowledge.mechanism[name].causes:
            parent = cause.partition(".")[0]
            if parent in knowledge.mechanism:
                visit(parent)
        path.pop()
        order.append(name)

    for name in knowledge.mechanism:
        visit(name)
    return order


def spread(weights: Mapping[str, float] | float, outcomes: Sequence[str]) -> Floats:
    """A chance per outcome from a number (the one outcome that is not normal) or a mapping; the rest is normal."""
    out = np.zeros(len(outcomes))
    if isinstance(weights, Mapping):
        for name, value in weights.items():
            out[outcomes.index(name)] = value
    else:
        out[1] = weights
    if outcomes[0] not in (weights if isinstance(weights, Mapping) else ()):
        out[0] = 1.0 - out[1:].sum()
    return out


def _fact_tables(knowledge: Knowledge, mains: Sequence[str]) -> list[Table]:
    made = []
    for name, fact in knowledge.context.items():
        weight = np.array([fact.usual.get(v, 0.0) for v in fact.values], dtype=float)
        cells = np.repeat(weight[:, None], len(mains), axis=1)
        for cause, factors in fact.more_often.items():
            columns = [mains.index(m) for m in _main_names(knowledge, cause)]
            for value, factor in factors.items():
                cells[list(fact.values).index(value), columns] *= factor
        made.append(Table(name, "fact", tuple(fact.values), (MAIN_CAUSE,), cells / cells.sum(axis=0)))
    for name, equipment in knowledge.equipment.items():
        weight = np.array([equipment.usual.get(v, 0.0) for v in equipment.values], dtype=float)
        cells = np.repeat(weight[:, None], len(mains), axis=1)
        for value, lacking in equipment.lacks.items():
            columns = [mains.index(m) for part in lacking for m in knowledge.modes_under(part)]
            cells[list(equipment.values).index(value), columns] = 0.0
        made.append(Table(name, "fact", tuple(equipment.values), (MAIN_CAUSE,), cells / cells.sum(axis=0)))
    return made


def _main_names(knowledge: Knowledge, cause: str) -> list[str]:
    if cause == UNLISTED:
        return [UNLISTED_MODE]
    return [cause] if cause == NOTHING_WRONG else knowledge.modes_under(cause)


def _component_tables(knowledge: Knowledge, mains: Sequence[str]) -> list[Table]:
    rates = {mode: record.companion for mode, record in knowledge.modes()}
    brought = {mode: record.brings_on for mode, record in knowledge.modes()}
    made = []
    for name, component in knowledge.component.items():
        own = [f"{name}.{mode}" for mode in component.modes]
        cells = np.zeros((len(own) + 1, len(mains)))
        for column, main in enumerate(mains):
            if main in own:
                cells[1 + own.index(main), column] = 1.0
                continue
            for row, mode in enumerate(own, start=1):
                base = rates[mode] if rates[mode] is not None else knowledge.other_causes.companion
                cells[row, column] = brought.get(main, {}).get(mode, base)
            cells[0, column] = 1.0 - cells[1:, column].sum()
        made.append(Table(name, "component", (OK, *component.modes), (MAIN_CAUSE,), cells))
    present = np.array([[m != UNLISTED_MODE for m in mains], [m == UNLISTED_MODE for m in mains]], dtype=float)
    made.append(Table(UNLISTED, "component", (OK, "present"), (MAIN_CAUSE,), present))
    return made


def _by_parent(items: Mapping[str, object], states: Mapping[str, tuple[str, ...]], keep_order: bool) -> list[_Cause]:
    """Group "parent.state" keys into one cause per parent; with `keep_order`, only neighbours are merged."""
    groups: list[tuple[str, dict[str, object]]] = []
    for ref, effect in items.items():
        parent, _, state = ref.partition(".")
        found = next((g for p, g in reversed(groups) if p == parent), None)
        if found is None or (keep_order and groups[-1][0] != parent):
            found = {}
            groups.append((parent, found))
        found[state] = effect
    return [_Cause(p, tuple(g.get(s) for s in states[p])) for p, g in groups]


def _chunks(causes: Sequence[_Cause], carry: int, limit: int = STEP_CELLS) -> Iterator[list[_Cause]]:
    """Split causes so that each step's table (states x carried states x parents) stays around `limit` cells."""
    chunk: list[_Cause] = []
    size = carry * carry
    for cause in causes:
        repeated = any(c.parent == cause.parent for c in chunk)
        if chunk and (size * len(cause.effect) > limit or repeated):
            yield chunk
            chunk, size = [], carry * carry
        chunk.append(cause)
        size *= len(cause.effect)
    yield chunk


def _mechanism_tables(name: str, mechanism: Mechanism, states: Mapping[str, tuple[str, ...]]) -> list[Table]:
    own = tuple(mechanism.states)
    steps = {ref: v if isinstance(v, int) else own.index(v) for ref, v in mechanism.causes.items()}
    causes = _by_parent(steps, states, keep_order=mechanism.rule == "first_of")
    combine = _RULES[mechanism.rule](len(own) - 1)
    made: list[Table] = []
    chunks = list(_chunks(causes, len(own)))
    for number, chunk in enumerate(chunks, start=1):
        last = number == len(chunks)
        carried = [made[-1].node] if made else []
        shape = [len(own)] * len(carried) + [len(c.effect) for c in chunk]
        cells = np.zeros((len(own), int(np.prod(shape))))
        for index in itertools.product(*map(range, shape)):
            state = index[0] if carried else 0
            for cause, at in zip(chunk, index[len(carried) :], strict=True):
                effect = cause.effect[at]
                state = state if effect is None else combine(state, effect)
            cells[state, np.ravel_multi_index(index, shape)] = 1.0
        node = name if last else f"{name}__{number}"
        parents = (*carried, *(c.parent for c in chunk))
        cells = cells.reshape(len(own), *shape)
        made.append(Table(node, "mechanism" if last else "step", own, parents, cells))
    return made


_RULES: dict[str, Callable[[int], Callable[[int, object], int]]] = {
    "worst_of": lambda top: lambda state, effect: max(state, int(effect)),  # type: ignore[call-overload]
    "first_of": lambda top: lambda state, effect: state or int(effect),  # type: ignore[call-overload]
    "adds_up": lambda top: lambda state, effect: min(top, state + int(effect)),  # type: ignore[call-overload]
}


def _observable_tables(
    name: str, observable: Observable, states: Mapping[str, tuple[str, ...]], max_cells: int
) -> list[Table]:
    if observable.depends_on:
        return [_small_table(name, observable, states, max_cells)]
    outcomes = tuple(observable.outcomes)
    causes = _by_parent(observable.links, states, keep_order=False)
    made: list[Table] = []
    chunks = list(_chunks(causes, len(outcomes)))
    for number, chunk in enumerate(chunks, start=1):
        last = number == len(chunks)
        carried = [made[-1].node] if made else []
        start = np.eye(len(outcomes)) if carried else spread(observable.leak, outcomes)[:, None]
        cells = _noisy_max(start, [_effects(c, outcomes) for c in chunk])
        if not carried:
            cells = cells[:, 0]
        node = name if last else f"{name}__{number}"
        parents = (*carried, *(c.parent for c in chunk))
        made.append(Table(node, "observable" if last else "part", outcomes, parents, cells))
    return made


def _effects(cause: _Cause, outcomes: Sequence[str]) -> Floats:
    """(outcome, state of the parent): what each state brings; a state with no link brings the normal outcome."""
    return np.stack([spread(e if e is not None else {}, outcomes) for e in cause.effect], axis=1)  # type: ignore[arg-type]


def _noisy_max(start: Floats, effects: Sequence[Floats]) -> Floats:
    """Distribution of the largest of independent outcomes, one from `start` (outcome, carried) and one per parent."""
    below = np.cumsum(start, axis=0)
    for effect in effects:
        shape = (effect.shape[0], *(1,) * (below.ndim - 1), effect.shape[1])
        below = below[..., None] * np.cumsum(effect, axis=0).reshape(shape)
    return np.diff(below, axis=0, prepend=0.0)


def _small_table(name: str, observable: Observable, states: Mapping[str, tuple[str, ...]], max_cells: int) -> Table:
    outcomes = tuple(observable.outcomes)
    parents = tuple(observable.depends_on)
    shape = tuple(len(states[p]) for p in parents)
    _refuse_large(name, parents, len(outcomes) * int(np.prod(shape)), max_cells)
    cells = np.zeros((len(outcomes), int(np.prod(shape))))
    for index in itertools.product(*map(range, shape)):
        key = ", ".join(states[p][i] for p, i in zip(parents, index, strict=True))
        row = observable.table.get(key, observable.table.get("other"))
        if row is None:
            raise KnowledgeError(f"'{name}' has no row for '{key}'; add one, or a row called 'other'.")
        cells[:, np.ravel_multi_index(index, shape)] = [row.get(o, 0.0) for o in outcomes]
    return Table(name, "observable", outcomes, parents, cells.reshape(len(outcomes), *shape))


def _refuse_large(node: str, parents: Sequence[str], size: int, limit: int) -> None:
    if size > limit:
        raise KnowledgeError(
            f"the table of '{node}' would have {size:,} cells (parents: {', '.join(parents)}); the limit is {limit:,}. "
            "Put a mechanism between, or use 'links' instead of 'table'."
        )
