"""What would change the advice, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from faultodds.advice.sensitivity import about, amount, move_words, sensitivity
from faultodds.names import capital
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.progress import counted
from faultodds_cli.shared.show_advice import at_once_lines
from faultodds_cli.shared.show_known import basis, evidence_lines
from faultodds_cli.shared.text import money, paragraphs, wrap

if TYPE_CHECKING:
    from pathlib import Path

    from faultodds.advice.sensitivity import Edge, Sensitivity, WhatIf
    from faultodds.job import Standing
    from faultodds.knowledge import Knowledge


def say_what_if(view: Standing, as_json: bool, figure: Path | None = None) -> None:
    """Work out what would change the advice, draw it where a figure is asked for, and print it."""
    with counted("asking what if") as tick:
        found = sensitivity(view.appliance, view.belief, view.situation, tick=tick)
    if figure is not None:
        from faultodds.charts import draw_tornado

        draw_tornado(view.appliance.knowledge, found, figure)
    if as_json:
        from faultodds.advice.plan import what_if_answer

        say_json(what_if_answer(view.appliance, view.belief, found))
        return
    k = view.appliance.knowledge
    parts = [
        at_once_lines(view)[:-1],
        evidence_lines(view),
        head_lines(k, found),
        *table(k, found),
        note_lines(k, found),
    ]
    say(paragraphs([*parts, *basis(view.appliance)]))


def head_lines(k: Knowledge, found: Sensitivity) -> list[str]:
    """The advice, and the next best thing with what it costs more."""
    asked = (
        wrap(f"{capital(move_words(k, found.asked))} What follows is once that is told.", "DO NEXT: ")
        if found.asked
        else []
    )
    head = "THEN: " if asked else "DO NEXT: "
    lines = asked + wrap(
        f"{capital(move_words(k, found.move))} (whole job {money(found.move.expected_cost, k)}).", head
    )
    if found.forced:
        return lines + wrap(
            "It comes first whatever the odds and prices, as a proof or for safety: nothing here changes that."
        )
    if found.next_best is None:
        return lines + wrap("There is nothing else that could be done now.")
    said = f"Next best: {move_words(k, found.next_best)}, "
    if found.extra <= found.margin:
        return lines + wrap(said + "as good as equal: take what suits.")
    return lines + wrap(said + f"{money(found.extra, k)} more.")


def table(k: Knowledge, found: Sensitivity) -> list[list[str]]:
    """Two blocks: what would change the advice, and what would not."""
    change = [line for w in found.what_ifs if w.changes for line in _changing(k, w)]
    stay = [line for w in found.what_ifs if not w.changes for line in _staying(k, w)]
    head = "WOULD CHANGE, ONE AT A TIME" if change else ""
    out = [[head, *change]] if change else []
    if stay:
        out.append(["WOULD STAY" if change else "WOULD STAY: nothing looked into changes it", *stay])
    return out


def _changing(k: Knowledge, w: WhatIf) -> list[str]:
    lines = wrap(f"{about(w)}, now {amount(k, w, w.now)}:", "  ", "    ")
    for edge, fell in ((w.below, True), (w.above, False)):
        if edge is not None and edge.at is not None and edge.then is not None:
            verb = "below" if fell else "above"
            lines += wrap(f"{verb} {amount(k, w, edge.at)}: {move_words(k, edge.then)}", "    ", "      ")
    held = [e for e in (w.below, w.above) if e is not None and e.at is None]
    if held:
        side = "down to" if held[0] is w.below else "up to"
        lines += wrap(f"stays {side} {amount(k, w, held[0].looked_to)}, the furthest tried", "    ", "      ")
    return lines


def _staying(k: Knowledge, w: WhatIf) -> list[str]:
    low, high = _end(w, w.below), _end(w, w.above)
    said = f"{about(w)}, now {amount(k, w, w.now)}: at {amount(k, w, low)} and at {amount(k, w, high)} too"
    return wrap(said, "  ", "    ")


def _end(w: WhatIf, edge: Edge | None) -> float:
    return w.now if edge is None else edge.looked_to


def note_lines(k: Knowledge, found: Sensitivity) -> list[str]:
    """What counts as a change, and what was not looked into."""
    if found.forced or not found.what_ifs:
        return []
    return wrap(
        "Each input is moved alone. It counts as a change when another move saves 1 % of the job or more (here "
        f"{money(found.margin, k)}); nearer than that, either will do. Points of change are good to a few percent. "
        "'Tells nothing': share of looks that say nothing of the machine. 'Mistakes left': share of the mistakes this file "
        "gives a check."
    )
