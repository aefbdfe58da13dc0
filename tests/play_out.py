"""The advice played out on the model's own belief: what a job costs when every move is what the program says.

The truth is drawn from the belief, outcomes from the likelihoods, and every repair takes with its own chance. The books are
those of the trial: labour, parts, access, closing up, handing over, and for leaving a machine that is not right a callback
and then its repairs by somebody who knows them.
"""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from msgspec.structs import replace

from faultodds.advice import CLOSED_UP, MachineStates, NextMove, Problem, Situation, State, best_move
from faultodds.advice.ranking import Ranking
from faultodds.belief import Appliance, Belief, Evidence, RepairEffect, WeighedFinding, infer, repair_effect
from faultodds.knowledge import Floats, repair_modes

#: Moves of one job before it is handed over.
MOST_MOVES = 40
#: The chance of a way that a job may go, and what was seen and repaired on it.
Course: TypeAlias = tuple[float, list[WeighedFinding], list[RepairEffect]]
#: Outcomes less likely than this are not followed where luck is taken out.
SELDOM = 1e-4


@dataclass
class Player:
    """One point to play from, with what has been advised already: many jobs share their first moves."""

    appliance: Appliance
    evidence: Evidence
    situation: Situation = field(default_factory=Situation)

    def __post_init__(self) -> None:
        self.machine = MachineStates(self.appliance.knowledge)
        self.belief = infer(self.appliance.suspects, self.evidence)
        self._advised: dict[object, NextMove] = {}
        self.problem = Problem(self.appliance, self.belief, self.situation)
        costs = self.appliance.knowledge.costs
        self.rate = (self.situation.labour_rate or costs.labour_rate) / 60.0

    def jobs(self, count: int, seed: int, first: NextMove | None = None) -> Floats:
        """Cost of each of `count` jobs, the first move given or advised; truths spread evenly over the belief."""
        rng = np.random.default_rng(seed)
        points = (rng.permutation(count) + rng.random(count)) / count
        truths = np.minimum(np.searchsorted(np.cumsum(self.belief.now), points), len(self.belief.now) - 1)
        return np.array([self.job(int(t), f"{seed} {i}", first) for i, t in enumerate(truths)])

    def job(self, truth: int, luck: str, first: NextMove | None = None) -> float:
        """Cost of one job with this suspect as the truth. `luck` names the chances that decide what is shown and what takes:
        two ways of playing one job meet the same."""
        k, s = self.appliance.knowledge, self.appliance.suspects
        seen, repairs, state = list(self.evidence.seen), list(self.evidence.repairs), self.situation.state
        owed, cost, never = self.machine.owed(state), 0.0, set[str]()
        for step in range(MOST_MOVES):
            move = first if step == 0 and first is not None else self._move(seen, repairs, state)
            names = (move.name, *move.together)
            if move.kind == "refer":
                break
            if move.kind == "stop":
                return cost + self._close(state, owed) + self._left(truth)
            for name in names:
                work = k.check.get(name) or k.repair[name]
                way = self.machine.to_work(state, work)
                cost, state = cost + (way.minutes + work.minutes) * self.rate + work.cost, way.after
                if name in k.check:
                    like = s.likelihood[s.rows[name], truth]
                    take = sum(o.name == name for o in seen)
                    point = random.Random(f"{luck} {name} {len(repairs)} {take}").random()
                    shown = s.observables[name][int(np.searchsorted(np.cumsum(like), point * like.sum()))]
                    seen.append(WeighedFinding(name, {shown: 1.0}, len(repairs), take, len(self.evidence.waits)))
                else:
                    effect = repair_effect(self.appliance.knowledge, name)
                    repairs.append(effect)
                    point = random.Random(f"{luck} {name} {sum(r.name == name for r in repairs)}").random()
                    if name not in never and point < effect.success:
                        truth = int(s.removal(repair_modes(k, k.repair[name]))[truth])
                    elif point > 1.0 - (1.0 - effect.success) * effect.lasting:
                        never.add(name)
        return cost + self._close(state, owed) + k.costs.refer

    def ahead(self, move: NextMove) -> float:
        """What a check, or repairs with their run, cost by one step of looking ahead: themselves, and on average what is printed
        after all that they may show."""
        run = [self.appliance.knowledge.costs.verify] if move.kind == "repair" else []
        state, spent, ways = self.situation.state, 0.0, [(1.0, list(self.evidence.seen), list(self.evidence.repairs))]
        for name in (move.name, *move.together, *run):
            price, state, ways = self._done(name, state, ways)
            spent += price
        after = [(chance, self._going_on(seen, repairs, state)) for chance, seen, repairs in ways]
        return spent + sum(chance * cost for chance, cost in after) / sum(chance for chance, _ in after)

    def _done(self, name: str, state: State, ways: Sequence[Course]) -> tuple[float, State, list[Course]]:
        """The price of one piece of work, the machine state after it, and what may have been seen by then."""
        work = self.appliance.knowledge.check.get(name) or self.appliance.knowledge.repair[name]
        way = self.machine.to_work(state, work)
        spent = (way.charged + work.minutes) * self.rate + work.cost
        return spent, way.after, [after for way_here in ways for after in self._shows(name, *way_here)]

    def _going_on(self, seen: list[WeighedFinding], repairs: list[RepairEffect], state: State) -> float:
        """What is printed, or what leaving comes to."""
        move = self._move(seen, repairs, state)
        return self._leaving(seen, repairs) if move.kind == "stop" else move.expected_cost

    def _leaving(self, seen: list[WeighedFinding], repairs: list[RepairEffect]) -> float:
        belief = self._belief(seen, repairs)
        return sum(float(belief.now[h]) * self._left(int(h)) for h in np.flatnonzero(belief.now > 1e-9))

    def steadied(self, count: int, seed: int, first: NextMove) -> Floats:
        """What `jobs` costs with its luck taken out: the same mean, far less spread, at some three times the decisions.

        A played job costs what was printed first, and at every move what the move costs and what is printed after it, on average
        over all that it may show, less what was printed before. Only the way from move to move is drawn.
        """
        return np.array([self._steadied(first, np.random.default_rng([seed, n])) for n in range(count)])

    def _steadied(self, move: NextMove, rng: np.random.Generator) -> float:
        seen, repairs, state = list(self.evidence.seen), list(self.evidence.repairs), self.situation.state
        price = move.expected_cost
        for _ in range(MOST_MOVES):
            if move.kind == "refer":
                break
            if move.kind == "stop":
                return price + self._leaving(seen, repairs) - move.expected_cost
            spent = 0.0
            ways: list[Course] = [(1.0, seen, repairs)]
            for name in (move.name, *move.together):
                cost, state, ways = self._done(name, state, ways)
                spent += cost
            moves = [self._move(seen, repairs, state) for _, seen, repairs in ways]
            chances = np.array([chance for chance, _, _ in ways]) / sum(chance for chance, _, _ in ways)
            price += spent + float(chances @ [m.expected_cost for m in moves]) - move.expected_cost
            drawn = int(rng.choice(len(ways), p=chances))
            move, (_, seen, repairs) = moves[drawn], ways[drawn]
        return price

    def _shows(self, name: str, chance: float, seen: list[WeighedFinding], repairs: list[RepairEffect]) -> list[Course]:
        """The chance, findings and repairs after everything that one piece of work may show; a repair shows nothing yet."""
        if name not in self.appliance.knowledge.check:
            return [(chance, seen, [*repairs, repair_effect(self.appliance.knowledge, name)])]
        take, visit = sum(o.name == name for o in seen), len(self.evidence.waits)
        odds = self._belief(seen, repairs).outcome_odds(name)
        findings = ((p, WeighedFinding(name, {o: 1.0}, len(repairs), take, visit)) for o, p in odds.items())
        return [(chance * p, [*seen, finding], repairs) for p, finding in findings if p > SELDOM]

    def _belief(self, seen: list[WeighedFinding], repairs: list[RepairEffect]) -> Belief:
        return infer(self.appliance.suspects, replace(self.evidence, seen=tuple(seen), repairs=tuple(repairs)))

    def _move(self, seen: list[WeighedFinding], repairs: list[RepairEffect], state: State) -> NextMove:
        key = (tuple((o.name, *o.weights, o.stage) for o in seen), tuple(r.name for r in repairs), state)
        if key not in self._advised:
            where = Situation(
                state,
                self.situation.skipped,
                self.situation.qualified,
                self.situation.labour_rate,
                self.situation.effort,
            )
            self._advised[key] = best_move(self.appliance, self._belief(seen, repairs), where, self.machine)
        return self._advised[key]

    def _close(self, state: State, owed: float) -> float:
        """Closing up, less what was owed at the start: prices of advice count from where the technician stands."""
        return (self.machine.closing_up(state).charged + self.machine.owed(state) - owed) * self.rate

    def _left(self, truth: int) -> float:
        s, k = self.appliance.suspects, self.appliance.knowledge
        if truth == s.sound:
            return 0.0
        known = self.problem.mode_repair
        chosen = {known.get(s.modes[i]) for i in np.flatnonzero(s.member[truth])}
        refer = k.costs.refer
        told = refer
        if None not in chosen:
            price = self.problem.price_repairs([n for n in chosen if n], CLOSED_UP)
            told = min(refer, price.cost)
        return k.costs.callback + k.costs.travel + told


