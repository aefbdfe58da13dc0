"""An audit as a figure: how the log score falls as a job goes on, and whether stated chances can be believed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from faultodds.audit import Audit, CurvePoint
from faultodds.charts.style import LINES, MARKS, WIDE, begun, in_style, save, tones
from faultodds.charts.typeset import lines_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_NAME = 110.0  # points


def draw(audit: Audit, method: str, path: Path) -> None:
    """Write the figure: log score by stage for every method; calibration curves of `method` and the file at the last stage."""
    save(audit_figure(audit, method), path)


@in_style
def audit_figure(audit: Audit, method: str) -> Figure:
    """The figure of an audit, as `draw` writes it."""
    figure = begun(7.6)
    above, below = figure.subplots(2, 1, height_ratios=(2, 3))
    _by_stage(above, audit)
    last = audit.stages[-1]
    rows = [audit.row(last.name, m) for m in dict.fromkeys((audit.methods[0], method))]
    named = [(f"{lines_of(r.method, _NAME)} ({sum(p.jobs for p in r.curve)} jobs)", r.curve) for r in rows]
    stated = f"chance stated for the likeliest repair, {last.title}, %"
    calibration_curves(below, named, stated, "share of those jobs that it put right, %")
    figure.suptitle(f"{audit.counts['scored']} jobs forecast from what was known before them")
    return figure


def _by_stage(axes: Axes, audit: Audit) -> None:
    titles = [s.title.removeprefix("after ") for s in audit.stages]
    styles = zip(audit.methods, tones(len(audit.methods)), MARKS, LINES, strict=False)
    for method, tone, mark, line in styles:
        losses = [audit.row(s.name, method).log_score for s in audit.stages]
        axes.plot(titles, losses, ls=line, marker=mark, color=tone, clip_on=False, label=lines_of(method, _NAME))
    axes.set_xlabel("known by then")
    axes.set_ylabel("log score (smaller is better)")
    axes.set_ylim(bottom=0)
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))


def calibration_curves(
    axes: Axes, curves: Sequence[tuple[str, Sequence[CurvePoint]]], stated: str, happened: str
) -> None:
    """What was stated against what was so, with its 95 % interval: curves by their names, on square axes."""
    axes.plot([0, 100], [0, 100], color="#bbbbbb", linewidth=1, label="as often as stated")
    for place, ((name, curve), tone) in enumerate(zip(curves, tones(len(curves) + 1), strict=False)):
        right = [100 * p.right for p in curve]
        error = [[100 * max(p.right - p.low, 0) for p in curve], [100 * max(p.high - p.right, 0) for p in curve]]
        # Open and filled, so that two marks at one place are both seen.
        axes.errorbar([100 * p.stated for p in curve], right, yerr=error, fmt=MARKS[place], ls=LINES[place], lw=0.8,
                      color=tone, ms=8 - 3 * place, capsize=2, mfc="white" if place == 0 else tone, label=name,
                      clip_on=False)  # fmt: skip
    axes.set_xlim(0, 100)
    axes.set_ylim(0, 100)
    axes.set_aspect("equal")
    axes.grid()
    axes.set_xlabel(stated)
    axes.set_ylabel(f"{happened}\n(bars: 95 % intervals)")
    axes.legend(loc="center left", bbox_to_anchor=(1.02, 0.5))


@in_style
def person_figure(name: str, curve: Sequence[CurvePoint], told: str) -> Figure:
    """How sure somebody was of his favourite fault, against how often it was the one; `told` says it in words."""
    figure = begun(4.6)
    named = [(lines_of(name, _NAME), curve)]
    said = "chance said of the favourite fault, %"
    calibration_curves(figure.subplots(), named, said, "share of those steps in which it was the one, %")
    figure.suptitle(lines_of(told, 72 * WIDE - 40, 4, 10.5))
    return figure


def draw_person(name: str, curve: Sequence[CurvePoint], told: str, path: Path) -> None:
    """Write the figure of one person's odds."""
    save(person_figure(name, curve, told), path)
