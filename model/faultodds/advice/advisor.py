"""What to do next: ranked checks and repairs, and one piece of advice.

`advise(appliance, belief, situation)` is the whole of it. Checks and repairs are ranked by the expected cost of the whole
job; the advice is the cheapest of: a question, a check, a repair, leaving (only after the machine has passed a verification
run), or handing the job over.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from faultodds.advice import words
from faultodds.advice.machine import MachineStates
from faultodds.advice.problem import AS_GOOD_AS_FOUND, Problem
from faultodds.advice.questions import STRAYS, QuestionPrice, open_questions, priced_questions
from faultodds.advice.ranking import TELLS_NOTHING, CheckPrice, Ranking, RepairPrice
from faultodds.advice.situation import Situation
from faultodds.advice.stopping import same_repair_probability, value_of_perfect_information
from faultodds.belief import Appliance, Belief
from faultodds.knowledge import UNLISTED_MODE, repair_modes
from faultodds.safety import run_attended, run_shows_only, unmended

Kind = Literal["ask", "check", "repair", "stop", "refer"]

# From this chance on, or where nothing is likelier, a cause that is not on the file's list is said in plain words.
UNLISTED_LEADS = 0.25
# Moves within this share of the cheapest, or within so many minutes of labour, are as good as even: the prices are no better than
# that, and nobody wants to be sent round the machine for pennies.
CLOSE = 0.003
CLOSE_MINUTES = 0.5
# A run that passes with a smaller chance than this only shows again what was seen since the repair; where it is cheapest all the
# same, it is made. By trade sense (common practice, no source).
MAY_PASS = 0.05


class Advice(Struct, frozen=True):
    """The next move.

    `kind` and `name` say what to do (`together`: further repairs to do before the same verification run; `name` is that of a
    fact or symptom to ask, and empty for stop and refer). `questions`: what may be asked, where there is somebody to ask.
    `expected_cost` is that of the whole job from here. `evpi`: the most that perfect information could still save.
    `same_repair`: chance that after every check still open the likeliest cause would call for the repairs advised (the same,
    more or fewer), or unless any are for those that the likeliest cause calls for now.
    `at_once`: what a finding asks for before anything else, such as shutting the gas. `for_safety`: it is done because a danger
    may be left, not for what it saves.
    """

    kind: Kind
    name: str
    together: tuple[str, ...]
    expected_cost: float
    evpi: float
    same_repair: float
    why: str
    notes: tuple[str, ...]
    checks: list[CheckPrice]
    repairs: list[RepairPrice]
    questions: list[QuestionPrice]
    at_once: tuple[str, ...] = ()
    for_safety: bool = False

    @property
    def work(self) -> tuple[str, ...]:
        """The checks or repairs to do, in order; none where the advice is to ask, to leave or to hand over."""
        return (self.name, *self.together) if self.kind in ("check", "repair") else ()

    @property
    def listed_checks(self) -> list[CheckPrice]:
        """Every check that can be done now, an advised one first, then the best first."""
        return sorted(self.checks, key=lambda check: self.kind != "check" or check.name != self.name)

    @property
    def telling_checks(self) -> list[CheckPrice]:
        """The checks worth naming: those that tell something. An advised one leads."""
        return [c for c in self.listed_checks if c.tells or (self.kind, self.name) == ("check", c.name)]


def advise(appliance: Appliance, belief: Belief, situation: Situation | None = None) -> Advice:
    """Rank what can be done next and say what to do. Deterministic: same inputs, same answer."""
    ranking = Ranking(Problem(appliance, belief, situation or Situation()))
    questions = to_ask(ranking)
    best = cheapest(ranking)
    move = asked_first(ranking, best, questions)
    asked = next((q for q in questions if (move.kind, move.name) == ("ask", q.question.name)), None)
    same = same_repair_probability(ranking, (move.name, *move.together) if move.kind == "repair" else ())
    return Advice(
        kind=move.kind,
        name=move.name,
        together=move.together,
        expected_cost=move.expected_cost,
        evpi=value_of_perfect_information(ranking, move.expected_cost),
        same_repair=same,
        why=words.again(ranking, move.kind, (move.name, *move.together))
        + (words.why_ask(ranking, asked) if asked else words.why(ranking, move.kind, move.name, same)),
        notes=_notes(ranking.problem, move),
        checks=_listed(ranking, best),
        repairs=ranking.repairs,
        questions=questions,
        at_once=ranking.problem.run_stopped,
        for_safety=ranking.for_safety(move.name),
    )


def _listed(ranking: Ranking, best: NextMove) -> list[CheckPrice]:
    """The checks, the best first; on a call that came back, before them the one that goes before what is as cheap."""
    first = best.name if best.kind == "check" and ranking.problem.behind_return else ""
    return sorted(ranking.checks, key=lambda check: check.name != first)


class NextMove(Struct, frozen=True):
    """The next move alone; the fields are those of `Advice`."""

    kind: Kind
    name: str
    together: tuple[str, ...]
    expected_cost: float


def best_move(
    appliance: Appliance,
    belief: Belief,
    situation: Situation | None = None,
    machine: MachineStates | None = None,
) -> NextMove:
    """What `advise` says to do, without its reasons: for trials and drills, which ask thousands of times.

    `machine` is this appliance's ways between machine states, to keep from one question to the next.
    """
    problem = Problem(appliance, belief, situation or Situation())
    if machine is not None:
        problem.ways = machine
    ranking = Ranking(problem)
    return asked_first(ranking, cheapest(ranking), to_ask(ranking))


def to_ask(ranking: Ranking) -> list[QuestionPrice]:
    """What may be asked, where there is somebody to ask and nothing has to be done at once."""
    problem = ranking.problem
    return priced_questions(ranking) if problem.situation.asking and not problem.run_stopped else []


def asked_first(ranking: Ranking, move: NextMove, questions: list[QuestionPrice]) -> NextMove:
    """The question worth most in place of a move, where there is one; before a repair, whether this machine has what it is
    for, and nothing else where the fault is as good as found: nobody leaves an open part in hand to ask about the rest.
    `questions`: those that pay."""
    problem = ranking.problem
    if not problem.situation.asking or move.kind == "stop":
        return move
    if move.kind == "repair":
        needed = [f for n in (move.name, *move.together) for f in problem.untold(n)]
        known = {q.question.name: q.worth for q in questions}
        for question in open_questions(problem.knowledge, problem.belief.evidence, problem.situation.skipped):
            if question.name in needed:
                return NextMove("ask", question.name, (), move.expected_cost - max(known.get(question.name, 0.0), 0.0))
    if not questions or _as_good_as_found(problem, move):
        return move
    return NextMove("ask", questions[0].question.name, (), move.expected_cost - questions[0].worth)


def cheapest(ranking: Ranking) -> NextMove:
    """The cheapest of: the best repair, leaving, handing over, the best check; of those as good as even, the one that a
    technician would rather do.

    Nobody leaves a machine that must not run; where nobody here may put right what bars it, it is handed over. After a repair
    it runs first, unless a fault as good as found is left that can be put right here: then that is done, or what is clearly
    cheaper; unless it hardly can pass, by what was seen since; and unless a check for its cause is owed, as of a fuse. Work for
    qualified people waits while a check for anybody tells something of the same, and nobody leaves while a cause is owed that
    can be looked for.
    """
    if ranking.problem.beyond_us:
        return NextMove("refer", "", (), ranking.problem.refer_cost)
    if ranking.problem.unverified and ranking.problem.unwatched:
        return _without_a_watch(ranking)
    move = rather(ranking)
    verify = ranking.problem.knowledge.costs.verify
    run = next((c for c in ranking.checks if c.name == verify), None)
    if ranking.problem.unverified and not _as_good_as_found(ranking.problem, move):
        found = [r for r in map(_repair, ranking.repairs) if _as_good_as_found(ranking.problem, r)]
        dear = found and found[0].expected_cost > _near(ranking, move.expected_cost)
        if found and (run is None or move.kind == "repair" or not dear):
            return found[0]
        owed = _owed_check(ranking)
        if not found and owed is not None:  # a new fuse is not heated before its cause has been looked for
            return owed
        if not found and run is not None and next(iter(run.outcomes.values())) >= MAY_PASS:
            return NextMove("check", verify, (), run.expected_cost)
    return _looked_again(ranking, _owed_first(ranking, move))


def _without_a_watch(ranking: Ranking) -> NextMove:
    """A repair that cannot be proved, for want of what a watched run takes: a look that may do without, or it is handed over."""
    names = {name for name, _ in run_attended(ranking.problem.knowledge, ranking.problem.known)}
    looks = [c for c in ranking.checks if c.name in names]
    if len(looks) == len(names):
        return _check(min(looks, key=lambda c: c.price.cost))
    return NextMove("refer", "", (), ranking.problem.refer_cost)


def rather(ranking: Ranking) -> NextMove:
    """The cheapest move, or one within what the prices can bear of it that a technician would rather make: leave; put right
    what is probably the fault, and nothing else in place of a check; else the check that looks for what stops the machine, where
    something does, then the one that opens least and takes fewest tools, one for qualified people last. On a call that came back,
    what tells of the complaint goes before what is as cheap and does not. A check that tells nothing
    to speak of is none: what it could save is below the error of prices."""
    p = ranking.problem
    first = [c for c in ranking.checks if c.tells or c.name == p.knowledge.costs.verify][:1]
    here = [*map(_repair, ranking.repairs[:1]), *map(_check, first)]
    # Where even a check that tells nothing leads on to less than handing over costs, there is a way on: the best of the rest.
    way_on = here and any(c.priced and c.expected_cost < p.refer_cost for c in ranking.checks)
    refer = [] if way_on else [NextMove("refer", "", (), p.refer_cost)]
    best = min([NextMove("stop", "", (), ranking.stop_cost), *refer, *here], key=_cost)
    near = _near(ranking, best.expected_cost)
    if ranking.stop_cost <= near:
        return NextMove("stop", "", (), ranking.stop_cost)
    unsure = best.kind == "repair" and not any(r.chance >= AS_GOOD_AS_FOUND for r in ranking.repairs[:1])
    if best.kind != "check" and not (unsure and first and first[0].expected_cost <= near):
        return best
    free = first[0].price.cost <= 0
    finish = next((r for r in ranking.repairs[:1] if r.chance >= AS_GOOD_AS_FOUND and r.expected_cost <= near), None)
    if finish is not None and not free:
        return _repair(finish)
    even = _of_the_return(ranking, best.expected_cost)
    even = even or [c for c in ranking.checks if c.priced and c.tells and c.expected_cost <= near] or first
    even = [c for c in even if not p.knowledge.check[c.name].qualified] or even

    def trouble(c: CheckPrice) -> tuple[bool, int, int, float]:
        aside = bool(p.behind_bars) and not ranking.tells_of(c.name, p.behind_bars)
        return aside, sum(m.opens for m in c.price.way.moves), len(p.knowledge.check[c.name].tools), c.expected_cost

    return _check(min(even, key=trouble))


def _of_the_return(ranking: Ranking, cost: float) -> list[CheckPrice]:
    """On a call that came back, the checks that tell most of whether what is complained of now is so, of those that cost no more
    than the cheapest within what prices stray; none otherwise. Whoever was there before has seen to the rest."""
    faults = ranking.problem.behind_return
    close = [c for c in ranking.checks if c.priced and c.tells and c.expected_cost <= (1 + STRAYS) * cost]
    told = {c.name: ranking.told_of(c.name, faults) for c in close} if faults else {}
    most = max(told.values(), default=0.0)
    return [c for c in close if most >= TELLS_NOTHING and told[c.name] >= most / 2]


def _near(ranking: Ranking, cost: float) -> float:
    """The most that may be paid for a move as good as even with one of this cost."""
    return cost + max(CLOSE * cost, CLOSE_MINUTES * ranking.problem.rate)


def _cost(move: NextMove) -> float:
    return move.expected_cost


def _check(check: CheckPrice) -> NextMove:
    return NextMove("check", check.name, (), check.expected_cost)


def _repair(repair: RepairPrice) -> NextMove:
    return NextMove("repair", repair.name, repair.together, repair.expected_cost)


def _owed_first(ranking: Ranking, move: NextMove) -> NextMove:
    """The cheapest check that is owed, in place of leaving without it."""
    return (_owed_check(ranking) if move.kind == "stop" else None) or move


def _owed_check(ranking: Ranking) -> NextMove | None:
    """The cheapest check that looks for a cause that is owed; None when there is none."""
    left = [c for c in ranking.checks if c.name in ranking.problem.owed_checks]
    return _check(min(left, key=lambda c: c.price.cost)) if left else None


def _looked_again(ranking: Ranking, move: NextMove) -> NextMove:
    """After a run that passed: what was seen with the machine stopped by it, looked at again, in place of any other move; a
    symptom where there is somebody to say what it shows. Nobody leaves what is still so or cannot be looked at."""
    problem = ranking.problem
    left = problem.look_again if problem.verified else ()
    for name in left:
        check = next((c for c in ranking.checks if c.name == name), None)
        if check is not None:
            return _check(check)
        if problem.tells_again(name):
            return NextMove("ask", name, (), move.expected_cost)
    if (left or problem.unexplained) and move.kind == "stop" and problem.situation.asking:
        return _behind(ranking, left)
    return move


def _behind(ranking: Ranking, names: tuple[str, ...]) -> NextMove:
    """What is cheapest if one of the faults is there that are behind some findings: a check, putting one right, or handing over.

    By the odds as they are nothing may be wrong; but what is still so, or gone unexplained, is not left at that.
    """
    problem = ranking.problem
    s, faults = problem.belief.suspects, problem.behind(names)
    there = s.member[:, sorted(s.mode_index[m] for m in faults)].any(axis=1) * problem.belief.now
    refer = NextMove("refer", "", (), problem.refer_cost)
    if not there.sum():
        return refer
    given = Problem(problem.appliance, replace(problem.belief, now=there / there.sum()), problem.situation)
    given.ways, given.known, given.as_found = problem.ways, problem.known, problem.belief
    priced = Ranking(given)
    mends = [_repair(r) for r in priced.repairs if faults & problem.put_right((r.name, *r.together))]
    checks = [_check(c) for c in priced.checks if c.tells]
    best = min([refer, *mends[:1], *checks[:1]], key=_cost)  # each list has what waits for others last
    # Priced by the odds as they are, as everything else that is shown.
    now = [refer, *map(_check, ranking.checks), *map(_repair, ranking.repairs)]
    return next((m for m in now if (m.kind, m.name, m.together) == (best.kind, best.name, best.together)), best)


def _as_good_as_found(problem: Problem, move: NextMove) -> bool:
    """Whether the move puts right a fault that is as good as found, so that a run before it would only fail."""
    return move.kind == "repair" and max(problem.found([n]) for n in (move.name, *move.together)) >= AS_GOOD_AS_FOUND


def _notes(problem: Problem, move: NextMove) -> tuple[str, ...]:
    """Things to say beside the advice."""
    notes: list[str] = []
    odds = problem.belief.fault_odds()
    unlisted = next(o.probability for o in odds if o.name == UNLISTED_MODE)
    if unlisted >= UNLISTED_LEADS or (odds[0].name == UNLISTED_MODE and unlisted > problem.belief.sound):
        notes.append(
            f"What you found fits nothing on this file's list well: a cause it does not know has {words.percent(unlisted)}. "
            "Look with open eyes, re-check the oddest reading, or ask someone who knows this machine."
        )
    records = dict(problem.knowledge.modes())
    if problem.owed and (
        problem.stage or move.kind in ("stop", "refer")
    ):  # of a fault only found, its own advice says so
        faults = " and ".join(problem.knowledge.title_of(mode) for mode in problem.owed)
        checks = " or ".join(dict.fromkeys(c for owed in problem.owed.values() for c in owed))
        notes.append(
            f"Still owed: what brought it on ({faults}). Find and mend that, or measure that it is right: {checks}."
        )
    notes += run_shows_only(problem.knowledge, [r.name for r in problem.belief.evidence.repairs])
    if move.kind == "stop":
        notes += _seen_and_left(problem)
    if move.kind == "repair":
        for name in (move.name, *move.together):
            modes = repair_modes(problem.knowledge, problem.knowledge.repair[name])
            chance = {o.name: o.probability for o in odds}
            leading = max(chance[m] for m in modes)
            notes += [records[m].advice for m in modes if records[m].advice and chance[m] >= 0.5 * leading]
    return tuple(dict.fromkeys(notes))


def _seen_and_left(problem: Problem) -> Iterator[str]:
    """What was seen to be wrong and nobody put right, with the cheapest work that would."""
    k, evidence = problem.knowledge, problem.belief.evidence
    for left in unmended(k, [r.name for r in evidence.repairs], evidence.seen):
        mends = [r for r in (k.repair[n] for n in problem.repairs) if left.mode in repair_modes(k, r)]
        work = min(mends, key=lambda r: r.cost + r.minutes * problem.rate, default=None)
        while_here = f" While you are here: {work.title}." if work else ""
        yield f"{left.name}={left.outcome} was found ({k.title_of(left.mode)}), and not put right.{while_here}"
