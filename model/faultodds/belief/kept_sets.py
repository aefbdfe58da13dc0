"""Which sets of modes are kept, with the chances that decide it.

Every set of up to two modes, then the most probable larger ones until the prior mass left out is under a target. A file whose
companions are so common that the arrays would not fit is refused before anything is built.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct

from faultodds.errors import KnowledgeError
from faultodds.knowledge import Floats, Ints, Knowledge, Table, mode_place, shares

MOST_SUSPECTS = 120_000
# Bytes at the peak of compiling, as a multiple of the two arrays: measured on the shipped dryer with commoner companions.
PEAK = 3.6
AT_A_TIME = 8192


class Odds(Struct, frozen=True):
    """Chance of a set of modes given the main cause, in a form that multiplies.

    `base[c]` = chance that nothing but c itself is present; `odds[c, m]` = chance of m over chance that m's component is
    sound, so that P(set | c) = base[c] * product of odds over the set without c.
    """

    base: Floats
    odds: Floats
    component: Ints

    @staticmethod
    def of(tables: Mapping[str, Table], knowledge: Knowledge, mains: Sequence[str], modes: Sequence[str]) -> Odds:
        base = np.ones(len(mains))
        odds = np.zeros((len(mains), len(modes)))
        names = [mode.partition(".")[0] for mode in modes]
        component = np.array([list(dict.fromkeys(names)).index(n) for n in names])
        for name in dict.fromkeys(names):
            cells = tables[name].values
            columns = [i for i, n in enumerate(names) if n == name]
            own = np.isin(np.arange(len(mains)), columns)
            base *= np.where(own, 1.0, cells[0])
            odds[:, columns] = np.where(own, 0.0, cells[1:] / np.where(own, 1.0, cells[0])).T
        # The main cause itself is present for sure: its own factor is 1.
        odds[np.arange(len(modes)), np.arange(len(modes))] = 1.0
        return Odds(base, odds, component)

    def given_main(self, sets: Sequence[tuple[int, ...]]) -> Floats:
        """(C, H) chance of each set given each main cause."""
        out = np.zeros((len(self.base), len(sets)))
        for size, where, members in by_size(sets):
            block = np.repeat(self.base[:, None], len(where), axis=1)
            for k in range(size):
                block *= self.odds[:, members[:, k]]
            present = np.zeros((len(self.base), len(where)), dtype=bool)
            present[-1] = True
            for k in range(size):
                present[members[:, k], np.arange(len(where))] = True
            out[:, where] = np.where(present, block, 0.0)
        return out

    def mass(self, members: Ints, share: Floats) -> Floats:
        """(N,) prior chance of N sets of one size, shape (N, size)."""
        total = share[-1] * self.base[-1] * np.prod(self.odds[-1][members], axis=1)
        for k in range(members.shape[1]):
            main = members[:, k]
            total = total + share[main] * self.base[main] * np.prod(self.odds[main[:, None], members], axis=1)
        return np.asarray(total)


def by_size(sets: Sequence[tuple[int, ...]]) -> Iterable[tuple[int, Ints, Ints]]:
    """The sets size by size: the size, which they are, and their modes, shape (N, size)."""
    sizes = np.array([len(s) for s in sets])
    for size in sorted(set(sizes.tolist())):
        where = np.flatnonzero(sizes == size)
        yield size, where, np.array([sets[int(i)] for i in where], dtype=np.int64).reshape(len(where), size)


def _larger(members: Ints, component: Ints) -> Ints:
    """Every set of one more mode: add a mode further down the list, from a component not yet in the set."""
    count = len(component)
    added = np.arange(count)
    allowed = added[None, :] > (members[:, -1:] if members.shape[1] else -1)
    for k in range(members.shape[1]):
        allowed &= component[None, :] != component[members[:, k], None]
    which, mode = np.nonzero(np.broadcast_to(allowed, (len(members), count)))
    return np.concatenate([members[which], mode[:, None]], axis=1)


def kept_sets(knowledge: Knowledge, odds: Odds, target: float) -> list[tuple[int, ...]]:
    """The kept sets, smallest first, then in mode order; KnowledgeError, before they are built, when they are too many."""
    try:
        return _enumerate(odds, shares(knowledge), target)
    except TooMany:
        raise KnowledgeError(_too_many(knowledge, odds)) from None


def _enumerate(odds: Odds, share: Floats, target: float) -> list[tuple[int, ...]]:
    level = np.zeros((1, 0), dtype=np.int64)
    kept: set[tuple[int, ...]] = {()}
    mass = float(odds.mass(level, share)[0])
    count = np.bincount(odds.component)
    if (len(odds.component) ** 2 - int(count @ count)) // 2 > MOST_SUSPECTS:
        raise KnowledgeError(
            f"component: {len(odds.component)} faults make more than {MOST_SUSPECTS:,} combinations of two alone. Take out those "
            "that the same repair mends, or make two files of it."
        )
    for _ in range(2):
        level = _larger(level, odds.component)
        kept.update(map(tuple, level.tolist()))
        mass += float(odds.mass(level, share).sum())
    if target <= 0:
        _add_all(kept, level, odds)
    elif 1.0 - mass > target:
        _refuse_too_many(level, mass, odds, share, target)
        _add_most_probable(kept, level, mass, odds, share, target)
    return sorted(kept, key=lambda s: (len(s), s))


def _add_all(kept: set[tuple[int, ...]], level: Ints, odds: Odds) -> None:
    while len(level):
        level = _larger(level, odds.component)
        if len(kept) + len(level) > MOST_SUSPECTS:
            raise KnowledgeError(
                f"keeping every set of modes would need more than {MOST_SUSPECTS:,} suspects; "
                "use an omitted-mass target above 0 (0.001 is usual)."
            )
        kept.update(map(tuple, level.tolist()))


class TooMany(Exception):
    """More sets than can be kept."""


def _refuse_too_many(pairs: Ints, mass: float, odds: Odds, share: Floats, target: float) -> None:
    """Raise when more sets would be kept than `MOST_SUSPECTS`: counted from the most probable down, so that it is known before
    much is built."""
    floor = 1e-4
    while floor > 1e-12:
        weights: list[Floats] = []
        count = len(pairs)
        for _, weight in _likely(pairs, odds, share, floor):
            weights.append(weight)
            count += len(weight)
            if count > 2 * MOST_SUSPECTS:
                break
        reached = mass + np.cumsum(np.sort(np.concatenate([np.zeros(0), *weights]))[::-1])
        enough = np.flatnonzero(1.0 - reached < target)
        if len(pairs) + (int(enough[0]) if len(enough) else len(reached)) > MOST_SUSPECTS:
            raise TooMany
        if len(enough):
            return
        floor *= 0.25


def _likely(pairs: Ints, odds: Odds, share: Floats, floor: float) -> Iterator[tuple[Ints, Floats]]:
    """Sets of three and more with more mass than `floor`, a size at a time, with their masses; some thousand at a time, since most
    of what can be made of them is dropped at once."""
    level = pairs
    while len(level):
        found = [(level[:0], np.zeros(0))]
        for start in range(0, len(level), AT_A_TIME):
            more = _larger(level[start : start + AT_A_TIME], odds.component)
            weight = odds.mass(more, share)
            found.append((more[weight > floor], weight[weight > floor]))
        level = np.concatenate([more for more, _ in found[1:]])
        yield level, np.concatenate([weight for _, weight in found])


def _add_most_probable(
    kept: set[tuple[int, ...]], pairs: Ints, mass: float, odds: Odds, share: Floats, target: float
) -> None:
    """Add sets of three and more, most probable first, and whatever subsets they need."""
    floor = target * 1e-3
    while True:
        pool: list[tuple[float, tuple[int, ...]]] = []
        for level, weight in _likely(pairs, odds, share, floor):
            pool += zip((-weight).tolist(), map(tuple, level.tolist()), strict=True)
        pool.sort()
        reached = mass - np.cumsum([w for w, _ in pool])
        enough = np.flatnonzero(1.0 - reached < target)
        if len(enough) or floor < 1e-12:
            break
        floor *= 0.1
    for _, chosen in pool[: (int(enough[0]) + 1 if len(enough) else len(pool))]:
        for size in range(3, len(chosen) + 1):
            kept.update(itertools.combinations(chosen, size))
        if len(kept) > MOST_SUSPECTS:
            raise TooMany


def _too_many(knowledge: Knowledge, odds: Odds) -> str:
    """Which numbers of a file make more sets than can be kept, the worst first."""
    modes = dict(knowledge.modes())
    other = knowledge.other_causes.companion
    usual = sum(record.companion is None for record in modes.values())
    every = sum(record.share for record in modes.values()) or 1.0
    weight = {f"other_causes.companion = {other:g} (for {usual} faults)": other * usual}
    for mode, record in modes.items():
        place = mode_place(mode)
        weight[f"{place}.companion = {record.companion or 0.0:g}"] = record.companion or 0.0
        for caused, chance in record.brings_on.items():
            weight[f'{place}.brings_on."{caused}" = {chance:g}'] = chance * record.share / every
    worst = sorted(weight, key=lambda name: -weight[name])[:3]
    named = [name for name in worst if weight[name] > 0.1 * weight[worst[0]]]
    rows = sum(len(o.outcomes) for o in knowledge.observables.values())
    size = 8e-9 * PEAK * (len(odds.base) + rows) * MOST_SUSPECTS
    return (
        f"{', '.join(named)}: {len(modes)} faults, this common beside one another, make more than {MOST_SUSPECTS:,} combinations "
        f"to keep, which takes over {size:.1f} GB. Lower the first number named here; 0.001 is usual."
    )
