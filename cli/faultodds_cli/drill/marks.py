"""The pages of a person and of a class: scores, how sure against how often right, in plain words, with intervals."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultodds.calibration import FEWEST
from faultodds.errors import FaultoddsError
from faultodds.names import rounded
from faultodds_cli.shared.text import columns, money, percent, wrap

if TYPE_CHECKING:
    from faultodds.audit import Interval
    from faultodds.calibration import Drilled, Person
    from faultodds.knowledge import Knowledge
    from faultodds_cli.drill.kept import Kept, Played

_CELLS = (8, 7, 10, 7, 6)
# Drills and faults told on the trainer's page.
MOST_TOLD = 6
# What is said of a figure of so few drills that no interval stands behind it.
CHANCE = " (may be chance)"


def _person(k: Knowledge, done: Sequence[Drilled]) -> Person | None:
    from faultodds.calibration import faults, person

    return person(done, faults(k))


def _besides(mine: Played) -> str:
    """What does not count, in words."""
    left = f" Left half way: {mine.unfinished}." if mine.unfinished else ""
    again = f" Played again, and not counted: {mine.again}." if mine.again else ""
    return left + again


def person_lines(k: Knowledge, name: str, mine: Played) -> list[str]:
    """A person's page."""
    p = _person(k, mine.done)
    if p is None:
        none = f"No drill of '{name}' has ended with odds in it.{_besides(mine)}"
        return wrap(f"{none} Type: faultodds drill play --name {name}")
    count = f"{name}: {p.drills} drill{'s' if p.drills > 1 else ''}, {p.slips} ended by a safety slip."
    lines = wrap(f"{count}{_besides(mine)}")
    lines += ["", *sure_lines(p), ""]
    lines += wrap(f"Brier score {_interval(p.brier, p)}, log score {_interval(p.log, p)}, a step; 0 is best.")
    lines += wrap(f"No idea at all, every fault alike, scores {p.even[0]:.2f} and {p.even[1]:.2f}.", "  ")
    apart = (
        f"Brier taken apart: {p.parts.reliability:.3f} for saying chances that did not come so (0 is best), "
        f"{p.parts.resolution:.3f} won by telling calls apart, of {p.parts.uncertainty:.3f} there was to win."
    )
    lines += wrap(apart, "  ") if p.drills >= FEWEST else []
    lines += ["", *_called_lines(p), *_curve_lines(k, p)]
    if p.lost is not None:
        low, high = (money(x, k) for x in (p.lost.low, p.lost.high))
        between = f" ({low} to {high})" if p.drills >= FEWEST else CHANCE
        lines += [
            "",
            *wrap(
                f"Money: {money(abs(p.lost.value), k)} a drill {'below' if p.lost.value < 0 else 'above'} the best plan{between}; "
                f"parts wasted: {p.wrong_parts}."
            ),
        ]
    return lines


def draw(k: Knowledge, name: str, done: Sequence[Drilled], path: Path) -> None:
    """How sure a person was against how often right, as a figure; its title is what the page says of it."""
    from faultodds.calibration import faults, sure_curve
    from faultodds.charts import draw_person

    p, curve = _person(k, done), sure_curve(done, faults(k))
    if p is None or not curve:
        raise FaultoddsError(
            f"no drill of '{name}' of levels 1 to 3 has ended with odds in it, so there is nothing to draw. Type: faultodds drill "
            f"play --name {name}"
        )
    draw_person(name, curve, sure_words(p), path)


def sure_lines(p: Person) -> list[str]:
    """Over- or under-confidence in plain words."""
    return wrap(sure_words(p))


