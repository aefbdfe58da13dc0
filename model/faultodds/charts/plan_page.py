"""The whole plan laid out on one printed page: what the boxes say, and where they stand.

The largest type that lets everything fit is taken, never smaller than `SMALLEST`; where even that does not fit, the
least likely branches are put together until it does. Units are points (1/72 inch) throughout.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

from faultodds.advice import may_be, percent
from faultodds.advice.plan import (
    Branch,
    Plan,
    PlanStep,
    cautions,
    everything,
    mixed,
    moves_words,
    short_percent,
    shown_by,
    step_words,
    whole_money,
)
from faultodds.errors import FaultoddsError
from faultodds.safety import at_once

if TYPE_CHECKING:
    from faultodds.belief import Appliance, Belief
    from faultodds.knowledge import Knowledge

PAPERS = {"letter": (792.0, 612.0), "a4": (841.9, 595.3)}
SIZES = (11.0, 10.0, 9.0, 8.5, 8.0, 7.5)
SMALLEST = 7.0
MARGIN, GUTTER, GAP, PAD, LEADING = 26.0, 16.0, 5.0, 3.5, 1.27
TITLE_SIZE, HEAD_SIZE, FOOT_SIZE = 13.0, 8.5, 7.5
# Hazards that the foot of the page speaks of.
AT_THE_FOOT = {"power", "gas", "energised", "co", "fire"}
CODE_LINE = (
    "Follow the maker's instructions and the local code; gas and live work only by those licensed or qualified for it where "
    "the law asks."
)


@dataclass(frozen=True)
class TextLine:
    """One line of text; `weight` and `colour` as matplotlib has them."""

    text: str
    size: float
    weight: str = "normal"
    colour: str = "black"


@dataclass
class Box:
    """One box of the tree: its lines, its children, and, once laid out, its upper left corner and height."""

    kind: str
    texts: list[tuple[str, str, str]]
    children: list[Box]
    lines: list[TextLine]
    x: float = 0.0
    top: float = 0.0
    height: float = 0.0

    def boxes(self) -> Iterator[Box]:
        """This box and all below it."""
        yield self
        for child in self.children:
            yield from child.boxes()


@dataclass(frozen=True)
class Page:
    """A page laid out: its size, the tree placed on it, the columns' width, head and foot lines with their top."""

    width: float
    height: float
    root: Box
    column: float
    size: float
    head: list[TextLine]
    foot: list[TextLine]


# ---- what the boxes say ----


def pooled(step: PlanStep, least: float) -> PlanStep:
    """The step with all branches that are reached with less than `least` put together at every place."""
    kept = [b for b in step.branches if b.then is not None and b.reach >= least]
    rest = [b for b in step.branches if b not in kept]
    branches = [dataclasses.replace(b, then=pooled(b.then, least)) for b in kept if b.then is not None]
    if not branches:
        return dataclasses.replace(step, branches=(), cut=step.kind in ("check", "repair"))
    if rest:
        outcomes = tuple(o for b in rest for o in b.outcomes)
        ahead = mixed([(b.chance, b.ahead) for b in rest])
        branches.append(Branch(outcomes, sum(b.chance for b in rest), sum(b.reach for b in rest), ahead, None))
    return dataclasses.replace(step, branches=tuple(branches))


def _box(k: Knowledge, step: PlanStep, found: str) -> Box:
    """A step as a box with everything below it; `found` is what leads there."""
    ahead = step.ahead
    texts = [(found, "bold", "black")] if found else []
    texts += [(step_words(k, step), "normal", "black"), (moves_words(k, step), "normal", "#444444")]
    if step.kind in ("check", "repair"):
        today = f"{whole_money(k, ahead.cost)}, {ahead.minutes:.0f} min to finish; today {short_percent(ahead.today)}"
        texts.append((today, "normal", "#1f4e79"))
    children = [_branch_box(k, step, b) for b in step.branches]
    return Box(step.kind, [t for t in texts if t[0]], children, [])


