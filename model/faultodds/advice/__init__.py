"""What to do next: ranked checks and repairs, and one piece of advice.

`advise(appliance, belief, situation)` is the whole of it. Checks and repairs are ranked by the expected cost of the whole
job; the advice is the cheapest of: a check, a repair, leaving (only after the machine has passed a verification run),
or handing the job over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from faultodds.advice import words
from faultodds.advice.machine import CLOSED_UP, MachineStates, State, Way
from faultodds.advice.problem import Price, Problem, Situation
from faultodds.advice.ranking import CheckPrice, Ranking, RepairPrice
from faultodds.advice.stopping import same_decision_probability, value_of_perfect_information
from faultodds.appliance import Appliance
from faultodds.belief import Belief
from faultodds.knowledge import repair_modes
from faultodds.schema import UNLISTED_MODE

Kind = Literal["check", "repair", "stop", "refer"]

# From this chance on, a mode that is the likeliest but not on the file's list is said in plain words.
UNLISTED_LEADS = 0.25


@dataclass(frozen=True)
class Action:
    """One check or repair with everything needed to do it: price, the steps there, the work's own steps, cautions."""

    name: str
    title: str
    price: Price
    steps: list[str]
    cautions: list[str]


@dataclass(frozen=True)
class Advice:
    """The next move.

    `kind` and `name` say what to do (`together`: further repairs to do before the same verification run; `name` is empty
    for stop and refer). `expected_cost` is that of the whole job from here. `evpi`: the most that perfect information
    could still save. `same_decision`: chance that no remaining check would change the advice to repair, stop or refer.
    """

    kind: Kind
    name: str
    together: tuple[str, ...]
    expected_cost: float
    evpi: float
    same_decision: float
    why: str
    notes: tuple[str, ...]
    checks: list[CheckPrice]
    repairs: list[RepairPrice]
    ask: list[str]


def advise(appliance: Appliance, belief: Belief, situation: Situation | None = None) -> Advice:
    """Rank what can be done next and say what to do. Deterministic: same inputs, same answer."""
    ranking = Ranking(Problem(appliance, belief, situation or Situation()))
    move = _best(ranking)
    return Advice(
        kind=move.kind,
        name=move.name,
        together=move.together,
        expected_cost=move.cost,
        evpi=value_of_perfect_information(ranking, move.cost),
        same_decision=move.same,
        why=move.why,
        notes=_notes(ranking.problem, move),
        checks=ranking.checks,
        repairs=ranking.repairs,
        ask=[f for f in appliance.knowledge.equipment if f not in belief.evidence.facts],
    )


@dataclass(frozen=True)
class _Move:
    kind: Kind
    name: str
    together: tuple[str, ...]
    cost: float
    same: float
    why: str


def _best(ranking: Ranking) -> _Move:
    """The cheapest of: the best check, the best repair, leaving, handing over."""
    problem = ranking.problem
    check = ranking.checks[0] if ranking.checks else None
    repair = ranking.repairs[0] if ranking.repairs else None
    costs: dict[Kind, float] = {
        "repair": repair.expected_cost if repair else np.inf,
        "stop": ranking.stop_cost,
        "refer": problem.refer_cost,
        "check": check.expected_cost if check else np.inf,
    }
    kind = min(costs, key=lambda k: costs[k])
    same = same_decision_probability(ranking)
    otherwise = min(v for k, v in costs.items() if k != "check")
    if kind == "check" and check:
        return _Move(kind, check.name, (), costs[kind], same, words.why_check(problem, check, otherwise))
    if kind == "repair" and repair:
        why = words.why_repair(problem, repair, same)
        return _Move(kind, repair.name, repair.together, costs[kind], same, why)
    why = words.why_stop(problem) if kind == "stop" else words.why_refer(problem)
    return _Move(kind, "", (), costs[kind], same, why)


def _notes(problem: Problem, move: _Move) -> tuple[str, ...]:
    """Things to say beside the advice."""
    notes: list[str] = []
    odds = problem.belief.fault_odds()
    unlisted = next(o.probability for o in odds if o.name == UNLISTED_MODE)
    if odds[0].name == UNLISTED_MODE or unlisted >= UNLISTED_LEADS:
        notes.append(
            f"What you found fits nothing on this file's list well: a cause it does not know has {words.percent(unlisted)}. "
            "Look with open eyes, re-check the oddest reading, or ask someone who knows this machine."
        )
    if move.kind == "repair":
        records = dict(problem.knowledge.modes())
        for name in (move.name, *move.together):
            modes = repair_modes(problem.knowledge, problem.knowledge.repair[name])
            notes += [records[m].advice for m in modes if records[m].advice]
    return tuple(dict.fromkeys(notes))


def action(appliance: Appliance, name: str, state: State = CLOSED_UP) -> Action:
    """How to do one check or repair from a machine state: the way there, its own steps, every caution that applies."""
    k = appliance.knowledge
    work = k.check.get(name) or k.repair[name]
    machine = MachineStates(k)
    way = machine.to_work(state, work)
    minutes = way.charged + work.minutes
    named = [c for m in way.moves if m.opens for c in k.access[m.item].cautions]
    named += [c for item in sorted(way.after) for c in k.access[item].cautions] + list(work.cautions)
    cautions = [k.caution[c].text for c in dict.fromkeys(named)]
    price = Price(way, minutes, minutes * k.costs.labour_rate / 60 + work.cost)
    return Action(name, work.title, price, machine.sentences(way) + list(work.steps), cautions)


__all__ = [
    "CLOSED_UP",
    "Action",
    "Advice",
    "CheckPrice",
    "MachineStates",
    "Price",
    "Problem",
    "Ranking",
    "RepairPrice",
    "Situation",
    "State",
    "Way",
    "action",
    "advise",
]
