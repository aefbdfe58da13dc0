"""The decision at hand: what is open to this technician on this machine, what it costs from here, what it would show.

Suspects are grouped into *classes* by the repairs they need, since nothing is gained by telling apart what the same
repair puts right. Everything that ranks actions is arithmetic on the classes. Shapes: K classes, R outcomes of the open
checks, U bundles (repairs done together before one verification run), S machine states.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from faultodds.advice.machine import MachineStates, State, Way
from faultodds.advice.situation import Price, Situation, may_be
from faultodds.belief import Appliance, Belief, likely
from faultodds.knowledge import UNLISTED_MODE, Check, Floats, Knowledge, Repair, fitted, repair_modes
from faultodds.safety import Known, at_once, not_run_now, still_owed

Ints = npt.NDArray[np.int64]
Places = npt.NDArray[np.intp]

# So few suspects are priced in full precision.
FEW = 200
# Prices are of all but this share of the belief, the least likely suspects (the odds shown always count every suspect).
DROPPED = 0.005
# Several repairs before one verification run are considered for this many of the likeliest classes that need several.
BUNDLES = 12
# A repair changes what a check shows when an outcome's chance moves by this much.
CHANGED = 0.2
# Repairs are bits of a 64-bit mask.
MOST_REPAIRS = 62
# From this chance on a fault is taken as found.
AS_GOOD_AS_FOUND = 0.5
SOUND = 0
HOPELESS = -1


class Problem(Struct, dict=True):
    """One decision: the belief, the situation, and everything open to the technician, priced."""

    appliance: Appliance
    belief: Belief
    situation: Situation

    # --- what is open ---------------------------------------------------------------------------------------------------

    @cached_property
    def knowledge(self) -> Knowledge:
        """The appliance's knowledge file, for a machine with the facts that are told."""
        return fitted(self.appliance.knowledge, self.belief.evidence.facts)

    @cached_property
    def machine(self) -> MachineStates:
        """Ways between the states of this machine."""
        return MachineStates(self.knowledge)

    @cached_property
    def _trips(self) -> dict[tuple[State, frozenset[str]], tuple[Way, float, State]]:
        return {}  # filled as ways are asked for

    @cached_property
    def rate(self) -> float:
        """Labour per minute."""
        rate = self.situation.labour_rate
        return (self.knowledge.costs.labour_rate if rate is None else rate) / 60.0

    @property
    def refer_cost(self) -> float:
        """Price of handing the job over."""
        return self.knowledge.costs.refer

    @property
    def callback_cost(self) -> float:
        """Price of having to come back, before anything is done there."""
        return self.knowledge.costs.callback + self.knowledge.costs.travel

    @cached_property
    def stage(self) -> int:
        """Number of repairs done so far."""
        return len(self.belief.evidence.repairs)

    @property
    def verify(self) -> Check:
        """The verification run."""
        return self.knowledge.check[self.knowledge.costs.verify]

    @cached_property
    def verified(self) -> bool:
        """Whether the verification run has shown a good machine since the last repair."""
        name = self.knowledge.costs.verify
        good = next(iter(self.verify.outcomes))
        return any(
            s.name == name and s.stage == self.stage and max(s.weights, key=lambda o: s.weights[o]) == good
            for s in self.belief.evidence.seen
        )

    @property
    def may_leave(self) -> bool:
        """Whether the technician may leave it at that: the machine has passed its run, and nothing found forbids to run it."""
        return self.verified and not self.run_stopped

    @cached_property
    def unverified(self) -> bool:
        """Whether a repair was done and the machine has not had its verification run since."""
        name = self.knowledge.costs.verify
        return self.stage > 0 and not any(s.name == name and s.stage == self.stage for s in self.belief.evidence.seen)

    @cached_property
    def checks(self) -> dict[str, Check]:
        """Checks that can be offered now: the part is there, not skipped, they would show something, nothing rules them out."""
        return {
            name: check
            for name, check in self.knowledge.check.items()
            if not self._shown(name)
            and name not in self.situation.skipped
            and name not in self.not_now
            and self._allowed(check.needs, check.qualified)
            and not self.situation.state.intersection(check.unless_open)
            and not any(self._stands.get(n) in outcomes for n, outcomes in check.unless.items())
        }

    @cached_property
    def not_now(self) -> dict[str, str]:
        """Work that is not safe with what is known -> why."""
        return not_run_now(self.knowledge, self.known)

    @cached_property
    def known(self) -> Known:
        """What is known of facts and of what was seen, doubt and all."""
        return may_be(self.knowledge, self.belief.evidence, self.belief)

    @cached_property
    def owed(self) -> dict[str, list[str]]:
        """Faults found or put right with a cause behind them that is not mended -> the checks of which one is owed."""
        evidence = self.belief.evidence
        return still_owed(self.knowledge, [r.name for r in evidence.repairs], evidence.seen)

    @cached_property
    def run_stopped(self) -> tuple[str, ...]:
        """What has to be done at once because of a finding after which the machine is not run; empty when there is none."""
        return at_once(self.knowledge, self.known)

    @cached_property
    def _stands(self) -> dict[str, str]:
        """The likelier-than-not outcome of everything seen since the last repair."""
        latest = [s for s in self.belief.evidence.seen if s.stage == self.stage]
        likely = [(s.name, max(s.weights, key=lambda o: s.weights[o]), s.weights) for s in latest]
        return {name: outcome for name, outcome, w in likely if w[outcome] > 0.5 * sum(w.values())}

    @cached_property
    def repairs(self) -> dict[str, Repair]:
        """Repairs that can be offered now."""
        return {
            name: repair
            for name, repair in self.knowledge.repair.items()
            if name not in self.situation.skipped and self._allowed(repair.needs, repair.qualified)
        }

    def _shown(self, name: str) -> bool:
        """Whether a check has been done and no repair since could have changed what it shows."""
        stages = [s.stage for s in self.belief.evidence.seen if s.name == name]
        if not stages:
            return False
        s = self.belief.suspects
        rows = s.likelihood[s.rows[name]]
        since = [m for r in self.belief.evidence.repairs[max(stages) :] for m in r.modes]
        alone = [int(np.flatnonzero(s.member[:, s.mode_index[m]] & (s.member.sum(axis=1) == 1))[0]) for m in since]
        return all(np.abs(rows[:, h] - rows[:, s.sound]).max() < CHANGED for h in alone)

    def _allowed(self, needs: dict[str, str], qualified: bool) -> bool:
        facts = self.belief.evidence.facts
        return (self.situation.qualified or not qualified) and all(facts.get(f) == v for f, v in needs.items())

    def found(self, repairs: Iterable[str]) -> float:
        """Chance that something these repairs put right is there."""
        k, s = self.knowledge, self.belief.suspects
        modes = {m for name in repairs for m in repair_modes(k, k.repair[name])}
        present = np.any(s.member[:, sorted(s.mode_index[m] for m in modes)], axis=1)
        return float(self.belief.now @ present)

    # --- prices ---------------------------------------------------------------------------------------------------------

    def price_check(self, name: str, state: State | None = None) -> Price:
        """A check from a machine state, or as it is now: a run is then priced with closing up what is open."""
        work, here = self.knowledge.check[name], self.situation.state
        way = self.machine.to_work(here if state is None else state, work)
        minutes = (way.minutes if state is None and work is self.verify else way.charged) + work.minutes
        return Price(way, minutes, minutes * self.rate + work.cost)

    def price_repairs(self, names: Iterable[str], state: State | None = None) -> Price:
        """Repairs done together with the run at the end, from a machine state, or as it is now with closing up what is open."""
        start = self.situation.state if state is None else state
        work = [self.knowledge.repair[n] for n in names]
        way, trip_minutes, after = self.trip(start, frozenset(i for r in work for i in r.access))
        closing = self.machine.owed(start) - self.machine.owed(after) if state is None else 0.0
        minutes = trip_minutes + sum(r.minutes for r in work) + closing
        return Price(way, minutes, minutes * self.rate + self.verify.cost + sum(r.cost for r in work))

    def trip(self, start: State, access: frozenset[str]) -> tuple[Way, float, State]:
        """The way to some parts; the minutes of going there, closing up and running the machine; the state after."""
        key = (start, access)
        if key not in self._trips:
            way = self.machine.way(start, access)
            run = self.machine.to_work(way.after, self.verify)
            self._trips[key] = (way, way.charged + run.charged + self.verify.minutes, run.after)
        return self._trips[key]

    # --- classes of suspects --------------------------------------------------------------------------------------------

    @cached_property
    def mode_repair(self) -> dict[str, str]:
        """For each mode, the repair that puts it right at the least cost; modes that nobody here can fix are missing."""
        chosen: dict[str, tuple[float, str]] = {}
        for name, repair in self.repairs.items():
            price = (repair.minutes * self.rate + repair.cost) / repair.success
            for mode in repair_modes(self.knowledge, repair):
                if mode not in chosen or price < chosen[mode][0]:
                    chosen[mode] = (price, name)
        return {mode: name for mode, (_, name) in chosen.items()}

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

    @cached_property
    def removals(self) -> Places:
        """(N, H) suspect that is left of each suspect when a needed repair has taken."""
        k, s = self.knowledge, self.belief.suspects
        maps = [s.removal(repair_modes(k, k.repair[name])) for name in self.needed]
        return np.array(maps, dtype=np.intp).reshape(len(maps), len(s.member))

    @cached_property
    def active(self) -> Places:
        """(A,) the suspects that take part in pricing: the likeliest, and what repairs leave of them; in the order of the
        classes they belong to."""
        s = self.belief.suspects
        inside = np.zeros(len(s.member), dtype=bool)
        inside[s.sound] = True
        new = self._likely
        while len(new):
            inside[new] = True
            reached = np.zeros_like(inside)
            reached[self.removals[:, new].reshape(-1)] = True
            new = np.flatnonzero(reached & ~inside)
        found = np.flatnonzero(inside)
        masks = self._mask_of(found)
        order = np.argsort(masks, kind="stable")
        sizes = np.diff(_begins(masks[order]), append=len(order))
        return np.asarray(found[order[np.argsort(np.repeat(sizes, sizes) == 1, kind="stable")]])

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
    def _classes(self) -> tuple[Ints, Places, int]:
        """The distinct masks, where the suspects of each begin among the active ones, and from which class on there is one
        suspect in each."""
        masks = self._mask_of(self.active)
        firsts = _begins(masks)
        several = np.flatnonzero(np.diff(firsts, append=len(masks)) > 1)
        return masks[firsts], firsts, int(several[-1]) + 1 if len(several) else 0

    @property
    def masks(self) -> Ints:
        """(K,) repairs each class needs, as bits; HOPELESS and SOUND may be two of them."""
        return self._classes[0]

    @cached_property
    def class_of(self) -> Places:
        """(A,) class of each active suspect."""
        firsts = self._classes[1]
        return np.repeat(np.arange(len(firsts)), np.diff(firsts, append=len(self.active)))

    def by_class(self, by_suspect: Floats) -> Floats:
        """(..., K) sums over the suspects of each class of something by active suspect (..., A)."""
        _, firsts, several = self._classes
        if not several:
            return by_suspect
        cut = int(firsts[several]) if several < len(firsts) else by_suspect.shape[-1]
        sums = np.add.reduceat(by_suspect[..., :cut], firsts[:several], axis=-1)
        return np.concatenate([sums, by_suspect[..., cut:]], axis=-1)

    @cached_property
    def class_weights(self) -> Floats:
        """(K,) chance of each class now."""
        return self.by_class(self.weights)

    @cached_property
    def left(self) -> Places:
        """(N, A) place among the active suspects of what a needed repair leaves of each."""
        place = np.zeros(len(self.belief.now), dtype=np.intp)
        place[self.active] = np.arange(len(self.active))
        return np.asarray(place[self.removals[:, self.active]])

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
    def check_names(self) -> list[str]:
        """The open checks, in file order."""
        return list(self.checks)

    @cached_property
    def rows(self) -> dict[str, slice]:
        """Where each open check's outcomes lie among the R rows below."""
        out, start = {}, 0
        for name in self.check_names:
            size = len(self.belief.suspects.observables[name])
            out[name] = slice(start, start + size)
            start += size
        return out

    @cached_property
    def _check_rows(self) -> Places:
        """(R,) rows of the open checks in the full likelihood."""
        s = self.belief.suspects
        return np.concatenate(
            [np.arange(s.rows[n].start, s.rows[n].stop) for n in self.check_names] or [np.zeros(0)]
        ).astype(np.intp)

    @cached_property
    def suspect_likelihood(self) -> Floats:
        """(R, A) likelihood of each outcome of the open checks under each active suspect."""
        return np.asarray(self.belief.suspects.likelihood[np.ix_(self._check_rows, self.active)], dtype=self.precision)

    def class_mean(self, by_suspect: Floats) -> Floats:
        """(..., K) means over the suspects of each class, weighed as they are now; those of a class that comes up only after
        a repair weigh the same."""
        weight = np.where(self.class_weights[self.class_of] > 0, self.weights, 1.0)
        out: Floats = self.by_class(by_suspect * weight) / self.by_class(weight)
        return out

    @cached_property
    def run_passes(self) -> Floats:
        """(A,) chance that the verification run looks good under each active suspect."""
        s = self.belief.suspects
        passes = s.likelihood[s.rows[self.knowledge.costs.verify].start, self.active]
        return np.asarray(passes, dtype=self.precision)


def _begins(masks: Ints) -> Places:
    """Where each run of equal masks begins."""
    return np.flatnonzero(np.concatenate([[True], masks[1:] != masks[:-1]]))
