"""Raw readings against the trade's own rules of thumb (common practice, no source)."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

import pytest
from hypothesis import given, strategies as st

from faultodds.errors import BadReading
from faultodds.readings import ReadingSpec
from faultodds.readings.judging import judge
from faultodds.readings.numbers import neat
from faultodds.readings.parse import quantity
from faultodds.readings.sums_heat import celsius
from readings.trade_specs import OUTCOMES, SPECS, read


@pytest.mark.parametrize("text", ["1.15k/1.35k/560", "1.05k/1.34k/540", "1250 / 1360 / 555"])
def test_sound_coils(text: str) -> None:
    """1,000 to 1,300 ohm; 1,300 to 1,400 and 500 to 600 ohm: good (common practice, no source)."""
    judged = read("coil_ohms", text)
    assert judged.verdict == "good"
    assert judged.outcomes["good"] > 0.9


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("OL/1.35k/560", "The two-terminal coil is open; its band is 1,000 to 1,300 ohm."),
        ("1.15k/OL/560", "The three-terminal coil, common to middle is open"),
        ("1.15k/1.35k/OL", "The three-terminal coil, common to far is open"),
        ("1.15k/1.35k/800", "common to far reads 800 ohm; its band is 500 to 600 ohm."),
        ("800/1.35k/560", "The two-terminal coil reads 800 ohm"),
        ("1.15k/1.7k/560", "common to middle reads 1,700 ohm"),
        ("OL", "The two-terminal coil is open"),
        ("1.15k/OL", "common to middle is open"),
    ],
)
def test_any_winding_off_makes_the_set_off(text: str, named: str) -> None:
    """Any winding off or open is "off", and the note names the winding (common practice, no source)."""
    judged = read("coil_ohms", text)
    assert judged.verdict == "off"
    assert judged.outcomes["off"] > 0.95
    assert named in judged.note


def test_one_winding_of_three_says_only_a_little() -> None:
    """One good winding leaves the set open: borderline, with the windings still to read."""
    judged = read("coil_ohms", "1.15k")
    assert judged.verdict == "borderline"
    assert judged.outcomes["good"] == pytest.approx(0.6, abs=0.01)
    assert "Not read yet: three-terminal coil, common to middle; three-terminal coil, common to far." in judged.note


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        ("opened at 141F, rated 155", "opens_low"),
        ("opened at 153F, rated 155", "good"),
        ("141/140", "good"),
        ("opens at 60C rated 140F", "good"),
        ("trips at 130 F, rated 150 F", "opens_low"),
        ("opened at 172 F, rated 155 F", "stays_closed"),
        ("still closed at 180F, rated 155F", "stays_closed"),
        ("never opened to 175 F, rated 150", "stays_closed"),
    ],
)
def test_cycling_thermostat_on_the_bench(text: str, outcome: str) -> None:
    """Rated 135 to 165 F: closed below its rating, open above it (common practice, no source)."""
    assert read("cycling_bench_heat", text).verdict == outcome


def test_bench_heat_stopped_too_early() -> None:
    """Still closed below its rating rules out opening low, and asks for more heat."""
    judged = read("cycling_bench_heat", "still closed at 150F rated 155")
    assert judged.verdict == "borderline"
    assert judged.outcomes["opens_low"] < 0.05
    assert judged.outcomes["good"] == pytest.approx(judged.outcomes["stays_closed"], abs=0.02)
    assert "Heat it on, past 180 F or until it opens" in judged.note


def test_thermistor_falls_as_it_warms() -> None:
    """The same ohms are on the chart in a cool room and off it in a warm one (common practice, no source)."""
    assert read("thermistor_ohms", "12.4k", ambient="68F").verdict == "on_chart"
    assert read("thermistor_ohms", "12.4k", ambient="90F").verdict == "off_chart"
    assert read("thermistor_ohms", "8.1k", ambient="86 F").verdict == "on_chart"
    assert "The chart gives 12,488 ohm at 68 F." in read("thermistor_ohms", "12.4k", ambient="68F").note


@pytest.mark.parametrize(
    ("text", "verdict"),
    [("OL", "open_or_shorted"), ("2 ohm", "open_or_shorted"), ("7.5k", "off_chart"), ("16k", "off_chart")],
)
def test_thermistor_faults(text: str, verdict: str) -> None:
    """Open, shorted and drifted thermistors are told apart."""
    assert read("thermistor_ohms", text, ambient="72F").verdict == verdict


def test_thermistor_temperature_in_any_form() -> None:
    """The room's temperature may come in the reading, in F or C, or as a number in the chart's unit."""
    same = [
        read("thermistor_ohms", "11.2k at 68F"),
        read("thermistor_ohms", "11.2k", ambient="20 C"),
        read("thermistor_ohms", "11.2k", ambient=68.0),
    ]
    for judged in same:
        assert judged.outcomes == pytest.approx(same[0].outcomes, abs=1e-6)


def test_room_uncertainty_softens_a_thermistor() -> None:
    """The less sure the room's temperature, the softer the verdict on a drifted part."""
    sure = replace(SPECS["thermistor_ohms"], ambient_accuracy=0.5)
    vague = replace(SPECS["thermistor_ohms"], ambient_accuracy=8.0)
    outcomes = OUTCOMES["thermistor_ohms"]
    off = [judge(spec, outcomes, "9.6k", ambient="72F").outcomes["off_chart"] for spec in (sure, vague)]
    assert off[0] > off[1]


