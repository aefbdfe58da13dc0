"""A plan in words: steps, branches and what changes on the machine, for screens and charts alike."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

from faultodds.advice.plan.tree import Branch, Plan, PlanStep
from faultodds.advice.questions import question_of
from faultodds.advice.words import money, percent, percents
from faultodds.knowledge import Caution, Knowledge, Work
from faultodds.safety import Line, Part

FINISHED_TODAY = (
    "the machine is right and has passed its run when you leave: not handed over, nothing left to others, no callback"
)
FOR_THE_QUALIFIED = "qualified people only"
_IN_SHORT: dict[Part, str] = {
    "watch": "Attended, CO meter on, windows and doors open.",
    "run_first": "Run it first.",
    "fit": "Leads on.",
    "clear": "Hands out.",
    "unfit": "Leads off.",
    "tight": "Soap-test.",
}


def step_words(k: Knowledge, step: PlanStep) -> str:
    """A step: "CHECK level across and front to back (2 min, $3.17)"; three dots where the plan goes on no further."""
    if step.kind == "stop":
        return "DONE: leave, and close the job."
    if step.kind == "refer":
        return "HAND THE JOB OVER."
    if step.kind == "ask":
        return f"ASK {question_of(k, step.name).text}"
    records = [k.check.get(n) or k.repair[n] for n in (step.name, *step.together)]
    titles = " + ".join(r.title for r in records)
    verify = ", then verify" if step.verify else ""
    only = f", {FOR_THE_QUALIFIED}" if any(r.qualified for r in records) else ""
    own = f"({step.minutes:.0f} min, {money(step.cost, k.costs.currency)}{only})"
    return f"{step.kind.upper()} {titles}{verify} {own}" + (" ..." if step.cut else "")


def answers(k: Knowledge, step: PlanStep) -> Mapping[str, str]:
    """Everything that a step may show, or that may be answered, with its words."""
    if step.kind == "ask":
        return question_of(k, step.name).answers
    return k.check[shown_by(k, step)].outcomes


def shown_by(k: Knowledge, step: PlanStep) -> str:
    """What a step branches on: what is asked, the check itself, or the run after a repair."""
    return step.name if step.kind in ("ask", "check") else k.costs.verify


def everything(k: Knowledge, step: PlanStep, branch: Branch) -> bool:
    """Whether a branch holds every outcome there is."""
    return len(branch.outcomes) == len(answers(k, step))


def moves_words(k: Knowledge, step: PlanStep) -> str:
    """What changes on the machine on the way, in order, and what keeps hands safe between: "Get: unplugged, gas cock shut. Leads
    on. Hands out. Put back: gas cock open (soap-test), plugged in. Read, nobody touching it."."""
    said = []
    for word, lines in itertools.groupby(step.lines, key=lambda line: _said(k, line)):
        items = ((k.access[line.move.item], line.move.opens) for line in lines if line.move is not None)
        titles = ", ".join(item.title if opens else item.put_back for item, opens in items)
        said += [f"{word}: {titles}." if titles else word] if word else []
    return " ".join(said)


def _said(k: Knowledge, line: Line) -> str:
    """A line in a word or two; empty for the ordinary steps of some work."""
    if line.move is not None:
        return "Get" if line.move.opens else "Put back"
    work = k.check.get(line.work) or k.repair[line.work]
    if line.part == "steps":
        return "Read, nobody touching it." if work.energised else ""
    return _IN_SHORT.get(line.part, "")


def whole_money(k: Knowledge, amount: float) -> str:
    """An amount in whole units, for columns and boxes."""
    return money(float(round(amount)), k.costs.currency).removesuffix(".00")


def short_percent(p: float) -> str:
    """A chance with < and > for the extremes."""
    return percent(p).replace("under ", "<").replace("over ", ">")


def branch_percent(step: PlanStep, branch: Branch) -> str:
    """The chance of one branch of a step, so that those of all its branches add up."""
    return percents(b.chance for b in step.branches)[step.branches.index(branch)]


def works(knowledge: Knowledge, step: PlanStep) -> list[Work]:
    """The pieces of work of a step in order, its verification run among them."""
    if step.kind == "ask":
        return []
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