def _branch_box(k: Knowledge, step: PlanStep, branch: Branch) -> Box:
    words = k.check[shown_by(k, step)].outcomes
    if branch.then is not None:
        found = " or ".join(words[o] for o in branch.outcomes)
        return _box(k, branch.then, f"{found} ({percent(branch.chance)})" if found else "when that is done")
    found = "whatever it shows" if everything(k, step, branch) else f"otherwise ({percent(branch.chance)})"
    return Box("ask", [(f"{found}: ask again then", "normal", "black")], [], [])


def _stops(k: Knowledge) -> Iterator[str]:
    """The signs that stop everything, each with all of its steps."""
    for stop in k.stop.values():
        yield f"STOP AT ONCE: {stop.title}. {' '.join(stop.steps)}"


def _head(appliance: Appliance, belief: Belief, plan: Plan, day: date, body: float) -> list[tuple[str, float, str]]:
    """What is to be done at once, and what stops everything, at the top and in the size of the body; then what the plan is for
    and rests on."""
    k, e, ahead = appliance.knowledge, belief.evidence, plan.first.ahead
    known = [f"{f} = {v}" for f, v in e.facts.items()] + [s.label for s in e.seen]
    known += [f"repaired: {k.repair[r.name].title}" for r in e.repairs]
    rests = "from first guesses" if appliance.revision == "file" else "learned"
    if appliance.shop is not None:
        rests += f", prices and minutes of {appliance.shop.name or 'the shop file'}"
    now = at_once(k, may_be(k, e, belief))
    return [
        *((f"AT ONCE: {text}", body, "bold") for text in now),
        *((text, body, "bold") for text in _stops(k)),
        (f"What to do next: {k.appliance.title}", TITLE_SIZE, "bold"),
        ("Known: " + ("; ".join(known) or "nothing yet"), HEAD_SIZE, "normal"),
        (
            f"About {whole_money(k, ahead.cost)} and {ahead.minutes:.0f} min to finish; finished today, without handing over or a "
            f"callback: {percent(ahead.today)}. Where a line ends in '...', ask again. {day.isoformat()}. "
            f"Revision {appliance.revision} ({rests}).",
            HEAD_SIZE,
            "normal",
        ),
    ]


def _foot(k: Knowledge, plan: Plan) -> str:
    """What can hurt: the cautions of the plan's own steps."""
    told = [c.text for c in cautions(k, plan) if AT_THE_FOOT.intersection(c.covers)]
    return " ".join(["SAFETY.", *told, CODE_LINE])


# ---- laying out ----


@cache
def _measure() -> Any:
    from matplotlib.textpath import TextToPath

    return TextToPath()


@cache
def text_width(text: str, size: float, weight: str) -> float:
    """Width of a line in points."""
    from matplotlib.font_manager import FontProperties

    prop = FontProperties(size=size, weight=weight)
    return float(_measure().get_text_width_height_descent(text, prop, ismath=False)[0])


def wrapped(text: str, room: float, size: float, weight: str = "normal", colour: str = "black") -> list[TextLine]:
    """Text broken into lines no wider than `room`; a single word that is too wide is broken as well."""
    lines: list[list[str]] = [[]]
    left, space = room, text_width(" ", size, weight)
    for word in (piece for w in text.split() for piece in _pieces(w, room, size, weight)):
        wide = text_width(word, size, weight)
        if lines[-1] and wide + space > left:
            lines.append([])
            left = room
        left -= wide + (space if lines[-1] else 0.0)
        lines[-1].append(word)
    return [TextLine(" ".join(words), size, weight, colour) for words in lines]


def _pieces(word: str, room: float, size: float, weight: str) -> Iterator[str]:
    while text_width(word, size, weight) > room and len(word) > 1:
        fits = (n for n in range(len(word) - 1, 1, -1) if text_width(word[:n], size, weight) <= room)
        cut = next(fits, 1)
        yield word[:cut]
        word = word[cut:]
    yield word