@pytest.mark.parametrize(
    ("check", "text", "verdict"),
    [
        ("igniter_ohms", "OL", "open"),
        ("igniter_ohms", "85", "normal"),
        ("flame_sensor_continuity", "0.4", "closed"),
        ("fuse_continuity", "OL", "open"),
        ("timer_contacts", "18 ohm", "burnt"),
        ("centrifugal_contacts", "open", "open"),
        ("static_pressure", "0.3 in wc", "normal"),
        ("static_pressure", "1.3 in wc", "very_high"),
        ("hood_air_speed", "1500 fpm", "good"),
        ("hood_air_speed", "300 fpm", "very_low"),
        ("exhaust_cycling", "cuts off at 112F", "cuts_off_cool"),
        ("exhaust_cycling", "195F", "runs_hot"),
        ("meter_clock", "84 s per half foot", "normal"),
        ("meter_clock", "150 s per half foot", "low"),
        ("meter_clock", "none", "none"),
        ("spun_load_weight", "wet 16 lb dry 8.5 lb", "wet"),
        ("burner_voltage", "119 V", "present"),
        ("relay_output", "0 V", "stays_open"),
        ("level_check", "3 deg", "off"),
        ("verification_run", "46 min", "dry_in_time"),
    ],
)
def test_plain_verdicts(check: str, text: str, verdict: str) -> None:
    """Clear readings get the verdict that any technician would give (common practice, no source)."""
    assert read(check, text).verdict == verdict


def test_fuel_picks_the_band_and_the_heat_content() -> None:
    """3.5 in w.c. is right for natural gas and low for propane; a propane dial carries more heat."""
    assert read("manifold_pressure", "3.5 in wc", facts={"fuel": "natural"}).verdict == "normal"
    assert read("manifold_pressure", "3.5 in wc", facts={"fuel": "propane"}).verdict == "low"
    assert "without knowing the fuel; for propane" in read("manifold_pressure", "3.5 in wc").note
    propane = read("meter_clock", "205 s per half foot", facts={"fuel": "propane"})
    assert propane.value == pytest.approx(0.5 / 205 * 3600 * 2516)
    assert propane.verdict == "normal"


def test_remarks_and_cautions() -> None:
    """A blown fuse always comes with "find why"; an over-fast dial asks about other appliances."""
    for text in ("OL", "open", "no beep", "4.7k"):
        assert "A blown fuse has a cause" in read("fuse_continuity", text).note
    for text in ("0.3", "beeps", "closed"):
        assert "blown" not in read("fuse_continuity", text).note
    assert "is another appliance or a pilot drawing gas?" in read("meter_clock", "38 s per half foot").note


def test_borderline_says_so() -> None:
    """On an edge the verdict is "borderline" and the note asks for a second reading."""
    judged = read("static_pressure", "0.6 in wc")
    assert judged.verdict == "borderline"
    assert judged.outcomes["normal"] == pytest.approx(0.5, abs=0.01)
    assert "Too near the edge between normal and high" in judged.note


