from .drills import drill_inches as drill_inches
from .judging import Judgement as Judgement, judge as judge
from .kinds import over_all as over_all, refuse_no_room as refuse_no_room
from .numbers import neat as neat
from .parse import (
    PLACES as PLACES, plausible_span as plausible_span, quantity as quantity, split_windings as split_windings,
)
from .problems import spec_problems as spec_problems
from .specs import ReadingSpec as ReadingSpec, Winding as Winding
from .spoken import OPEN_WORDS as OPEN_WORDS
from .sums_air import air_flow as air_flow, duct_length as duct_length, velocity_pressure as velocity_pressure
from .sums_gas import (
    CO_LEAVE_PPM as CO_LEAVE_PPM, CO_STOP_PPM as CO_STOP_PPM, HEAT_CONTENT as HEAT_CONTENT,
    clocked_flow as clocked_flow, clocked_input as clocked_input, co_action as co_action,
    input_at_altitude as input_at_altitude, orifice_flow as orifice_flow, positive as positive,
    seconds_for_input as seconds_for_input,
)
from .sums_heat import (
    celsius as celsius, copper_ohms as copper_ohms, copper_temperature as copper_temperature,
    drying_floor as drying_floor, drying_heat as drying_heat, fahrenheit as fahrenheit, ntc_ohms as ntc_ohms,
    water_in_load as water_in_load,
)
from .typed_amounts import amount as amount, measured as measured
from .units import (
    RIVALS as RIVALS, convert as convert, family_of as family_of, shown as shown, unit_named as unit_named,
)
from .verdict import describe as describe
