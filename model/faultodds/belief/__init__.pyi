from .appliance import (
    Appliance as Appliance, Used as Used, appliance_id as appliance_id, compiled as compiled,
    open_appliance as open_appliance,
)
from .evidence import (
    Evidence as Evidence, RepairEffect as RepairEffect, TimePassed as TimePassed, WeighedFinding as WeighedFinding,
    repair_effect as repair_effect,
)
from .posterior import (
    Belief as Belief, FaultOdds as FaultOdds, infer as infer, likely as likely,
    WhyBack as WhyBack, main_cause_weights as main_cause_weights, weights_of_evidence as weights_of_evidence,
    why_back as why_back,
)
from .selfcheck import SelfCheck as SelfCheck, accepted_by_pgmpy as accepted_by_pgmpy, self_check as self_check
from .suspects import Suspects as Suspects, compile_suspects as compile_suspects
