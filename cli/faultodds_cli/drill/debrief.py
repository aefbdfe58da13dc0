"""The end of a drill, worked out: the best plan on the same call, what each step gave away, what each finding should have done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from msgspec.structs import replace

from faultodds_cli.drill.game import Drill, Step
from faultodds_cli.drill.levels import traps
from faultodds_cli.drill.words import Move

if TYPE_CHECKING:
    from faultodds.advice import Advice
    from faultodds.belief import Belief
    from faultodds.calibration import Drilled
    from faultodds_cli.trial.visit import TrialJob

Tick = Callable[[int, int], None]
Done = tuple[Move, ...]
_NOTHING: Done = ()
# A fault is named beside the truth when a finding moves it by so much.
MOVES = 0.03


@dataclass(frozen=True)
class GaveAway:
    """One step beside the best move there, and how much dearer the whole job was likely to be with the step that was taken;
    None where that was not worked out. `told`: the share of what was open that a check could answer, else None; `why`: why the
    best move there is advised. Where a question was best and the step was work, the two losses are told apart: work is held beside
    the best work, and `first` is what was to be asked before it, with what that was worth."""

    step: Step
    best: Move
    lost: float | None
    told: float | None
    why: str
    first: tuple[Move, float] | None = None

    @property
    def in_all(self) -> float | None:
        """How much dearer than the best move there, the question counted in."""
        return None if self.lost is None else self.lost + (self.first[1] if self.first else 0.0)


@dataclass(frozen=True)
class Moved:
    """What a finding should have done: for the truth and what it moved most, the chance before and after, and one's own (None
    where it was not named). `seen`: how often it is found on calls that began so, and on all others of those that the job could
    have been until then."""

    step: Step
    faults: dict[str, tuple[float, float]]
    own: dict[str, tuple[float | None, float | None]]
    seen: dict[str, tuple[float, float]]


@dataclass(frozen=True)
class Debrief:
    """A drill and all that its end tells; `best` is the same call played by the plan, `plan` its steps."""

    drill: Drill
    best: TrialJob
    plan: list[Step]
    steps: list[GaveAway]
    moved: list[Moved]
    traps: list[str]

    @property
    def truth(self) -> str:
        """The component that began it."""
        return self.drill.visit.call.main_cause.partition(".")[0]


@dataclass
class Adviser:
    """The advice at each point of a call, worked out once for every way there: on one call the same moves find the same."""

    tick: Tick
    known: dict[object, Advice] = field(default_factory=dict)

    def at(self, step: Step, done: Done, visit: TrialJob, asking: bool = True) -> Advice:
        """The advice where a step was taken, after the moves that were `done`; without `asking`, the best work there."""
        from faultodds.advice import advise

        key = (done, step.situation.state, asking)
        if key not in self.known:
            self.tick(len(self.known), len(self.known) + 1)
            self.known[key] = advise(visit.appliance, step.belief, replace(step.situation, asking=asking))
        return self.known[key]


def debrief(drill: Drill, fresh: TrialJob, tick: Tick = lambda done, of: None) -> Debrief:
    """Work out the end of a drill. `fresh` is the same call once more, on a simulated machine of its own."""
    adviser = Adviser(tick)
    seen = drill.visit
    steps, done = list[GaveAway](), _NOTHING
    for step in drill.steps:
        if step.move.kind != "state":
            steps.append(_gave_away(adviser, step, done, seen))
        done = _then(done, step.move)
    there = traps(seen)
    return Debrief(drill, fresh, best_plan(fresh, adviser), steps, _moved(drill), there)


def _gave_away(adviser: Adviser, step: Step, done: Done, visit: TrialJob) -> GaveAway:
    """A step beside the best move there; work that is dearer than the best work by more than a question is held beside that."""
    advice = adviser.at(step, done, visit)
    lost, told = _lost(advice, step, visit), _told(advice, step)
    asked = next((q.worth for q in advice.questions if (advice.kind, advice.name) == ("ask", q.question.name)), None)
    if asked is None or step.move.kind == "ask":
        return GaveAway(step, _move(advice), lost, told, advice.why)
    work = adviser.at(step, done, visit, asking=False)
    beside = None if lost is None else max(lost - asked, 0.0)
    if beside is not None and beside < asked:
        return GaveAway(step, _move(advice), lost, told, advice.why)
    return GaveAway(step, _move(work), beside, told, work.why, (_move(advice), asked))


def best_plan(visit: TrialJob, adviser: Adviser) -> list[Step]:
    """Play a call by the advice to its end."""
    drill, done = Drill(visit, lambda question: None), _NOTHING
    while not visit.over:
        step = Step(Move("close"), None, visit.belief, visit.situation)
        step.move = _move(adviser.at(step, done, visit))
        drill.carry_out(step)
        step.minutes, step.cost = visit.minutes, visit.cost
        drill.steps.append(step)
        done = _then(done, step.move)
    return drill.steps


def _then(done: Done, move: Move) -> Done:
    return done if move.kind == "state" else (*done, move)


def _move(advice: Advice) -> Move:
    """What is advised, as a move."""
    if advice.kind == "repair":
        return Move("repair", advice.work)
    if advice.kind in ("ask", "check"):
        return Move(advice.kind, (advice.name,))
    return Move("close" if advice.kind == "stop" else "refer")


def _lost(advice: Advice, step: Step, visit: TrialJob) -> float | None:
    """How much dearer the job is likely to be with a step than with the best one there."""
    move, k = step.move, visit.appliance.knowledge
    if _same(_move(advice), move):
        return 0.0
    worth = {q.question.name: q.worth for q in advice.questions}
    unasked = advice.expected_cost + (worth.get(advice.name, 0.0) if advice.kind == "ask" else 0.0)
    price: float | None
    if move.kind == "ask":
        price = unasked - worth.get(move.names[0], -k.costs.ask_minutes * visit.rate)
    elif move.kind == "check":
        price = next((c.expected_cost for c in advice.checks if c.name == move.names[0] and c.priced), None)
    elif move.kind == "repair":
        wanted = set(move.names)
        price = next((r.expected_cost for r in advice.repairs if {r.name, *r.together} == wanted), None)
    else:
        price = k.costs.refer if move.kind == "refer" else None
    return None if price is None else max(price - advice.expected_cost, 0.0)


def _told(advice: Advice, step: Step) -> float | None:
    bits = next((c.bits for c in advice.checks if step.move.names == (c.name,)), None)
    return None if bits is None or step.belief.missing_bits <= 0 else bits / step.belief.missing_bits


def _same(one: Move, other: Move) -> bool:
    return one.kind == other.kind and set(one.names) == set(other.names)


def _moved(drill: Drill) -> list[Moved]:
    """Every step that taught something, with the odds around it."""
    from faultodds.calibration import began, bounded

    k, truth = drill.k, drill.visit.call.main_cause.partition(".")[0]
    told = [s for s in drill.steps if s.named is not None]
    found = []
    for here, then in zip(told, [*told[1:], None], strict=True):
        last = drill.steps[drill.steps.index(then) - 1] if then else drill.steps[-1]
        if last.move.kind not in ("ask", "check") or not last.shown:
            continue
        before, after = (began(b, k) for b in (last.belief, then.belief if then else drill.visit.belief))
        most = max((f for f in before if f != truth), key=lambda f: abs(after[f] - before[f]))
        shown = [truth, *([most] if abs(after[most] - before[most]) >= MOVES else [])]
        was, is_now = bounded(here.named or {}), bounded((then.named if then else here.named) or {})
        mine = {f: (was.get(f), is_now.get(f)) for f in shown} if then else {}
        chances = {f: (before[f], after[f]) for f in shown}
        found.append(Moved(last, chances, mine, _seen(last, then.belief if then else drill.visit.belief, chances)))
    return found


def _seen(step: Step, then: Belief, chances: dict[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    """By Bayes' rule, backwards: the chance of a plain finding with a fault and without it, from the odds around it."""
    new = then.evidence.seen[len(step.belief.evidence.seen) :]
    if len(new) != 1 or step.belief.evidence.seen != then.evidence.seen[:-1] or len(new[0].weights) != 1:
        return {}
    overall = step.belief.outcome_odds(new[0].name)[next(iter(new[0].weights))]
    return {
        f: (after / before * overall, (1 - after) / (1 - before) * overall)
        for f, (before, after) in chances.items()
        if 0 < before < 1
    }


