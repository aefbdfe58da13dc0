"""The whole plan laid out on one printed page: what the boxes say, and where they stand.

The largest type that lets everything fit is taken, never smaller than `SMALLEST`; where even that does not fit, the
least likely branches are put together until it does, each outcome with what it would point to. Units are points (1/72
inch) throughout.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from faultodds.advice import may_be, percent
from faultodds.advice.plan import (
    Branch,
    Hint,
    Plan,
    PlanStep,
    answers,
    branch_percent,
    cautions,
    everything,
    mixed,
    moves_words,
    short_percent,
    step_words,
    whole_money,
)
from faultodds.cards import words
from faultodds.charts.typeset import TextLine, tall, wrapped
from faultodds.errors import FaultoddsError
from faultodds.safety import at_once

if TYPE_CHECKING:
    from faultodds.belief import Appliance, Belief
    from faultodds.knowledge import Knowledge

PAPERS = {"letter": (792.0, 612.0), "a4": (841.9, 595.3)}
SIZES = (11.0, 10.0, 9.0, 8.5)
SMALLEST = 8.0
MARGIN, GUTTER, GAP, PAD = 26.0, 16.0, 5.0, 3.5
TITLE_SIZE, HEAD_SIZE, FOOT_SIZE = 13.0, 8.5, 8.0
COLUMNS = 5
HINTS = 2  # faults that are named where several outcomes are put together
# Hazards that the foot of the page speaks of.
AT_THE_FOOT = {"power", "gas", "energised", "co", "fire"}
CODE_LINE = (
    "Follow the maker's instructions and the local code; gas and live work only by those licensed or qualified for it where "
    "the law asks."
)


@dataclass
class Box:
    """One box of the tree: its texts (with weight and colour), its children, how many steps of the plan it tells, and, once laid
    out, its lines, upper left corner and height."""

    kind: str
    texts: list[tuple[str, str, str]]
    children: list[Box]
    steps: int = 0
    beyond: float = 0.0
    lines: list[TextLine] = field(default_factory=list)
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

    @property
    def steps(self) -> int:
        """How many steps of the plan are on the page."""
        return sum(box.steps for box in self.root.boxes())

    @property
    def beyond(self) -> float:
        """The chance that a call comes to where nothing more is drawn before it has ended."""
        return sum(box.beyond for box in self.root.boxes())


# ---- what the boxes say ----


def pooled(step: PlanStep, least: float, whole: bool = False) -> PlanStep:
    """The step with all branches that are reached with less than `least` put together at every place; where the likely way on
    stays `whole`, but for that one."""
    likeliest = step.branches[0] if step.branches and whole else None
    kept = [b for b in step.branches if b.then is not None and (b.reach >= least or b is likeliest)]
    rest = [b for b in step.branches if b not in kept]
    branches = [dataclasses.replace(b, then=pooled(b.then, least, whole)) for b in kept if b.then is not None]
    if not branches:
        return dataclasses.replace(step, branches=(), cut=step.kind not in ("stop", "refer"))
    if rest:
        outcomes = tuple(o for b in rest for o in b.outcomes)
        ahead = mixed([(b.chance, b.ahead) for b in rest])
        hints = tuple(sorted((h for b in rest for h in b.hints), key=lambda h: -h.chance))
        branches.append(Branch(outcomes, sum(b.chance for b in rest), sum(b.reach for b in rest), ahead, None, hints))
    return dataclasses.replace(step, branches=tuple(branches))


def _box(k: Knowledge, step: PlanStep, found: str, least: float, level: int = 1, likely: bool = True) -> Box:
    """A step as a box with everything below it; `found` is what leads there. Off the likely path, where it is reached with less
    than `least`, and in the last column, the likely way on is told in the box itself."""
    ahead = step.ahead
    texts = _step_texts(k, step, found)
    if step.kind not in ("stop", "refer") and not step.cut:
        today = f"{whole_money(k, ahead.cost)}, {ahead.minutes:.0f} min to finish; today {short_percent(ahead.today)}"
        texts.append((today, "normal", "#1f4e79"))
    if level == COLUMNS or (step.reach < least and not likely):
        told = [step, *_likely_steps(step)]
        beyond = sum(b.reach for s in told for b in s.branches if b is not s.branches[0] or b.then is None)
        beyond += told[-1].reach if told[-1].cut else 0.0
        return Box(step.kind, [*texts, *_likely_on(k, step)], [], len(told), beyond)
    children = [_branch_box(k, step, b, least, level, likely and b is step.branches[0]) for b in step.branches]
    return Box(step.kind, texts, children, 1, step.reach if step.cut and not children else 0.0)


def _step_texts(k: Knowledge, step: PlanStep, found: str) -> list[tuple[str, str, str]]:
    texts = [
        (found, "bold", "black"),
        (step_words(k, step), "normal", "black"),
        (moves_words(k, step), "normal", "#444444"),
    ]
    if step.cut:
        texts.append((f"leading: {_leading(k, *step.likeliest)}", "normal", "black"))
    return [t for t in texts if t[0]]


def _likely_steps(step: PlanStep) -> Iterator[PlanStep]:
    """What comes after a step when each time the likeliest is found, to the end of the plan."""
    while step.branches and step.branches[0].then is not None:
        step = step.branches[0].then
        yield step


def _likely_on(k: Knowledge, step: PlanStep) -> Iterator[tuple[str, str, str]]:
    """Those steps in words."""
    for after in _likely_steps(step):
        yield from _step_texts(k, after, _found(k, step, step.branches[0]))
        step = after
    if step.branches:
        yield from _hints(k, step, step.branches[0], 1)


def _found(k: Knowledge, step: PlanStep, branch: Branch) -> str:
    shows = answers(k, step) if branch.outcomes else {}
    found = " or ".join(shows[o] for o in branch.outcomes)
    return f"{found} ({branch_percent(step, branch)})" if found else "when that is done"


def _branch_box(k: Knowledge, step: PlanStep, branch: Branch, least: float, level: int, likely: bool) -> Box:
    if branch.then is not None:
        return _box(k, branch.then, _found(k, step, branch), least, level + 1, likely)
    return Box("ask", list(_hints(k, step, branch, HINTS)), [], beyond=branch.reach)


def _hints(k: Knowledge, step: PlanStep, branch: Branch, most: int) -> Iterator[tuple[str, str, str]]:
    """What the outcomes of a branch that goes no further would point to, those of one fault together."""
    shows, told = answers(k, step), dict[str, list[Hint]]()
    for hint in branch.hints:
        told.setdefault(hint.mode, []).append(hint)
    if everything(k, step, branch):
        yield "whatever it shows, ask again", "bold", "black"
    elif len(told) > 1:
        yield f"otherwise ({branch_percent(step, branch)})", "bold", "black"
    for hints in list(told.values())[:most]:
        found = " or ".join(shows[h.outcome] for h in hints)
        chance = sum(h.chance for h in hints)
        mean = sum(h.chance * h.probability for h in hints) / chance
        yield f"{found} ({percent(chance)}): {_leading(k, hints[0].mode, mean)}", "normal", "black"
    if len(told) > most:
        yield f"{len(told) - most} more, less likely", "normal", "black"


def _leading(k: Knowledge, mode: str, chance: float) -> str:
    return f"{k.title_of(mode)}, {percent(chance)}"


def _stops(k: Knowledge) -> Iterator[str]:
    """The signs that stop everything, each with all of its steps."""
    for stop in k.stop.values():
        yield f"STOP AT ONCE: {stop.title}. {' '.join(stop.steps)}"


def _head(appliance: Appliance, belief: Belief, plan: Plan, day: date, body: float) -> list[tuple[str, float, str]]:
    """What is to be done at once, and what stops everything, at the top and in the size of the body; then what the plan is for
    and rests on."""
    k, e, ahead = appliance.knowledge, belief.evidence, plan.first.ahead
    known = [words.thing_words(k, "fact", f"{f}={v}") for f, v in e.facts.items()]
    known += [words.thing_words(k, "found", s.label) for s in e.seen]
    known += [words.thing_words(k, "repair", r.name) for r in e.repairs]
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
            f"callback: {percent(ahead.today)}. Thick: the likely way. Dotted, or '...': drawn no further, the fault "
            "named would lead. There, and at what is not here and less likely, enter what was found and ask again. "
            f"{day.isoformat()}. "
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


def laid_out(appliance: Appliance, belief: Belief, plan: Plan, paper: str, day: date) -> Page:
    """The page: as much of the plan as fits, in the largest type that it fits in."""
    k = appliance.knowledge
    width, height = PAPERS[paper]
    room = width - 2 * MARGIN
    heads = {size: _head_lines(appliance, belief, plan, day, room, size) for size in (SMALLEST, *SIZES)}
    foot = wrapped(_foot(k, plan), room, FOOT_SIZE)
    left = height - 2 * MARGIN - tall(foot) - 4 * GAP
    reaches = sorted({b.reach for s in plan.first.steps() for b in s.branches if b.then is not None})
    ladder = [0.0, *(r * (1 + 1e-9) for r in reaches)]
    # First the unlikely branches are told in one box each, then the unlikely are put together, last the boxes say less.
    stages = [*((0.0, r, True) for r in ladder), *((r, 2.0, True) for r in ladder), *((r, 2.0, False) for r in ladder)]
    for least, told, whole in stages:
        step = pooled(plan.first, least, whole)
        if _tree(k, step, room, SMALLEST, told)[1] > left - tall(heads[SMALLEST]):
            continue
        fits = (size for size in SIZES if _tree(k, step, room, size, told)[1] <= left - tall(heads[size]))
        size = next(fits, SMALLEST)
        root, _ = _tree(k, step, room, size, told)
        _move(root, MARGIN, height - MARGIN - tall(heads[size]) - 2 * GAP)
        return Page(width, height, root, _column(root, room), size, heads[size], foot)
    raise FaultoddsError(f"--paper {paper}: not even one step fits on the page. Shorten the titles in the file.")


def _head_lines(
    appliance: Appliance, belief: Belief, plan: Plan, day: date, room: float, size: float
) -> list[TextLine]:
    texts = _head(appliance, belief, plan, day, size)
    return [line for text, own, weight in texts for line in wrapped(text, room, own, weight)]


def _tree(k: Knowledge, step: PlanStep, room: float, size: float, least: float) -> tuple[Box, float]:
    """The tree laid out from the upper left corner, and how tall it is."""
    root = _box(k, step, "Start here", least)
    column = _column(root, room)
    _fill(root, column - 2 * PAD, size)
    outline = _place(root, 0.0, column)
    _move(root, 0.0, -max(top for top, _ in outline))
    return root, max(top for top, _ in outline) - min(bottom for _, bottom in outline)


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

    Subtrees are pushed together until they touch in some column, and a box stands level with the likeliest of its children: the
    likely path runs straight along the top.
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
        box.top = box.children[0].top
    return [(box.top, box.top - box.height), *outline]


def _move(box: Box, right: float, up: float) -> None:
    for each in box.boxes():
        each.x += right
        each.top += up
