"""The odds after each step of a job: a row a step, a line a fault."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from faultodds.belief import chance_of, odds_course
from faultodds.cards import words
from faultodds.charts.style import LINES, MARKS, begun, in_style, save, tones
from faultodds.charts.typeset import lines_of
from faultodds.errors import FaultoddsError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from faultodds.belief import Belief, OddsCourse
    from faultodds.knowledge import Floats, Knowledge

FAULTS = 5
MOST_STEPS = 22
"""Steps that still can be read on one page; of more, those are drawn that moved the odds most."""
_ROW, _LABEL, _NAME = 0.34, 200.0, 440.0


def draw_course(k: Knowledge, belief: Belief, path: Path) -> None:
    """Write the figure: how likely the leading faults were after each fact, finding and repair, as the job went on.

    Raises FaultoddsError when nothing is known yet.
    """
    save(course_figure(k, belief), path)


@in_style
def course_figure(k: Knowledge, belief: Belief) -> Figure:
    """The figure of a job's course, as `draw_course` writes it. Faults that led on the way are in it with those that lead now."""
    course = odds_course(belief, belief.suspects.modes)
    if not course.steps:
        raise FaultoddsError(
            'there is no step to draw yet. Add one with --found NAME=OUTCOME or --reading CHECK="1.15k".'
        )
    chances = 100.0 * _chances(course)
    shown = _leading(chances)
    kept = _telling(chances[:, shown])
    steps = [course.steps[i - 1] for i in kept[1:]]
    labels = ["before anything was known", *(words.thing_words(k, s.kind, s.name) for s in steps)]
    figure = begun(1.5 + _ROW * len(labels) + 0.17 * len(shown))
    axes = figure.subplots()
    for mode, tone, mark, line in zip(shown, tones(len(shown)), MARKS, LINES, strict=False):
        name = lines_of(k.title_of(course.modes[mode]), _NAME, 1)
        axes.plot(chances[kept, mode], range(len(kept)), ls=line, marker=mark, color=tone, label=name, clip_on=False)
    axes.set_yticks(range(len(labels)), [lines_of(text, _LABEL) for text in labels], linespacing=1.0)
    axes.set_ylim(len(labels) - 0.5, -0.5)
    axes.set_xlim(0, min(100.0, 20.0 * (chances[kept][:, shown].max() // 20 + 1)))  # small chances need the room
    axes.grid()
    left_out = len(course.steps) + 1 - len(kept)
    axes.set_xlabel(
        "chance that it is there, %" + (f"\n{left_out} steps that moved little are left out" if left_out else "")
    )
    figure.suptitle("How the fault odds went, step by step")
    figure.legend(loc="outside lower left")
    return figure


def _chances(course: OddsCourse) -> Floats:
    """(T+1, M) chances before the first step and after each one."""
    logs = [course.start, *(step.after for step in course.steps)]
    return np.array([[chance_of(float(x)) for x in row] for row in logs])


def _leading(chances: Floats) -> list[int]:
    """The faults that lead now, then those that led highest before, as many as can be told apart."""
    now, peak = np.argsort(-chances[-1], kind="stable"), np.argsort(-chances.max(axis=0), kind="stable")
    likely = [int(m) for m in now[:3] if chances[-1, m] >= 1.0]
    return list(dict.fromkeys([*likely, *(int(m) for m in peak)]))[:FAULTS]


def _telling(chances: Floats) -> list[int]:
    """The rows to draw, in order: all, or the first, the last, and those after the steps that moved the odds most."""
    moved = np.abs(np.diff(chances, axis=0)).max(axis=1)
    moved[-1] = np.inf
    best = np.argsort(-moved, kind="stable")[:MOST_STEPS]
    return [0, *sorted(int(i) + 1 for i in best)]