def test_judgement_is_plain_json() -> None:
    """A judgement goes to JSON without NaN or infinity, open circuits included."""
    for check, text in (("igniter_ohms", "OL"), ("coil_ohms", "1.2k/OL/560"), ("exhaust_cycling", "no heat")):
        assert json.loads(json.dumps(asdict(read(check, text)), allow_nan=False))["value"] is None


def test_spec_in_words() -> None:
    """The judgement shows the band that the reading was held against."""
    assert read("igniter_ohms", "85").spec == "normal 20 to 600 ohm; open over 600 ohm"
    assert read("coil_ohms", "OL").spec.startswith("two-terminal coil 1,000 to 1,300 ohm; three-terminal coil, common")
    assert "opens_low under -10 F from its rating" in read("cycling_bench_heat", "141/155").spec
    assert "off_chart otherwise" in read("thermistor_ohms", "11k", ambient="72F").spec


@given(st.floats(20, 1199), st.floats(0, 400))
def test_deeper_into_a_one_sided_band(start: float, further: float) -> None:
    """More ohms never make an open igniter less likely."""
    at, beyond = (read("igniter_ohms", f"{value!r} ohm").outcomes["open"] for value in (start, start + further))
    assert beyond >= at - 1e-12


@given(st.floats(0, 150), st.floats(0, 150))
def test_deeper_into_a_winding_band(one: float, other: float) -> None:
    """From an edge of a winding's band to its middle the chance of good never falls (flat meter)."""
    flat = replace(SPECS["coil_ohms"], edge=20.0, edge_fraction=0.0, accuracy=0.0, leads=0.0)
    near, deep = sorted((one, other))
    for side in (lambda depth: 1000 + depth, lambda depth: 1300 - depth):
        good = [judge(flat, ["good", "off"], f"{side(d)!r} ohm/1350/550").outcomes["good"] for d in (near, deep)]
        assert good[1] >= good[0] - 1e-12


@given(
    st.sampled_from(["static_pressure", "hood_air_speed", "exhaust_cycling", "burner_voltage"]),
    st.floats(0, 900),
)
def test_likelihoods_sum_to_one(check: str, value: float) -> None:
    """Any value in the spec's unit gives likelihoods that sum to 1 and are never NaN."""
    unit = {
        "static_pressure": "in wc",
        "hood_air_speed": "fpm",
        "exhaust_cycling": "F",
        "burner_voltage": "V",
    }[check]
    if check == "static_pressure":
        value /= 20
    outcomes = read(check, f"{value:.6f} {unit}").outcomes  # not three digits, which may be thousands
    assert sum(outcomes.values()) == pytest.approx(1.0, abs=1e-12)
    assert all(0.0 <= share <= 1.0 for share in outcomes.values())


@pytest.mark.parametrize(("text", "value"), [("120/120", 120.0), ("118 / 118 V", 118.0)])
def test_two_readings_that_agree_are_one(text: str, value: float) -> None:
    """A slash between two numbers is no fraction of a volt."""
    spec = ReadingSpec(kind="voltage", unit="V", bands={"missing": [[0, 95]], "present": [[95, "OL"]]})
    assert quantity(text, spec).middle == value


@pytest.mark.parametrize("text", ["120/0", "120/240", "0/120 V", "118/119/120"])
def test_two_readings_that_differ_are_asked_about(text: str) -> None:
    """Which one is meant is for whoever read them."""
    spec = ReadingSpec(kind="voltage", unit="V", bands={"missing": [[0, 95]], "present": [[95, "OL"]]})
    with pytest.raises(BadReading, match=r"readings: .* and .*Which one is meant"):
        quantity(text, spec)


@pytest.mark.parametrize("text", ["0 ohm", "0.3 ohm", "4.9 ohm", "19.9 ohm", "short", "shorted", "Dead short"])
def test_a_short_is_no_normal_igniter(text: str) -> None:
    """Less than any igniter reads is asked about; 20 ohm is a reading, and one that says so in its band."""
    spec = ReadingSpec(
        kind="resistance", unit="ohm", bands={"normal": [[0, 600]], "open": [[600, "OL"]]}, plausible=[20, 2000]
    )
    with pytest.raises(BadReading, match="is a short, or the leads touch"):
        quantity(text, spec)
    assert quantity("20 ohm", spec).middle == 20


