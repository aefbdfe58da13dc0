"""What to do as lines for an 80-column terminal without colour; nothing here prints.

The order is that of need: what to do, why, what can hurt, the steps; then the other checks and the repairs.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import TYPE_CHECKING

from faultodds.names import capital
from faultodds_cli.shared.text import cautions, columns, money, numbered, percent, row, step, wrap

if TYPE_CHECKING:
    from faultodds.advice import Action, CheckPrice, Question, RepairPrice
    from faultodds.job import Standing
    from faultodds.knowledge import Knowledge
    from faultodds.safety import Line

# Repairs with less than this share of the best one's chance are not what anybody would start with.
HARDLY = 0.1
# So many questions are put beside the one advised.
MORE_QUESTIONS = 2
# Minutes or chance, cost, whole job.
_CELLS = (10, 8, 11)

QUALIFIED_ONLY = "QUALIFIED PEOPLE ONLY, as the local code asks."
FOR_THE_QUALIFIED = (
    f"{QUALIFIED_ONLY} If that is not you, type not qualified (bench), or ask again with --no-qualified-work."
)


def advice_lines(view: Standing, standing: Collection[str] = ()) -> list[str]:
    """The next move: what, why, what can hurt, the steps there, and what to tell afterwards. `standing`: cautions that the
    screen above has told, which are not said again."""
    return work_lines(view, standing) + _tell_lines(view)


def at_once_lines(view: Standing) -> list[str]:
    """What is to be done before anything else, because of what was found."""
    from faultodds.advice import may_be
    from faultodds.safety import at_once

    known = may_be(view.appliance.knowledge, view.belief.evidence, view.belief)
    texts = at_once(view.appliance.knowledge, known)
    return [line for text in texts for line in [*wrap(text, "AT ONCE: ", "         "), ""]]


def work_lines(view: Standing, standing: Collection[str] = ()) -> list[str]:
    """The next move without what to tell afterwards."""
    advice, k = view.advice, view.appliance.knowledge
    lines = at_once_lines(view)
    lines += wrap(_headline(view), "DO NEXT: ", "         ")
    lines += wrap(advice.why, "  ")
    if advice.work:
        todo = actions(view, advice.work)
        for action in todo:
            # One piece of work is in the headline already; its title would only be said twice.
            lines += ["", *action_lines(action, k, standing)[len(_title_lines(action)) if len(todo) == 1 else 0 :]]
    elif advice.kind != "ask":
        closing = _closing_steps(view)
        lines += ["", *numbered(closing)] if closing else []
    for note in advice.notes:
        lines += ["", *wrap(note, "  Note: ")]
    return lines


def _headline(view: Standing) -> str:
    advice, k = view.advice, view.appliance.knowledge
    if advice.kind == "ask":
        return f"ASK. {_question(view).text}"
    if advice.kind == "stop":
        return "stop here and close the job."
    if advice.kind == "refer":
        return f"hand the job over (about {money(k.costs.refer, k)})."
    if advice.kind == "repair":
        titles = [k.repair[n].title for n in (advice.name, *advice.together)]
        then = "Then it is awaited." if _theirs(view) else "Then verify."
        return f"REPAIR. {capital(' and '.join(titles))}. {then}"
    (action,) = actions(view, (advice.name,))
    return f"CHECK. {capital(action.title)} ({action.price.minutes:.0f} min, {money(action.price.cost, k)})."


def actions(view: Standing, names: Sequence[str]) -> list[Action]:
    """How to do these one after the other, from the machine state as it is."""
    from faultodds.advice import actions as one_by_one, may_be

    known = may_be(view.appliance.knowledge, view.belief.evidence, view.belief)
    return one_by_one(view.appliance, names, view.situation.state, view.situation.labour_rate, known)


def standing_cautions(view: Standing) -> set[str]:
    """The cautions of the next move, told with it or before; not those that are said each time."""
    from faultodds.safety import said_each_time

    k = view.appliance.knowledge
    told = {c for action in actions(view, view.advice.work) for line in action.lines for c in line.cautions}
    return {c for c in told if not said_each_time(k.caution[c])}


def action_lines(action: Action, knowledge: Knowledge, standing: Collection[str] = ()) -> list[str]:
    """One check or repair: its numbered steps, each caution clearly marked and before the step that it belongs to."""
    work = knowledge.check.get(action.name) or knowledge.repair[action.name]
    lines = _title_lines(action) + cautions([FOR_THE_QUALIFIED] if work.qualified else [])
    return lines + told_lines(action.lines, knowledge, standing)


def told_lines(told: Iterable[Line], knowledge: Knowledge, standing: Collection[str] = ()) -> list[str]:
    """Instructions, numbered, each caution before the step that it belongs to."""
    lines: list[str] = []
    for number, line in enumerate(told, 1):
        lines += cautions(knowledge.caution[c].text for c in line.cautions if c not in standing) + step(
            number, line.text
        )
    return lines


def _title_lines(action: Action) -> list[str]:
    return wrap(f"{capital(action.title)} [{action.name}]", "  ")


def _closing_steps(view: Standing) -> list[str]:
    from faultodds.advice import closing_lines

    return [
        line.text
        for line in closing_lines(view.appliance.knowledge, view.situation.state, dead=bool(view.advice.at_once))
    ]


def _tell_lines(view: Standing) -> list[str]:
    """What to enter when the advised work is done."""
    advice, k = view.advice, view.appliance.knowledge
    if advice.kind == "ask":
        told = wrap(f"Enter the answer: {answers_of(k, advice.name)}. If nobody knows: skip {advice.name}", "  ")
        more = [q for q in advice.questions if q.question.name != advice.name]
        for q in more[:MORE_QUESTIONS]:
            told += wrap(f"{q.question.text} {answers_of(k, q.question.name)}", "  Ask as well: ", "    ")
        return ["", *told]
    if advice.kind == "check":
        meter = ", or the raw reading." if k.has_bands(advice.name) else ""
        return ["", *wrap(f"Then enter what it shows: {outcomes_of(k, advice.name)}{meter}", "  ")]
    if theirs := _theirs(view):
        named = " ".join(advice.work)
        text = f"Then type repair {named}, and once more when they have been. It is run after that."
        return ["", *wrap(f"{' and '.join(theirs)}: somebody else's work. {text}", "  ")]
    if advice.kind == "repair":
        typed = outcomes_of(k, k.costs.verify)
        return ["", *wrap(f"Then run the machine and enter what it shows: {typed}", "  ")]
    return []


def _theirs(view: Standing) -> list[str]:
    """Those of the advised repairs that somebody else does."""
    repair = view.appliance.knowledge.repair
    return [n for n in view.advice.work if n in repair and repair[n].by_others]


def _question(view: Standing) -> Question:
    from faultodds.advice import question_of

    return question_of(view.appliance.knowledge, view.advice.name)


def answers_of(knowledge: Knowledge, name: str) -> str:
    """A fact or symptom with all its answers, as typed."""
    from faultodds.advice import question_of

    return f"{name}=" + " | ".join(question_of(knowledge, name).answers)


def outcomes_of(knowledge: Knowledge, name: str) -> str:
    """A symptom or check with all it can show, as typed: "glow=yes | no"."""
    return f"{name}=" + " | ".join(knowledge.observables[name].outcomes)


# ---- the other things one could do ----


def check_lines(view: Standing, checks: Sequence[CheckPrice]) -> list[str]:
    """Some checks: minutes, cost, what the whole job then costs, and why."""
    if not view.advice.checks:
        return ["CHECKS: none left that can be done now."]
    if not checks:
        return ["CHECKS: none that would tell anything now."]
    lines = columns("CHECKS, BEST FIRST", ("min", "cost", "whole job"), _CELLS)
    for number, check in enumerate(checks, 1):
        lines += _check(view, number, check)
    return lines + [line for text in _order(view, checks) for line in wrap(text, "  ")]


def _order(view: Standing, checks: Sequence[CheckPrice]) -> list[str]:
    """Why a check stands before one that makes the job cheaper, and what "more" is."""
    k, notes = view.appliance.knowledge, list[str]()
    priced = [c for c in checks if c.priced]
    cheapest = min((round(c.expected_cost) for c in priced), default=0)
    if priced and checks[0].name == view.advice.name and round(checks[0].expected_cost) > cheapest:
        notes.append(f"1 comes first: {_leads(view)}.")
    if any(k.check[c.name].qualified for c in checks[1:]) and not all(k.check[c.name].qualified for c in checks):
        notes.append("Work for qualified people comes last while anything else tells.")
    if len(priced) < len(checks):
        notes.append("more: not worked out; it promises less than those with a price.")
    return notes


def _leads(view: Standing) -> str:
    k, name = view.appliance.knowledge, view.advice.name
    if name == k.costs.verify:
        return "a repair is done when the machine has run"
    if view.advice.for_safety:
        return "a danger may be left, and that goes before what a check saves"
    owed = "what brought the fault on is still to be found"
    return owed if any(name in note for note in view.advice.notes) else "it costs about the same, and is less trouble"


def _check(view: Standing, number: int, check: CheckPrice) -> list[str]:
    k = view.appliance.knowledge
    record = k.check[check.name]
    cells = (f"{check.price.minutes:.0f}", money(check.price.cost, k), _whole(check, k))
    lines = _row(f"{number}. {capital(record.title)}", cells)
    reason = f"because {record.reason.rstrip('.')}" if record.reason else "may change what to do next"
    return lines + wrap(f"{check.name}: {reason}{k.who_may(check.name)}.", "     ")


def _whole(of: CheckPrice | RepairPrice, k: Knowledge) -> str:
    """What the whole job costs with this next; "more" for what is dearer than all that was worked out."""
    return money(of.expected_cost, k) if of.priced else "more"


def repair_lines(view: Standing, count: int = 3) -> list[str]:
    """The repairs worth naming, cheapest expected job first."""
    k = view.appliance.knowledge
    best = max((r.chance for r in view.advice.repairs), default=0.0)
    repairs = [r for r in view.advice.repairs if r.chance >= max(0.01, HARDLY * best)][:count]
    if not repairs:
        return []
    lines = columns("REPAIRS, IF YOU WOULD START NOW", ("fixes it", "cost", "whole job"), _CELLS)
    for r in repairs:
        title = " and ".join(k.repair[name].title for name in (r.name, *r.together))
        title = f"{capital(title)} [{' + '.join((r.name, *r.together))}]"
        lines += _row(title, (percent(r.chance), money(r.price.cost, k), _whole(r, k)))
    return lines


def _row(head: str, cells: Sequence[str]) -> list[str]:
    return row("  ", "     ", head, cells, _CELLS)
