"""What is said back to a reading that cannot be read: what was found, what is allowed, what to type next."""

from __future__ import annotations

from typing import Any

import pytest

from faultodds.errors import BadReading
from readings.trade_specs import read

ASKED = [
    # (check, typed, words the message must have)
    (
        "igniter_ohms",
        "1.15",
        "1.15 ohm or 1.15 k? A reading here is usually 20 to 2,000 ohm. Type 1.15k or 1.15 ohm.",
    ),
    (
        "coil_ohms",
        "1.15",
        "1.15 ohm or 1.15 k? A reading here is usually 250 to 5,200 ohm. Type 1.15k or 1.15 ohm.",
    ),
    ("coil_ohms", "1.2k/1.35/560", "Type 1.35k or 1.35 ohm."),
    ("coil_ohms", "1.2k/1.35k/0.56", "0.56 ohm or 0.56 k?"),
    ("thermistor_ohms", "11.2", "11.2 ohm or 11.2 k? A reading here is usually 1,000 to 60,000 ohm."),
    ("exhaust_cycling", "68", "68 F or 68 C? A reading here is usually 85 to 300 F. Type 68 C or 68 F."),
    ("cycling_bench_heat", "60 rated 155", "60 F or 60 C?"),
    ("static_pressure", "150", "150 in wc or 150 Pa? A reading here is usually 0 to 2.5 in wc."),
    ("hood_air_speed", "5.8", "5.8 fpm or 5.8 m/s?"),
    ("hood_air_speed", "150", "150 fpm or 150 cfm?"),
    ("burner_voltage", "118000", "118000 V or 118000 mV?"),
    ("verification_run", "1.3", "1.3 min or 1.3 h?"),
    ("spun_load_weight", "1.57", "Type 1.57 % or 57 %."),
    ("spun_load_weight", "0.58", "Type 0.58 %, or 58 % of the dry weight."),
    ("meter_clock", "84", "84 what? 84 s or 84 min? Type for example 84 s per half foot."),
    ("meter_clock", "84 per half foot", "84 s or 84 min?"),
    ("igniter_ohms", "2m", "2 M or 2 milliohm?"),
    ("igniter_ohms", "2 mΩ", "Type 2M or 2 milliohm."),
    ("igniter_ohms", "1,150", "'1,150' could be 1150 or 1.15. Type 1150 or 1.15."),
]

