"""Every form in which a technician types a reading."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from faultodds.errors import BadReading
from faultodds.readings.judging import Judgement
from faultodds.readings.numbers import neat, number
from faultodds.readings.parse import OPEN, leads_ohms, quantity
from faultodds.readings.units import convert_plain
from readings.trade_specs import OUTCOMES, SPECS, read

VALUES = [
    ("igniter_ohms", "120", 119.7),
    ("igniter_ohms", "120 ohm", 119.7),
    ("igniter_ohms", "120Ω", 119.7),
    ("igniter_ohms", "120 \u2126", 119.7),
    ("igniter_ohms", "0.12k", 119.7),
    ("igniter_ohms", "0,12 kΩ", 119.7),
    ("igniter_ohms", "0k12", 119.7),
    ("igniter_ohms", "1.2e2 ohms", 119.7),
    ("igniter_ohms", "about 120 ohms.", 119.7),
    ("igniter_ohms", "reads 120", 119.7),
    ("igniter_ohms", "120 leads 0.5", 119.5),
    ("igniter_ohms", "120 ohm (leads 0.5 ohm)", 119.5),
    ("igniter_ohms", "110-130 ohm", 119.7),
    ("igniter_ohms", "0.11 to 0.13k", 119.7),
    ("igniter_ohms", "between 110 and 130", 119.7),
    ("igniter_ohms", "120 +/- 5", 119.7),
    ("igniter_ohms", "120 ohm ± 5 %", 119.7),
    ("igniter_ohms", "1,150 ohm", 1149.7),
    ("igniter_ohms", "2M", 1_999_999.7),
    ("igniter_ohms", "2 meg", 1_999_999.7),
    ("fuse_continuity", "0.4", 0.1),
    ("fuse_continuity", "0.1", 0.0),
    ("fuse_continuity", "300 milliohm", 0.0),
    ("fuse_continuity", "beeps", 0.0),
    ("fuse_continuity", "dead short", 0.0),
    ("exhaust_cycling", "142F", 142.0),
    ("exhaust_cycling", "142 °F", 142.0),
    ("exhaust_cycling", "142 deg F", 142.0),
    ("exhaust_cycling", "61 C", 141.8),
    ("exhaust_cycling", "120-155F", 155.0),
    ("exhaust_cycling", "cycles 120 to 155 F", 155.0),
    ("exhaust_cycling", "-5 F", -5.0),
    ("static_pressure", "0.6 in wc", 0.6),
    ("static_pressure", "0.6 in. w.c.", 0.6),
    ("static_pressure", '0.6" wc', 0.6),
    ("static_pressure", ".6 inches of water", 0.6),
    ("static_pressure", "1/2 in wc", 0.5),
    ("static_pressure", "1 1/2 in wc", 1.5),
    ("static_pressure", "149.45334 Pa", 0.6),
    ("static_pressure", "1.4945334 mbar", 0.6),
    ("static_pressure", "15.24 mm wc", 0.6),
    ("hood_air_speed", "1150 fpm", 1150.0),
    ("hood_air_speed", "1150 ft/min", 1150.0),
    ("hood_air_speed", "5.842 m/s", 1150.0),
    ("hood_air_speed", "100 cfm", 1145.9156),
    ("burner_voltage", "118 VAC", 118.0),
    ("burner_voltage", "118", 118.0),
    ("burner_voltage", "120 mV", 0.12),
    ("meter_clock", "38 s per half foot", 0.5 / 38 * 3600 * 1030),
    ("meter_clock", "22s 1/2 cu ft", 0.5 / 22 * 3600 * 1030),
    ("meter_clock", "2 min 50 s per cu ft", 1 / 170 * 3600 * 1030),
    ("meter_clock", "2:50 for 1 cu ft", 1 / 170 * 3600 * 1030),
    ("meter_clock", "3 turns of the half foot dial in 4 min 12 s", 1.5 / 252 * 3600 * 1030),
    ("meter_clock", "170 s per cu ft at 1000 Btu", 1 / 170 * 3600 * 1000),
    ("meter_clock", "48 seconds per 10 litres", 0.353146667 / 48 * 3600 * 1030),
    ("meter_clock", "21 cu ft/h", 21 * 1030),
    ("meter_clock", "21.5k Btu/h", 21_500.0),
    ("meter_clock", "dial does not move", 0.0),
    ("spun_load_weight", "58 %", 58.0),
    ("spun_load_weight", "58", 58.0),
    ("spun_load_weight", "wet 12.75 lb, dry 8.5 lb", 50.0),
    ("spun_load_weight", "12.75 lb wet, 8.5 lb dry", 50.0),
    ("spun_load_weight", "12.75/8.5", 50.0),
    ("spun_load_weight", "15/10 lb", 50.0),
    ("spun_load_weight", "6 kg / 4 kg", 50.0),
    ("level_check", "1.5 deg", 1.5),
    ("level_check", "1/4 in per ft", math.degrees(math.atan(0.25 / 12))),
    ("level_check", "10 mm per m", math.degrees(math.atan(0.01))),
    ("verification_run", "48 min", 48.0),
    ("verification_run", "1:20", 80.0),
    ("verification_run", "1 h 20", 80.0),
    ("verification_run", "1.5 h", 90.0),
]


@pytest.mark.parametrize(("check", "text", "value"), VALUES)
def test_forms(check: str, text: str, value: float) -> None:
    """Each form gives the value in the check's own unit, leads taken off."""
    assert read(check, text).value == pytest.approx(value, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("text", ["OL", "ol", "O.L", "0.L", "0L", "open", "open circuit", "infinite", "∞", "inf"])
def test_open_circuit(text: str) -> None:
    """Every way a meter or a technician says "open" is an open circuit, and has no number."""
    judged = read("igniter_ohms", text)
    assert (judged.value, judged.text, judged.verdict) == (None, "OL", "open")
    assert quantity(text, SPECS["igniter_ohms"]) == OPEN


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("beeps", "closed"),
        ("it beeps", "closed"),
        ("no beep", "open"),
        ("silent", "open"),
        ("continuity", "closed"),
    ],
)
def test_beeps(text: str, verdict: str) -> None:
    """A continuity check takes the sounds of the meter."""
    assert read("fuse_continuity", text).verdict == verdict


