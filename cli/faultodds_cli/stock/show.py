"""What `faultodds stock` prints: for somebody loading a van at seven in the morning, the list first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from faultodds.names import capital, rounded
from faultodds_cli.shared.show_known import basis, evidence_lines, until_the_visit
from faultodds_cli.shared.text import columns, listed, money, paragraphs, percent, percents, row, width, wrap

if TYPE_CHECKING:
    from faultodds.advice import Question
    from faultodds.job import Standing
    from faultodds.knowledge import Knowledge
    from faultodds.stock import Limit, Load, OnSite, PartValue, Shelf, Stock

# Parts left behind that are worth naming, and the least visits in a hundred that a part is named for.
LEFT_SHOWN, LEAST_NAMED = 4, 0.002
ROUND_TO = 5
RULE = (
    "One visit is enough when every fault can be put right with what is aboard; a dearer repair stands in for the usual one when "
    "that costs less than another visit ({visit})."
)


# ---- one call ----


def load_lines(view: Standing, ready: Stock, load: Load, minutes: OnSite, limit: Limit) -> list[str]:
    """One call: the list, what it gives, the time to plan, what stays behind, what no part helps."""
    return paragraphs(
        [
            _call_lines(view),
            *(wrap(text) for text in until_the_visit(view)[1] if view.job.findings),
            _others_lines(view, load),
            [*_list_head(view, load, limit), *_part_table(view, load.parts)],
            _chance_lines(view, load),
            _minutes_lines(minutes),
            _left_lines(view, load, limit),
            _ask_lines(view, ready, limit),
            wrap(RULE.format(visit=money(load.visit_cost, view.appliance.knowledge))),
            *basis(view.appliance),
        ]
    )


def _call_lines(view: Standing) -> list[str]:
    if view.job.findings or view.job.facts:
        return evidence_lines(view)
    return wrap("No complaint given: this is for a call of the usual mix.")


def _list_head(view: Standing, load: Load, limit: Limit) -> list[str]:
    k = view.appliance.knowledge
    if not load.parts:
        return wrap("TAKE NO PARTS." if limit.budget is not None or limit.shelf is not None else _no_parts(load))
    count = f"{len(load.parts)} part{'s' * (len(load.parts) > 1)}"
    verb = "WITH" if limit.carried and limit.is_free else "TAKE"
    within = []
    if limit.budget is not None:
        within.append(f"budget {money(limit.budget, k)}")
    if limit.shelf is not None:
        within.append(f"room for {limit.shelf}")
    if limit.carried and not limit.is_free:
        within.append("on top of what is aboard")
    limits = f" ({', '.join(within)})" if within else ""
    return wrap(f"{verb} {count}, {money(load.price, k)}{limits}:")


def _no_parts(load: Load) -> str:
    if load.visit_cost <= 0:
        return "TAKE NO PARTS: another visit costs nothing by these numbers, so none is worth carrying."
    return "TAKE NO PARTS: none is worth what carrying it costs."


_CELLS = (8, 9, 9, 8, 9)
_OVER, _HEADS = ("", "needed", "visits", "", "cost of"), ("price", "in 100", "saved", "worth", "carrying")


def _part_table(view: Standing, parts: Sequence[PartValue]) -> list[str]:
    if not parts:
        return []
    k = view.appliance.knowledge
    return _heads(_OVER, _HEADS, _CELLS) + [line for p in parts for line in _part_row(k, p)]


def _heads(over: Sequence[str], heads: Sequence[str], widths: Sequence[int]) -> list[str]:
    """The headings of a table, over two lines; none where each row says its own."""
    return [] if sum(widths) > width() else [*columns("", over, widths), *columns("", heads, widths)]


def _part_row(k: Knowledge, p: PartValue) -> list[str]:
    cells = (money(p.price, k), _in_hundred(p.needed), _in_hundred(p.saves), money(p.worth, k), money(p.carrying, k))
    lines = _row(k, p.name, cells, (_OVER, _HEADS, _CELLS))
    return lines + (wrap(f"does for {', '.join(p.stands_in)} as well", "    ") if p.stands_in and p.saves else [])


def _in_hundred(chance: float) -> str:
    """Of a hundred such calls."""
    each = chance * 100
    return "-" if each < 0.05 else f"{each:.1f}" if each < 9.95 else f"{each:.0f}"


def _row(
    k: Knowledge, repair: str, cells: Sequence[str], table: tuple[Sequence[str], Sequence[str], Sequence[int]]
) -> list[str]:
    over, heads, widths = table
    title = f"{capital(k.repair[repair].title)} [{repair}]"
    if sum(widths) > width():
        return listed(title, [f"{a} {b}".strip() for a, b in zip(over, heads, strict=True)], cells)
    return row("  ", "    ", title, cells, widths, gap=1)


def _chance_lines(view: Standing, load: Load) -> list[str]:
    said = (
        f"Finished in one visit: {percent(load.chance)} (with an empty van {percent(load.without_parts)}, with every part "
        f"there is {percent(load.with_every_part)})."
    )
    lines = wrap(said)
    never = []
    _, others, nobody = percents((load.chance, load.others, load.nobody))
    if load.others >= 0.005:
        never.append(f"{others} is other people's work")
    if load.nobody >= 0.005:
        never.append(f"{nobody} is not on the list or not for this technician")
    if never:
        lines += wrap(f"No part helps with the rest: {' and '.join(never)}.", "  ")
    return lines


def _others_lines(view: Standing, load: Load) -> list[str]:
    """Who has to come first, where the fault is more likely than not other people's work."""
    who = _others_first(view, load)
    if who is None:
        return []
    title = view.appliance.knowledge.repair[who].title
    return wrap(f"BEFORE ANYTHING IS LOADED: {percent(load.others)} that this is other people's work. First: {title}.")