def left_undone(end: Debrief) -> list[tuple[str, float]]:
    """The repairs that were as good as found to be needed when the learner went, one a component, each with the chance that what
    it puts right was there. None where going was best."""
    from faultodds.advice import AS_GOOD_AS_FOUND

    last = end.steps[-1] if end.steps else None
    if last is None or last.step.move.kind not in ("close", "refer") or last.best.kind == last.step.move.kind:
        return []
    undone: dict[str, tuple[str, float]] = {}
    for name, chance in sorted(_needed(last.step.belief, end.drill.visit), key=lambda r: -round(r[1], 2)):
        parts = {mode.partition(".")[0] for mode in end.drill.k.repair[name].fixes}
        if chance >= AS_GOOD_AS_FOUND and not parts & undone.keys():
            undone |= dict.fromkeys(parts, (name, chance))
    return list(dict.fromkeys(undone.values()))


def _needed(belief: Belief, visit: TrialJob) -> list[tuple[str, float]]:
    """The repairs that the learner may do on this machine, cheapest first, each with the chance that it is needed now."""
    k, s = visit.appliance.knowledge, belief.suspects
    rows = []
    for name, repair in sorted(k.repair.items(), key=lambda r: r[1].cost):
        fits = all(visit.facts.get(f) == v for f, v in repair.needs.items()) and not repair.by_others
        if fits and (visit.qualified or not repair.qualified):
            mends = [i for i, m in enumerate(s.modes) if {m, m.partition(".")[0]} & {*repair.fixes}]
            rows.append((name, float(belief.now[s.member[:, mends].any(axis=1)].sum())))
    return rows


