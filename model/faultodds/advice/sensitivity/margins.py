"""What would have to be different for the advice to change: one input at a time.

An input is moved away from what it is now, everything else staying as it is, until another move would save more than a
margin against the one advised. A question at each end of a sensible range says which inputs matter; for those the point of change
is closed in on along the straight line between what the change would save at both sides (false position).
Past the ends of the range, and between the points asked, nothing is claimed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from faultodds.advice import advisor as advice
from faultodds.advice.advisor import NextMove
from faultodds.advice.machine import MachineStates
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.sensitivity.inputs import Case, Input, inputs_for
from faultodds.advice.situation import Situation
from faultodds.belief import Appliance, Belief

# Another move counts from this share of the job's expected cost on; closer than that, either will do.
MARGIN_SHARE = 0.01
# Questions asked of the engine at most; each is a decision, from the most promising moves alone.
EVALUATIONS = 40
WIDTHS = (8, 4)
# A point of change is closed in on until both sides are this close in relative terms.
CLOSE = 0.08

Tick = Callable[[int, int], None]


@dataclass(frozen=True)
class Edge:
    """One direction of one input: where the advice changes and what it then is; `at` is None when it stays as far as
    `looked_to`, where the whole job costs `cost` (None when the questions ran out before that was asked)."""

    looked_to: float
    cost: float | None = None
    at: float | None = None
    then: NextMove | None = None


@dataclass(frozen=True)
class WhatIf:
    """One input: what it is now, and how far down (`below`) and up (`above`) it may go; None where it cannot go that way.

    `kind` says what the numbers are: odds (a chance), money, minutes, or blind (share of looks that tell nothing).
    """

    name: str
    title: str
    kind: str
    now: float
    below: Edge | None
    above: Edge | None

    @property
    def changes(self) -> bool:
        """Whether the advice changes anywhere in the range."""
        return any(e is not None and e.at is not None for e in (self.below, self.above))


@dataclass(frozen=True)
class Sensitivity:
    """The advice, the next best move and how much more it costs (`extra`), and the what-ifs, those that matter first.

    `asked`: the question that comes before it, if any. `forced`: a rule puts the move first whatever it costs (the run after
    a repair, what is owed, what nobody here may put right), so no input changes that.
    """

    move: NextMove
    next_best: NextMove | None
    extra: float
    margin: float
    forced: bool
    what_ifs: tuple[WhatIf, ...]
    evaluations: int
    asked: NextMove | None = None


def sensitivity(
    appliance: Appliance,
    belief: Belief,
    situation: Situation | None = None,
    margin: float | None = None,
    evaluations: int = EVALUATIONS,
    tick: Tick | None = None,
) -> Sensitivity:
    """What would change the advice. `margin` is money; unless given it is MARGIN_SHARE of the job's expected cost in the
    case that is looked at.

    Deterministic: the work is limited by the number of `evaluations`, not by the clock. `tick(done, most)` is called
    after each.
    """
    appliance = appliance.fitted(belief.evidence.facts)
    ask = _Asker(MachineStates(appliance.knowledge), evaluations, tick or (lambda done, most: None))
    case = Case(appliance, belief, situation or Situation())
    now = ask(case)
    best = now.move
    others = sorted((m for m in now.options if _key(m) != _key(best)), key=lambda m: m.expected_cost)
    next_best = others[0] if others else None
    extra = next_best.expected_cost - best.expected_cost if next_best else 0.0
    limit = _limit(best, margin)
    found: list[WhatIf] = []
    if not now.forced:
        seek = _Search(ask, case, best, margin)
        found = seek.all(inputs_for(case, [best, *others[:1]]), min(-extra - limit, 0.0))
    return Sensitivity(best, next_best, extra, limit, now.forced, tuple(found), ask.done, now.asked)


def options(ranking: Ranking) -> list[NextMove]:
    """Everything that could be done next, each with the expected cost of the whole job."""
    problem = ranking.problem
    moves = [NextMove("repair", r.name, r.together, r.expected_cost) for r in ranking.repairs]
    if ranking.stop_cost < float("inf"):
        moves.append(NextMove("stop", "", (), ranking.stop_cost))
    moves.append(NextMove("refer", "", (), problem.refer_cost))
    return moves + [NextMove("check", c.name, (), c.expected_cost) for c in ranking.checks]


def _limit(move: NextMove, margin: float | None) -> float:
    return MARGIN_SHARE * move.expected_cost if margin is None else margin


def _key(move: NextMove) -> tuple[str, str, tuple[str, ...]]:
    return move.kind, move.name, move.together


@dataclass(frozen=True)
class _Answer:
    """The advice in one case, and everything it was chosen from; whether a rule chose it, and the question before it."""

    move: NextMove
    options: list[NextMove]
    forced: bool = False
    asked: NextMove | None = None

    def saves(self, against: NextMove) -> float:
        """How much dearer it is to do `against` than the best of the rest, negative where it is cheaper; infinite when it cannot
        be done."""
        price = next((m.expected_cost for m in self.options if _key(m) == _key(against)), float("inf"))
        return price - min((m.expected_cost for m in self.options if _key(m) != _key(against)), default=price)


@dataclass
class _Asker:
    """Asks the engine, and counts."""

    machine: MachineStates
    most: int
    tick: Tick
    done: int = 0

    def __call__(self, case: Case) -> _Answer:
        problem = Problem(case.appliance, case.belief, case.situation)
        # Ways between machine states do not depend on anything that is varied.
        problem.ways = self.machine
        first = self.done == 0
        ranking = Ranking(problem) if first else Ranking(problem, WIDTHS)
        move = advice.cheapest(ranking)
        answer = _Answer(move, options(ranking))
        if first:
            then = advice.asked_first(ranking, move, advice.to_ask(ranking))
            forced = _key(move) != _key(advice.rather(ranking))
            answer = _Answer(move, answer.options, forced, then if then.kind == "ask" else None)
        self.done += 1
        self.tick(self.done, self.most)
        return answer

    @property
    def left(self) -> int:
        """Questions that may still be asked."""
        return self.most - self.done


@dataclass
class _Side:
    """One direction of one input while it is looked into: the last point where the advice stays, the first where it does
    not, each with how much more than the margin another move saves there (negative where the advice stays)."""

    input: Input
    end: float
    stays: float
    less: float
    cost: float | None = None
    changed: float | None = None
    more: float = 0.0
    then: NextMove | None = None

    def edge(self) -> Edge:
        """What was found."""
        if self.changed is None:
            return Edge(self.stays, self.cost)
        return Edge(self.end, self.cost, self.point(), self.then)

    def point(self, held_off: float = 0.0) -> float:
        """Where the advice changes, by what is known, `held_off` from both sides; half-way where one cannot be priced."""
        assert self.changed is not None
        along = -self.less / (self.more - self.less) if math.isfinite(self.more - self.less) else 0.5
        off = min(held_off / self.input.apart(self.stays, self.changed), 0.5)
        return self.input.between(self.stays, self.changed, min(max(along, off), 1.0 - off))

    @property
    def open(self) -> bool:
        """Whether the point of change is not yet pinned down."""
        return self.changed is not None and self.input.apart(self.stays, self.changed) > CLOSE


@dataclass
class _Search:
    """Looks into every input for one piece of advice."""

    ask: _Asker
    case: Case
    move: NextMove
    margin: float | None
    sides: dict[tuple[str, bool], _Side] = field(default_factory=dict)

    def all(self, inputs: list[Input], less: float) -> list[WhatIf]:
        """Every input, those that change the advice first; `less`: what another move saves now, less the margin."""
        for up in (False, True):
            for x in inputs:
                end = x.high if up else x.low
                if end != x.now:
                    self.sides[x.name, up] = _Side(x, end, x.now, less)
        for side in self.sides.values():
            self._try(side, side.end)
        self._close_in()
        found = [self._what_if(x) for x in inputs]
        return sorted(found, key=lambda w: not w.changes)

    def _close_in(self) -> None:
        """Every range in turn, so that a limit on questions leaves all points equally rough."""
        held_off = math.inf  # half-way first, since the advice may change more than once
        while self.ask.left > 0 and any(s.open for s in self.sides.values()):
            for side in self.sides.values():
                if side.open:
                    self._try(side, side.point(held_off))
            held_off = 0.9 * CLOSE  # so near to the likely point that the next answer may well close it

    def _try(self, side: _Side, value: float) -> None:
        if self.ask.left <= 0:
            return
        answer = self.ask(side.input.case(self.case, value))
        if value == side.end:
            side.cost = answer.move.expected_cost
        saved = answer.saves(self.move) - _limit(answer.move, self.margin)
        if saved > 0 and _key(answer.move) != _key(self.move):
            side.changed, side.more, side.then = value, saved, answer.move
        else:
            side.stays, side.less = value, min(saved, 0.0)

    def _what_if(self, x: Input) -> WhatIf:
        down, up = self.sides.get((x.name, False)), self.sides.get((x.name, True))
        return WhatIf(x.name, x.title, x.kind, x.now, down.edge() if down else None, up.edge() if up else None)
