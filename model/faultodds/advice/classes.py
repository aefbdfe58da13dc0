"""Suspects in classes, by the repairs they need: nothing is gained by telling apart what the same repair puts right.

Shapes: A active suspects, N needed repairs, K classes, M modes.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from msgspec import Struct

from faultodds.advice.situation import Situation
from faultodds.belief import Appliance, Belief, likely
from faultodds.knowledge import UNLISTED_MODE, Floats, Ints, Knowledge, Places, fitted, repair_modes

# So few suspects are priced in full precision.
FEW = 200
# Prices are of all but this share of the belief, the least likely suspects (the odds shown always count every suspect).
DROPPED = 0.005
# Several repairs before one verification run are considered for this many of the likeliest classes that need several.
BUNDLES = 12
# Repairs are bits of a 64-bit mask.
MOST_REPAIRS = 62
SOUND = 0
HOPELESS = -1


class Classes(Struct, dict=True):
    """The suspects that pricing is about, grouped by the repairs they need."""

    appliance: Appliance
    belief: Belief
    situation: Situation

    @cached_property
    def knowledge(self) -> Knowledge:
        """The appliance's knowledge file, for a machine with the facts that are told."""
        return fitted(self.appliance.knowledge, self.belief.evidence.facts)

    @property
    def mode_repair(self) -> dict[str, str]:
        """For each mode, the repair that puts it right; which one goes by what is open and by its price (`Problem`)."""
        raise NotImplementedError

    @cached_property
    def _likely(self) -> Places:
        """The likeliest suspects, all but `DROPPED` of the belief."""
        return likely(self.belief.now, DROPPED)

    @cached_property
    def needed(self) -> list[str]:
        """The repairs that some likely suspect needs (the likeliest 62), in file order; their position is their bit."""
        s = self.belief.suspects
        present = np.flatnonzero(np.any(s.member[self._likely], axis=0))
        weight: dict[str, float] = {}
        for i in present:
            name = self.mode_repair.get(s.modes[i])
            if name is not None:
                weight[name] = weight.get(name, 0.0) + float(self.belief.mode_odds[i])
        names = sorted(weight, key=lambda n: (-weight[n], n))[:MOST_REPAIRS]
        return [n for n in self.knowledge.repair if n in names]

    def _removals(self, suspects: Places) -> Places:
        """(N, len(suspects)) the suspect that is left of each of some when a needed repair has taken."""
        k, s = self.knowledge, self.belief.suspects
        maps = [s.removal(repair_modes(k, k.repair[name]), suspects) for name in self.needed]
        return np.array(maps, dtype=np.intp).reshape(len(maps), len(suspects))

    @cached_property
    def active(self) -> Places:
        """(A,) the suspects that take part in pricing: the likeliest, and what repairs leave of them; in blocks of classes of the
        same size, first the first suspect of every class in the block, then the second of every one."""
        s = self.belief.suspects
        inside = np.zeros(len(s.member), dtype=bool)
        inside[s.sound] = True
        new = self._likely
        while len(new):
            inside[new] = True
            reached = np.zeros_like(inside)
            reached[self._removals(new).reshape(-1)] = True
            new = np.flatnonzero(reached & ~inside)
        found = np.flatnonzero(inside)
        masks = self._mask_of(found)
        _, which, sizes = np.unique(masks, return_inverse=True, return_counts=True)
        order = np.argsort(which, kind="stable")
        member = np.empty(len(found), dtype=np.int64)
        member[order] = np.arange(len(found)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        return np.asarray(found[np.lexsort((which, member, sizes[which]))])

    def _mask_of(self, suspects: Places) -> Ints:
        """The repairs that some suspects need, as bits; HOPELESS for what no repair here puts right, SOUND for nothing."""
        s = self.belief.suspects
        member = s.member_float[suspects]
        bits = np.zeros((len(s.modes), len(self.needed)))
        hopeless = np.ones(len(s.modes), dtype=bool)
        for i, mode in enumerate(s.modes):
            repair = self.mode_repair.get(mode) if mode != UNLISTED_MODE else None
            if repair in self.needed:
                bits[i, self.needed.index(repair)] = 1.0
                hopeless[i] = False
        powers = np.array([1 << i for i in range(len(self.needed))], dtype=np.int64)
        masks = (member @ bits > 0).astype(np.int64) @ powers
        return np.where(member @ hopeless.astype(float) > 0, HOPELESS, masks)

    @cached_property
    def weights(self) -> Floats:
        """(A,) chances of the active suspects, normalised."""
        p = np.zeros(len(self.belief.now))
        p[self._likely] = self.belief.now[self._likely]
        return np.asarray(p[self.active] / p.sum(), dtype=self.precision)

    @cached_property
    def precision(self) -> type[np.floating[Any]]:
        """What pricing is worked out in: half the memory is half the time, and far finer than the prices; small problems, in
        full."""
        return np.float32 if len(self.active) > FEW else np.float64

    @cached_property
    def _classes(self) -> tuple[Ints, list[tuple[int, int]]]:
        """The distinct masks, and the blocks they come in: suspects in each class, classes."""
        masks = self._mask_of(self.active)
        _, firsts, counts = np.unique(masks, return_index=True, return_counts=True)
        sizes, classes = np.unique(counts, return_counts=True)
        return masks[np.sort(firsts)], list(zip(sizes.tolist(), classes.tolist(), strict=True))

    @property
    def masks(self) -> Ints:
        """(K,) repairs each class needs, as bits; HOPELESS and SOUND may be two of them."""
        return self._classes[0]

    @cached_property
    def class_of(self) -> Places:
        """(A,) class of each active suspect."""
        start, out = 0, []
        for size, classes in self._classes[1]:
            out.append(np.tile(np.arange(start, start + classes), size))
            start += classes
        return np.concatenate(out)

    @cached_property
    def by_need(self) -> Places:
        """(A,) places of the active suspects, what needs the same repairs side by side: the order in which truths are drawn."""
        alone = np.bincount(self.class_of)[self.class_of] == 1
        return np.lexsort((self.masks[self.class_of], alone))

    def by_class(self, by_suspect: Floats) -> Floats:
        """(..., K) sums over the suspects of each class of something by active suspect (..., A)."""
        start, out, before = 0, [], by_suspect.shape[:-1]
        for size, classes in self._classes[1]:
            block = by_suspect[..., start : start + size * classes]
            out.append(block if size == 1 else block.reshape(*before, size, classes).sum(axis=-2))
            start += size * classes
        return np.concatenate(out, axis=-1)

    @cached_property
    def class_weights(self) -> Floats:
        """(K,) chance of each class now."""
        return self.by_class(self.weights)

    @cached_property
    def left(self) -> Places:
        """(N, A) place among the active suspects of what a needed repair leaves of each."""
        place = np.zeros(len(self.belief.now), dtype=np.intp)
        place[self.active] = np.arange(len(self.active))
        return np.asarray(place[self._removals(self.active)])

    def names(self, mask: int) -> tuple[str, ...]:
        """The repairs in a mask."""
        return tuple(n for i, n in enumerate(self.needed) if mask > 0 and mask >> i & 1)

    @cached_property
    def bundles(self) -> list[tuple[str, ...]]:
        """Every needed repair alone, then the repairs that the likeliest several-repair classes need together."""
        several = [
            (-w, m)
            for w, m in zip(self.class_weights.tolist(), self.masks.tolist(), strict=True)
            if m > 0 and m & (m - 1)
        ]
        return [(n,) for n in self.needed] + [self.names(m) for _, m in sorted(several)[:BUNDLES]]

    @cached_property
    def run_passes(self) -> Floats:
        """(A,) chance that the verification run looks good under each active suspect."""
        return np.asarray(self._run_shows[0])

    @property
    def run_fails(self) -> Floats:
        """(F, A) chance of everything else that the run may show: a run that is slow and one without heat tell of other faults."""
        return np.asarray(self._run_shows[1:])

    @cached_property
    def _run_shows(self) -> Floats:
        s = self.belief.suspects
        shows = s.likelihood[s.rows[self.knowledge.costs.verify]][:, self.active]
        return np.asarray(shows, dtype=self.precision)