def result(end: Debrief, name: str, chosen: bool) -> Drilled:
    """What is kept of a drill that has ended."""
    from faultodds.calibration import Drilled

    visit = end.drill.visit
    return Drilled(
        drill=name,
        truth=end.truth,
        forecasts=end.drill.forecasts,
        cost=visit.cost,
        best=end.best.cost,
        wrong_parts=visit.wrong_parts,
        slip=end.drill.slip,
        chosen=chosen,
        program=program_too_sure(end.drill),
        given_away=given_away(end),
    )


def given_away(end: Debrief) -> float:
    """How much dearer the steps were than the best ones there, by what was known at each; a question that was not asked was lost
    once. A step too dear to be priced is taken to have gained nothing: it lost what it cost; going, what comes back by the odds."""
    total, questions, costs = 0.0, set[Move](), end.drill.k.costs
    paid = {id(step): step.cost - before for step, before in _with_cost_before(end.drill.steps)}
    for g in end.steps:
        asked, worth = g.first or (g.best, 0.0)
        if asked in questions and asked is g.best:
            continue
        if g.lost is not None:
            total += g.lost
        elif g.step.move.kind == "close":
            total += (1.0 - g.step.belief.sound) * (costs.callback + costs.travel)
        else:
            total += paid[id(g.step)]
        if asked not in questions:
            total += worth
        if asked.kind == "ask":
            questions.add(asked)
    return total


def _with_cost_before(steps: Sequence[Step]) -> Iterable[tuple[Step, float]]:
    return zip(steps, (0.0, *(s.cost for s in steps[:-1])), strict=True)


def program_too_sure(drill: Drill) -> list[float]:
    """How much too sure the program's own odds were wherever the learner said his."""
    from faultodds.calibration import bounded, faults, leading, too_sure

    known, truth = faults(drill.k), drill.visit.call.main_cause.partition(".")[0]
    told = (s.belief for s in drill.steps if s.named is not None)
    return [too_sure(bounded(leading(belief, drill.k)), truth, known) for belief in told]