@pytest.mark.parametrize(("text", "outcome"), [("no heat", "no_heat"), ("NO-HEAT", "no_heat"), ("normal", "normal")])
def test_outcome_by_name(text: str, outcome: str) -> None:
    """An outcome may be named outright, and the note says that no number was given."""
    judged = read("exhaust_cycling", text)
    assert judged.outcomes[outcome] == 1.0
    assert judged.value is None
    assert "no number" in judged.note


def test_leads_as_argument() -> None:
    """Leads given beside the reading are taken off; leads typed in the reading win."""
    assert read("igniter_ohms", "120", leads=1.0).value == pytest.approx(119.0)
    assert read("igniter_ohms", "120", leads="0.5").value == pytest.approx(119.5)
    assert read("igniter_ohms", "120 leads 0.2", leads=1.0).value == pytest.approx(119.8)
    assert leads_ohms(0) == 0


def test_range_is_judged_between_its_ends() -> None:
    """A range that straddles an edge shares its likelihood by how much lies on each side."""
    spread = read("hood_air_speed", "900-1300 fpm").outcomes
    assert spread["good"] == pytest.approx(0.5, abs=0.02)
    assert spread["very_low"] < 1e-6


def test_over_and_under() -> None:
    """ "Over 20M" is open; "under 0.05" is low; "over 0.3 in wc" leaves what lies above it equally likely."""
    assert read("igniter_ohms", ">20M").verdict == "open"
    assert read("static_pressure", "< 0.05").verdict == "low"
    over = read("static_pressure", "over 0.3 in wc").outcomes
    assert over["low"] < 0.01
    assert over["normal"] == pytest.approx(over["very_high"], abs=1e-3)


def test_comma_marks() -> None:
    """Commas are decimal or thousands marks where only one can be meant."""
    assert [number(t) for t in ("1,15", "0,150", "1,234,567", "12,345.6", "1.234,5")] == [
        1.15,
        0.15,
        1234567,
        12345.6,
        1234.5,
    ]


def test_water_column() -> None:
    """One inch of water is 249.0889 Pa (NIST SP 811, conventional water; from memory)."""
    assert convert_plain(1.0, "inwc", "Pa") == pytest.approx(249.0889, rel=1e-9)


@given(st.floats(20, 1999))
def test_format_round_trip(value: float) -> None:
    """A value shown for people, typed back, is the same value to the figures shown."""
    text = f"{neat(value)} ohm"
    back = quantity(text, SPECS["igniter_ohms"])
    assert back.low == back.high == pytest.approx(value, rel=5e-3 if value < 100 else 1e-3)
    assert f"{neat(back.low)} ohm" == text


@given(st.floats(20, 1e8))
def test_full_precision_round_trip(value: float) -> None:
    """A number with its unit, written in full, is read back exactly."""
    assert quantity(f"{value!r} ohm", SPECS["igniter_ohms"]).low == value


def judged_or_asked(check: str, text: str) -> Judgement | None:
    """The judgement, or None where a question came back that says what to do next."""
    try:
        return read(check, text, ambient="72F")
    except BadReading as error:
        asked = str(error)
    if not any(word in asked for word in ("Type", "type", "again", "Add", "Swap")):
        pytest.fail(f"{text!r} was refused without a next step: {asked}")
    return None


@given(st.sampled_from(sorted(SPECS)), st.text(max_size=12))
def test_any_text_is_judged_or_asked_about(check: str, text: str) -> None:
    """Whatever is typed gives likelihoods that sum to 1, or a question; never NaN, never a traceback."""
    judged = judged_or_asked(check, text)
    if judged is None:
        return
    assert list(judged.outcomes) == OUTCOMES[check]
    assert sum(judged.outcomes.values()) == pytest.approx(1.0)


WORDS = """1 2 0.5 1.15 155 k M m ohm F C / - to , . % leads rated at open OL beeps s min half foot cu ft per
wet dry lb in wc Pa fpm cfm : < > ± nan 1e999 btu turns ² ٣"""
PIECES = st.sampled_from([*WORDS.split(), "still closed at"])


@given(st.sampled_from(sorted(SPECS)), st.lists(PIECES, min_size=1, max_size=6), st.sampled_from(["", " "]))
def test_any_pieces_are_judged_or_asked_about(check: str, pieces: list[str], between: str) -> None:
    """Pieces of real readings in any order give likelihoods that sum to 1, or a question."""
    judged = judged_or_asked(check, between.join(pieces))
    if judged is None:
        return
    assert sum(judged.outcomes.values()) == pytest.approx(1.0)
    assert all(0.0 <= share <= 1.0 for share in judged.outcomes.values())
    assert judged.value is None or math.isfinite(judged.value)
