"""The decision at hand: what is open to this technician on this machine, what it costs from here, what it would show.

Everything that ranks actions is arithmetic on the classes of suspects (`classes`). Shapes: K classes, R outcomes of the
open checks, U bundles (repairs done together before one verification run), S machine states.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
from msgspec.structs import replace

from faultodds.advice.classes import Classes
from faultodds.advice.machine import MachineStates, State, Way
from faultodds.advice.situation import (
    Price,
    found_last,
    gone_unmended,
    makers,
    may_be,
    not_looked_at_again,
    not_looked_for,
)
from faultodds.belief import Belief, WeighedFinding, infer, repair_effect
from faultodds.knowledge import Bools, Check, Floats, Places, Repair, repair_modes
from faultodds.safety import CAUSE_LEFT, Known, at_once, barred, let_out, not_lit_with, not_run_now, still_owed

# A repair changes what a check shows when an outcome's chance moves by this much.
CHANGED = 0.2
# The least chance that a repair is given to take, however often it did not.
HOPELESS = 0.01
# From this chance on a fault is taken as found.
AS_GOOD_AS_FOUND = 0.5


class Problem(Classes, dict=True):
    """One decision: the belief, the situation, and everything open to the technician, priced."""

    # --- what is open ---------------------------------------------------------------------------------------------------

    @cached_property
    def ways(self) -> MachineStates:
        """Ways between the states of the appliance, however this one is made; may be shared from one problem to the next."""
        return MachineStates(self.knowledge)

    @cached_property
    def machine(self) -> MachineStates:
        """Ways between the states of this machine, as it may be run now."""
        return self.ways.unlit if not_lit_with(self.knowledge, self.known) else self.ways

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
        """Whether the verification run has shown a good machine since the last repair, on this visit."""
        name = self.knowledge.costs.verify
        good = next(iter(self.verify.outcomes))
        return any(s.name == name and max(s.weights, key=lambda o: s.weights[o]) == good for s in self._latest)

    @property
    def may_leave(self) -> bool:
        """Whether the technician may leave it at that: the machine has passed its run, and nothing found forbids to run it."""
        return self.verified and not self.run_stopped

    @cached_property
    def frees(self) -> Bools:
        """(C,) the checks after which it may be left at that: they look for what is owed, and nothing else forbids it."""
        alone = self.verified and all(o == CAUSE_LEFT for _, o in barred(self.knowledge, self.known))
        return np.array([alone and n in self.owed_checks for n in self.check_names], dtype=bool)

    @cached_property
    def forbids(self) -> Bools:
        """(R,) for each outcome of the open checks, whether nobody leaves after it: the machine is not run, or not with heat."""
        seen = self.knowledge.observables
        return np.array([o in seen[n].stops for n in self.check_names for o in seen[n].outcomes], dtype=bool)

    @cached_property
    def unverified(self) -> bool:
        """Whether a repair was done on this visit and the machine has not had its verification run since."""
        name = self.knowledge.costs.verify
        return self.stage > self.belief.evidence.begun and not any(s.name == name for s in self._latest)

    @property
    def failed(self) -> bool:
        """Whether the verification run since the last repair, on this visit, did not show a good machine."""
        return self.stage > self.belief.evidence.begun and not (self.verified or self.unverified)

    @property
    def _latest(self) -> list[WeighedFinding]:
        """What was seen since the last repair, on this visit."""
        evidence = self.belief.evidence
        return [s for s in evidence.seen if (s.stage, s.visit) == (self.stage, len(evidence.waits))]

    def takes(self, repair: str) -> float:
        """Chance that a repair takes where it is needed; less with each time that it was done and what it puts right is there."""
        effect, evidence = repair_effect(self.knowledge, repair), self.belief.evidence
        if all(r.name != repair for r in evidence.repairs):
            return effect.success
        there = self.found([repair], self.as_found)
        if not there:
            return effect.success
        if repair not in self._once_more:
            self._once_more[repair] = infer(
                self.belief.suspects, replace(evidence, repairs=(*evidence.repairs, effect))
            )
        return min(max(1.0 - self.found([repair], self._once_more[repair]) / there, HOPELESS), effect.success)

    @cached_property
    def as_found(self) -> Belief:
        """What is believed from the findings alone, where `belief` supposes something more."""
        return self.belief

    @cached_property
    def _once_more(self) -> dict[str, Belief]:
        return {}  # filled as repairs are asked for

    @cached_property
    def checks(self) -> dict[str, Check]:
        """Checks that can be offered now: the part is there, not skipped, they would show something, nothing rules them out."""
        stands = _likely_outcomes(self._latest)
        return {
            name: check
            for name, check in self.knowledge.check.items()
            if not self._shown(name)
            and name not in self.situation.skipped
            and name not in self.not_now
            and self._allowed(check.needs, check.qualified)
            and not (check.unless_open and (self.run_stopped or self.situation.state.intersection(check.unless_open)))
            and not any(stands.get(n) in outcomes for n, outcomes in check.unless.items())
        }

    @cached_property
    def not_now(self) -> dict[str, str]:
        """Work that is not safe with what is known -> why."""
        return not_run_now(self.knowledge, self.known, self.knowledge.lacking(self.situation.skipped))

    @cached_property
    def unwatched(self) -> str:
        """Why the verification run is not made, where that is only for want of what somebody beside it needs; else empty."""
        run = self.knowledge.costs.verify
        return "" if run in not_run_now(self.knowledge, self.known) else self.not_now.get(run, "")

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
    def owed_checks(self) -> set[str]:
        """The checks that look for a cause that is owed."""
        return {check for checks in self.owed.values() for check in checks}

    @cached_property
    def run_stopped(self) -> tuple[str, ...]:
        """What has to be done at once because of a finding after which the machine is not run; empty when there is none."""
        return at_once(self.knowledge, self.known)

    @cached_property
    def beyond_us(self) -> tuple[tuple[str, str], ...]:
        """The findings with which the machine is left shut off and of which nobody here may put right what makes them."""
        found = [(n, o) for n, o in barred(self.knowledge, self.known) if o != CAUSE_LEFT]
        return tuple((n, o) for n, o in found if not makers(self.belief, n, o) & self.mode_repair.keys())

    @cached_property
    def behind_bars(self) -> frozenset[str]:
        """The faults that make the findings with which the machine is not run."""
        found = [(n, o) for n, o in barred(self.knowledge, self.known) if o != CAUSE_LEFT]
        return frozenset(mode for n, o in found for mode in makers(self.belief, n, o))

    @cached_property
    def behind_return(self) -> frozenset[str]:
        """The faults behind what is complained of on a visit after the call came back; none on the first one."""
        visit = len(self.belief.evidence.waits)
        told = [s for s in self.belief.evidence.seen if visit and s.visit == visit and s.name in self.knowledge.symptom]
        shown = _likely_outcomes(told)
        wrong = [(n, o) for n, o in shown.items() if o != next(iter(self.knowledge.symptom[n].outcomes))]
        return frozenset(mode for n, o in wrong for mode in makers(self.belief, n, o))

    @cached_property
    def look_again(self) -> tuple[str, ...]:
        """What was seen that stopped the machine, and that no plain look since shows to be right; what may let a hazard out."""
        k, evidence = self.knowledge, self.belief.evidence
        left = [
            *not_looked_at_again(k, evidence, self.belief),
            *let_out(k, self.known),
            *not_looked_for(k, evidence, self.belief),
        ]
        return tuple(dict.fromkeys(n for n, _ in left))

    @cached_property
    def unexplained(self) -> list[tuple[str, str]]:
        """What stopped the machine and then was gone though nobody put right what makes it."""
        return gone_unmended(self.knowledge, self.belief.evidence)

    def tells_again(self, symptom: str) -> bool:
        """Whether somebody is there to say what a symptom shows now, who has not said so since the last repair; before the first
        one, beside the complaint."""
        told = sum(s.name == symptom for s in self._latest)
        once = told <= (self.stage == self.belief.evidence.begun)
        return once and self.situation.asking and symptom in self.knowledge.symptom.keys() - self.situation.skipped

    def behind(self, names: Iterable[str]) -> set[str]:
        """The faults behind what wants another look, or is gone unexplained."""
        latest = found_last(self.knowledge, self.belief.evidence)
        found = [*self.unexplained, *((n, o) for n in names for o in latest.get(n, {}))]
        return {m for n, o in found for m in makers(self.belief, n, o)}

    def put_right(self, repairs: Iterable[str]) -> set[str]:
        """The faults that some repairs put right."""
        return {m for name in repairs for m in repair_modes(self.knowledge, self.knowledge.repair[name])}

    @cached_property
    def repairs(self) -> dict[str, Repair]:
        """Repairs that can be offered now: nothing seen on this visit says that there is nothing to mend."""
        evidence = self.belief.evidence
        shown = _likely_outcomes(s for s in evidence.seen if s.visit == len(evidence.waits))
        return {
            name: repair
            for name, repair in self.knowledge.repair.items()
            if name not in self.situation.skipped
            and self._allowed(repair.needs, repair.qualified, untold=True)
            and not any(shown.get(n) in outcomes for n, outcomes in repair.unless.items())
        }

    def _shown(self, name: str) -> bool:
        """Whether a check stands as it was done on this visit. A repair after which the run failed puts every earlier look in
        doubt; else only those that the repair could have changed are taken again."""
        evidence = self.belief.evidence
        stages = [s.stage for s in evidence.seen if (s.name, s.visit) == (name, len(evidence.waits))]
        if not stages or max(stages) == self.stage:
            return bool(stages)
        if self.failed:
            return False
        s = self.belief.suspects
        rows = s.likelihood[s.rows[name]]
        since = [m for r in evidence.repairs[max(stages) :] for m in r.modes]
        alone = [int(np.flatnonzero(s.member[:, s.mode_index[m]] & (s.member.sum(axis=1) == 1))[0]) for m in since]
        return all(np.abs(rows[:, h] - rows[:, s.sound]).max() < CHANGED for h in alone)

    def _allowed(self, needs: dict[str, str], qualified: bool, untold: bool = False) -> bool:
        """Whether some work may be offered; `untold`: also where it is not known whether this machine has what it needs."""
        facts = self.belief.evidence.facts
        fits = all(facts.get(f, v if untold else None) == v for f, v in needs.items())
        return fits and (self.situation.qualified or not qualified)

    def untold(self, name: str) -> list[str]:
        """The facts that a piece of work needs and that have not been told."""
        work = self.knowledge.check.get(name) or self.knowledge.repair[name]
        return [f for f in work.needs if f not in self.belief.evidence.facts]

    def found(self, repairs: Iterable[str], belief: Belief | None = None) -> float:
        """Chance that something these repairs put right is there, as believed now or as in another belief."""
        s = self.belief.suspects
        present = np.any(s.member[:, sorted(s.mode_index[m] for m in self.put_right(repairs))], axis=1)
        return float((belief or self.belief).now @ present)

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

    # --- what it would show ---------------------------------------------------------------------------------------------

    @cached_property
    def mode_repair(self) -> dict[str, str]:
        """For each mode, the repair that puts it right at the least cost, each try with its way and its run; modes that nobody here
        can fix are missing."""
        chosen: dict[str, tuple[float, str]] = {}
        for name, repair in self.repairs.items():
            price = self.price_repairs((name,)).cost / self.takes(name)
            for mode in repair_modes(self.knowledge, repair):
                if mode not in chosen or price < chosen[mode][0]:
                    chosen[mode] = (price, name)
        return {mode: name for mode, (_, name) in chosen.items()}

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


def _likely_outcomes(seen: Iterable[WeighedFinding]) -> dict[str, str]:
    """The likelier-than-not outcome of everything seen, as it was seen last."""
    likely = [(s.name, max(s.weights, key=lambda o: s.weights[o]), s.weights) for s in seen]
    return {name: outcome for name, outcome, w in likely if w[outcome] > 0.5 * sum(w.values())}
