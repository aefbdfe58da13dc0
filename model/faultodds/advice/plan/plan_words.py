"""A plan in words: steps, branches and what changes on the machine, for screens and charts alike."""

from __future__ import annotations

import itertools

from faultodds.advice.plan.tree import Branch, Plan, PlanStep
from faultodds.advice.words import money, percent
from faultodds.knowledge import Caution, Knowledge, Work

FINISHED_TODAY = (
    "the machine is right and has passed its run when you leave: not handed over, nothing left to others, no callback"
)
FOR_THE_QUALIFIED = "qualified people only"


def step_words(k: Knowledge, step: PlanStep) -> str:
    """A step: "CHECK level across and front to back (2 min, $3.17)"; three dots where the plan goes on no further."""
    if step.kind == "stop":
        return "DONE: leave, and close the job."
    if step.kind == "refer":
        return "HAND THE JOB OVER."
    records = [k.check.get(n) or k.repair[n] for n in (step.name, *step.together)]
    titles = " + ".join(r.title for r in records)
    verify = ", then verify" if step.verify else ""
    only = f", {FOR_THE_QUALIFIED}" if any(r.qualified for r in records) else ""
    own = f"({step.minutes:.0f} min, {money(step.cost, k.costs.currency)}{only})"
    return f"{step.kind.upper()} {titles}{verify} {own}" + (" ..." if step.cut else "")


def shown_by(k: Knowledge, step: PlanStep) -> str:
    """The check whose outcomes a step branches on: itself, or the run after a repair."""
    return step.name if step.kind == "check" else k.costs.verify


def everything(k: Knowledge, step: PlanStep, branch: Branch) -> bool:
    """Whether a branch holds every outcome there is."""
    return len(branch.outcomes) == len(k.check[shown_by(k, step)].outcomes)


def moves_words(k: Knowledge, step: PlanStep) -> str:
    """What changes on the machine on the way, in order: "Get: unplugged, gas cock shut. Undo: gas cock shut, unplugged."."""
    runs = [(opens, list(moves)) for opens, moves in itertools.groupby(step.moves, key=lambda m: m.opens)]
    words = [(opens, ", ".join(k.access[m.item].title for m in moves)) for opens, moves in runs]
    return " ".join(f"{'Get' if opens else 'Undo'}: {titles}." for opens, titles in words)


def whole_money(k: Knowledge, amount: float) -> str:
    """An amount in whole units, for columns and boxes."""
    return money(float(round(amount)), k.costs.currency).removesuffix(".00")


def short_percent(p: float) -> str:
    """A chance with < and > for the extremes."""
    return percent(p).replace("under ", "<").replace("over ", ">")


def works(knowledge: Knowledge, step: PlanStep) -> list[Work]:
    """The pieces of work of a step in order, its verification run among them."""
    names = [n for n in (step.name, *step.together) if n] + ([knowledge.costs.verify] if step.verify else [])
    return [knowledge.check.get(n) or knowledge.repair[n] for n in names]


def cautions(knowledge: Knowledge, plan: Plan) -> list[Caution]:
    """Every caution that applies to some step of the plan, in the file's order."""
    named: set[str] = set()
    for step in plan.first.steps():
        named |= {c for work in works(knowledge, step) for c in work.cautions}
        items = step.after | {m.item for m in step.moves if m.opens}
        named |= {c for item in items for c in knowledge.access[item].cautions}
    return [caution for name, caution in knowledge.caution.items() if name in named]