def sure_words(p: Person) -> str:
    """The same, on one line."""
    none = f"In {p.no_favourite} of {p.steps} steps no fault led your odds; those count in the scores alone. "
    none = none if p.no_favourite else ""
    if p.sure is None or p.right is None:
        return none.strip()
    text = (
        f"{none}Of your favourite fault you said {percent(p.sure)} on average; it was the one in {percent(p.right)} of "
    )
    text += "the other steps. " if none else "the steps. "
    gap = p.too_sure
    if gap is None:
        return text + "Too few drills of levels 1 to 3 to call that over- or under-confident; play on."
    between = f"(95 %: {100 * gap.low:+.0f} to {100 * gap.high:+.0f} points)"
    own = (
        ""
        if p.program is None
        else f" The program's own odds from the same findings: {100 * p.program.value:+.0f} points."
    )
    if p.verdict > 0:
        return f"{text}OVER-CONFIDENT by {100 * gap.value:.0f} points {between}: say less, or look once more.{own}"
    if p.verdict < 0:
        return f"{text}UNDER-CONFIDENT by {-100 * gap.value:.0f} points {between}: you know more than you say.{own}"
    beyond = " beyond what the program is" if gap.clear else ""
    return f"{text}Neither over- nor under-confident{beyond}, as far as {p.drills} drills can tell {between}.{own}"


def _interval(i: Interval, p: Person) -> str:
    return f"{i.value:.2f} ({i.low:.2f} to {i.high:.2f})" if p.drills >= FEWEST else f"{i.value:.2f}{CHANCE}"


def _called_lines(p: Person) -> list[str]:
    lines = []
    for head, sign in (("Called too often", 1), ("Called too seldom", -1)):
        told = [c for c in p.faults if c.more.value * sign > 0][:3]
        words = (
            f"{_spelt(c.name)} {c.said:.1f} calls, was {c.was}{'' if c.more.clear and p.drills >= FEWEST else CHANCE}"
            for c in told
        )
        lines += wrap(f"{head}: {'; '.join(words) or 'none'}.", "", "  ")
    return lines


def _spelt(fault: str) -> str:
    return fault.replace("_", " ")


def _curve_lines(k: Knowledge, p: Person) -> list[str]:
    """The learning curve; one block is none."""
    if len(p.curve) < 2:
        return []
    lines = ["", *columns("LEARNING CURVE", ("Brier", "over plan"), (8, 10))]
    for n, (score, lost) in enumerate(p.curve):
        last = p.drills if n + 1 == len(p.curve) else (n + 1) * FEWEST
        paid = "" if math.isnan(lost) else money(lost, k)
        lines += columns(f"  drills {n * FEWEST + 1} to {last}", (f"{score:.2f}", paid), (8, 10))
    return lines


def class_lines(k: Knowledge, by: Mapping[str, Played]) -> list[str]:
    """The trainer's page: everybody with drills, whether any has ended or not."""
    known = {name: mine for name, mine in by.items() if mine.done or mine.unfinished}
    if not known:
        return wrap("No drill has been begun yet. Type: faultodds drill play --name NAME --level 1 --seed 1")
    lines = columns("WHO", ("drills", "Brier", "too sure", "slips", "left"), _CELLS)
    for name, mine in known.items():
        p, left = _person(k, mine.done), str(mine.unfinished or "")
        cells = ("0", "", "", "", left) if p is None else (str(p.drills), *_marks(p), str(p.slips), left)
        lines += columns(f"  {name}", cells, _CELLS)
    lines += wrap(
        f"Brier: 0 is best; ? of fewer than {FEWEST} drills, may be chance. Too sure: points that the favourite's chance was "
        "above how often it was so; ? may be chance, or no more than the program's own. Left: drills left half way.",
        "  ",
    )
    again = sum(mine.again for mine in by.values())
    lines += wrap(f"Played again by the same name, and not counted: {again}.", "  ") if again else []
    done = {name: mine.done for name, mine in known.items()}
    everybody = _person(k, [d for each in done.values() for d in each])
    if everybody is None:
        return lines
    return [
        *lines,
        "",
        "THE CLASS TOGETHER",
        *sure_lines(everybody),
        *_called_lines(everybody),
        "",
        *_by_drill(k, done),
    ]


