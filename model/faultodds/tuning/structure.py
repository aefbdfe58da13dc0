"""What does not change while learning: the sets of faults, and which numbers of the model each of them looks at.

Every observable is a largest-of-latents model: a suspect switches on some of its *parts* (the leak and the links whose causes are
there, or one row of a table), each part draws an outcome of its own, and the largest shows. Suspects that switch on the same parts
form a *group*, and only groups are ever computed. Whether a repair gets done is an observable of the same kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from faultodds.belief import Suspects, compile_suspects
from faultodds.knowledge import UNLISTED_MODE, Floats, Knowledge, Observable, repair_modes
from faultodds.tuning.families import DONE, Families, Index, Layout, build

Small = npt.NDArray[np.int32]
#: Chances that a repair was done as a guess: each is taken for the nearest of these. Findings that make a fault likelier than the
#: last have found it, and what is done then is no guess.
GUESSES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5)
IN_PLACE = (0.005, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8)


class Acting(NamedTuple):
    """Where a repair has something to put right: `suspects` (A,), `then` (A,) what is left of each, in ascending order; `left` the
    different ones of these, and `starts` where in `then` each begins.
    """

    suspects: Index
    then: Index
    left: Index
    starts: Index


@dataclass(frozen=True)
class Structure:
    """The fixed side of a fit; H suspects, J observables (the repairs' `done:` ones last), G groups, O outcomes at most.

    `group_of` (J, H) group of each suspect; `active` (G, K) its parts, padded with the one past the last; `cell` (R, H)
    group * O + outcome for each row of the likelihood, R being the outcomes of symptoms and checks end to end; `row_of`
    (observable, outcome) to row; `present` (C, H) where a main cause can lead to a suspect; `own` (C, M) modes of a main
    cause's own component; `lacking` (L, H) suspects that a value of an equipment fact rules out, `lacking_of` which value.
    `removal` (repairs, H) suspect that is left when a repair takes; `acting`, for each repair, see `Acting`; `puts_right`
    (repairs, C) what part of a main cause's repairs each is; `left` (H,) which of `Arrays.back` a machine so left
    follows.
    """

    knowledge: Knowledge
    suspects: Suspects
    families: Families
    layout: Layout
    observables: tuple[str, ...]
    outcomes: tuple[int, ...]
    group_of: Small
    active: Index
    cell: Small
    row_of: dict[tuple[str, str], int]
    component_of: Index
    present: npt.NDArray[np.bool_]
    equipment_rows: tuple[tuple[str, str], ...]
    equipment: Floats
    lacking: npt.NDArray[np.bool_]
    removal: Small
    acting: tuple[Acting, ...]
    puts_right: Floats
    left: Index

    @property
    def rows(self) -> int:
        """R: outcomes of all symptoms and checks."""
        return len(self.cell)

    @property
    def checks(self) -> int:
        """Number of symptoms and checks, which come before the repairs among `observables`."""
        return len(self.observables) - len(self.knowledge.repair) - len(self.layout.instead)

    @cached_property
    def useless(self) -> npt.NDArray[np.bool_]:
        """(repairs, H) where a repair has nothing to put right."""
        return np.asarray(self.removal == np.arange(self.removal.shape[1]))

    @cached_property
    def repair_of(self) -> Index:
        """Repair behind each `done:` observable: every one as it is, then each one of `Layout.instead`."""
        return np.array([*range(len(self.knowledge.repair)), *(b for _, b in self.layout.instead)], dtype=np.int64)

    @cached_property
    def fact_of(self) -> Index:
        """(V,) which context fact each row of `layout.fact_rows` is a value of."""
        facts = list(self.knowledge.context)
        return np.array([facts.index(f) for f, _ in self.layout.fact_rows], dtype=np.int64)

    @cached_property
    def outcome_of(self) -> tuple[Index, Index]:
        """Which observable, and which of its outcomes, each of the R rows is."""
        pairs = [(j, o) for j, size in enumerate(self.outcomes[: self.checks]) for o in range(size)]
        observable, outcome = np.array(pairs, dtype=np.int64).T
        return observable, outcome

    @cached_property
    def repair_number(self) -> dict[str, int]:
        """Place of each repair in the file."""
        return {name: r for r, name in enumerate(self.knowledge.repair)}

    @property
    def verify(self) -> int:
        """Place of the run that proves a repair among `observables`."""
        return self.observables.index(self.knowledge.costs.verify)


def structure_of(knowledge: Knowledge, omitted_target: float) -> Structure:
    """Compile a knowledge file into the fixed side of a fit."""
    suspects = compile_suspects(knowledge, omitted_target)
    families, layout = build(knowledge, suspects)
    group_of, active = _groups(knowledge, suspects, layout)
    names = tuple(layout.parts_of)
    sizes = tuple(2 if n.startswith(DONE) else len(suspects.observables[n]) for n in names)
    seen = [(j, o) for j, n in enumerate(names) if not n.startswith(DONE) for o in range(sizes[j])]
    cell = np.stack([group_of[j] * layout.widest + o for j, o in seen]).astype(np.int32)
    row_of = {(names[j], suspects.observables[names[j]][o]): r for r, (j, o) in enumerate(seen)}
    equipment_rows = tuple((f, v) for f in knowledge.equipment for v in suspects.fact_values[f])
    removal = _removal(knowledge, suspects)
    return Structure(
        knowledge=knowledge,
        suspects=suspects,
        families=families,
        layout=layout,
        observables=names,
        outcomes=sizes,
        group_of=group_of,
        active=active,
        cell=cell,
        row_of=row_of,
        component_of=_component_of(knowledge, suspects),
        present=_present(suspects),
        equipment_rows=equipment_rows,
        equipment=np.array([suspects.facts[f][suspects.fact_values[f].index(v)] for f, v in equipment_rows]).reshape(
            len(equipment_rows), len(suspects.mains)
        ),
        lacking=_lacking(suspects, equipment_rows),
        removal=removal,
        acting=tuple(_acting(row) for row in removal),
        puts_right=_puts_right(knowledge, suspects),
        left=_left(suspects),
    )


def _component_of(knowledge: Knowledge, suspects: Suspects) -> Index:
    """(M,) component of each mode; the unlisted one has the number after the last."""
    names = list(knowledge.component)
    return np.array([names.index(c) if (c := m.partition(".")[0]) in names else len(names) for m in suspects.modes])


def _present(suspects: Suspects) -> npt.NDArray[np.bool_]:
    """(C, H): a suspect holds its main cause; nothing wrong can have companions only; the unlisted cause is no companion."""
    present = np.vstack([suspects.member.T, np.ones(len(suspects.member), dtype=bool)])
    unlisted = suspects.member[:, -1]
    present[:-2] &= ~unlisted
    present[-1] &= ~unlisted
    return present


def _removal(knowledge: Knowledge, suspects: Suspects) -> Small:
    rows = [suspects.removal(repair_modes(knowledge, repair)) for repair in knowledge.repair.values()]
    return np.stack(rows) if rows else np.zeros((0, len(suspects.member)), dtype=np.int32)


def _puts_right(knowledge: Knowledge, suspects: Suspects) -> Floats:
    out = np.zeros((len(knowledge.repair), len(suspects.mains)))
    for r, repair in enumerate(knowledge.repair.values()):
        out[r, [suspects.mains.index(m) for m in repair_modes(knowledge, repair)]] = 1.0
    return np.asarray(out / np.maximum(out.sum(axis=0), 1.0))


def _left(suspects: Suspects) -> Index:
    alone = suspects.member.sum(axis=1) == 1
    unlisted = suspects.member[:, suspects.mode_index[UNLISTED_MODE]] if UNLISTED_MODE in suspects.mode_index else False
    out = np.where(alone & unlisted, 2, 0)
    out[suspects.sound] = 1
    return out


def _acting(row: Small) -> Acting:
    suspects = np.flatnonzero(row != np.arange(len(row)))
    suspects = suspects[np.argsort(row[suspects], kind="stable")]
    then = row[suspects].astype(np.int64)
    left, starts = np.unique(then, return_index=True)
    return Acting(suspects, then, left, starts)


def _lacking(suspects: Suspects, rows: tuple[tuple[str, str], ...]) -> npt.NDArray[np.bool_]:
    out = np.zeros((len(rows), len(suspects.member)), dtype=bool)
    for i, (fact, value) in enumerate(rows):
        gone = [suspects.mode_index[m] for m in suspects.lacks.get(fact, {}).get(value, ())]
        out[i] = suspects.member[:, gone].any(axis=1)
    return out


# --- groups --------------------------------------------------------------------------------------------------------


def _groups(knowledge: Knowledge, suspects: Suspects, layout: Layout) -> tuple[Small, Index]:
    switches = _Switches(suspects)
    group_of: list[Small] = []
    active: list[list[int]] = []
    records: dict[str, Observable] = dict(knowledge.observables)
    for name, rows in layout.parts_of.items():
        if name.startswith(DONE) or not records[name].depends_on:
            on = np.stack([switches.of(layout.parts[r].cause) for r in rows[1:]], axis=1)
            patterns, group = np.unique(on, axis=0, return_inverse=True)
            parts = [[rows[0], *(rows[1 + int(i)] for i in np.flatnonzero(p))] for p in patterns]
        else:
            keys = {layout.parts[r].cause: r for r in rows}
            row = switches.table_rows(records[name], keys)
            used, group = np.unique(row, return_inverse=True)
            parts = [[int(r)] for r in used]
        group_of.append((group.ravel() + len(active)).astype(np.int32))
        active += parts
    width = max(map(len, active))
    nobody = len(layout.parts)
    return np.stack(group_of), np.array([p + [nobody] * (width - len(p)) for p in active])


class _Switches:
    """Which suspects have a cause: a mode, or a state of a mechanism."""

    def __init__(self, suspects: Suspects) -> None:
        self.suspects = suspects
        self.mechanisms = list(suspects.mechanism_states)

    def of(self, ref: str) -> npt.NDArray[np.bool_]:
        """(H,) whether each suspect has the cause `ref`."""
        s = self.suspects
        if ref in s.mode_index:
            return np.asarray(s.member[:, s.mode_index[ref]])
        mechanism, _, state = ref.partition(".")
        return np.asarray(s.mechanism[self.mechanisms.index(mechanism)] == s.mechanism_states[mechanism].index(state))

    def states(self, parent: str) -> tuple[Index, tuple[str, ...]]:
        """(H,) state of a component or mechanism, and the names of the states."""
        s = self.suspects
        if parent in s.mechanism_states:
            return s.mechanism[self.mechanisms.index(parent)].astype(np.int64), s.mechanism_states[parent]
        own = [m for m in s.modes if m.partition(".")[0] == parent]
        columns = s.member[:, [s.mode_index[m] for m in own]]
        return (columns * np.arange(1, len(own) + 1)).sum(axis=1), ("ok", *(m.partition(".")[2] for m in own))

    def table_rows(self, observable: Observable, keys: dict[str, int]) -> Index:
        """(H,) part that stands for the row of the table that each suspect looks at."""
        states = [self.states(p) for p in observable.depends_on]
        row = np.empty(len(self.suspects.member), dtype=np.int64)
        for h, combination in enumerate(zip(*(s.tolist() for s, _ in states), strict=True)):
            key = ", ".join(names[i] for i, (_, names) in zip(combination, states, strict=True))
            row[h] = keys[key] if key in keys else keys["other"]
        return row
