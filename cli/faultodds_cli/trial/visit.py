"""One job under one policy: what has been seen and done, what it cost, and the truth that only the end reveals.

Every policy works through a `TrialJob`, so all of them pay by the same book: the knowledge file's minutes and prices, the
ways between machine states, a verification run after repairs, and what comes of leaving.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultodds.advice import CLOSED_UP, MachineStates, Problem, Situation, State, Way
from faultodds.belief import Appliance, Belief, Evidence, WeighedFinding, infer, repair_effect
from faultodds.errors import ClashError
from faultodds.knowledge import Work
from faultodds_cli.trial.bridge import complaint_of, facts_of, weights_of
from faultodds_sim.call import Observation, SimCall
from faultodds_sim.names import NOTHING, UNLISTED
from faultodds_sim.repairs import CURES

ACCESS, CHECKS, REPAIRS, PARTS = "access", "checks", "repairs", "parts"
VERIFICATION, CALLBACKS, REFERRAL = "verification", "callbacks", "handing_over"
STAGES = (ACCESS, CHECKS, REPAIRS, PARTS, VERIFICATION, CALLBACKS, REFERRAL)
#: Checks and repairs on one job, and repairs alone, before it is handed over.
MOST_MOVES, MOST_REPAIRS = 40, 7
#: Log of the chance of all the evidence under which something in it is taken for a mistake.
FAINT = float(np.log(1e-12))


_ways: dict[str, MachineStates] = {}


def ways(appliance: Appliance) -> MachineStates:
    """The ways between machine states of an appliance, worked out once in a process."""
    return _ways.setdefault(appliance.fingerprint, MachineStates(appliance.knowledge))


@dataclass
class TrialJob:
    """A service call as one policy lives it.

    `who` is the simulator's technician. `money` is by stage; `minutes` on the clock, closing up included. `ending` is
    empty until the job is "closed" or "handed over". `unknown`: what the customer was asked and cannot tell. `steps` is
    what was done, in words, for `--trace`; `shown` what the last check gave.
    """

    appliance: Appliance
    call: SimCall
    who: str = "T2"
    qualified: bool = True
    state: State = CLOSED_UP
    unknown: frozenset[str] = frozenset()
    repaired: list[str] = field(default_factory=list)
    money: dict[str, float] = field(default_factory=lambda: dict.fromkeys(STAGES, 0.0))
    minutes: float = 0.0
    checks: int = 0
    live_checks: int = 0
    wrong_parts: int = 0
    came_back: bool = False
    put_right: bool = False
    ending: str = ""
    steps: list[str] = field(default_factory=list)
    shown: Observation | None = None

    def __post_init__(self) -> None:
        self.call.reset()
        self.machine = ways(self.appliance)
        self.facts = facts_of(self.appliance.knowledge, self.call)
        self.appliance = self.appliance.fitted(self.facts)
        self.seen: list[WeighedFinding] = list(complaint_of(self.call))
        self._belief: Belief | None = None

    # --- what is known ---

    @cached_property
    def rate(self) -> float:
        """Labour per minute."""
        return self.appliance.knowledge.costs.labour_rate / 60.0

    @property
    def cost(self) -> float:
        """Everything paid so far."""
        return sum(self.money.values())

    @property
    def over(self) -> bool:
        """Whether the technician has left."""
        return bool(self.ending)

    @property
    def situation(self) -> Situation:
        """Where the technician stands."""
        return Situation(self.state, self.unknown, self.qualified, asking=True)

    @property
    def belief(self) -> Belief:
        """Fault odds from everything seen."""
        while self._belief is None:
            try:
                self._belief = self._inferred(self.seen)
            except ClashError as clash:
                self._take_back(next(s for s in self.seen if s.label in clash.findings))
        return self._belief

    def _inferred(self, seen: Sequence[WeighedFinding]) -> Belief:
        repairs = tuple(repair_effect(self.appliance.knowledge, name) for name in self.repaired)
        return infer(self.appliance.suspects, Evidence(self.facts, tuple(seen), repairs))

    def _take_in(self, new: WeighedFinding) -> None:
        """Add a finding. While it can hardly be, given the rest, the earlier finding that fits worst is taken back, to be
        looked at again; the oldest of them where several fit as badly.
        """
        while self.seen and self.belief.log_evidence + self._log_chance(new) < FAINT:
            rest = [self._inferred([s for s in self.seen if s is not odd]).log_evidence for odd in self.seen]
            self._take_back(self.seen[int(np.argmax(np.round(rest, 9)))])
        self.seen.append(new)
        self._belief = None

    def _log_chance(self, new: WeighedFinding) -> float:
        odds = self.belief.outcome_odds(new.name)
        return float(np.log(max(sum(odds[o] * w for o, w in new.weights.items()), 1e-300)))

    def _take_back(self, odd: WeighedFinding) -> None:
        self._note(f"does not fit the rest, taken back: {odd.label}")
        self.seen = [s for s in self.seen if s is not odd]
        self._belief = None

    @property
    def problem(self) -> Problem:
        """The decision at hand."""
        problem = Problem(self.appliance, self.belief, self.situation)
        problem.ways = self.machine
        return problem

    def last(self, check: str) -> str:
        """The likeliest outcome of a check when it was last done; empty when it has not been."""
        found = next((s for s in reversed(self.seen) if s.name == check), None)
        return max(found.weights, key=lambda o: found.weights[o]) if found else ""

    # --- what is done ---

    def check(self, name: str) -> str:
        """Do a check, pay for it, take in what it shows; return the likeliest outcome."""
        if self._worn_out():
            return ""
        k = self.appliance.knowledge
        verifying = name == k.costs.verify
        self.go(self.machine.to_work(self.state, k.check[name]))
        self._pay(VERIFICATION if verifying else CHECKS, k.check[name])
        self.checks += not verifying
        self.live_checks += k.check[name].qualified
        self.shown = shown = self.call.check(name, self.who)
        weights = weights_of(k, shown, self.facts)
        take = sum(s.name == name for s in self.seen)
        new = WeighedFinding(name, weights, len(self.repaired), take)
        self._note(f"{name}: {shown.text} -> {new.label.partition('=')[2]}")
        self._take_in(new)
        return self.last(name)

    def ask(self, symptom: str) -> None:
        """Ask the customer something and take in the answer; what they cannot tell is not asked again."""
        minutes = self.appliance.knowledge.costs.ask_minutes
        self.minutes += minutes
        self.money[CHECKS] += minutes * self.rate
        answer = self.call.ask(symptom)
        self._note(f"asked {symptom}: {answer or 'does not know'}")
        if answer is None:
            self.unknown |= {symptom}
        else:
            self._take_in(WeighedFinding(symptom, {answer: 1.0}, len(self.repaired)))

    def verify(self) -> bool:
        """Do the verification run; whether it was good."""
        k = self.appliance.knowledge
        verify = k.costs.verify
        return self.check(verify) == next(iter(k.check[verify].outcomes))

    def repair(self, names: Sequence[str]) -> bool:
        """Do some repairs and the verification run; whether the run was good."""
        return self.mend(names) and self.verify()

    def mend(self, names: Sequence[str]) -> bool:
        """Do some repairs; whether the technician is still there."""
        for name in names:
            if self._worn_out(repairs=1):
                return False
            self._repair(name)
        return True

    def _repair(self, name: str) -> None:
        repair = self.appliance.knowledge.repair[name]
        self.go(self.machine.to_work(self.state, repair))
        self._pay(REPAIRS, repair, PARTS)
        needed = any(name in CURES.get(mode, ()) for mode in self.call.modes_left)
        wrong = repair.cost > 0 and not repair.by_others and not needed
        self.wrong_parts += wrong
        took = self.call.repair(name)
        self.repaired.append(name)
        self.unknown = frozenset()  # what the customer could not tell is looked for now
        self._belief = None
        self._note(f"REPAIR {name}" + (" (was not faulty)" if not needed else "" if took else " (does not take)"))

    def close(self) -> None:
        """Close up and leave; a machine that is not right costs a callback and then the right repairs."""
        if self.over:
            return
        self._leave("closed")
        costs = self.appliance.knowledge.costs
        works = self.call.works()
        self.came_back = not works or self.call.comes_back()
        self.put_right = works and not self.came_back
        if self.came_back:
            self.money[CALLBACKS] += costs.callback + costs.travel + self._left_to_do(works)
        self._note("closed" + (", and COMES BACK" if self.came_back else ""))

    def hand_over(self) -> None:
        """Close up and hand the job on, or have the machine replaced."""
        if not self.over:
            self._leave("handed over")
            self.money[REFERRAL] += self.appliance.knowledge.costs.refer
            self._note("handed over")

    def _left_to_do(self, works: bool) -> float:
        """Price of what is left after a callback, for one who knows it; nothing when the machine was right after all."""
        left = sorted(self.call.modes_left - {NOTHING})
        if works and not left:
            return 0.0
        refer = self.appliance.knowledge.costs.refer
        if UNLISTED in left or not left:
            return refer
        chosen = {self.cheapest_cure(mode) for mode in left}
        return refer if None in chosen else min(refer, self.price_of([c for c in chosen if c]))

    def cheapest_cure(self, mode: str) -> str | None:
        """The least dear repair that truly puts a mode right and that this technician may do."""
        allowed = [name for name in CURES.get(mode, ()) if self.may(name)]
        return min(allowed, key=lambda n: (self._own(n), n), default=None)

    def may(self, repair: str) -> bool:
        """Whether this technician may do a repair on this machine."""
        record = self.appliance.knowledge.repair[repair]
        fits = all(self.facts.get(f, v) == v for f, v in record.needs.items())
        return fits and (self.qualified or not record.qualified)

    def price_of(self, names: Sequence[str]) -> float:
        """Price of some repairs with one verification run, from a closed machine to a closed machine."""
        k = self.appliance.knowledge
        way = self.machine.way(CLOSED_UP, {i for n in names for i in k.repair[n].access})
        run = self.machine.to_work(way.after, k.check[k.costs.verify])
        verify = k.check[k.costs.verify]
        minutes = way.charged + run.charged + self.machine.closing_up(run.after).charged + verify.minutes
        return minutes * self.rate + verify.cost + sum(self._own(n) for n in sorted(names))

    def _own(self, repair: str) -> float:
        record = self.appliance.knowledge.repair[repair]
        return record.minutes * self.rate + record.cost

    # --- keeping the books ---

    def _worn_out(self, repairs: int = 0) -> bool:
        """Whether the technician has left or leaves now, for too many moves or one repair too many."""
        many = self.checks + len(self.repaired) >= MOST_MOVES
        if not self.over and (many or len(self.repaired) + repairs > MOST_REPAIRS):
            self._note("enough is enough")
            self.hand_over()
        return self.over

    def go(self, way: Way) -> None:
        """Open, shut or move what a way says, and pay for it."""
        self.state = way.after
        self.minutes += way.minutes
        self.money[ACCESS] += way.minutes * self.rate

    def _pay(self, stage: str, work: Work, parts: str = "") -> None:
        self.minutes += work.minutes
        self.money[stage] += work.minutes * self.rate
        self.money[parts or stage] += work.cost

    def _leave(self, ending: str) -> None:
        self.go(self.machine.closing_up(self.state))
        self.ending = ending

    def _note(self, text: str) -> None:
        self.steps.append(f"{self.minutes:5.0f} min {self.cost:7.0f}  {text}")
