"""The fault odds as lines: a bar a fault, and how the odds came about."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from faultodds_cli.shared.text import BAR_CELLS, LEAST_BESIDE, bar, columns, percent, title_lines, width, wrap

if TYPE_CHECKING:
    from faultodds.belief import Belief, OddsStep
    from faultodds.job import Standing
    from faultodds.knowledge import Knowledge

# What multiplies the odds by less than this, or divides them by less, is not worth a line; a natural logarithm.
NEXT_TO_NOTHING = math.log(1.25)
# Columns for what is done to the odds: "divided by 1234".
NAME_CELLS = 15
# Faults less likely than this are not told of, but for the first.
LEAST_TOLD = 0.01
HOW_TO_READ = (
    "Odds multiply, from the top of each list down: as things came, small ones last. In brackets: the chance now if that one "
    "alone were taken back."
)


def odds_lines(view: Standing, count: int = 8, before: Belief | None = None) -> list[str]:
    """Bars for the likeliest faults, with what they were: before any finding, or at `before`."""
    belief, k = view.belief, view.appliance.knowledge
    odds = belief.fault_odds()
    was = {o.name: o.prior for o in odds}
    if before is not None:
        was = {o.name: o.probability for o in before.fault_odds()}
    shown = [o for o in odds[:count] if o.probability >= 0.001]
    rows = [(k.title_of(o.name), o.probability, percent(was[o.name])) for o in shown]
    if belief.sound >= 0.005:
        sound = before.sound if before is not None else float(belief.prior[belief.suspects.sound])
        rows.append(("nothing wrong with the machine", belief.sound, percent(sound)))
    return odds_table("was" if before is not None else "at first", rows)


def odds_table(
    beside: str,
    rows: Iterable[tuple[str, float, str]],
    widths: Sequence[int] = (BAR_CELLS, 10, 10),
    gap: int = 2,
    margin: int = 0,
) -> list[str]:
    """A line a fault: its title, its chance as a bar and in percent, and what is said `beside` it."""
    narrow = width() - margin - sum(widths) - gap < LEAST_BESIDE
    room = width() - 2 if narrow else width() - margin - sum(widths) - gap - 2
    lines = columns("FAULT ODDS", ("", "now", beside), widths, margin)
    for title, p, said in rows:
        first, *rest = title_lines(title, room)
        cells = (bar(p, widths[0]), percent(p), said)
        if narrow:
            below = "".join(c.rjust(w) for c, w in zip(cells, widths, strict=True))
            lines += [f"  {first}", *(f"    {line}" for line in rest), below.rjust(width() - margin)]
        else:
            lines += [*columns(f"  {first}", cells, widths, margin), *(f"    {line}" for line in rest)]
    return lines


def course_lines(k: Knowledge, belief: Belief, modes: Sequence[str] = (), count: int = 3) -> list[str]:
    """How the odds of some faults, or of the leading ones, came about: what each fact, finding and repair multiplied them by, in
    order."""
    from faultodds.belief import odds_course

    leading = belief.fault_odds()[:count]
    modes = modes or [o.name for i, o in enumerate(leading) if not i or o.probability >= LEAST_TOLD]
    course = odds_course(belief, modes)
    if not course.steps:
        return ['FINDINGS: none yet. Add one with --found NAME=OUTCOME or --reading CHECK="1.15k".']
    lines = ["HOW THE ODDS CAME ABOUT", *wrap(HOW_TO_READ, "  ")]
    facts = [s for s in course.steps if s.kind == "fact"]
    for column, mode in enumerate(course.modes):
        now = float(course.now[column])
        lines += wrap(k.title_of(mode), "  ")
        if facts:
            lines += _said("by the file", _both(float(course.start[column])))
            lines += _step_lines(k, facts, column, now)
        lines += _said("at first", _both(float(facts[-1].after[column] if facts else course.start[column])))
        lines += _step_lines(k, [s for s in course.steps if s.kind != "fact"], column, now)
        lines += _said("now", _both(now))
    return lines


def _step_lines(knowledge: Knowledge, steps: Sequence[OddsStep], column: int, now: float) -> list[str]:
    """A line for each step that matters to a fault, and one for the rest together, so that they still multiply."""
    lines, little, rest = [], list[str](), 0.0
    for step in steps:
        # A repair or return always has its line: the same finding may stand before it and after it, of two different machines.
        name = f"repaired: {knowledge.repair[step.name].title}" if step.kind == "repair" else step.name
        name = f"it came back: {name}" if step.kind == "came_back" else name
        before, after = float(step.before[column]), float(step.after[column])
        without = None if step.without is None else float(step.without[column])
        if (
            step.kind not in ("repair", "came_back")
            and _little(before, after)
            and without is not None
            and _little(without, now)
        ):
            little.append(name)
            rest += after - before
            continue
        said = "the rest would clash" if without is None else _chance(without)
        lines += _said(factor_words(before, after), f"{name} (without it {said})")
    if little:
        together = " (together)" if len(little) > 1 else ""
        lines += _said(factor_words(0.0, rest), ", ".join(little) + together)
    return lines


def _little(one: float, other: float) -> bool:
    return math.isfinite(one) and abs(other - one) < NEXT_TO_NOTHING


def _said(name: str, text: str) -> list[str]:
    return wrap(text, f"    {name:<{NAME_CELLS}}  ", " " * (NAME_CELLS + 6))


def _both(log_odds: float) -> str:
    return f"{_chance(log_odds)}, {odds_words(log_odds)}"


def _chance(log_odds: float) -> str:
    from faultodds.belief import chance_of

    return percent(chance_of(log_odds))


def odds_words(log_odds: float) -> str:
    """Odds from their natural logarithm, as people say them: "odds 1 to 18", "odds 3.2 to 1"."""
    if math.isinf(log_odds):
        return "certain" if log_odds > 0 else "ruled out"
    larger = _number(abs(log_odds))
    if larger == "1.0":
        return "even odds"
    return f"odds {larger} to 1" if log_odds > 0 else f"odds 1 to {larger}"


def factor_words(before: float, after: float) -> str:
    """What led from one odds to the next, both natural logarithms: "times 3.2", "divided by 4.5"."""
    if before == after:
        return "times 1.0" if math.isfinite(before) else "changes nothing"
    if math.isinf(after):
        return "proves it" if after > 0 else "rules it out"
    if math.isinf(before):
        return "no longer sure"
    size = _number(abs(after - before))
    return f"times {size}" if after > before or size == "1.0" else f"divided by {size}"


def _number(logarithm: float) -> str:
    from faultodds.cards import words

    return words.number(logarithm)
