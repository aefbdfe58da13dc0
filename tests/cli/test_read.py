"""`read`: one raw reading judged."""

from __future__ import annotations

from run_cli import faultodds


def test_the_object_has_its_documented_keys() -> None:
    """`read --json` prints every documented key, with outcomes that add up to 1."""
    got = faultodds("read", "igniter_ohms", "140", "--json").answer
    assert list(got) == ["check", "value", "unit", "spec", "outcomes", "verdict", "note"]
    assert (got["check"], got["unit"], got["verdict"]) == ("igniter_ohms", "ohm", "normal")
    assert abs(sum(got["outcomes"].values()) - 1) < 1e-6


def test_an_open_igniter_reads_ol() -> None:
    """OL is an open part; the value is then null."""
    got = faultodds("read", "igniter_ohms", "OL", "--json").answer
    assert (got["value"], got["verdict"]) == (None, "open")


def test_a_thermistor_is_judged_at_the_rooms_temperature() -> None:
    """The same ohms are on the chart in a warm room and off it in a cold one."""
    warm = faultodds("read", "thermistor_ohms", "11.2k", "--ambient", "72F", "--json").answer
    cold = faultodds("read", "thermistor_ohms", "11.2k", "--ambient", "32F", "--json").answer
    assert (warm["verdict"], cold["verdict"]) == ("on_chart", "reads_low")


def test_leads_are_taken_off() -> None:
    """--leads is the ohms of the test leads, the same as "leads 0.3" in the text."""
    given = faultodds("read", "igniter_ohms", "140", "--leads", "2", "--json").answer
    typed = faultodds("read", "igniter_ohms", "140 leads 2", "--json").answer
    assert given == typed
    assert given["value"] == 138


def test_fuel_picks_the_band() -> None:
    """Propane's manifold pressure is not natural gas's."""
    natural = faultodds("read", "manifold_pressure", "3.5 in wc", "--fact", "fuel=natural", "--json").answer
    propane = faultodds("read", "manifold_pressure", "3.5 in wc", "--fact", "fuel=propane", "--json").answer
    assert (natural["verdict"], propane["verdict"]) == ("normal", "low")


def test_the_text_says_against_what() -> None:
    """The text gives what was read, the verdict and the band it was held against."""
    ran = faultodds("read", "coil_ohms", "1.15k/1.35k/560")
    assert ran.code == 0, ran.err
    assert "good" in ran.text
    assert "1,000 to 1,300 ohm" in ran.text and "for a room of 70 F, wider for others" in " ".join(ran.text.split())
    assert max(map(len, ran.out.splitlines())) <= 80


def test_names_may_be_shortened() -> None:
    """A unique beginning of a check's name is enough."""
    assert faultodds("read", "ign oh", "140", "--json").answer["check"] == "igniter_ohms"


def test_a_stop_sign_is_no_reading() -> None:
    """`read gas_smell yes` stops."""
    assert faultodds("read", "gas_smell", "yes").code == 3
