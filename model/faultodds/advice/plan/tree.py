"""The whole plan: the tree of what may be found and what to do then, to a chosen depth.

Each step is what the advice says with everything found on the way there. The likeliest branches are worked out first, for as
many decisions as are allowed; unlikely ones are put together, and the technician asks again if one of them comes up. What
lies ahead of a step is its own price plus what lies ahead of its branches, weighed by their chances, so the sums in the tree
add up.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from msgspec.structs import replace

from faultodds.advice.advisor import Kind, NextMove, best_move
from faultodds.advice.doing import instructions
from faultodds.advice.machine import MachineStates, State
from faultodds.advice.plan.ahead import Ahead, look_ahead, mixed
from faultodds.advice.problem import AS_GOOD_AS_FOUND, Problem
from faultodds.advice.questions import answer_odds, answered, question_of
from faultodds.advice.situation import Situation, may_be
from faultodds.belief import Appliance, Belief, Evidence, WeighedFinding, infer, repair_effect
from faultodds.errors import FaultoddsError
from faultodds.knowledge import Work, fitted
from faultodds.safety import Line, Move

DEPTH = 3
NODES = 40
# The deepest and largest plan that is worked out.
DEEPEST = 8
MOST_NODES = 500
# Branches less likely than this, counted from the start of the plan, are put together.
POOLED = 0.02
# Outcomes less likely than this cannot be reasoned from, and are left out.
NEVER = 1e-9

Tick = Callable[[int, int], None]


@dataclass(frozen=True)
class Hint:
    """What one outcome would point to: its chance at its step, and the mode that would lead, with the chance it would have."""

    outcome: str
    chance: float
    mode: str
    probability: float


@dataclass(frozen=True)
class Branch:
    """What may be found at a step: one outcome, or several unlikely ones together (none for "when that is done").

    `chance` is that of the branch at its step, `reach` counted from the start. `then` is the next step, or None where the
    plan does not go on and the technician asks again; `hints` say for each outcome what it would point to.
    """

    outcomes: tuple[str, ...]
    chance: float
    reach: float
    ahead: Ahead
    then: PlanStep | None
    hints: tuple[Hint, ...]


@dataclass(frozen=True)
class PlanStep:
    """One step of the plan; `kind`, `name` and `together` as in the advice.

    `verify`: the repair ends with the verification run, whose outcomes are the branches. `lines`: its instructions, those of
    the run among them; `moves`: what is opened, closed or shut off on the way; `after`: what is open then. `cost` and
    `minutes` are the step's own, `spent_cost` and `spent_minutes` those of the path before it, `ahead` is from here to the end
    of the job. `cut`: the branches were not worked out (depth or decisions ran out). `likeliest`: the leading mode when the
    step comes up, with its chance.
    """

    kind: Kind
    name: str
    together: tuple[str, ...]
    verify: bool
    lines: tuple[Line, ...]
    after: State
    minutes: float
    cost: float
    spent_minutes: float
    spent_cost: float
    reach: float
    ahead: Ahead
    likeliest: tuple[str, float]
    branches: tuple[Branch, ...]
    cut: bool

    @property
    def moves(self) -> tuple[Move, ...]:
        """What is opened, closed or shut off on the way."""
        return tuple(line.move for line in self.lines if line.move is not None)

    def steps(self) -> Iterator[PlanStep]:
        """This step and all those below it, each before its branches."""
        yield self
        for branch in self.branches:
            if branch.then is not None:
                yield from branch.then.steps()


@dataclass(frozen=True)
class Plan:
    """A plan: its first step, how deep it goes, and how many decisions were worked out for it."""

    first: PlanStep
    depth: int
    decisions: int


def make_plan(
    appliance: Appliance,
    belief: Belief,
    situation: Situation | None = None,
    depth: int = DEPTH,
    nodes: int = NODES,
    tick: Tick | None = None,
) -> Plan:
    """The plan from here: `depth` moves along every path at most, `nodes` decisions in all.

    Deterministic. `tick(done, known)` is called after each decision with how many are done and how many are known
    to be needed by then. Raises FaultoddsError for a depth or a number of nodes out of range.
    """
    _in_range("depth", depth, DEEPEST)
    _in_range("nodes", nodes, MOST_NODES)
    grower = _Grower(appliance.fitted(belief.evidence.facts), depth, nodes, tick)
    first = grower.grow(belief, situation or Situation())
    return Plan(grower.finished(first), depth, grower.decisions)


def _in_range(name: str, value: int, most: int) -> None:
    if not 1 <= value <= most:
        raise FaultoddsError(f"--{name} {value}: give 1 to {most}. Type for example --{name} {min(most, 3)}.")


@dataclass
class _Node:
    """A place in the plan while it grows. `belief` and `situation` are those of the place."""

    belief: Belief
    situation: Situation
    level: int
    reach: float
    spent_minutes: float = 0.0
    spent_cost: float = 0.0
    move: NextMove | None = None
    work: _Work | None = None
    children: list[tuple[tuple[str, ...], float, _Node]] = field(default_factory=list)


@dataclass(frozen=True)
class _Work:
    """What one move takes from where the machine is: money, minutes, its instructions, the state after."""

    minutes: float
    cost: float
    lines: tuple[Line, ...]
    after: State

    def then(self, more: _Work) -> _Work:
        return _Work(self.minutes + more.minutes, self.cost + more.cost, self.lines + more.lines, more.after)


class _Grower:
    """Grows a plan, the likeliest place first, then sums it up from its ends."""

    def __init__(self, appliance: Appliance, depth: int, nodes: int, tick: Tick | None) -> None:
        self.appliance, self.k = appliance, appliance.knowledge
        self.depth, self.nodes = depth, nodes
        self.tick = tick or (lambda done, known: None)
        self.machine = MachineStates(self.k)
        self.decisions = 0

    # --- growing ---

    def grow(self, belief: Belief, situation: Situation) -> _Node:
        """The first place, with everything below it."""
        first = _Node(belief, situation, 1, 1.0)
        queue, met = [(-1.0, 0, first)], 1
        while queue and self.decisions < self.nodes:
            _, _, node = heapq.heappop(queue)
            self._decide(node)
            if node.level <= self.depth:
                self._branch(node)
            for _, _, child in node.children:
                # Ties go to the place met first, so the order never depends on what cannot be compared.
                if child.reach >= POOLED:
                    heapq.heappush(queue, (-child.reach, met, child))
                    met += 1
            self.tick(self.decisions, min(self.nodes, self.decisions + len(queue)))
        return first

    def _decide(self, node: _Node) -> None:
        self.decisions += 1
        node.move = best_move(self.appliance, node.belief, node.situation, self.machine)
        if node.move.kind == "ask":
            minutes = self.k.costs.ask_minutes
            node.work = _Work(minutes, minutes * self._rate(node) / 60.0, (), node.situation.state)
        elif node.move.kind in ("check", "repair"):
            node.work = self._work(node, node.situation.state, (node.move.name, *node.move.together), node.belief)

    def _branch(self, node: _Node) -> None:
        """What may be found after the node's move."""
        assert node.move is not None
        if node.move.kind == "ask":
            self._answers(node, node.move.name)
        elif node.move.kind == "check":
            self._outcomes(node, node.belief, node.move.name)
        elif node.move.kind == "repair":
            self._after_repair(node)

    def _after_repair(self, node: _Node) -> None:
        """A repair ends with its run, unless the advice is to put right one more fault first."""
        assert node.work is not None
        evidence = node.belief.evidence
        done = infer(node.belief.suspects, self._repaired(evidence, node.move))
        verify = self.k.costs.verify
        if self._runs_next(done, node):
            node.work = node.work.then(self._work(node, node.work.after, (verify,), done))
            self._outcomes(node, done, verify)
        else:
            node.children.append(((), 1.0, self._child(node, done, 1.0)))

    def _runs_next(self, done: Belief, node: _Node) -> bool:
        """Whether the run comes right after the repair. No fault is as good as found in a machine that is likely right."""
        if done.sound > 1.0 - AS_GOOD_AS_FOUND and self.k.costs.verify not in node.situation.skipped:
            return True
        assert node.work is not None
        self.decisions += 1
        there = _moved(node.situation, node.work.after)
        return best_move(self.appliance, done, there, self.machine).name == self.k.costs.verify

    def _repaired(self, evidence: Evidence, move: NextMove | None) -> Evidence:
        assert move is not None
        names = (move.name, *move.together)
        fixed = tuple(repair_effect(self.k, name) for name in names)
        return replace(evidence, repairs=evidence.repairs + fixed)

    def _answers(self, node: _Node, name: str) -> None:
        question = question_of(self.k, name)
        for answer, chance in answer_odds(node.belief, question).items():
            if chance > NEVER:
                after = answered(node.belief, question, answer)
                node.children.append(((answer,), chance, self._child(node, after, chance)))

    def _outcomes(self, node: _Node, belief: Belief, check: str) -> None:
        for outcome, chance in belief.outcome_odds(check).items():
            if chance > NEVER:
                seen = WeighedFinding(
                    check, {outcome: 1.0}, stage=len(belief.evidence.repairs), visit=len(belief.evidence.waits)
                )
                after = infer(belief.suspects, belief.evidence.plus(seen))
                node.children.append(((outcome,), chance, self._child(node, after, chance)))

    def _child(self, node: _Node, belief: Belief, chance: float) -> _Node:
        assert node.work is not None
        minutes, cost = node.spent_minutes + node.work.minutes, node.spent_cost + node.work.cost
        there = _moved(node.situation, node.work.after)
        # A question takes no depth. One is asked, first; what else may be asked then is not part of the plan.
        level = node.level if node.move is not None and node.move.kind == "ask" else node.level + 1
        return _Node(belief, replace(there, asking=False), level, node.reach * chance, minutes, cost)

    def _work(self, node: _Node, state: State, names: tuple[str, ...], belief: Belief) -> _Work:
        """Pieces of work one after the other, each from the state that the one before it leaves."""
        rate = self._rate(node)
        known = may_be(self.k, belief.evidence, belief)
        out = _Work(0.0, 0.0, (), state)
        for told in instructions(
            fitted(self.k, belief.evidence.facts), self.machine, names, state, known, proved=False
        ):
            record: Work = self.k.check.get(told.name) or self.k.repair[told.name]
            minutes = told.way.charged + record.minutes
            out = out.then(_Work(minutes, minutes * rate / 60.0 + record.cost, told.lines, told.after))
        return out

    def _rate(self, node: _Node) -> float:
        told = node.situation.labour_rate
        return self.k.costs.labour_rate if told is None else told

    # --- summing up ---

    def finished(self, node: _Node) -> PlanStep:
        """A decided place and everything below it, as they are handed out."""
        move = node.move
        assert move is not None
        branches = tuple(self._branches(node))
        work = node.work or _Work(0.0, 0.0, (), node.situation.state)
        cut = not branches and move.kind in ("ask", "check", "repair")
        verify = move.kind == "repair" and (cut or any(b.outcomes for b in branches))
        if cut and verify:
            # Where nobody has looked at what comes after a repair, its run does.
            done = infer(node.belief.suspects, self._repaired(node.belief.evidence, move))
            work = work.then(self._work(node, work.after, (self.k.costs.verify,), done))
        top = node.belief.fault_odds()[0]
        return PlanStep(
            kind=move.kind,
            name=move.name,
            together=move.together,
            verify=verify,
            lines=work.lines,
            after=work.after,
            minutes=work.minutes,
            cost=work.cost,
            spent_minutes=node.spent_minutes,
            spent_cost=node.spent_cost,
            reach=node.reach,
            ahead=self._ahead(node, branches),
            likeliest=(top.name, top.probability),
            branches=branches,
            cut=cut,
        )

    def _ahead(self, node: _Node, branches: tuple[Branch, ...]) -> Ahead:
        move = node.move
        assert move is not None
        if move.kind == "refer":
            return Ahead(move.expected_cost, 0.0, 0.0)
        if move.kind == "stop":
            return Ahead(move.expected_cost, 0.0, node.belief.sound)
        if not branches:
            guess = self._guess(node)
            return Ahead(move.expected_cost, guess.minutes, guess.today)
        assert node.work is not None
        onward = mixed([(b.chance, b.ahead) for b in branches]).plus(node.work.cost, node.work.minutes)
        theirs = move.kind == "repair" and any(self.k.repair[n].by_others for n in (move.name, *move.together))
        return Ahead(onward.cost, onward.minutes, 0.0 if theirs else onward.today)

    def _branches(self, node: _Node) -> Iterator[Branch]:
        """The branches that go on, likeliest first, then the rest together."""
        kept = [c for c in node.children if c[2].move is not None]
        for outcomes, chance, child in sorted(kept, key=lambda c: -c[1]):
            step = self.finished(child)
            yield Branch(outcomes, chance, child.reach, step.ahead, step, _hints([(outcomes, chance, child)]))
        rest = [c for c in node.children if c[2].move is None]
        if rest:
            outcomes = tuple(o for names, _, _ in rest for o in names)
            ahead = mixed([(chance, self._guess(child)) for _, chance, child in rest])
            yield Branch(outcomes, sum(c[1] for c in rest), sum(c[2].reach for c in rest), ahead, None, _hints(rest))

    def _guess(self, node: _Node) -> Ahead:
        problem = Problem(self.appliance, node.belief, node.situation)
        problem.ways = self.machine
        return look_ahead(problem)


def _hints(children: list[tuple[tuple[str, ...], float, _Node]]) -> tuple[Hint, ...]:
    """What each of some outcomes points to, the likeliest outcome first."""
    found = []
    for outcomes, chance, child in sorted(children, key=lambda c: -c[1]):
        top = child.belief.fault_odds()[0]
        found += [Hint(outcome, chance, top.name, top.probability) for outcome in outcomes]
    return tuple(found)


def _moved(situation: Situation, state: State) -> Situation:
    """The same technician with the machine in another state."""
    return replace(situation, state=state, effort=1)
