"""Which simulated call a drill is: the same one for everybody with its level and seed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from faultodds.errors import FaultoddsError

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds_cli.trial.visit import TrialJob

LEVELS = {
    1: "little is open after the complaint",
    2: "a good deal is open",
    3: "nearly everything is open",
    4: "chosen for a trap: a part that tests good, a fault that brings on another, or a customer who has it wrong",
}
# Bits still open after the complaint, about which component began it: from where to where a level goes.
OPEN_BITS = {1: (0.0, 2.9), 2: (2.9, 3.5), 3: (3.5, math.inf)}
# Parts that test good while they are bad.
TESTS_GOOD = "coils.drop_out_hot"
TRAPS = ("tests good", "brought on", "customer wrong")
# Calls looked through before a seed is given up.
MOST_CALLS = 512
WHO = "T2"


def drill_of(appliance: Appliance, level: int, seed: int, qualified: bool = False) -> TrialJob:
    """The call of a level and seed, at the door. The levels 1 to 3 go by what is known at the door alone, so that odds which are
    right stay right; level 4 is chosen by the truth, with seeds taking the traps in turn, and is no other level's call: nobody
    knows the answer from the drill of the same seed."""
    from faultodds_cli.trial.play import first_calls
    from faultodds_cli.trial.visit import TrialJob

    if level not in LEVELS:
        raise FaultoddsError(f"--level {level}: levels are 1 to {len(LEVELS)}. Type for example --level 1.")
    taken = set[int]()
    for call in first_calls(MOST_CALLS, seed):
        visit = TrialJob(appliance, call, WHO, qualified)
        other = next((n for n in OPEN_BITS if n != level and is_of(visit, n, seed)), None)
        if is_of(visit, level, seed) and (other is None or other in taken):
            return visit
        taken |= {other} if other else set()
    raise FaultoddsError(f"--seed {seed}: no call of level {level} in this series. Type another seed.")


def is_of(visit: TrialJob, level: int, turn: int) -> bool:
    """Whether a call at the door is one of a level; on level 4, with the trap whose turn it is."""
    if level not in OPEN_BITS:
        return TRAPS[turn % len(TRAPS)] in traps(visit)
    low, high = OPEN_BITS[level]
    return low <= _open_bits(visit) < high


def _open_bits(visit: TrialJob) -> float:
    from faultodds.calibration import began

    odds = began(visit.belief, visit.appliance.knowledge).values()
    return -sum(p * math.log2(p) for p in odds if p > 0)


def traps(visit: TrialJob) -> list[str]:
    """The traps that are in a call."""
    call, modes = visit.call, dict(visit.appliance.knowledge.modes())
    brings = modes[call.main_cause].brings_on if call.main_cause in modes else {}
    there = (TESTS_GOOD in call.true_modes, bool(set(brings) & call.true_modes), bool(call.mistaken()))
    return [trap for trap, is_there in zip(TRAPS, there, strict=True) if is_there]
