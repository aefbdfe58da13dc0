"""The whole plan and the what-ifs as plain data: the objects that `next --plan --json` and `next --what-if --json` print."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from faultodds.advice.answers import evidence_list, not_told, shop_used
from faultodds.advice.plan.plan_words import FINISHED_TODAY, cautions
from faultodds.advice.situation import may_be
from faultodds.names import rounded
from faultodds.safety import at_once

if TYPE_CHECKING:
    from faultodds.advice.advisor import NextMove
    from faultodds.advice.plan.ahead import Ahead
    from faultodds.advice.plan.tree import Plan, PlanStep
    from faultodds.advice.sensitivity import Edge, Sensitivity, WhatIf
    from faultodds.belief import Appliance, Belief
    from faultodds.knowledge import Knowledge


def _head(appliance: Appliance, belief: Belief) -> dict[str, Any]:
    known = may_be(appliance.knowledge, belief.evidence, belief)
    return {
        "at_once": list(at_once(appliance.knowledge, known)),
        "appliance": appliance.knowledge.appliance.id,
        "revision": appliance.revision,
        "evidence": evidence_list(belief.evidence),
        "omitted_mass": rounded(belief.omitted_mass),
        "not_told": not_told(appliance, belief.evidence),
        "shop": shop_used(appliance),
        "currency": appliance.knowledge.costs.currency,
    }


def plan_answer(appliance: Appliance, belief: Belief, plan: Plan) -> dict[str, Any]:
    """The plan, nested: every step holds its branches, every branch the step that follows (null: ask again then)."""
    return {
        **_head(appliance, belief),
        "depth": plan.depth,
        "decisions": plan.decisions,
        "finished_today_means": FINISHED_TODAY,
        "plan": _step(appliance.knowledge, plan.first),
        "cautions": [c.text for c in cautions(appliance.knowledge, plan)],
    }


def _ahead(ahead: Ahead) -> dict[str, float]:
    return {
        "expected_cost": rounded(ahead.cost),
        "expected_minutes": rounded(ahead.minutes),
        "finished_today": rounded(ahead.today),
    }


def _step(k: Knowledge, step: PlanStep) -> dict[str, Any]:
    return {
        "kind": step.kind,
        "name": step.name,
        "together": list(step.together),
        "then_verify": step.verify,
        "qualified": any(r.qualified for n in (step.name, *step.together) if (r := k.check.get(n) or k.repair.get(n))),
        "steps": [line.text for line in step.lines],
        "minutes": rounded(step.minutes),
        "cost": rounded(step.cost),
        "minutes_so_far": rounded(step.spent_minutes),
        "cost_so_far": rounded(step.spent_cost),
        "reach": rounded(step.reach),
        **_ahead(step.ahead),
        "likeliest": {"mode": step.likeliest[0], "probability": rounded(step.likeliest[1])},
        "cut": step.cut,
        "branches": [
            {
                "outcomes": list(b.outcomes),
                "chance": rounded(b.chance),
                "reach": rounded(b.reach),
                **_ahead(b.ahead),
                "points_to": [
                    {
                        "outcome": h.outcome,
                        "chance": rounded(h.chance),
                        "mode": h.mode,
                        "probability": rounded(h.probability),
                    }
                    for h in b.hints
                ],
                "then": None if b.then is None else _step(k, b.then),
            }
            for b in step.branches
        ],
    }


def what_if_answer(appliance: Appliance, belief: Belief, found: Sensitivity) -> dict[str, Any]:
    """What would change the advice: the next best move, and for each input how far it may go."""
    return {
        **_head(appliance, belief),
        "advice": _move(found.move),
        "next_best": None
        if found.next_best is None
        else {**_move(found.next_best), "extra_cost": rounded(found.extra)},
        "forced": found.forced,
        "counts_as_a_change_from": rounded(found.margin),
        "evaluations": found.evaluations,
        "what_if": [_what_if(w) for w in found.what_ifs],
    }


def _move(move: NextMove) -> dict[str, Any]:
    return {
        "kind": move.kind,
        "name": move.name,
        "together": list(move.together),
        "expected_cost": rounded(move.expected_cost),
    }


def _what_if(what_if: WhatIf) -> dict[str, Any]:
    return {
        "input": what_if.name,
        "kind": what_if.kind,
        "now": rounded(what_if.now),
        "below": _edge(what_if.below),
        "above": _edge(what_if.above),
    }


def _edge(edge: Edge | None) -> dict[str, Any] | None:
    if edge is None:
        return None
    return {
        "looked_to": rounded(edge.looked_to),
        "job_cost_there": None if edge.cost is None else rounded(edge.cost),
        "changes_at": None if edge.at is None else rounded(edge.at),
        "then": None if edge.then is None else _move(edge.then),
    }
