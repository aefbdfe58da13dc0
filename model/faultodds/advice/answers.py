"""Answers as plain data: the objects that `--json` prints. Lists are sorted best first; order is the same in every run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from faultodds.advice.advisor import Advice
from faultodds.advice.doing import action, actions
from faultodds.advice.machine import State
from faultodds.advice.situation import may_be
from faultodds.belief import Appliance, Belief, Evidence, weights_of_evidence
from faultodds.safety import Known

if TYPE_CHECKING:
    from faultodds.readings import Judgement

SUSPECTS_SHOWN = 8


def _round(value: float, digits: int = 6) -> float:
    """Rounded so that the last bits of a sum, which differ between machines, never show."""
    return float(f"{value:.{digits}g}")


def evidence_list(evidence: Evidence) -> list[dict[str, Any]]:
    """Facts, findings and repairs in the order they are kept."""
    items: list[dict[str, Any]] = [{"fact": f, "value": v} for f, v in evidence.facts.items()]
    items += [
        {"found": s.name, "outcomes": {o: _round(w) for o, w in s.weights.items()}, "stage": s.stage, "take": s.take}
        for s in evidence.seen
    ]
    return items + [{"repair": r.name} for r in evidence.repairs]


def common(appliance: Appliance, belief: Belief) -> dict[str, Any]:
    """What every answer about a call starts with."""
    return {
        "appliance": appliance.knowledge.appliance.id,
        "revision": appliance.revision,
        "evidence": evidence_list(belief.evidence),
        "faults": [
            {"component": o.component, "mode": o.mode, "probability": _round(o.probability), "prior": _round(o.prior)}
            for o in belief.fault_odds()
        ],
        "suspects": [
            {"modes": list(modes), "probability": _round(p)} for modes, p in belief.top_suspects(SUSPECTS_SHOWN)
        ],
        "omitted_mass": _round(belief.omitted_mass),
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


def next_answer(appliance: Appliance, belief: Belief, advice: Advice, state: State) -> dict[str, Any]:
    """The object of `next --json`."""
    known = may_be(appliance.knowledge, belief.evidence, belief)
    todo = actions(appliance, (advice.name, *advice.together), state, known=known) if advice.name else []
    cautions = [text for each in todo for text in each.cautions]
    return {
        **common(appliance, belief),
        "shop": shop_used(appliance),
        "checks": [_check(appliance, c, state, known) for c in advice.checks],
        "repairs": [
            {
                "repair": r.name,
                "together": list(r.together),
                "chance_it_fixes": _round(r.chance),
                "cost": _round(r.price.cost),
                "expected_cost": _round(r.expected_cost) if r.priced else None,
            }
            for r in advice.repairs
        ],
        "advice": {
            "kind": advice.kind,
            "name": advice.name,
            "together": list(advice.together),
            "expected_cost": _round(advice.expected_cost),
            "evpi": _round(advice.evpi),
            "same_decision": _round(advice.same_decision),
            "why": advice.why,
            "at_once": list(advice.at_once),
            "notes": list(advice.notes),
            "steps": [text for each in todo for text in each.steps],
        },
        "ask": [{"fact": f, "values": list(appliance.knowledge.equipment[f].values)} for f in advice.ask],
        "cautions": list(dict.fromkeys(cautions)),
    }


def _check(appliance: Appliance, check: Any, state: State, known: Known) -> dict[str, Any]:
    how = action(appliance, check.name, state, known=known)
    return {
        "check": check.name,
        "expected_cost": _round(check.expected_cost) if check.priced else None,
        "minutes": _round(check.price.minutes),
        "cost": _round(check.price.cost),
        "bits": _round(check.bits),
        "outcomes": {o: _round(p) for o, p in check.outcomes.items()},
        "steps": how.steps,
        "cautions": how.cautions,
    }


def odds_answer(appliance: Appliance, belief: Belief, count: int = 5) -> dict[str, Any]:
    """The object of `odds --json`: the odds, and the weight of each finding for the leading faults in decibans."""
    leading = [o.name for o in belief.fault_odds()[:count]]
    weights = weights_of_evidence(belief, leading)
    return {
        **common(appliance, belief),
        "mechanisms": {
            m: {s: _round(p) for s, p in belief.mechanism_odds(m).items()} for m in belief.suspects.mechanism_states
        },
        "weights": [
            {"found": label, "decibans": {m: _round(w, 4) for m, w in zip(leading, row.tolist(), strict=True)}}
            for label, row in weights.items()
        ],
    }


def read_answer(check: str, judgement: Judgement) -> dict[str, Any]:
    """The object of `read --json`."""
    return {
        "check": check,
        "value": judgement.value,
        "unit": judgement.unit,
        "spec": judgement.spec,
        "outcomes": {o: _round(p) for o, p in judgement.outcomes.items()},
        "verdict": judgement.verdict,
        "note": judgement.note,
    }
