"""The two arrays that everything else is arithmetic on.

A *suspect* is a set of modes that could all be present on this call. Notation, used throughout:

* `H` suspects, `M` modes, `C` main causes (the modes, the unlisted one among them, then nothing wrong), `R` rows, one per
  outcome of a symptom or check;
* `given_main[c, h]`: chance of suspect h when c is the main cause (the design's B);
* `likelihood[r, h]`: chance of outcome r if suspect h is the truth.

Every set of up to two modes is kept, then the most probable larger ones until the prior mass left out is under a target;
the kept family is closed under taking modes away, so a repair is an index map (`without`).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from faultodds.belief.kept_sets import Odds, by_size, kept_sets
from faultodds.knowledge import Floats, Ints, Knowledge, Table, build_tables, main_cause_states, shares

OMITTED_TARGET = 3e-4


class Suspects(Struct, frozen=True, dict=True):
    """Compiled knowledge: see the module's notation. All arrays are read-only.

    `share[c]` sums to 1. `facts[name][v, c]` = P(fact has value v | main cause c). `ok[k, c]` = P(component k is sound |
    main cause c). `lacks[fact][value]` = modes a machine with that equipment cannot have. `mechanism[i, h]` = state index.
    `omitted_target` is the prior mass that was allowed to be left out (0: nothing is).
    """

    modes: tuple[str, ...]
    mains: tuple[str, ...]
    components: tuple[str, ...]
    observables: dict[str, tuple[str, ...]]
    fact_values: dict[str, tuple[str, ...]]
    lacks: dict[str, dict[str, tuple[str, ...]]]
    mechanism_states: dict[str, tuple[str, ...]]
    omitted_target: float
    share: Floats
    given_main: Floats
    ok: Floats
    facts: dict[str, Floats]
    member: npt.NDArray[np.bool_]
    mechanism: npt.NDArray[np.int8]
    likelihood: Floats
    without: npt.NDArray[np.int32]

    @cached_property
    def rows(self) -> dict[str, slice]:
        """Where each observable's outcomes lie among the rows of `likelihood`."""
        ends = list(itertools.accumulate(len(o) for o in self.observables.values()))
        starts = [0, *ends[:-1]]
        return {name: slice(a, b) for name, a, b in zip(self.observables, starts, ends, strict=True)}

    @cached_property
    def mode_index(self) -> dict[str, int]:
        """Column of each mode in `member` and `without`."""
        return {mode: i for i, mode in enumerate(self.modes)}

    @cached_property
    def member_float(self) -> Floats:
        """`member` as floats, for matrix products."""
        return self.member.astype(float)

    @cached_property
    def sound(self) -> int:
        """Index of the empty suspect: a machine with nothing wrong."""
        return int(np.flatnonzero(~self.member.any(axis=1))[0])

    @cached_property
    def alone(self) -> dict[str, int]:
        """Mode -> the suspect that holds it and nothing else; a mode that only comes with others has none."""
        single = np.flatnonzero(self.member.sum(axis=1) == 1)
        return {self.modes[int(self.member[h].argmax())]: int(h) for h in single}

    def removal(self, modes: Iterable[str], of: npt.NDArray[np.intp] | None = None) -> npt.NDArray[np.int32]:
        """Index map h -> h minus `modes`, for every suspect (H,) or only those `of`: what a repair of those modes turns each
        into."""
        index = np.arange(len(self.member), dtype=np.int32) if of is None else of.astype(np.int32)
        for mode in modes:
            index = self.without[index, self.mode_index[mode]]
        return index

    def one_more(self, now: npt.NDArray[np.intp]) -> tuple[npt.NDArray[np.intp], ...]:
        """Every way in which one of the suspects `now` with one mode more is a suspect too: its place in `now`, the mode, the
        suspect with it."""
        starts, modes, more = self._additions
        count = (starts[1:] - starts[:-1])[now]
        row = np.repeat(np.arange(len(now)), count)
        place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count) + starts[now][row]
        return row, modes[place], more[place]

    @cached_property
    def _additions(self) -> tuple[npt.NDArray[np.intp], ...]:
        more, mode = np.nonzero(self.member)
        less = self.without[more, mode]
        order = np.lexsort((mode, less))
        return np.searchsorted(less[order], np.arange(len(self.member) + 1)), mode[order], more[order]

    def names(self, h: int) -> tuple[str, ...]:
        """The modes of suspect `h`."""
        return tuple(self.modes[i] for i in np.flatnonzero(self.member[h]))