def _others_first(view: Standing, load: Load) -> str | None:
    """Other people's work that comes first where the fault is more likely than not theirs; None where it is not."""
    from faultodds.advice import AS_GOOD_AS_FOUND
    from faultodds.knowledge import repair_modes

    if load.others < AS_GOOD_AS_FOUND:
        return None
    k, odds = view.appliance.knowledge, {o.name: o.probability for o in view.belief.fault_odds()}
    others = [n for n, r in k.repair.items() if r.by_others]
    return max(others, key=lambda n: sum(odds.get(m, 0.0) for m in repair_modes(k, k.repair[n])))


def _minutes_lines(minutes: OnSite) -> list[str]:
    if minutes.planned <= 0:
        return wrap("Four in five such calls are over at the door: the work is other people's.")
    mean, planned = (ROUND_TO * round(m / ROUND_TO) for m in (minutes.mean, minutes.planned))
    return wrap(
        f"Plan {planned} minutes on site: four in five such calls are over by then, the average is {mean}. Travel is not in it."
    )


def _left_lines(view: Standing, load: Load, limit: Limit) -> list[str]:
    named = [p for p in load.left if p.saves >= LEAST_NAMED or p.worth >= LEAST_NAMED * load.visit_cost][:LEFT_SHOWN]
    if not named:
        return []
    head = "STAYS BEHIND, and what one more of it would add:"
    if limit.is_free and not limit.carried:
        head = "STAYS BEHIND, not worth what carrying it costs:"
    return [*wrap(head), *(line for p in named for line in _part_row(view.appliance.knowledge, p))]


def _asked(ready: Stock, limit: Limit) -> Question | None:
    """The question on which the load hangs; None where no answer is worth a unit of money."""
    from faultodds.stock import load_questions

    best = load_questions(ready, limit, 1)
    return best[0].question if best and round(best[0].worth) >= 1 else None


def _ask_lines(view: Standing, ready: Stock, limit: Limit) -> list[str]:
    question = _asked(ready, limit)
    if question is None:
        return []
    typed = f"{question.name}={'|'.join(question.answers)}"
    facts, seen = view.belief.evidence.facts, [f for f in view.job.findings if f.finding.outcome]
    given = "".join(f" --fact {n}={v}" for n, v in facts.items())
    given += "".join(f" --found {f.finding.name}={f.finding.outcome}" for f in seen)
    room = "".join(f" --{n} {v:g}" for n, v in (("budget", limit.budget), ("shelf", limit.shelf)) if v is not None)
    return wrap(
        f"Ask on the telephone, what to load hangs on it: {question.text} ({typed}). More: faultodds ask{given}{room}"
    )


