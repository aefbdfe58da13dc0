"""Going up the log posterior: pass after pass over the log, each step lengthened where the steps before it say so."""

from __future__ import annotations

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats
from faultodds.tuning import kept
from faultodds.tuning.arrays import TINY
from faultodds.tuning.centre import recentred
from faultodds.tuning.families import Families
from faultodds.tuning.likelihood import Silence
from faultodds.tuning.maximise import check_no_fall, log_prior, maximise
from faultodds.tuning.settings import AUTO, Settings
from faultodds.tuning.statistics import Statistics
from faultodds.tuning.structure import Structure
from faultodds.tuning.work import Pass

#: Passes over the part that is looked at first; how often the centre is found, and passes before each time.
WARM, CHOICES, BETWEEN = 6, 2, 4
#: Moves remembered, and how far the smallest of the directions they span are left alone, against the largest.
REMEMBERED, DAMPING = 30, 1e-3


class Ascent:
    """Passes over a log, each one higher than the last."""

    def __init__(self, structure: Structure, settings: Settings, silence: Silence, theta: Floats) -> None:
        self.structure, self.families = structure, structure.families
        self.settings, self.silence = settings, silence
        self.centre = self.families.prior
        self.normal = kept.normals(structure, silence.heard)
        self.kept = np.eye(len(kept.LOGS))[kept.NOTHING]
        self.theta = theta
        self.strengths = settings.worth()
        self.free = settings.strengths == AUTO
        self.moves = Moves(self.families)
        self.trace: list[float] = []
        self.statistics: Statistics | None = None

    def settle(self, go: Pass) -> None:
        """Find what the strengths are about from a log or a part of one: how common the values of facts are, how full columns, how
        often a normal result of a check is written down.
        """
        for _ in range(CHOICES if self.settings.recentre else 0):
            counts = self._passes(go, BETWEEN).counts
            if self.free:
                worth = self.families.spread_strengths(self.strengths)
                self.kept = kept.belief(self.structure, self.normal, worth, counts)
            centre = recentred(self.structure, counts)
            self.centre = kept.moved(self.structure, self.normal, centre, float(self.kept @ kept.LOGS))

    def climb(self, go: Pass, enough: float = 1.0) -> None:
        """Go up until a step would gain less than the tolerance, or so many times that."""
        self.statistics = self._passes(go, self.settings.iterations, enough)

    def shown(self, theta: Floats) -> Floats:
        """(P,) chances as checks show them, of which the record shows `theta`."""
        return kept.moved(self.structure, self.normal, theta, -float(self.kept @ kept.LOGS))

    @property
    def counts(self) -> Floats:
        """(P,) expected counts at the top."""
        assert self.statistics is not None
        return self.statistics.counts

    @property
    def pseudo(self) -> Floats:
        """(P,) Dirichlet parameters in force."""
        strengths = {**self.strengths, "shares": 0.0} if self.free else self.strengths
        return self.families.spread_strengths(strengths, self.centre)

    def _expect(self, go: Pass, theta: Floats) -> tuple[Statistics, float]:
        """A pass at `theta`, and the objective there."""
        found = go(theta, self.silence)
        if not found.weight > 0:
            raise FaultoddsError(
                f"no fault of the file explains any of the {found.impossible:g} jobs of this log. "
                "Is it the log of another appliance?"
            )
        return found, found.log_likelihood + log_prior(self.families, self.pseudo, theta, self.centre, self.free)

    def _passes(self, go: Pass, most: int, enough: float = 1.0) -> Statistics:
        """At most `most` passes, until a plain step would gain less than the tolerance (or `enough` times that); returns the last
        one's statistics.

        The chances kept are a plain step past the last pass: it can only lead higher, and needs no pass to be taken.
        """
        found, height = self._expect(go, self.theta)
        self.trace = [height]
        self.moves.elsewhere()
        tolerance = enough * self.settings.tolerance
        while True:
            plain = maximise(self.families, self.pseudo, found.counts, self.free)
            worth = self.families.totals(self.pseudo + found.counts)[self.families.of]
            if len(self.trace) == most or gain(worth, self.theta, plain) <= tolerance * found.weight:
                self.theta = plain
                return found
            step = self.moves.lengthened(worth, self.theta, plain)
            next_found, next_height = self._expect(go, step)
            if next_height < height and step is not plain:
                self.moves.forget()
                step = plain
                next_found, next_height = self._expect(go, step)
            check_no_fall(height, next_height, float(self.pseudo.sum()))
            self.theta, found, height = step, next_found, next_height
            self.trace.append(height)


def gain(worth: Floats, theta: Floats, plain: Floats) -> float:
    """What a plain step from `theta` to `plain` (P,) adds to the log posterior, or a little less.

    `worth` (P,) jobs behind the family of each entry.
    """
    return float((2.0 * worth * (np.sqrt(plain) - np.sqrt(theta)) ** 2).sum())


class Moves:
    """The last moves, and what each changed of the plain step that came after it: Anderson's acceleration.

    Expectation and maximisation creeps along directions in which the findings say little. How fast a plain step shrinks along the
    moves made so far says how far there is still to go that way (Anderson 1965; for EM, Henderson and Varadhan 2019: both from
    memory). All in square roots of chances, each weighted by the jobs behind it, where distances are nearly nats: there the change
    of the step is a symmetric map of the move, so that moves in different directions keep out of each other's way. Moves made on
    a part of the log serve on the whole.
    """

    def __init__(self, families: Families) -> None:
        self.families = families
        self.forget()

    def forget(self) -> None:
        """Start afresh: a step that followed from these moves led down."""
        self.moved: list[Floats] = []
        self.changed: list[Floats] = []
        self.before: tuple[Floats, Floats] | None = None

    def elsewhere(self) -> None:
        """The next step is on other jobs, or with other strengths, than the last: what lies between them is no move."""
        self.before = None

    def lengthened(self, worth: Floats, theta: Floats, plain: Floats) -> Floats:
        """Where to go from `theta` when a plain step leads to `plain`, all (P,): `plain` itself while no move is known."""
        here = np.sqrt(theta)
        step = np.sqrt(plain) - here
        if self.before is not None:
            self.moved = [*self.moved, here - self.before[0]][-REMEMBERED:]
            self.changed = [*self.changed, step - self.before[1]][-REMEMBERED:]
        self.before = here, step
        if not self.moved:
            return plain
        weight = np.sqrt(worth)
        moved, changed = np.stack(self.moved, axis=1), np.stack(self.changed, axis=1)
        length = np.linalg.norm(changed * weight[:, None], axis=0)
        if not length.min() > 0:
            return plain
        # Each of length 1, so that the last, short moves count as much as the first, long ones.
        moved, changed = moved / length, changed / length
        left, size, right = np.linalg.svd(changed * weight[:, None], full_matrices=False)
        damped = size / (size**2 + (DAMPING * size[0]) ** 2)
        share = right.T @ (damped * (left.T @ (step * weight)))
        reached = here + step - (moved + changed) @ share
        # Square roots of chances may not pass through zero, nor a chance vanish in one step.
        return np.maximum(self.families.scaled(np.maximum(reached, 0.3 * np.sqrt(plain)) ** 2), TINY)