REFUSED = [
    ("igniter_ohms", "", "No reading was typed. Type for example 1.15k, 560 ohm or OL."),
    ("igniter_ohms", "  ", "No reading was typed."),
    ("igniter_ohms", "??", "No reading was typed."),
    (
        "igniter_ohms",
        "banana",
        "'banana' cannot be read as a resistance reading: no number in it. Units: ohm, k, M",
    ),
    ("igniter_ohms", "nan", "no number in it"),
    ("igniter_ohms", "1e400", "'1e400' is beyond any meter"),
    ("igniter_ohms", "-3", "'-3' is below zero, and a resistance reading never is. Read again"),
    ("igniter_ohms", "5e12 ohm", "outside anything this check can show (0 to 1,000,000,000 ohm)"),
    ("igniter_ohms", "120 F", "'F' is not a unit of it. Units: ohm, k, M, milliohm."),
    ("igniter_ohms", "120 130", "'120 130' cannot be read as a resistance reading"),
    ("igniter_ohms", "1.2.3", "'1.2.3' is not a number"),
    ("igniter_ohms", "1/0", "'1/0' is 2 readings: 1 and 0"),
    ("igniter_ohms", "120 ± 5 V", "two different units in it"),
    ("igniter_ohms", "120 leads 40", "test leads read 0 to 5 ohm. Touch the tips together"),
    ("igniter_ohms", "120 leads -1", "'-1' cannot be the leads"),
    ("igniter_ohms", "< ", "cannot be read as a resistance reading"),
    ("fuse_continuity", "0.2 leads 3", "'0.2' is less than the leads alone (3 ohm)"),
    ("fuse_continuity", "maybe", "Type for example beeps, no beep, 0.4 ohm or OL."),
    ("coil_ohms", "1.2k/1.35k/560/3", "has 4 readings; this check has 3 windings: two-terminal coil;"),
    (
        "coil_ohms",
        "560",
        "suits the three-terminal coil, common to far. Type all 3 in order, - for one not read",
    ),
    ("coil_ohms", "-/-/-", "has no reading in it"),
    ("coil_ohms", "1.2k//560", "No reading was typed."),
    ("exhaust_cycling", "150 K", "'K' is not a unit of it. Units: F, C. Type for example 142F or 61C."),
    ("exhaust_cycling", "5000 F", "outside anything this check can show (-60 to 1,000 F)"),
    ("exhaust_cycling", "warm", "cannot be read as a temperature reading: no number in it"),
    (
        "cycling_bench_heat",
        "141F",
        "does not say what the thermostat is rated at (135 to 165 F, printed on its side)",
    ),
    ("cycling_bench_heat", "opened, rated 155", "the temperature at which it opened is missing"),
    ("cycling_bench_heat", "141F rated 200", "A rating of 200 F is outside 135 to 165 F."),
    ("cycling_bench_heat", "60C rated 155", "A rating of 155 C is outside 135 to 165 F."),
    ("cycling_bench_heat", "141F rated 155 ohm", "'ohm' is not a unit of it"),
    ("static_pressure", "-0.3", "Swap the two hoses on the manometer"),
    (
        "static_pressure",
        "OL",
        "'OL' is a meter over its range, or an open circuit: neither is a pressure reading.",
    ),
    ("static_pressure", "50 psi", "outside anything this check can show (0 to 60 in wc)"),
    ("static_pressure", "0.6 V", "Units: in wc, Pa, kPa, mbar, psi, mmwc."),
    ("hood_air_speed", "99999", "outside anything this check can show (0 to 12,000 fpm)"),
    ("hood_air_speed", "-200 fpm", "Turn the vane to face the draught"),
    ("burner_voltage", "-118", "Set the meter to AC volts"),
    ("burner_voltage", "2 kV", "Units: V, mV. Type for example 118 V."),
    ("meter_clock", "84 s", "which dial is missing (half foot, 1 cu ft, 2 cu ft)"),
    ("meter_clock", "half foot", "how many seconds is missing"),
    ("meter_clock", "0 s per half foot", "must be more than nothing"),
    ("meter_clock", "1 s per 10 cu ft", "would be 37,080,000 Btu/h: no household meter passes that"),
    ("meter_clock", "84 s per half foot at 9000 Btu", "9000 Btu a cubic foot is not a fuel gas"),
    ("meter_clock", "84 s per half foot of snow", "'snow' is not part of it"),
    ("spun_load_weight", "8.5/13.3", "a wet load of 8.5 weighs less than the dry one of 13.3"),
    ("spun_load_weight", "13.3 kg/8.5 lb", "the two weights must be in one unit"),
    ("spun_load_weight", "13.3/0", "the dry weight must be more than nothing"),
    ("spun_load_weight", "90/8", "more water than cloth holds"),
    ("level_check", "100", "outside anything this check can show (0 to 90 deg)"),
    ("level_check", "1/4 in per 0 ft", "a rise and a run are more than nothing"),
    ("verification_run", "3 days", "'days' is not a unit of it. Units: min, h, s."),
]


@pytest.mark.parametrize(("check", "typed", "said"), ASKED)
def test_unit_slips_are_asked_about(check: str, typed: str, said: str) -> None:
    """A number that may be in another unit is asked about, with both answers ready to type."""
    with pytest.raises(BadReading) as caught:
        read(check, typed, ambient="72F")
    assert said in str(caught.value)


@pytest.mark.parametrize(("check", "typed", "said"), REFUSED)
def test_nonsense_is_named(check: str, typed: str, said: str) -> None:
    """Nonsense, negative and absurd readings are refused with what was found and what to type."""
    with pytest.raises(BadReading) as caught:
        read(check, typed)
    assert said in str(caught.value)
    assert any(word in str(caught.value) for word in ("ype", "gain"))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "'11.2k' can only be judged at a known temperature"),
        ({}, "Add the room's temperature, for example --ambient 72F."),
        ({"ambient": "22"}, "The room's temperature (--ambient 72F): 22 F or 22 C?"),
        ({"ambient": "warm"}, "no number in it"),
        ({"ambient": "over 70F"}, "'over 70F' is not one temperature"),
        ({"ambient": "0F"}, "-18 C (0 F) is outside the chart (32 to 122 F)"),
        ({"ambient": "72F", "leads": "x"}, "'x' cannot be the leads"),
    ],
)
def test_circumstances_are_checked(given: dict[str, Any], said: str) -> None:
    """A missing or bad room temperature, or bad leads, is asked for by name."""
    with pytest.raises(BadReading) as caught:
        read("thermistor_ohms", "11.2k", **given)
    assert said in str(caught.value)
