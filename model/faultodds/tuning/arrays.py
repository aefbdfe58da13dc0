"""From the vector of chances to the arrays that a pass over the jobs multiplies.

The same arithmetic as `tables.py` and `suspects.py`, for one fixed collection of suspects and as fast as a pass needs it; tests
hold the two against each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats
from faultodds.tuning.structure import Structure

Singles = npt.NDArray[np.float32]
#: Log of a chance of zero: far under anything that adds up, and small enough that a hundred of them stay a number.
NEVER = -1e30
TINY = 1e-30


@dataclass(frozen=True)
class Arrays:
    """The model at one setting of its chances.

    `log_share` (C,); `log_fact` (V, C), context values then equipment values; `given_main` (C, H) chance of suspect h when c is
    the main cause; `chance` (N, O) and `reach` (N + 1, O) of each part, its chances and their running sums; `outcome` (G, O)
    chance of each outcome in each group; `log_likelihood` (R, H); `success` (repairs,); `back` (3,) chance of coming back when
    something is still wrong, when nothing is, and when only something is that the file does not list; `written` (checks, O)
    chance that an outcome is written down; `reported` (2,) that it is when no repair was done, and when one was; `wrong` that
    useless ones were done in place of all that were needed, and `again` that another was, after one of those; `guessed` that one
    is done beside them, as a guess.
    """

    log_share: Floats
    log_fact: Floats
    given_main: Floats
    chance: Floats
    reach: Floats
    outcome: Floats
    log_likelihood: Singles
    success: Floats
    back: Floats
    written: Floats
    reported: Floats
    guessed: float
    wrong: float
    again: float


def arrays_of(structure: Structure, theta: Floats) -> Arrays:
    """Compile `theta` (P,)."""
    f = structure.families
    full = f.padded(theta)
    chance = full[f.part]
    reach = np.ones((len(chance) + 1, structure.layout.widest))
    reach[:-1] = np.cumsum(chance, axis=1)
    outcome = np.diff(np.prod(reach[structure.active], axis=1), axis=1, prepend=0.0)
    np.maximum(outcome, 0.0, out=outcome)
    log_fact = np.concatenate([log(full[f.fact]), log(structure.equipment)])
    return Arrays(
        log_share=log(full[f.share]),
        log_fact=log_fact,
        given_main=_given_main(structure, full[f.state]),
        chance=chance,
        reach=reach,
        outcome=outcome,
        log_likelihood=log(outcome).astype(np.float32).ravel()[structure.cell],
        success=full[f.success[:, 1]],
        back=full[f.habit[:, 1]],
        written=full[f.written[:, [0] + [1] * (structure.layout.widest - 1), 1]],
        reported=full[f.reported[:, 1]],
        guessed=float(full[f.guess[1]]),
        wrong=float(full[f.wrong[1]]),
        again=float(full[f.again[1]]),
    )


def log(chance: Floats) -> Floats:
    """Logarithm, with `NEVER` for a chance of zero."""
    return np.where(chance > 0, np.log(np.maximum(chance, TINY)), NEVER)


def _given_main(structure: Structure, state: Floats) -> Floats:
    """(C, H): nothing of any component but what the suspect holds, its own main cause for sure."""
    s = structure.suspects
    count, mains = len(s.modes), len(s.mains)
    class_of = structure.layout.class_of
    rows = np.where(class_of < 0, 0, class_of)
    sound = np.where(class_of < 0, 1.0, state[rows, 0])
    log_odds = np.full((mains, count), NEVER)
    place = np.zeros(count, dtype=int)
    for k in range(len(class_of)):
        own = np.flatnonzero(structure.component_of == k)
        place[own] = 1 + np.arange(len(own))
        cells = state[rows[k][:, None], place[own][None, :]]
        log_odds[:, own] = np.where(class_of[k][:, None] < 0, NEVER, log(cells) - log(sound[k])[:, None])
    log_odds[np.arange(count), np.arange(count)] = 0.0
    exponent = log(sound).sum(axis=0)[:, None] + log_odds @ s.member_float.T
    return np.where(structure.present, np.exp(np.maximum(exponent, -700.0)) * (exponent > NEVER / 2), 0.0)
