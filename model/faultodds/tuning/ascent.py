"""Going up the log posterior: pass after pass over the log, every second one lengthened where that leads higher still."""

from __future__ import annotations

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.tables import Floats
from faultodds.tuning import strengths
from faultodds.tuning.arrays import TINY
from faultodds.tuning.families import Families
from faultodds.tuning.likelihood import Silence, Trust
from faultodds.tuning.maximise import check_no_fall, log_prior, maximise
from faultodds.tuning.settings import AUTO, Settings
from faultodds.tuning.statistics import Statistics
from faultodds.tuning.structure import Structure
from faultodds.tuning.work import Pass

#: Passes over the part that is looked at first; how often strengths are chosen, and passes before each choice.
WARM, CHOICES, BETWEEN = 6, 2, 4
#: How many times longer than two plain steps a lengthened one may be.
LONGEST = 8.0


def trust_of(settings: Settings) -> Trust:
    """How much of each kind of evidence the settings believe.

    A label is not independent of the findings that led the technician to it, so the two together make single jobs look surer than
    they are. Believing labels in part is no cure: a likelihood raised to a power under 1 is no likelihood, and shares learned
    with it overshoot (by a quarter at .7 on logs drawn from the model itself, where full weight is right).
    """
    return Trust(settings.label_weight, settings.finding_weight)


class Ascent:
    """Passes over a log, each one higher than the last; strengths are chosen first where settings say so."""

    def __init__(self, structure: Structure, settings: Settings, silence: Silence, theta: Floats) -> None:
        self.structure, self.families = structure, structure.families
        self.settings, self.silence = settings, silence
        self.centre = self.families.prior
        self.theta = theta
        self.strengths = settings.worth()
        self.trace: list[float] = []
        self.statistics: Statistics | None = None

    def choose(self, go: Pass, jobs: float) -> None:
        """Choose the strengths, and what they are about, from a log or a part of one; `jobs` is the weight of the whole log."""
        auto = self.settings.strengths == AUTO
        for number in range(CHOICES if auto or self.settings.recentre else 0):
            found = self._passes(go, BETWEEN)
            if self.settings.recentre:
                self.centre = strengths.recentred(self.structure, found.counts)
            if auto:
                chosen = strengths.choose(self.families, found.counts, self.centre, jobs)
                # What the log says of the shares is told before anything holds them back.
                self.strengths = chosen if number == 0 else {**chosen, "shares": self.strengths["shares"]}

    def climb(self, go: Pass) -> None:
        """Go up until a pass gains less than the tolerance."""
        self.statistics = self._passes(go, self.settings.iterations)

    @property
    def pseudo(self) -> Floats:
        """(P,) Dirichlet parameters in force."""
        return self.families.spread_strengths(self.strengths, self.centre)

    def _expect(self, go: Pass, theta: Floats) -> tuple[Statistics, float]:
        """A pass at `theta`, and the objective there."""
        found = go(theta, self.silence, trust_of(self.settings))
        if not found.weight > 0:
            raise FaultoddsError(
                f"no fault of the file explains any of the {found.impossible:g} jobs of this log. "
                "Is it the log of another appliance?"
            )
        return found, found.log_likelihood + log_prior(self.pseudo, theta, self.centre)

    def _passes(self, go: Pass, most: int) -> Statistics:
        """At most `most` passes, every second one lengthened where that goes higher still; returns the last."""
        found, height = self._expect(go, self.theta)
        self.trace = [height]
        before, furthest = self.theta, LONGEST
        while len(self.trace) < most:
            plain = maximise(self.families, self.pseudo, found.counts)
            lengthened = len(self.trace) % 2 == 0
            step = longer(self.families, before, self.theta, plain, furthest) if lengthened else plain
            next_found, next_height = self._expect(go, step)
            if lengthened and next_height < height:
                furthest, step = max(1.0, furthest / 4), plain
                next_found, next_height = self._expect(go, step)
            check_no_fall(height, next_height, float(self.pseudo.sum()))
            gained = next_height - height
            before, self.theta, found, height = self.theta, step, next_found, next_height
            self.trace.append(height)
            if gained < self.settings.tolerance * found.weight:
                break
        return found


def longer(families: Families, first: Floats, second: Floats, third: Floats, most: float) -> Floats:
    """A longer step in the direction of two plain ones (squared extrapolation, Varadhan and Roland 2008, from memory).

    In square roots of chances, where distances mean the same for rare and common things; never more than `most` times.
    """
    a, b, c = np.sqrt(first), np.sqrt(second), np.sqrt(third)
    once, bend = b - a, (c - b) - (b - a)
    size = float(np.sqrt((once**2).sum() / max((bend**2).sum(), 1e-300)))
    if size <= 1.0:
        return third
    size = min(size, most)
    reached = a + 2 * size * once + size**2 * bend
    return np.maximum(families.scaled(np.maximum(reached, 0.3 * c) ** 2), TINY)
