"""A clean log drawn from the model itself, for tests of learning: its truth is known, its records are as full as one likes.

The drawing goes through the plain tables of the network one node at a time (`tables.py`) and knows nothing of suspects, groups or
classes, so a fault in the compiled arithmetic cannot hide in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from faultodds.joblog import clean
from faultodds.knowledge import UNLISTED, UNLISTED_MODE, Knowledge, Table, build_tables, main_cause_states, repair_modes
from faultodds.tuning.families import DONE, build

if TYPE_CHECKING:
    import pandas as pd

    from faultodds.tuning.structure import Structure

Ints = npt.NDArray[np.int64]
Rng = np.random.Generator


def draw_log(
    knowledge: Knowledge,
    jobs: int,
    seed: int = 0,
    missing: float = 0.7,
    truth: bool = False,
    theta: npt.NDArray[np.float64] | None = None,
    followed_days: float = 365.0,
    guesses_of: Structure | None = None,
) -> pd.DataFrame:
    """A clean log of `jobs` jobs drawn from `knowledge`.

    `missing` is the share of facts, symptoms and checks left out, each by itself. Repairs are done as the log habits say
    (`theta`, a vector of the families' chances, can give each repair its own), one run follows, and customers come back or not.
    With `truth`, a column `cause` holds the main cause. With `guesses_of`, technicians also mend what else it may be by that file's
    numbers (`guesses.py`).
    """
    import pandas as pd

    rng = np.random.default_rng(seed)
    nodes = _machine(knowledge, jobs, rng)
    columns: dict[str, object] = {clean.JOB: np.arange(1, jobs + 1).astype(str)}
    columns[clean.DAY] = pd.Timestamp("2024-01-01") + pd.to_timedelta(np.sort(rng.integers(0, 700, jobs)), unit="D")
    tables = {t.node: t for t in nodes.tables}
    for name in [*knowledge.context, *knowledge.equipment]:
        columns[clean.FACT + name] = _cells(nodes.state[name], tables[name].states, missing, rng)
    for name in knowledge.observables:
        if name != knowledge.costs.verify:
            columns[clean.FOUND + name] = _cells(nodes.state[name], tables[name].states, missing, rng)
    guess = None if guesses_of is None else _guesses(guesses_of, pd.DataFrame(columns))
    columns |= _aftermath(knowledge, nodes, rng, theta, guess)
    columns[clean.FOLLOWED] = np.full(jobs, followed_days)
    if truth:
        columns["cause"] = _category(nodes.state["main_cause"], main_cause_states(knowledge))
    return pd.DataFrame(columns)


class _Nodes:
    """States drawn so far, (jobs,) for each node."""

    def __init__(self, tables: list[Table]) -> None:
        self.tables = tables
        self.state: dict[str, Ints] = {}


def _machine(knowledge: Knowledge, jobs: int, rng: Rng) -> _Nodes:
    """Draw everything that was so before the visit; what a machine lacks cannot be at fault."""
    nodes = _Nodes(build_tables(knowledge))
    facts = [t for t in nodes.tables if t.role in ("main_cause", "fact")]
    for table in facts:
        nodes.state[table.node] = _draw(table, nodes.state, jobs, rng)
    lacking = _lacking(knowledge, nodes, jobs)
    for table in nodes.tables:
        if table.role == "component":
            drawn = _draw(table, nodes.state, jobs, rng)
            nodes.state[table.node] = np.where(lacking.get(table.node, False), 0, drawn)
        elif table not in facts:
            nodes.state[table.node] = _draw(table, nodes.state, jobs, rng)
    return nodes


def _lacking(knowledge: Knowledge, nodes: _Nodes, jobs: int) -> dict[str, npt.NDArray[np.bool_]]:
    out: dict[str, npt.NDArray[np.bool_]] = {}
    for fact, record in knowledge.equipment.items():
        for i, value in enumerate(record.values):
            for component in record.lacks.get(value, []):
                out[component] = out.get(component, np.zeros(jobs, dtype=bool)) | (nodes.state[fact] == i)
    return out


def _draw(table: Table, state: dict[str, Ints], jobs: int, rng: Rng) -> Ints:
    given = tuple(state[p] for p in table.parents)
    chances = table.values.reshape(len(table.states), -1)
    if given:
        chances = chances[:, np.ravel_multi_index(given, table.values.shape[1:])]
    reach = np.cumsum(chances, axis=0)
    return np.asarray((rng.random(jobs)[None, :] * reach[-1] >= reach).sum(axis=0))


def _cells(state: Ints, names: tuple[str, ...], missing: float, rng: Rng) -> Any:
    return _category(np.where(rng.random(len(state)) < missing, -1, state), names)


def _category(codes: Ints, names: Sequence[str]) -> Any:
    """Codes as a text column, -1 as a missing cell."""
    import pandas as pd

    return pd.Categorical.from_codes(codes.astype(np.int64), pd.Index(list(names)))


def _aftermath(
    knowledge: Knowledge,
    nodes: _Nodes,
    rng: Rng,
    theta: npt.NDArray[np.float64] | None,
    guess: npt.NDArray[np.float64] | None,
) -> dict[str, object]:
    """Repairs, the run after them, and whether the customer came back."""
    import pandas as pd

    jobs = len(nodes.state["main_cause"])
    done = _repairs(knowledge, nodes, rng, theta, guess)
    for r, repair in enumerate(knowledge.repair.values()):
        took = done[r] & (rng.random(jobs) < repair.success)
        for mode in repair_modes(knowledge, repair):
            component, _, name = mode.partition(".")
            index = 1 + list(knowledge.component[component].modes).index(name)
            nodes.state[component] = np.where(took & (nodes.state[component] == index), 0, nodes.state[component])
    verify = knowledge.costs.verify
    for table in nodes.tables:
        if table.role in ("mechanism", "step") or table.node.partition("__")[0] == verify:
            nodes.state[table.node] = _draw(table, nodes.state, jobs, rng)
    parts = [*knowledge.component, UNLISTED]
    wrong = np.any([nodes.state[c] > 0 for c in parts], axis=0)
    log = knowledge.log
    back = rng.random(jobs) < np.where(wrong, log.back_if_wrong, log.back_if_right)
    names = np.array(list(knowledge.repair))
    ran = rng.random(jobs) < 0.7
    outcomes = list(knowledge.check[verify].outcomes)
    return {
        clean.REPAIRS: pd.Categorical([";".join(names[row]) for row in done.T]),
        clean.AFTER + verify: _category(np.where(ran, nodes.state[verify], -1), outcomes),
        clean.ENDED: pd.Categorical(np.where(back, clean.CAME_BACK, clean.GONE)),
        clean.BACK_AFTER: np.where(back, np.floor(rng.random(jobs) * log.window_days), np.nan),
    }


def _guesses(structure: Structure, found: pd.DataFrame) -> npt.NDArray[np.float64]:
    """(repairs, jobs) chance that each repair is done as a guess."""
    from faultodds.tuning.encode import Encoder
    from faultodds.tuning.guesses import levels_of, suspected, unneeded
    from faultodds.tuning.structure import GUESSES

    chunk = Encoder(structure, merge=False).encode(found)
    return np.array(GUESSES)[levels_of(unneeded(structure, suspected(structure, chunk)))].T


def _repairs(
    knowledge: Knowledge,
    nodes: _Nodes,
    rng: Rng,
    theta: npt.NDArray[np.float64] | None,
    guess: npt.NDArray[np.float64] | None,
) -> npt.NDArray[np.bool_]:
    """(repairs, jobs) which repairs are done: noisy-OR over the faults that each puts right, and over guesses. Nobody does a
    repair in place of the right ones.
    """
    from faultodds.belief import compile_suspects

    families, layout = build(knowledge, compile_suspects(knowledge, 0.5))
    theta = families.prior if theta is None else theta
    chance = families.padded(theta)[families.part[:, 1]]
    jobs = len(nodes.state["main_cause"])

    def undone(observable: str) -> npt.NDArray[np.float64]:
        left = np.ones(jobs)
        for row in layout.parts_of[observable]:
            left = left * (1.0 - chance[row] * _has(knowledge, nodes, layout.parts[row].cause))
        return left

    names = list(knowledge.repair)
    out = np.zeros((len(names), jobs), dtype=bool)
    for r, name in enumerate(names):
        left = undone(DONE + name)
        for other, repair in reversed(layout.instead):
            if repair == r:
                left = np.where(out[other], undone(f"{DONE}{name}|{names[other]}"), left)
        if guess is not None:
            left = left * (1.0 - theta[families.guess[1]] * guess[r])
        out[r] = rng.random(jobs) < 1.0 - left
    return out


def _has(knowledge: Knowledge, nodes: _Nodes, cause: str) -> npt.NDArray[np.bool_] | float:
    if cause == "leak":
        return 1.0
    component, _, mode = cause.partition(".")
    index = 1 if cause == UNLISTED_MODE else 1 + list(knowledge.component[component].modes).index(mode)
    return np.asarray(nodes.state[component] == index)
