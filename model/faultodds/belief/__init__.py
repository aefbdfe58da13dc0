"""The two arrays, and from findings to fault odds by short arithmetic on them."""

from faultodds.belief.appliance import Appliance, Used, appliance_id, compiled, open_appliance
from faultodds.belief.posterior import (
    Belief,
    Evidence,
    FaultOdds,
    RepairEffect,
    WeighedFinding,
    infer,
    likely,
    main_cause_weights,
    weights_of_evidence,
)
from faultodds.belief.selfcheck import SelfCheck, accepted_by_pgmpy, self_check
from faultodds.belief.suspects import Suspects, compile_suspects
