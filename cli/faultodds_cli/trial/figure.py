"""A trial as a figure: where the money goes under each policy, and what not knowing costs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from faultodds_cli.trial.play import Setting
from faultodds_cli.trial.stats import Summary

_COLOURS = ("#4477aa", "#66ccee", "#228833", "#ccbb44", "#bbbbbb", "#ee6677", "#aa3377")


def draw(found: Sequence[Summary], setting: Setting, currency: str, path: Path) -> None:
    """Write the figure: one bar a policy, stacked by stage, with the interval of what it costs above the floor."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    from faultodds.charts import save

    figure = Figure(figsize=(8.0, 0.9 + 0.55 * len(found)), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    names = [s.policy for s in found]
    left = [0.0] * len(found)
    for stage, colour in zip(found[0].money, _COLOURS, strict=True):
        money = [s.money[stage] for s in found]
        axes.barh(names, money, left=left, color=colour, label=stage.replace("_", " "))
        left = [a + b for a, b in zip(left, money, strict=True)]
    floor = [s.cost - s.above_floor.mean for s in found]
    low = [max(0.0, s.above_floor.mean - s.above_floor.low) for s in found]
    high = [max(0.0, s.above_floor.high - s.above_floor.mean) for s in found]
    axes.errorbar([s.cost for s in found], names, xerr=[low, high], fmt="none", color="black", capsize=3)
    axes.axvline(floor[0], color="black", linestyle=":", linewidth=1)
    axes.invert_yaxis()
    axes.set_xlabel(f"mean cost of a job, {currency}; dotted: the floor; whiskers: 95 % of cost above the floor")
    axes.set_title(f"{setting.jobs} simulated jobs, seed {setting.seed} (synthetic)")
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False)
    save(figure, path)
