"""Questions as moves: what has not been told of the machine, the house and the complaint, and what each answer is worth.

Asking costs a fraction of a minute. What an answer is worth is what the job costs without it, less what it costs after each
answer, weighed by the chances of the answers; all of them priced alike, roughly, so that the difference can be trusted more than
either. A fact about the equipment changes what work there is and the way to it, so the decision after it is set up anew.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from faultodds.advice.problem import Problem
from faultodds.advice.ranking import BIT_PRICES, MIDDLE, Ranking
from faultodds.advice.rollout import Rollout
from faultodds.advice.situation import Situation
from faultodds.belief import Appliance, Belief, Evidence, WeighedFinding, answer_chances, infer
from faultodds.knowledge import Floats, Knowledge

# How finely, and from how many of the most promising moves, the job is priced after each answer: one that only changes the odds,
# and one about the equipment, which changes what there is to do, so that rough prices before and after it do not err alike.
ROUGH, FINE = (0.035, 8), (0.01, 3)
# So many questions about the house and the complaint, those that tell most about the repairs needed, are priced at the machine.
ASKED = 3
# A question is priced when, at the price of a bit, what it tells is worth this many times the asking.
PAYS = 2.0
# An answer less likely than this is not priced.
SELDOM = 0.005
# So many sets of answers to the questions chosen before, the likeliest, are kept apart.
APART = 40
# What a question saves is the difference of two rough prices. Work is broken off only for one that saves more than so much of the
# price of the job: on random states one answer in twenty seems to make a job dearer by up to this, which none can
# (`tests/advice/test_questions.py`).
STRAYS = 0.02


class Question(Struct, frozen=True):
    """Something not told yet. `answers`: each with its words; `kind` says where the answer goes."""

    kind: Literal["fact", "symptom", "check"]
    name: str
    text: str
    answers: Mapping[str, str]


class QuestionPrice(Struct, frozen=True):
    """A question, the chance of each answer, the minutes of asking it, and its worth: the money that asking it first saves over
    the whole job, its own minutes paid."""

    question: Question
    chances: Mapping[str, float]
    minutes: float
    worth: float


def open_questions(
    knowledge: Knowledge, evidence: Evidence, skipped: Collection[str] = (), telephone: bool = False
) -> list[Question]:
    """What has not been told and may be asked now, in file order; by `telephone` the checks too that a customer can answer, which
    at the machine are done. Nothing once something has been repaired on this visit: the complaint was about the machine as it
    was."""
    k = knowledge
    if len(evidence.repairs) > evidence.begun:
        return []
    now = [s for s in evidence.seen if s.visit == len(evidence.waits)]
    told = {s.name: max(s.weights, key=s.weights.__getitem__) for s in now}
    ran = any(k.check[name].running for name in told.keys() & k.check.keys())
    out = [n for n in (*_equipment(k), *k.context) if n not in evidence.facts]
    asked = [n for n, s in k.symptom.items() if not s.looked_at and not (ran and s.seen_running)]
    asked += [n for n, check in k.check.items() if check.ask and telephone]
    for name in asked:
        each = k.symptom.get(name) or k.check[name]
        if (
            name not in told
            and all(evidence.facts.get(f) == v for f, v in each.needs.items())
            and not any(told.get(other) in outcomes for other, outcomes in each.unless.items())
        ):
            out.append(name)
    return [question_of(k, name) for name in out if name not in skipped]


def _equipment(k: Knowledge) -> list[str]:
    """The facts about the machine that change what may be wrong, what work there is, or the way to it."""
    work = [*k.check.values(), *k.repair.values()]
    used = {f for w in work for f in (*w.needs, *w.access_by)} | {f for s in k.symptom.values() for f in s.needs}
    return [n for n, fact in k.equipment.items() if fact.lacks or n in used]


def question_of(knowledge: Knowledge, name: str) -> Question:
    """A fact, a symptom or a check as a question."""
    fact = knowledge.equipment.get(name) or knowledge.context.get(name)
    if fact is not None:
        return Question("fact", name, fact.ask, fact.values)
    seen = knowledge.observables[name]
    return Question(
        "symptom" if name in knowledge.symptom else "check", name, seen.ask or f"{seen.title}?", seen.outcomes
    )


def priced_questions(ranking: Ranking, above: float = STRAYS, telephone: bool = False) -> list[QuestionPrice]:
    """The questions that save more than a share of the price of the job, the one worth most first (file order where equal). By
    `telephone`, before anybody stands waiting, all that tell anything are priced."""
    problem = ranking.problem
    minutes = problem.knowledge.costs.ask_minutes
    if not ranking.moves:
        return []
    open_now = open_questions(problem.knowledge, problem.belief.evidence, problem.situation.skipped, telephone)
    chosen = _telling(ranking, open_now, None if telephone else ASKED)
    telling = [(q, like, (like @ problem.weights).tolist()) for q, like in chosen]
    found = []
    for (question, _, chances), (now, after) in zip(telling, _costs(ranking, telling), strict=True):
        worth = now - sum(p * v for p, v in zip(chances, after, strict=True)) - minutes * problem.rate
        if worth > above * now:
            found.append(QuestionPrice(question, dict(zip(question.answers, chances, strict=True)), minutes, worth))
    return sorted(found, key=lambda q: -q.worth)


def best_questions(appliance: Appliance, belief: Belief, situation: Situation, count: int) -> list[QuestionPrice]:
    """The questions to put on the telephone, in order: the one worth most, then always the one that is worth most beside those
    before it. What two answers would both tell counts once."""
    problem = Problem(appliance, belief, replace(situation, asking=True))
    left = priced_questions(Ranking(problem), above=0.0, telephone=True)
    chosen: list[QuestionPrice] = []
    told, like = 0.0, np.ones((1, len(problem.weights)))
    while left and len(chosen) < count:
        each = [_likelihood(problem, q.question) for q in left]
        alone = np.array([bits_of(problem, x) for x in each])
        beside = np.array([bits_of(problem, _both(like, x)) for x in each])
        new = np.where(alone > 0, np.minimum((beside - told) / np.maximum(alone, 1e-12), 1.0), 1.0)
        adds = new * [q.worth for q in left]
        best = int(adds.argmax())
        if adds[best] <= 0:
            break
        told, like = float(beside[best]), _likeliest(problem, _both(like, each[best]))
        chosen.append(left.pop(best))
    return chosen


def _both(first: Floats, second: Floats) -> Floats:
    """(V1 * V2, A) chance of each pair of answers under each active suspect."""
    return np.asarray((first[:, None] * second[None]).reshape(-1, first.shape[1]))


def _likeliest(problem: Problem, like: Floats) -> Floats:
    """The likeliest sets of answers, all others as one: there are as many as the answers to every question multiplied."""
    order = np.argsort(-(like @ problem.weights), kind="stable")
    return np.vstack([like[order[:APART]], like[order[APART:]].sum(axis=0)]) if len(like) > APART else like


def answer_likelihood(belief: Belief, question: Question) -> Floats:
    """(V, H) chance of each answer under each suspect."""
    s = belief.suspects
    if question.kind != "fact":
        return s.likelihood[s.rows[question.name]]
    return answer_chances(s, belief.evidence.facts, question.name)


def answer_odds(belief: Belief, question: Question) -> dict[str, float]:
    """The chance of each answer now."""
    chances = answer_likelihood(belief, question) @ belief.now
    return dict(zip(question.answers, chances.tolist(), strict=True))


def _likelihood(problem: Problem, question: Question) -> Floats:
    """(V, A) chance of each answer under each active suspect."""
    return np.asarray(answer_likelihood(problem.belief, question)[:, problem.active])


def answered(belief: Belief, question: Question, answer: str) -> Belief:
    """The belief once a question has been answered."""
    evidence = belief.evidence
    if question.kind == "fact":
        return infer(belief.suspects, replace(evidence, facts={**evidence.facts, question.name: answer}))
    seen = WeighedFinding(question.name, {answer: 1.0}, len(evidence.repairs), visit=len(evidence.waits))
    return infer(belief.suspects, evidence.plus(seen))


def _costs(
    ranking: Ranking, telling: Sequence[tuple[Question, Floats, Sequence[float]]]
) -> list[tuple[float, list[float]]]:
    """For each question what the job costs now, and after each answer. Answers that only change the odds are priced together."""
    problem = ranking.problem
    equipment = [question.name in problem.knowledge.equipment for question, _, _ in telling]
    rows, places = [problem.weights], {}
    for (question, like, chances), made in zip(telling, equipment, strict=True):
        for answer, row, chance in zip(question.answers, like, chances, strict=True):
            if chance >= SELDOM and not made:
                places[question.name, answer] = len(rows)
                rows.append(problem.weights * row / chance)
    rough = _prices(ranking, np.array(rows), ROUGH) if not all(equipment) else [0.0]
    fine = _prices(ranking, problem.weights[None], FINE)[0] if any(equipment) else 0.0
    out = []
    for (question, _, chances), made in zip(telling, equipment, strict=True):
        if made:
            several = zip(question.answers, chances, strict=True)
            out.append((fine, [_made_so(problem, question, a) if p >= SELDOM else fine for a, p in several]))
        else:
            out.append((rough[0], [rough[places.get((question.name, answer), 0)] for answer in question.answers]))
    return out


def _made_so(problem: Problem, question: Question, answer: str) -> float:
    """What the job costs on a machine that is told to be made so."""
    then = Problem(problem.appliance, answered(problem.belief, question, answer), problem.situation)
    then.ways = problem.ways
    return _prices(Ranking(then), then.weights[None], FINE)[0]


def _prices(ranking: Ranking, weights: Floats, how: tuple[float, int]) -> list[float]:
    """About what the whole job costs from each row of chances of the active suspects (B, A), handing over counted in; `how`
    finely, and from how many moves."""
    (least, width), problem, policy = how, ranking.problem, ranking.policy
    weights = np.asarray(weights, dtype=problem.precision)
    bit_price = BIT_PRICES[MIDDLE] * policy.scale
    estimates = policy.estimates(problem.by_class(weights), ranking.moves, bit_price)
    first = np.argsort(estimates, axis=1, kind="stable")[:, :width].tolist()
    moves = [[ranking.moves[i] for i in own] for own in first]
    prices = Rollout(policy, least).prices_apart(weights, moves, bit_price)
    return [float(min(p.min(initial=np.inf), problem.refer_cost)) for p in prices]


def _telling(ranking: Ranking, questions: Sequence[Question], most: int | None) -> list[tuple[Question, Floats]]:
    """The questions worth pricing, with the (V, A) chance of each answer under each active suspect: all about the equipment,
    and of the others so many that tell `most` about which repairs are needed."""
    problem = ranking.problem
    equipment, others = [], []
    for question in questions:
        like = _likelihood(problem, question)
        if question.name in problem.knowledge.equipment:
            equipment.append((question, like))
        else:
            others.append((bits_of(problem, like), question, like))
    cost = problem.knowledge.costs.ask_minutes * problem.rate
    pays = [o for o in others if o[0] * BIT_PRICES[MIDDLE] * ranking.policy.scale > PAYS * cost]
    return equipment + [(q, like) for _, q, like in sorted(pays, key=lambda o: -o[0])[:most]]


def bits_of(problem: Problem, like: Floats) -> float:
    """What an observation of (V, A) likelihood tells about which repairs are needed, in bits."""
    joint = problem.by_class(np.asarray(like * problem.weights, dtype=np.float64))
    joint /= joint.sum()
    chances, classes = joint.sum(axis=1), joint.sum(axis=0)
    return _entropy(chances) + _entropy(classes) - _entropy(joint.reshape(-1))


def _entropy(p: Floats) -> float:
    p = p[p > 0]
    return float(-(p * np.log2(p)).sum())
