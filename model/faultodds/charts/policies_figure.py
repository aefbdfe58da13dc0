"""What policies cost: a bar a policy, parted by where the money goes, with the interval of what not knowing costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from faultodds.charts.style import begun, in_style, save, tones
from faultodds.charts.typeset import lines_of
from faultodds.names import capital

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class PolicyBar:
    """One policy: mean money a job by stage, and the 95 % interval of its whole cost."""

    name: str
    money: Mapping[str, float]
    low: float
    high: float


def draw_policies(bars: Sequence[PolicyBar], floor: float, title: str, currency: str, path: Path) -> None:
    """Write the figure; `floor` is what a job costs for who knows the fault."""
    save(policies_figure(bars, floor, title, currency), path)


@in_style
def policies_figure(bars: Sequence[PolicyBar], floor: float, title: str, currency: str) -> Figure:
    """The figure of some policies, as `draw_policies` writes it."""
    figure = begun(1.5 + 0.45 * len(bars))
    axes = figure.subplots()
    places, stages = range(len(bars)), list(bars[0].money)
    left = [0.0] * len(bars)
    for stage, tone in zip(stages, tones(len(stages)), strict=True):
        money = [bar.money[stage] for bar in bars]
        label = capital(stage.replace("_", " "))
        axes.barh(places, money, 0.62, left=left, color=tone, edgecolor="white", linewidth=0.8, label=label)
        left = [a + b for a, b in zip(left, money, strict=True)]
    # Below the bar, where black can be seen against any tone.
    under = [at + 0.41 for at in places]
    error = [[max(0.0, c - b.low) for c, b in zip(left, bars, strict=True)],
             [max(0.0, b.high - c) for c, b in zip(left, bars, strict=True)]]  # fmt: skip
    axes.errorbar(left, under, xerr=error, fmt="none", ecolor="black", elinewidth=1.2, capsize=2.5, clip_on=False)
    axes.axvline(floor, color="black", linestyle=":", linewidth=1.2)
    axes.set_yticks(places, [lines_of(bar.name, 105.0) for bar in bars])
    axes.set_ylim(len(bars) - 0.4, -0.5)
    axes.set_xlabel(
        f"mean cost of a job, {currency}\ndotted: whoever knows the fault; whiskers: 95 % interval of the cost above that"
    )
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))
    figure.suptitle(title)
    return figure
