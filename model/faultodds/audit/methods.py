"""Who forecasts: the file's priors, a revision's, the ones learned from the past, and the rivals from scikit-learn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from faultodds.audit.baselines import BASELINES, Baseline, as_numbers
from faultodds.audit.forecast import NO_GAPS, Gaps, Hush, main_cause_odds
from faultodds.audit.stages import Stage, seen_by
from faultodds.belief import Suspects, compile_suspects
from faultodds.knowledge import Floats, Ints, Knowledge
from faultodds.tuning import NOT_KNOWN, Groups

if TYPE_CHECKING:
    import pandas as pd

    from faultodds.tuning import Learned as Fit, Settings

FILE, LEARNED = "file", "learned"
#: Prior mass that may be left out when an audit compiles priors. Audits judge thousands of jobs, not one; see DEVELOPERS.md.
OMITTED_TARGET = 2e-3
#: Share of every forecast, whoever made it, that is spread evenly over the groups: what nobody has met yet can happen.
FLOOR = 0.01

#: (N, K) chances of the groups for jobs as they stood at a stage.
Forecast = Callable[[Stage, "pd.DataFrame"], Floats]


class Method(Protocol):
    """A way to forecast; `learn` is told of the past (as known then) and what put each past job right, where known."""

    @property
    def name(self) -> str:
        """What the table calls it."""
        ...

    def learn(self, past: pd.DataFrame, labels: Ints) -> Forecast:
        """The forecast to use for the jobs that come next."""
        ...


def floored(p: Floats) -> Floats:
    """The forecast with its floor."""
    return np.asarray((1.0 - FLOOR) * p + FLOOR / p.shape[1])


def forecast_of(suspects: Suspects, groups: Groups, gaps: Gaps = NO_GAPS) -> Forecast:
    """The model's forecast from compiled priors, and from what is known of how the log is kept."""
    return lambda stage, seen: groups.from_mains(main_cause_odds(suspects, seen, gaps))


@dataclass(frozen=True)
class Fixed:
    """Priors that stay as they are: the file's, or a revision's."""

    name: str
    knowledge: Knowledge
    groups: Groups

    def learn(self, past: pd.DataFrame, labels: Ints) -> Forecast:
        """The same forecast whatever the past."""
        return forecast_of(compile_suspects(self.knowledge, OMITTED_TARGET), self.groups)


@dataclass(frozen=True)
class Learned:
    """Priors learned from the past log by `faultodds.tuning`; it reads the log itself and is given no labels.

    Where learning found that the log keeps bad results only of a symptom, or a fact only where it is out of the ordinary, the
    forecast reads gaps as learning did: the rivals are free to learn from gaps as well. Of checks it never does, since later ones
    have not been done yet.
    """

    name: str
    knowledge: Knowledge
    groups: Groups
    settings: Settings

    def learn(self, past: pd.DataFrame, labels: Ints) -> Forecast:
        """Fit the past, compile what was learned."""
        from faultodds.tuning import fit

        learned = fit(self.knowledge, past, self.settings)
        suspects = compile_suspects(learned.knowledge, OMITTED_TARGET)
        return forecast_of(suspects, self.groups, gaps_of(suspects, self.knowledge, learned))


def gaps_of(suspects: Suspects, knowledge: Knowledge, learned: Fit) -> Gaps:
    """What learning found the gaps of a log to say, of symptoms and facts."""
    silence = learned.silence
    facts, place = {}, 0
    for fact in knowledge.context:
        weights = silence.facts[place : place + len(suspects.fact_values[fact])]
        place += len(weights)
        if (weights < 1.0).any():
            facts[fact] = weights
    symptoms = {
        name: Hush(*learned.written(j), record.needs)
        for j, (name, record) in enumerate(knowledge.observables.items())
        if name in knowledge.symptom and silence.heard[j]
    }
    return Gaps(symptoms, facts)


@dataclass(frozen=True)
class Rival:
    """A baseline, trained anew at every stage on the past jobs of which it is known what put them right."""

    name: str
    baseline: Baseline
    knowledge: Knowledge
    groups: Groups

    def learn(self, past: pd.DataFrame, labels: Ints) -> Forecast:
        """Train at the stage that is asked for."""
        known = labels != NOT_KNOWN
        told, answers = past[known], labels[known]

        def forecast(stage: Stage, seen: pd.DataFrame) -> Floats:
            before = as_numbers(seen_by(told, self.knowledge, stage), self.knowledge)
            return self.baseline(before, answers, as_numbers(seen, self.knowledge), len(self.groups.names))

        return forecast


def rivals(knowledge: Knowledge, groups: Groups) -> list[Rival]:
    """Every baseline."""
    return [Rival(name, baseline, knowledge, groups) for name, baseline in BASELINES.items()]
