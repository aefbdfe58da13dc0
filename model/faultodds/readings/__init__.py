"""Raw readings ("1.15k", "OL", "38 s per half foot") to likelihoods of outcomes; and the trade's sums."""

from faultodds.readings.judging import Judgement, judge
from faultodds.readings.kinds import over_all
from faultodds.readings.numbers import neat
from faultodds.readings.parse import plausible_span, quantity, split_windings
from faultodds.readings.problems import spec_problems
from faultodds.readings.specs import ReadingSpec
from faultodds.readings.spoken import OPEN_WORDS
from faultodds.readings.sums_air import air_flow, duct_length, velocity_pressure
from faultodds.readings.sums_gas import (
    CO_LEAVE_PPM,
    CO_STOP_PPM,
    HEAT_CONTENT,
    clocked_flow,
    clocked_input,
    co_action,
    input_at_altitude,
    orifice_flow,
    positive,
    seconds_for_input,
)
from faultodds.readings.sums_heat import (
    celsius,
    copper_ohms,
    copper_temperature,
    drying_floor,
    drying_heat,
    fahrenheit,
    ntc_ohms,
    water_in_load,
)
from faultodds.readings.typed_amounts import amount, measured
from faultodds.readings.units import RIVALS, convert, family_of, shown, unit_named
from faultodds.readings.verdict import describe