def compile_suspects(knowledge: Knowledge, omitted_target: float = OMITTED_TARGET) -> Suspects:
    """Compile a knowledge file into its two arrays; exact apart from the mass of the sets left out.

    Raises KnowledgeError, before anything is built, when more than `MOST_SUSPECTS` sets would have to be kept.
    """
    tables = {t.node: t for t in build_tables(knowledge)}
    mains = main_cause_states(knowledge)
    modes = mains[:-1]
    odds = Odds.of(tables, knowledge, mains, modes)
    sets = kept_sets(knowledge, odds, omitted_target)
    member = _membership(sets, len(modes))
    states = _states(tables, knowledge, modes, member)
    observables = {n: tables[n].states for n in knowledge.observables}
    order = [n for n in tables if tables[n].role == "mechanism"]
    facts = {n: t.values for n, t in tables.items() if t.role == "fact"}
    arrays = {
        "share": shares(knowledge),
        "given_main": odds.given_main(sets),
        "ok": np.stack([t.values[0] for t in tables.values() if t.role == "component"]),
        "member": member,
        "mechanism": np.stack([states[n] for n in order]).astype(np.int8)
        if order
        else np.zeros((0, len(sets)), np.int8),
        "likelihood": _likelihood(tables, states, len(sets)),
        "without": _without(sets, member),
    }
    for array in (*arrays.values(), *facts.values()):
        array.setflags(write=False)
    return Suspects(
        modes=modes,
        mains=mains,
        components=tuple(n for n, t in tables.items() if t.role == "component"),
        observables=observables,
        fact_values={n: tables[n].states for n in facts},
        lacks=_lacks(knowledge),
        mechanism_states={n: tables[n].states for n in order},
        omitted_target=omitted_target,
        facts=facts,
        **arrays,
    )


def _lacks(knowledge: Knowledge) -> dict[str, dict[str, tuple[str, ...]]]:
    return {
        name: {v: tuple(m for part in parts for m in knowledge.modes_under(part)) for v, parts in fact.lacks.items()}
        for name, fact in knowledge.equipment.items()
    }


def _membership(sets: Sequence[tuple[int, ...]], count: int) -> npt.NDArray[np.bool_]:
    member = np.zeros((len(sets), count), dtype=bool)
    for size, where, members in by_size(sets):
        for k in range(size):
            member[where, members[:, k]] = True
    return member


def _without(sets: Sequence[tuple[int, ...]], member: npt.NDArray[np.bool_]) -> npt.NDArray[np.int32]:
    """(H, M) index of each suspect with one mode taken away (itself where the mode is not in it)."""
    at = {s: i for i, s in enumerate(sets)}
    out = np.repeat(np.arange(len(sets), dtype=np.int32)[:, None], member.shape[1], axis=1)
    for i, chosen in enumerate(sets):
        for k, mode in enumerate(chosen):
            out[i, mode] = at[chosen[:k] + chosen[k + 1 :]]
    return out


def _states(
    tables: Mapping[str, Table], knowledge: Knowledge, modes: Sequence[str], member: npt.NDArray[np.bool_]
) -> dict[str, Ints]:
    """State index of every component and mechanism (and fold step) under each suspect."""
    states: dict[str, Ints] = {}
    for table in tables.values():
        if table.role == "component":
            own = [i for i, mode in enumerate(modes) if mode.partition(".")[0] == table.node]
            states[table.node] = (member[:, own] * np.arange(1, len(own) + 1)).sum(axis=1)
        elif table.role in ("mechanism", "step"):
            table_state = table.values.argmax(axis=0)
            states[table.node] = table_state[tuple(states[p] for p in table.parents)]
    return states


def _likelihood(tables: Mapping[str, Table], states: Mapping[str, Ints], count: int) -> Floats:
    """(R, H); the noisy parts of a fold are summed out along the chain, which is exact."""
    part = np.zeros((0, count))  # of the fold that is under way: its chain is in a row among the tables
    out = np.empty((sum(len(t.states) for t in tables.values() if t.role == "observable"), count))
    row = 0
    before = ""
    for table in tables.values():
        if table.role not in ("part", "observable"):
            continue
        carried = bool(table.parents) and table.parents[0] == before
        known = tuple(states[p] for p in (table.parents[1:] if carried else table.parents))
        if carried:
            part = np.einsum("sph,ph->sh", _picked(table.values, 2, known, count), part)
        else:
            part = _picked(table.values, 1, known, count)
        before = table.node
        if table.role == "observable":
            out[row : row + len(part)] = part
            row += len(part)
    return out


def _picked(values: Floats, lead: int, known: Sequence[Ints], count: int) -> Floats:
    """Keep the first `lead` axes; on the rest, pick each suspect's states: shape (..., H)."""
    flat = values.reshape(*values.shape[:lead], -1)
    if not known:
        return np.repeat(flat, count, axis=-1)
    return flat[..., np.ravel_multi_index(tuple(known), values.shape[lead:])]
