"""Knowledge files: their records, loading and rules, their tables, numbers laid over them, the pgmpy network."""

from faultodds.knowledge import overlay
from faultodds.knowledge.loading import from_mapping, load, parse
from faultodds.knowledge.network import build_network, export
from faultodds.knowledge.overlay import SEPARATOR, apply
from faultodds.knowledge.schema import (
    NOTHING_WRONG,
    OK,
    STRICT,
    UNLISTED,
    UNLISTED_MODE,
    Access,
    Caution,
    Check,
    ContextFact,
    Costs,
    EquipmentFact,
    Knowledge,
    Observable,
    Repair,
    Symptom,
    Work,
    repair_modes,
)
from faultodds.knowledge.tables import Floats, Table, build_tables, main_cause_states, shares, spread
