"""`faultodds ask`: before the visit, the questions whose answers would change most what to load and what to do."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer
from msgspec.structs import replace

from faultodds.names import rounded
from faultodds_cli.shared import options
from faultodds_cli.shared.call import call_as_given
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.show_known import evidence_lines, until_the_visit
from faultodds_cli.shared.text import money, percents, row, wrap

if TYPE_CHECKING:
    from faultodds.advice import NextMove, QuestionPrice
    from faultodds.belief import FaultOdds
    from faultodds.job import Standing
    from faultodds.stock import Limit

app = options.new_app("Before the visit: the questions whose answers would change most what to load and what to do.")

# The likeliest faults that are named after each answer.
FAULTS = 2
REMEMBERED = "Ask what they remember. Nothing is switched on, opened or touched to find an answer."


@app.command()
def ask(
    fact: options.Fact = None,
    found: options.Found = None,
    top: Annotated[
        int, typer.Option("--top", metavar="N", min=1, max=20, help="How many questions.", show_default=True)
    ] = 3,
    qualified: options.Qualified = True,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    revision: options.Revision = None,
    shop: options.Shop = None,
    technician: options.Technician = None,
    budget: options.Budget = None,
    shelf: options.Shelf = None,
    as_json: options.Json = False,
) -> None:
    """What to ask on the telephone, best first, from what the customer has said. With --shelf or --budget: what the load of a
    van with so much room hangs on.

    Examples: faultodds ask --found heat=none / faultodds ask --found heat=none --shelf 3
    """
    from faultodds.advice import best_questions
    from faultodds.stock import Limit, Stock, load_questions

    view = call_as_given(
        appliance, fact, found, qualified=qualified, revision=revision, shop=shop, technician=technician
    )
    limit = Limit(budget, shelf)
    best: Sequence[QuestionPrice]
    if limit.is_free:
        best = best_questions(view.appliance, view.belief, view.situation, top)
    else:
        best = load_questions(Stock(view.appliance, view.belief, view.situation), limit, top)
    if as_json:
        say_json(_answer(view, best, limit))
        return
    if view.job.findings or view.job.facts:
        say(evidence_lines(view))
        say()
    used, told = until_the_visit(view)
    for text in [*told, *[REMEMBERED] * (used == "no")]:
        say([*wrap(text), ""])
    if not best:
        hangs = "what could be told would change nothing" if limit.is_free else "no answer would change what to load"
        say(wrap(f"Nothing that is worth asking: {hangs}."))
        return
    say(row("", "", "ASK BEFORE THE VISIT, BEST FIRST", ["saves"], (9,)))
    for number, price in enumerate(best, 1):
        say(_lines(view, number, price))
    say()
    saves = "money over the whole job, against not asking"
    if not limit.is_free:
        saves = "further visits that a load which fits the answer spares, in money"
    say(
        wrap(
            f"Saves: {saves}. What two answers would both tell counts once in the order. "
            "Then load: faultodds stock with --found and --fact."
        )
    )


def _lines(view: Standing, number: int, price: QuestionPrice) -> list[str]:
    k, question = view.appliance.knowledge, price.question
    then = {a: _then(view, price, a) for a, chance in price.chances.items() if chance > 0}
    lines = row(f"  {number}. ", "     ", question.text, [money(max(price.worth, 0.0), k)], (9,))
    for answer, chance in zip(price.chances, percents(price.chances.values()), strict=True):
        leading = _likeliest(view, price, answer)
        whole = percents(o.probability for o in leading)
        likely = ", ".join(f"{k.title_of(o.name)} {p}" for o, p in zip(leading, whole, strict=True))
        lines += wrap(f"{question.name}={answer} ({chance}): {likely}", "     ", "       ")
        if likely:
            lines += wrap(then[answer], "       ", "       ")
    if len(then) > 1 and len({*then.values()}) == 1:
        parted = "; ".join(
            f"after {a}, {k.title_of(name)} {percents((p,))[0]}" for a, (name, p) in _parted(view, price).items()
        )
        lines += wrap(
            f"Whatever the answer, the same comes first; what differs comes later: {parted}.", "     ", "       "
        )
    return lines


def _parted(view: Standing, price: QuestionPrice) -> dict[str, tuple[str, float]]:
    """Of each answer that can be the fault that it makes likelier than any other answer does by most, and how likely it is then."""
    from faultodds.advice import answered

    can_be = [answer for answer, chance in price.chances.items() if chance > 0]
    odds = {a: {o.name: o.probability for o in answered(view.belief, price.question, a).fault_odds()} for a in can_be}
    found: dict[str, tuple[str, float]] = {}
    for answer, mine in odds.items():
        others = [each for other, each in odds.items() if other != answer]
        if others and mine:
            name = max(mine, key=lambda n: mine[n] - max(each.get(n, 0.0) for each in others))
            found[answer] = (name, mine[name])
    return found


def _then(view: Standing, price: QuestionPrice, answer: str) -> str:
    """What an answer is good for: what to load, or what is done first."""
    from faultodds.stock import LoadQuestion

    if isinstance(price, LoadQuestion):
        return f"Then load: {', '.join(price.loads[answer]) or 'no parts'}"
    return f"Then first: {_told(view, _first(view, price, answer))}"


def _first(view: Standing, price: QuestionPrice, answer: str) -> NextMove:
    """What is done first on the call after an answer, with nothing else asked."""
    from faultodds.advice import answered, best_move

    return best_move(
        view.appliance, answered(view.belief, price.question, answer), replace(view.situation, asking=False)
    )


def _told(view: Standing, move: NextMove) -> str:
    k = view.appliance.knowledge
    titles = [
        (k.check.get(n) or k.repair[n]).title + k.who_may(n)
        for n in (move.name, *move.together)
        if n in {**k.check, **k.repair}
    ]
    return " and ".join(titles) or "hand it over"


def _likeliest(view: Standing, price: QuestionPrice, answer: str) -> Sequence[FaultOdds]:
    """The likeliest faults after an answer; none where it cannot be."""
    from faultodds.advice import answered

    return answered(view.belief, price.question, answer).fault_odds()[:FAULTS] if price.chances[answer] > 0 else []


def _answer(view: Standing, best: Sequence[QuestionPrice], limit: Limit) -> dict[str, Any]:
    from faultodds.advice import evidence_list

    used, told = until_the_visit(view)
    told += [REMEMBERED] * (used == "no")
    parted = {price.question.name: _parted(view, price) for price in best}
    return {
        "limit": {"budget": limit.budget, "shelf": limit.shelf},
        "appliance": view.appliance.knowledge.appliance.id,
        "evidence": evidence_list(view.belief.evidence),
        "currency": view.appliance.knowledge.costs.currency,
        "until_the_visit": {"used": used, "told": told},
        "ask": [
            {
                "name": price.question.name,
                "kind": price.question.kind,
                "question": price.question.text,
                "worth": rounded(price.worth),
                "answers": [
                    {
                        "answer": answer,
                        "chance": rounded(chance),
                        "likeliest": [
                            {"mode": o.name, "probability": rounded(o.probability)}
                            for o in _likeliest(view, price, answer)
                        ],
                        "parts_off": parted[price.question.name].get(answer, (None,))[0],
                        **_next(view, price, answer),
                    }
                    for answer, chance in price.chances.items()
                ],
            }
            for price in best
        ],
    }


def _next(view: Standing, price: QuestionPrice, answer: str) -> dict[str, Any]:
    from faultodds.stock import LoadQuestion

    if isinstance(price, LoadQuestion):
        return {"load": list(price.loads[answer])}
    if price.chances[answer] <= 0:
        return {"first": None, "together": []}
    first = _first(view, price, answer)
    return {"first": first.name, "together": list(first.together)}
