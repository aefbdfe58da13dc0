"""What would change the advice, in words: moves, inputs and their values, for screens and figures alike."""

from __future__ import annotations

from faultodds.advice.advisor import NextMove
from faultodds.advice.questions import question_of
from faultodds.advice.sensitivity.margins import WhatIf
from faultodds.advice.words import money, percent
from faultodds.knowledge import Knowledge
from faultodds.names import capital


def move_words(k: Knowledge, move: NextMove, code: bool = True) -> str:
    """A move in words, with the name to type in brackets where `code` says so."""
    if move.kind == "stop":
        return "leave and close the job"
    if move.kind == "refer":
        return "hand the job over"
    names = (move.name, *move.together)
    titles = {
        "ask": lambda: question_of(k, move.name).text,
        "check": lambda: k.check[move.name].title,
        "repair": lambda: " and ".join(k.repair[n].title for n in names),
    }
    return f"{move.kind}: {titles[move.kind]()}" + (f" [{' + '.join(names)}]" if code else "")


def about(w: WhatIf) -> str:
    """What an input is."""
    return capital(f"odds of {w.title}" if w.kind == "odds" else w.title)


def amount(k: Knowledge, w: WhatIf, value: float) -> str:
    """A value of an input in its unit."""
    if w.kind == "money":
        return money(value, k.costs.currency)
    if w.kind == "minutes":
        return f"{value:.1f} min" if value < 10 else f"{value:.0f} min"
    return percent(value)
