"""The odds of what began a call, component by component: what a person's odds are held beside."""

from __future__ import annotations

import numpy as np

from faultodds.belief import Belief, main_cause_weights
from faultodds.calibration.scores import NAMED
from faultodds.knowledge import Knowledge


def faults(knowledge: Knowledge) -> tuple[str, ...]:
    """What may have begun a call: every component, nothing wrong, a cause that is not listed."""
    return (*knowledge.component, "nothing_wrong", "unlisted")


def began(belief: Belief, knowledge: Knowledge) -> dict[str, float]:
    """Chance that each of them began it; they add up to 1."""
    s = belief.suspects
    w = main_cause_weights(s, belief.evidence.facts)
    weight = np.divide(belief.original, belief.prior, out=np.zeros_like(belief.prior), where=belief.prior > 0)
    mains = (w / w.sum()) * (s.given_main @ weight)
    odds = dict.fromkeys(faults(knowledge), 0.0)
    for name, p in zip(s.mains, (mains / mains.sum()).tolist(), strict=True):
        odds[name.partition(".")[0]] += p
    return odds


def leading(belief: Belief, knowledge: Knowledge) -> dict[str, float]:
    """The likeliest of them, as many as a forecast names."""
    return dict(sorted(began(belief, knowledge).items(), key=lambda o: -o[1])[:NAMED])
