from .fitted import absent_ways as absent_ways, fitted as fitted, kinds as kinds
from .loading import from_mapping as from_mapping, load as load, parse as parse
from .network import build_network as build_network, export as export
from . import overlay as overlay
from .overlay import SEPARATOR as SEPARATOR, apply as apply
from .schema import (
    Access as Access, Caution as Caution, Check as Check, ContextFact as ContextFact, Costs as Costs,
    EquipmentFact as EquipmentFact, FAILS_AGAIN as FAILS_AGAIN, Knowledge as Knowledge, NOTHING_WRONG as NOTHING_WRONG, OK as OK,
    Observable as Observable, Repair as Repair, STRICT as STRICT, Stop as Stop, UNLISTED as UNLISTED,
    UNLISTED_MODE as UNLISTED_MODE, Work as Work, repair_modes as repair_modes,
)
from .reach import mode_place as mode_place
from .rules import total_of_shares as total_of_shares
from .tables import (
    Bools as Bools, Floats as Floats, Ints as Ints, Places as Places, Table as Table, build_tables as build_tables,
    main_cause_states as main_cause_states, shares as shares, spread as spread,
)
from .toml_records import (
    in_words as in_words, keys_at as keys_at, place_of as place_of, read_toml as read_toml, records as records,
)