def _marks(p: Person) -> tuple[str, str]:
    """Brier score, and how much too sure."""
    sure = "?" if p.too_sure is None else f"{100 * p.too_sure.value:+.0f}{'' if p.verdict else ' ?'}"
    return f"{p.brier.value:.2f}{'' if p.drills >= FEWEST else ' ?'}", sure


def _by_drill(k: Knowledge, done: Mapping[str, Sequence[Drilled]]) -> list[str]:
    """The drills that cost most by what was known at each step, whatever the luck; first those that ended in a slip, which
    outweighs all."""
    by: dict[str, list[Drilled]] = {}
    for d in (d for each in done.values() for d in each):
        by.setdefault(d.drill, []).append(d)
    lost = {name: [d.given_away for d in each if d.given_away is not None] for name, each in by.items()}
    mean = {name: sum(x) / len(x) if x else 0.0 for name, x in lost.items()}
    slipped = {name: sum(bool(d.slip) for d in each) for name, each in by.items()}
    lines = columns("DRILLS THAT COST MOST", ("played", "lost", "slips"), (8, 9, 8))
    for name in sorted(by, key=lambda n: (-slipped[n], -mean[n], n))[:MOST_TOLD]:
        one = CHANCE if len(by[name]) == 1 else ""
        said = money(mean[name], k) if lost[name] else "?"
        head = f"  {name} ({_spelt(by[name][0].truth)}){one}"
        lines += columns(head, (str(len(by[name])), said, str(slipped[name])), (8, 9, 8))
    return lines + wrap("Lost: by what was known at each step, not by luck; ? not worked out.", "  ")


def answer(k: Knowledge, by: Mapping[str, Played]) -> dict[str, Any]:
    """The object of `--json`."""
    return {"synthetic": True, "people": {name: _plain(_person(k, mine.done), mine) for name, mine in by.items()}}


def _plain(p: Person | None, mine: Played) -> dict[str, Any]:
    besides = {"again": mine.again, "unfinished": mine.unfinished}
    if p is None:
        return {"drills": 0, **besides}

    def span(i: Interval | None) -> dict[str, float] | None:
        return None if i is None else {"value": rounded(i.value), "low": rounded(i.low), "high": rounded(i.high)}

    return {
        "drills": p.drills,
        **besides,
        "brier": span(p.brier),
        "log": span(p.log),
        "reliability": rounded(p.parts.reliability),
        "resolution": rounded(p.parts.resolution),
        "uncertainty": rounded(p.parts.uncertainty),
        "sure": None if p.sure is None else rounded(p.sure),
        "right": None if p.right is None else rounded(p.right),
        "steps": p.steps,
        "no_favourite": p.no_favourite,
        "too_sure": span(p.too_sure),
        "program_too_sure": span(p.program),
        "verdict": ("under-confident", "neither", "over-confident")[p.verdict + 1],
        "faults": [{"name": c.name, "said": rounded(c.said), "was": c.was, "more": span(c.more)} for c in p.faults],
        "lost": span(p.lost),
        "wrong_parts": p.wrong_parts,
        "slips": p.slips,
    }


def write_csv(path: Path, every: Mapping[str, Sequence[Kept]], force: bool = False) -> None:
    """A line a person and drill; one that was left half way has no end yet, and its truth is not told."""
    from faultodds.files import cannot_write, refuse_taken, written_whole

    refuse_taken(path, "--csv", "class.csv", kind="a table", endings=(".csv",), force=force)
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(("name", "drill", "state", "truth", "steps", "cost", "best", "wrong_parts", "slip"))
    for name, each in every.items():
        for kept in each:
            d = kept.record.done
            state = "left half way" if d is None else "played again" if kept.again else "ended"
            end = (
                ("",) * 6
                if d is None
                else (d.truth, len(d.forecasts), f"{d.cost:.2f}", f"{d.best:.2f}", d.wrong_parts, d.slip)
            )
            rows.writerow((name, kept.drill, state, *end))
    try:
        with written_whole(path, shared=True) as beside:
            beside.write_text(text.getvalue(), encoding="utf-8")
    except OSError as problem:
        raise cannot_write(path, "--csv", problem) from None