@pytest.mark.parametrize("check", ["igniter_ohms", "fuse_continuity", "coil_ohms"])
@given(st.integers(1, 20000).map(lambda n: n / 10))
def test_what_is_shown_is_what_was_typed(check: str, ohms: float) -> None:
    """Leads are taken off for the judging alone; where that matters it is said."""
    try:
        judged = read(check, f"{ohms} ohm")
    except BadReading:
        return
    assert judged.text == f"{neat(ohms)} ohm"
    if check == "fuse_continuity" and ohms > 0.3:
        assert judged.value == pytest.approx(ohms - 0.3)
        assert ("less 0.3 ohm for the leads" in judged.note) == (ohms < 30)


# --- windings in a room ---------------------------------------------------------------------------------------------------

WARM = replace(SPECS["coil_ohms"], windings_at=70.0)
SOUND = (1150.0, 1350.0, 550.0)


def good(text: str, **given: Any) -> float:
    """How far a set of windings is good."""
    return judge(WARM, OUTCOMES["coil_ohms"], text, **given).outcomes["good"]


def test_a_winding_is_judged_at_the_rooms_temperature() -> None:
    """1,330 ohm is over its band in a cool room, and in it in a hot garage; not told, any room may be meant, and it says so."""
    hot, cool, untold = "1330/1400/560 at 95 F", "1330/1400/560 at 60F", "1330/1400/560"
    assert good(hot) > 0.8 > 0.2 > good(cool)
    assert good(untold) > 0.8
    assert good(untold, ambient="95F") == good("1330/1400/560 at 35 C") == good(hot)
    assert "Tell it, for example 1330/1400/560 at 95F" in judge(WARM, ["good", "off"], untold).note
    assert "Tell it" not in judge(WARM, ["good", "off"], "1150/1350/560").note
    assert all(good(f"{text}/1350/560 at 95F") < 0.01 for text in ("OL", "short", "1500", "900"))


@given(st.floats(800, 1600), st.floats(70, 110), st.floats(0, 30))
def test_a_warmer_room_never_makes_a_winding_worse(ohms: float, room: float, warmer: float) -> None:
    """The upper end of a band rises with the room's temperature, and an untold room allows what any told one does."""
    text = f"{ohms:.1f}/1350/560"
    at = good(text, ambient=f"{room:.1f}F")
    assert good(text, ambient=f"{min(room + warmer, 110):.1f}F") >= at - 1e-9
    if room <= 100:
        assert good(text) >= at - 1e-9


@given(st.floats(41, 110))
def test_sound_copper_is_sound_in_any_room(room: float) -> None:
    """Coils that read good in the room that their bands are for read good wherever they stand."""
    factor = (234.5 + celsius(room)) / (234.5 + celsius(70.0))
    text = "/".join(f"{ohms * factor:.1f}" for ohms in SOUND)
    assert good(text, ambient=f"{room:.1f}F") > 0.8
    assert good(text) > 0.8 or not 50 <= room <= 100


def test_a_room_that_is_none_is_refused() -> None:
    """A room of 900 degrees is a slip."""
    with pytest.raises(BadReading, match="The room's temperature"):
        good("1330/1350/560 at 900F")


def test_a_band_that_the_file_does_not_have_is_not_made_up() -> None:
    """A layout whose windings the file does not know is sent to the maker's sheet; the fact that decides is named."""
    spec = replace(SPECS["coil_ohms"], fact="coil_layout", windings_for={"single_block": []})
    with pytest.raises(BadReading, match=r"this coil layout the file has no bands.*type good or off"):
        judge(spec, ["good", "off"], "1150/1350/560", facts={"coil_layout": "single_block"})
    assert judge(spec, ["good", "off"], "1150/1350/560", facts={"coil_layout": "other"}).verdict == "good"
    assert "(fact coil_layout)" in judge(spec, ["good", "off"], "1150/1350/560").note
