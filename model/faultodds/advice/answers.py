"""Answers as plain data: the objects that `--json` prints. Lists are sorted best first; order is the same in every run."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from faultodds.advice.advisor import Advice
from faultodds.advice.doing import action, actions, closing_lines
from faultodds.advice.machine import State
from faultodds.advice.situation import may_be
from faultodds.belief import Appliance, Belief, Evidence, OddsCourse, OddsStep, chance_of, odds_course
from faultodds.names import rounded
from faultodds.safety import Known

if TYPE_CHECKING:
    from faultodds.readings import Judgement

SUSPECTS_SHOWN = 8


def evidence_list(evidence: Evidence) -> list[dict[str, Any]]:
    """Facts, findings and repairs in the order they are kept."""
    items: list[dict[str, Any]] = [{"fact": f, "value": v} for f, v in evidence.facts.items()]
    items += [
        {"found": s.name, "outcomes": {o: rounded(w) for o, w in s.weights.items()}, "stage": s.stage, "take": s.take}
        for s in evidence.seen
    ]
    return items + [{"repair": r.name} for r in evidence.repairs]


def common(appliance: Appliance, belief: Belief) -> dict[str, Any]:
    """What every answer about a call starts with."""
    return {
        "appliance": appliance.knowledge.appliance.id,
        "revision": appliance.revision,
        **({"revision_doubt": appliance.doubt} if appliance.doubt else {}),
        **({"file_changed": appliance.changed} if appliance.changed else {}),
        "evidence": evidence_list(belief.evidence),
        "faults": [
            {"component": o.component, "mode": o.mode, "probability": rounded(o.probability), "prior": rounded(o.prior)}
            for o in belief.fault_odds()
        ],
        "suspects": [
            {"modes": list(modes), "probability": rounded(p)} for modes, p in belief.top_suspects(SUSPECTS_SHOWN)
        ],
        "omitted_mass": rounded(belief.omitted_mass),
    }


def shop_used(appliance: Appliance) -> dict[str, Any] | None:
    """Whose prices and minutes an answer rests on; None for the knowledge file's own."""
    used = appliance.shop
    if used is None:
        return None
    return {
        "file": str(used.path),
        "name": used.name,
        "technician": used.technician,
        "qualified": used.qualified,
        "not_carried": list(used.lacking),
    }


def not_told(appliance: Appliance, evidence: Evidence) -> dict[str, list[str]]:
    """The facts of the machine that nobody has told, with their values: work that depends on one is not offered until then."""
    facts = appliance.knowledge.equipment
    return {name: list(fact.values) for name, fact in facts.items() if name not in evidence.facts}


def next_answer(appliance: Appliance, belief: Belief, advice: Advice, state: State) -> dict[str, Any]:
    """The object of `next --json`."""
    known = may_be(appliance.knowledge, belief.evidence, belief)
    todo = actions(appliance, advice.work, state, known=known)
    cautions = [text for each in todo for text in each.cautions]
    steps = [text for each in todo for text in each.steps]
    if not advice.work and advice.kind != "ask":
        steps = [s.text for s in closing_lines(appliance.knowledge, state, dead=bool(advice.at_once))]
    return {
        **common(appliance, belief),
        "not_told": not_told(appliance, belief.evidence),
        "shop": shop_used(appliance),
        "checks": [_check(appliance, c, state, known) for c in advice.checks],
        "repairs": [
            {
                "repair": r.name,
                "together": list(r.together),
                "chance_it_fixes": rounded(r.chance),
                "cost": rounded(r.price.cost),
                "expected_cost": rounded(r.expected_cost) if r.priced else None,
            }
            for r in advice.repairs
        ],
        "advice": {
            "kind": advice.kind,
            "name": advice.name,
            "together": list(advice.together),
            "expected_cost": rounded(advice.expected_cost),
            "evpi": rounded(advice.evpi),
            "same_repair": rounded(advice.same_repair),
            "why": advice.why,
            "at_once": list(advice.at_once),
            "notes": list(advice.notes),
            "steps": steps,
        },
        "ask": [
            {
                "name": q.question.name,
                "kind": q.question.kind,
                "question": q.question.text,
                "answers": {answer: rounded(chance) for answer, chance in q.chances.items()},
                "minutes": rounded(q.minutes),
                "worth": rounded(q.worth),
            }
            for q in advice.questions
        ],
        "cautions": list(dict.fromkeys(cautions)),
    }


def _check(appliance: Appliance, check: Any, state: State, known: Known) -> dict[str, Any]:
    how = action(appliance, check.name, state, known=known)
    return {
        "check": check.name,
        "expected_cost": rounded(check.expected_cost) if check.priced else None,
        "minutes": rounded(check.price.minutes),
        "cost": rounded(check.price.cost),
        "bits": rounded(check.bits),
        "outcomes": {o: rounded(p) for o, p in check.outcomes.items()},
        "reason": appliance.knowledge.check[check.name].reason,
        "qualified": appliance.knowledge.check[check.name].qualified,
        "steps": how.steps,
        "cautions": how.cautions,
    }


def odds_answer(appliance: Appliance, belief: Belief, count: int = 5) -> dict[str, Any]:
    """The object of `odds --json`: the odds, and how those of the leading faults came about.

    `odds_in_file` times each `factor` in turn is `odds_now`; `probability_without` is the chance now if that one thing alone
    were taken back, None where the rest would then clash. Odds without end (a chance of 1) are None, and so is a factor that
    leads from or to them, or that nothing can be told of since the fault was ruled out before.
    """
    course = odds_course(belief, [o.name for o in belief.fault_odds()[:count]])
    return {
        **common(appliance, belief),
        "mechanisms": {
            m: {s: rounded(p) for s, p in belief.mechanism_odds(m).items()} for m in belief.suspects.mechanism_states
        },
        "odds": [_odds_of(course, column, mode) for column, mode in enumerate(course.modes)],
    }


def _odds_of(course: OddsCourse, column: int, mode: str) -> dict[str, Any]:
    return {
        "fault": mode,
        "odds_in_file": _power(float(course.start[column])),
        "odds_now": _power(float(course.now[column])),
        "factors": [_factor(step, column) for step in course.steps],
    }


def _factor(step: OddsStep, column: int) -> dict[str, Any]:
    before, after = float(step.before[column]), float(step.after[column])
    without = None if step.without is None else float(step.without[column])
    return {
        step.kind: step.name,
        "stage": step.stage,
        "factor": _power(after - before) if math.isfinite(before) else None,
        "probability_without": None if without is None else rounded(chance_of(without)),
    }


def _power(logarithm: float) -> float | None:
    """e to this power; None where that is no number."""
    try:
        value = math.exp(logarithm)
    except OverflowError:
        return None
    return rounded(value) if math.isfinite(value) else None


def read_answer(check: str, judgement: Judgement) -> dict[str, Any]:
    """The object of `read --json`."""
    return {
        "check": check,
        "value": judgement.value,
        "unit": judgement.unit,
        "spec": judgement.spec,
        "outcomes": {o: rounded(p) for o, p in judgement.outcomes.items()},
        "verdict": judgement.verdict,
        "note": judgement.note,
    }
