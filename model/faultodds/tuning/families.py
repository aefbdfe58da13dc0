"""The numbers that are learned: families of chances, laid end to end in one vector.

A *family* is one categorical distribution of a knowledge file: the shares of the main causes; a context fact given a main cause;
the state of a component given a main cause; a leak, a link, a row of a table; whether a repair takes; a habit of the log. Its
prior is Dirichlet with parameters n * (the file's chances), n being the jobs that the file's numbers are worth. A chance of zero
in the file stays zero: such entries, and families with one possible entry, are not in the vector at all.

A link's chances are the file's own for its cause being there. A component's states are pooled over the main causes that bring
nothing on in it (the companion rates), with a family of its own for each main cause that does. Whether a repair is done is a
noisy-OR: `done_anyway`, and for each fault it puts right a chance of its own (`done_if_needed`, shared evenly between the repairs
that put the same fault right). Of two such repairs mostly one is done: beside the earlier one in the file the later has a chance of
its own (`instead`). The spread of equipment is not learned: what a machine has is looked at, not reckoned.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faultodds.belief import Suspects
from faultodds.knowledge import Floats, Knowledge, Observable, repair_modes, spread
from faultodds.tuning.settings import KINDS

Index = npt.NDArray[np.int64]
DONE = "done:"
HABITS = ("back_if_wrong", "back_if_right")
#: Habits that no file has a number for, as they are thought to be before the log has spoken: a normal answer is written down, any
#: other is, a repair is done as a guess beside what is needed (times its chance to be the one), one is done in place of all that
#: were needed, and another after that; that is written down of a visit without repairs, and of one with some. Common practice, no
#: source.
WRITTEN, GUESSED, WRONG = {"normal": 0.5, "odd": 0.8}, 0.3, 0.1
REPORTED = {"none": 0.5, "some": 0.95}
#: Whether a customer comes back whose machine has a fault that the file does not list: it may have been put right under a name that
#: the file does not have either.
BACK_IF_UNLISTED = 0.3
UNFILED = ("log/written/", "log/guessed", "log/wrong_part", "log/back_if_unlisted", "log/after/")


@dataclass(frozen=True)
class Part:
    """What one cause (or the leak, or a row of a table) brings of an observable: one family over its outcomes."""

    observable: str
    cause: str
    chances: tuple[float, ...]
    kind: str


@dataclass(frozen=True)
class Families:
    """Every family of a knowledge file as one vector of P chances.

    `prior` (P,) file's chances, each family summing to 1; `of` (P,) family of each entry; `start` (F,) first entry of each
    family; `kind` (F,) index into `KINDS`; `names` (F,) and `outcomes` (F,) say what they are. The index arrays say where a
    number of the model stands in the vector with a 0 and a 1 after it (`padded`): `share` (C,), `fact` (V, C) for every value
    of every context fact, `state` (Q, S) for every class of component states, `part` (N, O), `success` (repairs, 2) and `habit`
    (3, 2), the second entry being "takes" and "comes back"; `written` (checks, 2, 2): normal or odd, not written or written
    down; `reported` (2, 2) the same for repairs, of which none or some were done; `guess` (2,): what else it may
    be is let be, or mended too; `wrong` (2,): repairs are right, or useless ones are done in place of all that were needed; `again`
    (2,): after one of those no other, or another.
    """

    prior: Floats
    of: Index
    start: Index
    kind: Index
    names: tuple[str, ...]
    outcomes: tuple[tuple[str, ...], ...]
    share: Index
    fact: Index
    state: Index
    part: Index
    success: Index
    habit: Index
    written: Index
    reported: Index
    guess: Index
    wrong: Index
    again: Index

    @property
    def count(self) -> int:
        """Number of families."""
        return len(self.start)

    @property
    def shares(self) -> npt.NDArray[np.bool_]:
        """(P,) which entries are shares of main causes."""
        return np.asarray(self.kind[self.of] == 0)

    def padded(self, theta: Floats) -> Floats:
        """`theta` with a 0 and a 1 after it, for the entries that are fixed."""
        return np.concatenate([theta, [0.0, 1.0]])

    def totals(self, counts: Floats) -> Floats:
        """(F,) sums over each family of a vector over entries."""
        return np.asarray(np.add.reduceat(counts, self.start)) if len(counts) else np.zeros(0)

    def scaled(self, weights: Floats) -> Floats:
        """Weights made to add up to 1 in each family."""
        return np.asarray(weights / self.totals(weights)[self.of])

    def spread_strengths(self, strengths: dict[str, float], centre: Floats | None = None) -> Floats:
        """(P,) Dirichlet parameters n * (file's chances), `strengths` giving n by kind.

        `centre` (P,) takes the place of the file's chances.
        """
        worth = np.array([strengths[k] for k in KINDS])[self.kind]
        return np.asarray(worth[self.of] * (self.prior if centre is None else centre))

    def entry(self, name: str, outcome: str) -> int:
        """Place of one chance in the vector, by family and outcome; KeyError when it is not learned."""
        family = self.names.index(name)
        return int(self.start[family]) + self.outcomes[family].index(outcome)


class _Maker:
    """Collects families, and remembers where each entry went."""

    def __init__(self) -> None:
        self.prior: list[float] = []
        self.start: list[int] = []
        self.kind: list[int] = []
        self.names: list[str] = []
        self.outcomes: list[tuple[str, ...]] = []

    def add(self, kind: str, name: str, outcomes: Sequence[str], chances: Sequence[float] | Floats) -> Index:
        """Add a family; returns where each outcome stands: -2 for a fixed 0, -1 for a fixed 1."""
        scaled = np.asarray(chances, dtype=float) / float(np.sum(chances))
        possible = np.flatnonzero(scaled > 0)
        where = np.full(len(scaled), -2)
        if len(possible) == 1:
            where[possible] = -1
            return where
        where[possible] = len(self.prior) + np.arange(len(possible))
        self.start.append(len(self.prior))
        self.prior += scaled[possible].tolist()
        self.kind.append(KINDS.index(kind))
        self.names.append(name)
        self.outcomes.append(tuple(outcomes[int(i)] for i in possible))
        return where

    def made(self, **index: Index) -> Families:
        size = np.diff([*self.start, len(self.prior)]).astype(int)
        end = len(self.prior) + 2
        fixed = {name: np.where(i < 0, end + i, i) for name, i in index.items()}
        return Families(
            prior=np.array(self.prior),
            of=np.repeat(np.arange(len(self.start)), size),
            start=np.array(self.start, dtype=np.int64),
            kind=np.array(self.kind, dtype=np.int64),
            names=tuple(self.names),
            outcomes=tuple(self.outcomes),
            **fixed,
        )


@dataclass(frozen=True)
class Layout:
    """What the index arrays of `Families` stand for.

    `fact_rows`: (fact, value) of each row of `fact`. `class_of[k, c]`: row of `state` that component k follows when c is the
    main cause, -1 when c is its own mode. `parts`: one record for each row of `part`; `parts_of`: rows of each observable (the
    leak first), `done:REPAIR` among them, and `done:REPAIR|OTHER` for a repair where another has been done for the same faults;
    `instead` (other, repair) of these, as places in the file. `widest`: most outcomes of any observable.
    """

    fact_rows: tuple[tuple[str, str], ...]
    class_of: Index
    parts: tuple[Part, ...]
    parts_of: dict[str, tuple[int, ...]]
    instead: tuple[tuple[int, int], ...]
    widest: int


def build(knowledge: Knowledge, suspects: Suspects) -> tuple[Families, Layout]:
    """The families of a knowledge file, and what they stand for."""
    maker = _Maker()
    share = maker.add("shares", "shares", suspects.mains, suspects.share)
    fact, fact_rows = _facts(maker, knowledge, suspects)
    state, class_of = _states(maker, knowledge, suspects)
    parts = [p for name, o in knowledge.observables.items() for p in _parts(name, o)] + _done_parts(knowledge)
    instead = _instead(knowledge)
    parts += [Part(_beside(a, b), m, _chances(parts, b, m), "habits") for (a, b), both in instead.items() for m in both]
    widest = max([len(p.chances) for p in parts], default=2)
    part = np.full((len(parts), widest), -2)
    parts_of: dict[str, list[int]] = {}
    for row, p in enumerate(parts):
        outcomes = _outcomes_of(knowledge, p.observable)
        part[row, : len(outcomes)] = maker.add(p.kind, _part_name(knowledge, p), outcomes, p.chances)
        parts_of.setdefault(p.observable, []).append(row)
    for (a, b), both in instead.items():
        rest = [r for r in parts_of[DONE + b] if parts[r].cause not in both]
        parts_of[_beside(a, b)] = rest + parts_of[_beside(a, b)]
    success = [maker.add("success", f"repair/{n}/success", ("fails", "takes"), (1 - r.success, r.success))
               for n, r in knowledge.repair.items()]  # fmt: skip
    backs = [*((n, getattr(knowledge.log, n)) for n in HABITS), ("back_if_unlisted", BACK_IF_UNLISTED)]
    habit = [maker.add("habits", f"log/{n}", ("stays_away", "comes_back"), _both(p)) for n, p in backs]
    written = [
        [maker.add("habits", f"log/written/{n}/{how}", ("not", "written"), _both(p)) for how, p in WRITTEN.items()]
        for n in knowledge.observables
    ]
    repairs = [
        maker.add("habits", f"log/written/repairs/{how}", ("not", "written"), _both(p)) for how, p in REPORTED.items()
    ]
    wrong = maker.add("habits", "log/wrong_part", ("right", "wrong"), _both(WRONG))
    again = maker.add("habits", "log/wrong_part/again", ("no_other", "another"), _both(WRONG))
    guess = maker.add("habits", "log/guessed", ("let_be", "followed"), _both(GUESSED))
    families = maker.made(
        share=share,
        fact=fact,
        state=state,
        part=part,
        success=np.array(success).reshape(-1, 2),
        habit=np.array(habit),
        written=np.array(written),
        reported=np.array(repairs),
        guess=guess,
        wrong=wrong,
        again=again,
    )
    number = {name: i for i, name in enumerate(knowledge.repair)}
    pairs = tuple((number[a], number[b]) for a, b in instead)
    layout = Layout(fact_rows, class_of, tuple(parts), {k: tuple(v) for k, v in parts_of.items()}, pairs, widest)
    return families, layout


def _both(chance: float) -> tuple[float, float]:
    return 1.0 - chance, chance


def _facts(maker: _Maker, knowledge: Knowledge, suspects: Suspects) -> tuple[Index, tuple[tuple[str, str], ...]]:
    rows: list[Index] = []
    names: list[tuple[str, str]] = []
    for fact in knowledge.context:
        values = suspects.fact_values[fact]
        columns = [
            maker.add("facts", f"context/{fact}/{main}", values, suspects.facts[fact][:, c])
            for c, main in enumerate(suspects.mains)
        ]
        rows += list(np.array(columns).T)
        names += [(fact, value) for value in values]
    return np.array(rows, dtype=np.int64).reshape(len(rows), len(suspects.mains)), tuple(names)


def _states(maker: _Maker, knowledge: Knowledge, suspects: Suspects) -> tuple[Index, Index]:
    """Families of component states: one for the companions, one for each main cause that brings something on."""
    records = dict(knowledge.modes())
    widest = max(len(c.modes) for c in knowledge.component.values()) + 1
    rows: list[Index] = []
    class_of = np.full((len(knowledge.component), len(suspects.mains)), -1)
    for k, (name, component) in enumerate(knowledge.component.items()):
        own = [f"{name}.{m}" for m in component.modes]
        rates = {m: knowledge.other_causes.companion if r.companion is None else r.companion
                 for m, r in ((m, records[m]) for m in own)}  # fmt: skip
        outcomes = ("ok", *component.modes)

        def add(rates: dict[str, float], label: str, outcomes: tuple[str, ...] = outcomes) -> int:
            chances = list(rates.values())
            where = maker.add("companions", label, outcomes, [1.0 - sum(chances), *chances])
            rows.append(np.concatenate([where, np.full(widest - len(where), -2)]))
            return len(rows) - 1

        usual = add(rates, f"component/{name}")
        for c, main in enumerate(suspects.mains):
            brought = records[main].brings_on if main in records else {}
            if main in own:
                continue
            special = {m: brought[m] for m in own if m in brought}
            class_of[k, c] = add({**rates, **special}, f"component/{name}/{main}") if special else usual
    return np.array(rows), class_of


def _parts(name: str, observable: Observable) -> list[Part]:
    outcomes = list(observable.outcomes)
    if observable.depends_on:
        rows = observable.table.items()
        return [Part(name, key, tuple(row.get(o, 0.0) for o in outcomes), "tables") for key, row in rows]
    leak = Part(name, "leak", tuple(spread(observable.leak, outcomes)), "links")
    links = [Part(name, ref, tuple(spread(w, outcomes)), "links") for ref, w in observable.links.items()]
    return [leak, *links]


def _done_parts(knowledge: Knowledge) -> list[Part]:
    """Whether each repair is done, as noisy-ORs over the faults that it puts right."""
    fixes = {name: repair_modes(knowledge, repair) for name, repair in knowledge.repair.items()}
    ways = {mode: sum(mode in f for f in fixes.values()) for mode, _ in knowledge.modes()}
    made = []
    for name, modes in fixes.items():
        made.append(Part(DONE + name, "leak", _both(knowledge.log.done_anyway), "habits"))
        made += [Part(DONE + name, m, _both(knowledge.log.done_if_needed / ways[m]), "habits") for m in modes]
    return made


def _instead(knowledge: Knowledge) -> dict[tuple[str, str], list[str]]:
    """Faults that both of two repairs put right, the earlier one in the file first."""
    fixes = {name: repair_modes(knowledge, repair) for name, repair in knowledge.repair.items()}
    pairs = itertools.combinations(fixes, 2)
    return {(a, b): both for a, b in pairs if (both := [m for m in fixes[b] if m in fixes[a]])}


def _beside(other: str, repair: str) -> str:
    return f"{DONE}{repair}|{other}"


def _chances(parts: Sequence[Part], repair: str, mode: str) -> tuple[float, ...]:
    """Chances of a repair to be done for a mode."""
    return next(p.chances for p in parts if p.observable == DONE + repair and p.cause == mode)


def _outcomes_of(knowledge: Knowledge, observable: str) -> tuple[str, ...]:
    return ("not_done", "done") if observable.startswith(DONE) else tuple(knowledge.observables[observable].outcomes)


def _part_name(knowledge: Knowledge, part: Part) -> str:
    if "|" in part.observable:
        return f"log/after/{part.observable.removeprefix(DONE)}/{part.cause}"
    if part.observable.startswith(DONE):
        return f"log/done/{part.observable.removeprefix(DONE)}/{part.cause}"
    group = "symptom" if part.observable in knowledge.symptom else "check"
    middle = "table/" if part.kind == "tables" else "" if part.cause == "leak" else "links/"
    return f"{group}/{part.observable}/{middle}{part.cause}"
