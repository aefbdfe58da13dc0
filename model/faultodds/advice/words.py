"""Advice in a foreman's words: what to do, and why, in a sentence or two."""

from __future__ import annotations

from faultodds.advice.problem import Problem
from faultodds.advice.ranking import CheckPrice, RepairPrice
from faultodds.belief import Belief

MONEY_SIGNS = {"USD": "$", "GBP": "£", "EUR": "€"}


def money(amount: float, currency: str = "USD") -> str:
    """An amount as a technician writes it: whole units from 10 up, else two digits."""
    sign = MONEY_SIGNS.get(currency, currency + " ")
    return f"{sign}{amount:.0f}" if abs(amount) >= 9.5 else f"{sign}{amount:.2f}"


def percent(p: float) -> str:
    """A chance as a whole percent, never a false 0 or 100."""
    if p > 0.995:
        return "over 99 %" if p < 1 else "100 %"
    if p < 0.005:
        return "under 1 %" if p > 0 else "0 %"
    return f"{p * 100:.0f} %"


def likeliest(belief: Belief, problem: Problem, count: int = 2) -> str:
    """The likeliest faults with their chances, in words."""
    top = [o for o in belief.fault_odds()[:count] if o.probability > 0.01]
    return " and ".join(f"{problem.knowledge.title_of(o.name)} ({percent(o.probability)})" for o in top)


def why_check(problem: Problem, check: CheckPrice, otherwise: float) -> str:
    """Why this check is next; `otherwise` is the price of the job without any check first."""
    if check.name == problem.knowledge.costs.verify:
        return why_verify(problem)
    record = problem.knowledge.check[check.name]
    currency = problem.knowledge.costs.currency
    saves = otherwise - check.expected_cost
    reason = (
        f"It pays because {record.reason.rstrip('.')}."
        if record.reason
        else "It pays because it may change what you do next."
    )
    return (
        f"{reason} It takes about {check.price.minutes:.0f} min from where the machine is now and saves "
        f"{money(saves, currency)} on average against starting repairs at once."
    )


def why_repair(problem: Problem, repair: RepairPrice, same: float) -> str:
    """Why to stop checking and repair."""
    top = likeliest(problem.belief, problem)
    title = problem.knowledge.repair[repair.name].title
    tail = "no check left is worth its time"
    if same < 0.995:
        tail += f"; the chance that all of them together would change this is {percent(1 - same)}"
    if repair.together:
        rest = " and ".join(problem.knowledge.repair[n].title for n in repair.together)
        return f"Most likely: {top}. {title}, and with it {rest}, then verify: {tail}."
    return f"Most likely: {top}. {title} alone puts it right {percent(repair.chance)} of the time, and {tail}."


def why_refer(problem: Problem) -> str:
    """Why to hand the job over."""
    return (
        f"Most likely: {likeliest(problem.belief, problem) or 'nothing on this list'}. Going on would cost more on average than "
        f"the {money(problem.refer_cost, problem.knowledge.costs.currency)} of handing it over."
    )


def why_stop(problem: Problem) -> str:
    """Why to close the job."""
    return (
        f"The machine passed its run and is sound with a chance of {percent(problem.belief.sound)}; "
        "more checking costs more than the callback it might save."
    )


def why_verify(problem: Problem) -> str:
    """Why to run the machine before anything else."""
    if problem.stage:
        return "A repair is not done until the machine has run: this tells whether to leave or to go on."
    return f"There may be nothing wrong with the machine ({percent(problem.belief.sound)}): let it show that first."
