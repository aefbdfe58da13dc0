"""The fault odds as lines: a bar a fault, and what each finding does to the odds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from faultodds_cli.shared.text import BAR_CELLS, LEAST_BESIDE, bar, columns, percent, title_lines, width, wrap

if TYPE_CHECKING:
    from faultodds.belief import Belief
    from faultodds.job import Standing

# Weights of evidence under this, in decibans, are not worth a line.
NEXT_TO_NOTHING = 1.0


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


def weight_lines(view: Standing, count: int = 3) -> list[str]:
    """What each finding says about the leading faults: what it multiplies the odds by, and in words."""
    from faultodds.belief import weights_of_evidence

    k = view.appliance.knowledge
    leading = [o.name for o in view.belief.fault_odds()[:count]]
    weights = weights_of_evidence(view.belief, leading)
    if not weights:
        return ['FINDINGS: none yet. Add one with --found NAME=OUTCOME or --reading CHECK="1.15k".']
    lines = ["WHAT EACH FINDING DOES TO THE ODDS"]
    for column, mode in enumerate(leading):
        lines += wrap(k.title_of(mode), "  ")
        ranked = sorted(((float(row[column]), label) for label, row in weights.items()), key=lambda item: -abs(item[0]))
        for weight, label in ranked:
            if abs(weight) >= NEXT_TO_NOTHING:
                lines += wrap(f"{_times(weight):>8}  {label} {weight_words(weight)}", "  ", " " * 12)
        silent = [label for weight, label in ranked if abs(weight) < NEXT_TO_NOTHING]
        if silent:
            verb = "says" if len(silent) == 1 else "say"
            lines += wrap(f"{', '.join(silent)} {verb} next to nothing", " " * 12)
    return lines


def _times(decibans: float) -> str:
    """A weight of evidence as what it multiplies the odds by, or divides them by."""
    times = 10 ** (abs(decibans) / 10)
    shown = f"{times:.1f}" if times < 9.95 else f"{min(times, 9999):.0f}"
    return f"x {shown}" if decibans > 0 else f": {shown}"


def weight_words(decibans: float) -> str:
    """A weight of evidence in plain words."""
    size = abs(decibans)
    side = "for it" if decibans > 0 else "against it"
    if size < NEXT_TO_NOTHING:
        return "says next to nothing"
    if size < 5:
        return f"speaks a little {side}"
    if size < 10:
        return f"speaks {side}"
    if size < 20:
        return f"speaks strongly {side}"
    return "all but proves it" if decibans > 0 else "all but rules it out"
