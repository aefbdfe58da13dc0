"""What lies ahead on a job: money, minutes on site, and the chance of finishing today.

All three come out of one tree (`rollout.py`) that follows the base policy to the end of the job.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from faultodds.advice.ledger import Ledger
from faultodds.advice.policy import Policy
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import BIT_PRICES
from faultodds.advice.rollout import MONEY, Rollout

# The least branch that is followed.
LEAST = 0.01


@dataclass(frozen=True)
class Ahead:
    """Expected money and minutes on site to the end of the job, and the chance of finishing today.

    `today`: the machine is right and has passed its run when the technician leaves; nothing is handed over, no part of
    the work is left to others, and nobody has to come back.
    """

    cost: float
    minutes: float
    today: float

    def plus(self, cost: float, minutes: float) -> Ahead:
        """The same with some work before it."""
        return Ahead(self.cost + cost, self.minutes + minutes, self.today)


def mixed(parts: list[tuple[float, Ahead]]) -> Ahead:
    """The mean of several, each with its chance; the chances are scaled to 1."""
    total = sum(p for p, _ in parts)
    if total <= 0:
        return Ahead(0.0, 0.0, 0.0)
    return Ahead(*(sum(p * getattr(a, f) for p, a in parts) / total for f in ("cost", "minutes", "today")))


def look_ahead(problem: Problem) -> Ahead:
    """What the base policy makes of the job from here, of those that the advice tries the cheapest; or handing over, or
    leaving, where that costs less."""
    policy = Policy(problem, Ledger(problem))
    rollout = Rollout(policy, LEAST)
    ways = rollout.whole(problem.weights, np.array(BIT_PRICES) * policy.scale)
    return Ahead(*ways[int(ways[:, MONEY].argmin())].tolist())