def load_answer(view: Standing, ready: Stock, load: Load, minutes: OnSite, limit: Limit) -> dict[str, Any]:
    """The object of `stock --json` for one call."""
    question = _asked(ready, limit)
    asked = question and {"name": question.name, "question": question.text, "answers": list(question.answers)}
    return {
        **_head(view, limit),
        "until_the_visit": dict(zip(("used", "told"), until_the_visit(view), strict=True)),
        "first": _others_first(view, load),
        "ask": asked,
        "take": [_part(p) for p in load.parts],
        "leave": [_part(p) for p in load.left],
        "price": load.price,
        "chance": rounded(load.chance),
        "chance_without_parts": rounded(load.without_parts),
        "chance_with_every_part": rounded(load.with_every_part),
        "chance_work_by_others": rounded(load.others),
        "chance_nobody_here": rounded(load.nobody),
        "visit_cost": load.visit_cost,
        "worth": rounded(load.worth),
        "most_worth": rounded(load.most_worth),
        "minutes": {
            "mean": rounded(minutes.mean),
            "standard_error": rounded(minutes.error),
            "four_in_five": rounded(minutes.planned),
            "finished": rounded(minutes.finished),
            "waiting": rounded(minutes.waiting),
            "handed_over": rounded(minutes.handed_over),
        },
    }


def _head(view: Standing, limit: Limit) -> dict[str, Any]:
    from faultodds.advice import evidence_list, shop_used

    return {
        "appliance": view.appliance.knowledge.appliance.id,
        "revision": view.appliance.revision,
        "shop": shop_used(view.appliance),
        "evidence": evidence_list(view.belief.evidence),
        "currency": view.appliance.knowledge.costs.currency,
        "limit": {"budget": limit.budget, "shelf": limit.shelf, "carried": list(limit.carried)},
    }


def _part(p: PartValue) -> dict[str, Any]:
    return {
        "repair": p.name,
        "price": p.price,
        "needed": rounded(p.needed),
        "visits_saved": rounded(p.saves),
        "worth": rounded(p.worth),
        "carrying": rounded(p.carrying),
        "stands_in_for": list(p.stands_in),
    }


# ---- the shelf for many calls ----

_SHELF_CELLS = (7, 7, 8, 10, 9, 10)
_SHELF_OVER = ("", "", "likely", "runs", "", "cost of")
_SHELF_HEADS = ("copies", "each", "used", "short", "worth", "carrying")


def shelf_lines(view: Standing, shelf: Shelf, limit: Limit) -> list[str]:
    """Many calls: how many of each, what they give, what carrying them costs."""
    k = view.appliance.knowledge
    within = f" (budget {money(limit.budget, k)})" if limit.budget is not None else ""
    within += f" (room for {limit.shelf})" if limit.shelf is not None else ""
    head = wrap(
        f"FOR {shelf.calls} CALLS of the usual mix between two restockings: {shelf.count} parts, {money(shelf.price, k)}{within}."
    )
    table = _heads(_SHELF_OVER, _SHELF_HEADS, _SHELF_CELLS)
    for c in shelf.copies:
        counts = (str(c.count), money(c.price, k), f"{c.used:.1f}", percent(c.short))
        cells = (*counts, money(c.worth, k), money(c.carrying, k))
        table += _row(k, c.name, cells, (_SHELF_OVER, _SHELF_HEADS, _SHELF_CELLS))
    gives = wrap(
        f"Of {shelf.calls} calls about {shelf.finished:.1f} are finished in one visit; {shelf.without_parts:.1f} with an empty "
        f"van, {shelf.with_every_part:.1f} with every part there is. Another visit costs {money(shelf.visit_cost, k)}."
    )
    return paragraphs([head, table if shelf.copies else [], gives, *basis(view.appliance)])


def shelf_answer(view: Standing, shelf: Shelf, limit: Limit) -> dict[str, Any]:
    """The object of `stock --jobs N --json`."""
    return {
        **_head(view, limit),
        "calls": shelf.calls,
        "take": [
            {
                "repair": c.name,
                "copies": c.count,
                "price": c.price,
                "used": rounded(c.used),
                "short": rounded(c.short),
                "worth": rounded(c.worth),
                "carrying": rounded(c.carrying),
            }
            for c in shelf.copies
        ],
        "count": shelf.count,
        "price": shelf.price,
        "finished": rounded(shelf.finished),
        "standard_error": rounded(shelf.error),
        "finished_without_parts": rounded(shelf.without_parts),
        "finished_with_every_part": rounded(shelf.with_every_part),
        "visit_cost": shelf.visit_cost,
    }
