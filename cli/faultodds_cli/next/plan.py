"""The whole plan as text: a tree of plain characters, what lies ahead and what is spent in columns beside it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from faultodds_cli.shared.call import plan_of
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.show_advice import at_once_lines
from faultodds_cli.shared.show_known import basis, evidence_lines, left_out_lines
from faultodds_cli.shared.text import LEAST_BESIDE, beside, cautions, columns, money, paragraphs, percent, width, wrap

if TYPE_CHECKING:
    from faultodds.advice.plan import Ahead, Branch, Plan, PlanStep
    from faultodds.job import Standing
    from faultodds.knowledge import Knowledge

# To finish: cost, minutes, today; so far: cost, minutes.
_CELLS = (7, 5, 7, 8, 5)
_BLANK = ("",) * len(_CELLS)
_ON, _PAST, _LAST, _UNDER = "|- ", "|  ", "`- ", "   "


# As in the library, which is not loaded to print help.
DEPTH, NODES = 3, 40


def say_plan(view: Standing, depth: int | None, nodes: int | None, as_json: bool) -> None:
    """Work the plan out and print it."""
    plan = plan_of(view, DEPTH if depth is None else depth, NODES if nodes is None else nodes)
    if as_json:
        from faultodds.advice.plan import plan_answer

        say_json(plan_answer(view.appliance, view.belief, plan))
        return
    parts = [
        at_once_lines(view)[:-1],
        evidence_lines(view),
        head_lines(view, plan),
        tree_lines(view.appliance.knowledge, plan),
    ]
    parts += [foot_lines(view, plan), caution_lines(view, plan), left_out_lines(view)]
    say(paragraphs([*parts, *basis(view.appliance)]))


# ---- around the tree ----


def head_lines(view: Standing, plan: Plan) -> list[str]:
    """The plan in a sentence."""
    ahead, k = plan.first.ahead, view.appliance.knowledge
    findings = "finding" if plan.depth == 1 else "findings"
    return wrap(
        f"PLAN from here, {plan.depth} {findings} deep: about {money(ahead.cost, k)} and {ahead.minutes:.0f} min to finish; "
        f"finished today {percent(ahead.today)}."
    )


def foot_lines(view: Standing, plan: Plan) -> list[str]:
    """How to read the columns."""
    from faultodds.advice.plan import FINISHED_TODAY

    lines = wrap(f"Finished today: {FINISHED_TODAY}.")
    lines += wrap(
        "To finish and so far include getting in and closing up. A line that ends in '...' goes on: ask again there. What "
        "comes after it is a rough sum. Each branch is looked at closely here, so the sum may differ from the whole-job figure of "
        "plain 'next'. Chances stand on this file's figures"
        + (
            ", which are first guesses."
            if view.appliance.revision == "file"
            else f" (revision {view.appliance.revision})."
        )
    )
    if any(s.cut for s in plan.first.steps()):
        lines += wrap("More: --depth N for more findings ahead, --nodes N for more decisions.")
    return lines


def caution_lines(view: Standing, plan: Plan) -> list[str]:
    """Every caution of any step."""
    from faultodds.advice.plan import cautions as of_any_step

    lines = cautions(c.text for c in of_any_step(view.appliance.knowledge, plan))
    return ["CAUTIONS FOR THIS PLAN", *lines] if lines else []


# ---- the tree ----


def tree_lines(knowledge: Knowledge, plan: Plan) -> list[str]:
    """The tree with its columns."""
    over = ("", "to", "finish", "so", "far")
    heads = ("cost", "min", "today", "cost", "min")
    return [*columns("", over, _CELLS), *columns("", heads, _CELLS), *_step_lines(knowledge, plan.first, "", "")]


def _step_lines(k: Knowledge, step: PlanStep, lead: str, under: str) -> Iterator[str]:
    """A step and everything below it; `lead` starts its first line, `under` all others."""
    from faultodds.advice.plan import moves_words, step_words

    cells = _cells(k, step.ahead, step.spent_cost, step.spent_minutes)
    below = under + (_PAST if step.branches else _UNDER)
    yield from _wrapped(step_words(k, step), lead, below, cells)
    moves = moves_words(k, step)
    if moves:
        yield from _wrapped(moves, below, below, _BLANK)
    for branch in step.branches:
        last = branch is step.branches[-1]
        yield from _branch_lines(k, step, branch, under + (_LAST if last else _ON), under + (_UNDER if last else _PAST))


def _cells(k: Knowledge, ahead: Ahead, spent_cost: float, spent_minutes: float) -> tuple[str, ...]:
    from faultodds.advice.plan import short_percent, whole_money

    to_finish = (whole_money(k, ahead.cost), f"{ahead.minutes:.0f}", short_percent(ahead.today))
    return (*to_finish, whole_money(k, spent_cost), f"{spent_minutes:.0f}")


def _branch_lines(k: Knowledge, step: PlanStep, branch: Branch, lead: str, under: str) -> Iterator[str]:
    found = branch_title(k, step, branch)
    if branch.then is not None:
        yield from _wrapped(found, lead, under, _BLANK)
        yield from _step_lines(k, branch.then, under, under)
        return
    cells = _cells(k, branch.ahead, step.spent_cost + step.cost, step.spent_minutes + step.minutes)
    yield from _wrapped(f"{found}: ask again then", lead, under, cells)


def branch_title(k: Knowledge, step: PlanStep, branch: Branch) -> str:
    """What is found, with its chance: "if weak (34 %): flap half open, weak"."""
    from faultodds.advice.plan import answers, branch_percent, everything

    if not branch.outcomes:
        return "when that is done"
    words = answers(k, step)
    if everything(k, step, branch):
        return "whatever it shows"
    if branch.then is None and len(step.branches) > 1:
        return f"otherwise, {branch_percent(step, branch)} ({', '.join(branch.outcomes)})"
    names = " or ".join(branch.outcomes)
    run = "run " if step.kind == "repair" else ""
    said = f": {words[names]}" if names in words and words[names] != names.replace("_", " ") else ""
    return f"if {run}{names} ({branch_percent(step, branch)}){said}"


def _wrapped(text: str, lead: str, under: str, cells: tuple[str, ...]) -> Iterator[str]:
    if beside(_CELLS, 1) == width():
        yield from _above(text, lead, under, cells)
        return
    room = max(LEAST_BESIDE, width() - sum(_CELLS) - 1 - len(lead))
    first, *more = wrap(text, room=room)
    yield from columns(lead + first, cells, _CELLS)
    for line in more:
        yield (under + "  " + line).rstrip() if len(under) + 2 + len(line) < width() else (under + line)


def _above(text: str, lead: str, under: str, cells: tuple[str, ...]) -> Iterator[str]:
    """A line of the tree on a narrow screen: all of its text, then its cells."""
    first, *more = wrap(text, room=max(LEAST_BESIDE, width() - max(len(lead), len(under))))
    yield lead + first
    yield from (under + line for line in more)
    if any(cells):
        yield from columns(under.rstrip(), cells, _CELLS)