def laid_out(appliance: Appliance, belief: Belief, plan: Plan, paper: str, day: date) -> Page:
    """The page: as much of the plan as fits, in the largest type that it fits in."""
    k = appliance.knowledge
    width, height = PAPERS[paper]
    room = width - 2 * MARGIN
    heads = {size: _head_lines(appliance, belief, plan, day, room, size) for size in (SMALLEST, *SIZES)}
    foot = wrapped(_foot(k, plan), room, FOOT_SIZE)
    left = height - 2 * MARGIN - tall(foot) - 4 * GAP
    reaches = sorted({b.reach for s in plan.first.steps() for b in s.branches if b.then is not None})
    for least in [0.0, *(r * (1 + 1e-9) for r in reaches)]:
        step = pooled(plan.first, least)
        fits = [size for size, head in heads.items() if _tree(k, step, room, size)[1] <= left - tall(head)]
        if SMALLEST in fits:
            size = max(fits)
            head, (root, _) = heads[size], _tree(k, step, room, size)
            _move(root, MARGIN, height - MARGIN - tall(head) - 2 * GAP)
            return Page(width, height, root, _column(root, room), size, head, foot)
    raise FaultoddsError(f"--paper {paper}: not even one step fits on the page. Shorten the titles in the file.")


def _head_lines(
    appliance: Appliance, belief: Belief, plan: Plan, day: date, room: float, size: float
) -> list[TextLine]:
    texts = _head(appliance, belief, plan, day, size)
    return [line for text, own, weight in texts for line in wrapped(text, room, own, weight)]


def _tree(k: Knowledge, step: PlanStep, room: float, size: float) -> tuple[Box, float]:
    """The tree laid out from the upper left corner, and how tall it is."""
    root = _box(k, step, "Start here")
    column = _column(root, room)
    _fill(root, column - 2 * PAD, size)
    outline = _place(root, 0.0, column)
    _move(root, 0.0, -max(top for top, _ in outline))
    return root, max(top for top, _ in outline) - min(bottom for _, bottom in outline)


def tall(lines: list[TextLine]) -> float:
    """How much height some lines take."""
    return sum(line.size * LEADING for line in lines)


def _levels(box: Box) -> int:
    return 1 + max((_levels(c) for c in box.children), default=0)


def _column(root: Box, room: float) -> float:
    columns = _levels(root)
    return min(260.0, (room - GUTTER * (columns - 1)) / columns)


def _fill(box: Box, room: float, size: float) -> None:
    """Break the lines and work out how tall the boxes are."""
    box.lines = [line for t, weight, colour in box.texts for line in wrapped(t, room, size, weight, colour)]
    box.height = tall(box.lines) + 2 * PAD
    for child in box.children:
        _fill(child, room, size)


def _place(box: Box, x: float, column: float) -> list[tuple[float, float]]:
    """Place a box and those below it, each as high as what is placed already lets it; (top, bottom) of every column.

    Subtrees are pushed together until they touch in some column, and a box stands at the middle of its children.
    """
    box.x, outline = x, list[tuple[float, float]]()
    for child in box.children:
        own = _place(child, x + column + GUTTER, column)
        both = list(zip(outline, own, strict=False))
        down = max((top - bottom + GAP for (_, bottom), (top, _) in both), default=0.0)
        _move(child, 0.0, -down)
        own = [(top - down, bottom - down) for top, bottom in own]
        outline = [(a[0], b[1]) for a, b in zip(outline, own, strict=False)] + outline[len(own) :] + own[len(outline) :]
    if box.children:
        first, last = box.children[0], box.children[-1]
        box.top = (first.top + last.top - last.height) / 2 + box.height / 2
    return [(box.top, box.top - box.height), *outline]


def _move(box: Box, right: float, up: float) -> None:
    for each in box.boxes():
        each.x += right
        each.top += up
