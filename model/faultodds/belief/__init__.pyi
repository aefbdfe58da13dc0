from .appliance import (
    Appliance as Appliance, Used as Used, compiled as compiled,
    open_appliance as open_appliance,
)
from .evidence import (
    Evidence as Evidence, RepairEffect as RepairEffect, TimePassed as TimePassed, WeighedFinding as WeighedFinding,
    repair_effect as repair_effect, suspect_likelihood as suspect_likelihood,
)
from .factors import (
    OddsCourse as OddsCourse, OddsStep as OddsStep, chance_of as chance_of, odds_course as odds_course,
)
from .posterior import (
    Belief as Belief, FaultOdds as FaultOdds, WhyBack as WhyBack, answer_chances as answer_chances, infer as infer,
    likely as likely,
    main_cause_weights as main_cause_weights, why_back as why_back,
)
from .selfcheck import SelfCheck as SelfCheck, accepted_by_pgmpy as accepted_by_pgmpy, self_check as self_check
from .suspects import Suspects as Suspects, compile_suspects as compile_suspects