def seen_of(findings: Mapping[str, str], stage: int = 0) -> tuple[WeighedFinding, ...]:
    """Plain findings."""
    return tuple(WeighedFinding(name, {outcome: 1.0}, stage) for name, outcome in findings.items())


def job_price(appliance: Appliance, belief: Belief, refer: float | None = None, rate: float | None = None) -> float:
    """Price of the whole job by its best move, at a price of handing over or a labour rate."""
    k = appliance.knowledge
    if refer is not None:
        k = dataclasses.replace(k, costs=dataclasses.replace(k.costs, refer=refer))
    ranking = Ranking(Problem(dataclasses.replace(appliance, knowledge=k), belief, Situation(labour_rate=rate)))
    priced = [m.expected_cost for m in [*ranking.checks, *ranking.repairs] if m.priced]
    return min([*priced, ranking.stop_cost, ranking.problem.refer_cost])


def ladder(appliance: Appliance, belief: Belief, points: Sequence[float], how: str) -> Floats:
    """Price of the job at each of some prices of handing over (`how` is "refer") or labour rates ("rate")."""
    return np.array([job_price(appliance, belief, **{how: float(x)}) for x in points])


def worst_break(prices: Floats) -> tuple[float, float]:
    """The largest fall from one step of a ladder to the next, and the largest dip below the line between its neighbours, as
    shares of the price: a price must rise with each, and every fixed plan is linear in it, so the best of them is concave."""
    fall = float(np.max(-np.diff(prices) / prices[:-1]))
    middle = 0.5 * (prices[:-2] + prices[2:])
    return max(fall, 0.0), max(float(np.max((middle - prices[1:-1]) / prices[1:-1])), 0.0)
