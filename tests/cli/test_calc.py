"""`calc`: the numbers are the library's, with units and source."""

from __future__ import annotations

import pytest

from run_cli import faultodds

# Command, key, value, relative tolerance; sources as in the tests of the sums themselves.
SUMS = [
    ("duct 22ft --elbow 90 --elbow 90r6", "equivalent_feet", 28.75, 1e-9),
    ("duct 6.7056m", "equivalent_feet", 22.0, 1e-6),
    ("duct 40ft --limit 38ft", "over_feet", 2.0, 1e-9),
    ("input 0.5 84s --heat-content 1039", "btu_h", 3600 * 0.5 / 84 * 1039, 1e-5),
    ("input 1/2 1.4min --heat-content 1039", "btu_h", 3600 * 0.5 / 84 * 1039, 1e-5),
    ("input 0.5 84s --rated 22000 --altitude 5000", "due_btu_h", 17600, 1e-5),
    ("input 0.5 84s --rated 22000 --altitude 1500", "due_btu_h", 22000, 1e-5),
    ("drytime 8.5lb 57.5%", "water_lb", 8.5 * 0.555, 1e-5),
    ("drytime 8.5lb 13.3lb", "start_percent", 100 * (13.3 / 8.5 - 1), 1e-5),
    ("thermistor 77F", "due_ohms", 10_000, 2e-3),
    ("thermistor 25C --r25 50k", "due_ohms", 50_000, 2e-3),
    ("airflow 1375.1fpm", "cfm", 120, 1e-3),
    ("airflow 120cfm", "fpm", 1375.1, 1e-3),
    ("airflow 120cfm --duct 5in", "fpm", 880.06, 1e-3),
    ("winding 1.15k --at 72F --hot 1.3k", "hot_f", 132.3, 3e-3),
    ("winding 1.15k --at 72F --hot-at 132.3F", "hot_ohms", 1300, 1e-3),
    ("orifice 0.0200in 3.5inwc", "cu_ft_h", 1.1325, 2e-3),
    ("co 12ppm", "ppm", 12, 1e-9),
]  # fmt: skip


@pytest.mark.parametrize(("line", "key", "value", "tolerance"), SUMS)
def test_a_sum(line: str, key: str, value: float, tolerance: float) -> None:
    """Every sum gives the expected number in its object, whatever unit it was typed in."""
    got = faultodds("calc", *line.split(), "--json").answer
    assert got[key] == pytest.approx(value, rel=tolerance)
    assert got["calc"] == line.split()[0]
    assert got["source"]


@pytest.mark.parametrize("line", [line for line, *_ in SUMS])
def test_the_text_names_units_and_source(line: str) -> None:
    """The text ends with where the rule comes from and fits 80 columns."""
    ran = faultodds("calc", *line.split())
    assert ran.code == 0, ran.err
    assert "Source: " in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80


def test_elbow_table_drill_sizes() -> None:
    """#61 drill (0.039 in) at 3.5 in w.c. passes 4.307 cu ft/h (BCcampus Plumbing 3e, App. 2)."""
    got = faultodds("calc", "orifice", "0.039in", "3.5inwc", "--json").answer
    assert got["cu_ft_h"] == pytest.approx(4.307, rel=2e-3)


@pytest.mark.parametrize(
    ("typed", "inches"),
    [
        ("42", 0.0935),
        ("#42", 0.0935),
        ("no. 42", 0.0935),
        ("61", 0.039),
        ("F", 0.257),
        ("0.0935in", 0.0935),
        ("2.375mm", 0.0935),
    ],
)
def test_an_orifice_is_told_as_it_is_stamped(typed: str, inches: float) -> None:
    """A whole number or a letter is a drill's; a length needs its unit or a decimal point."""
    assert faultodds("calc", "orifice", typed, "3.5inwc", "--json").answer["hole_in"] == pytest.approx(inches, rel=1e-3)


@pytest.mark.parametrize(
    ("typed", "said"), [("42in", "42 in is no orifice"), ("1in", "1 in is no orifice"), ("95", "no drill no. 95")]
)
def test_a_hole_that_no_burner_has_is_refused(typed: str, said: str) -> None:
    """A drill's number with a unit put behind it would be a hole as wide as a drum."""
    ran = faultodds("calc", "orifice", typed, "3.5inwc")
    assert ran.code == 2
    assert said in " ".join(ran.err.split())


@pytest.mark.parametrize(("ppm", "word"), [("35", "Stop the dryer"), ("200", "Everybody out now")])
def test_carbon_monoxide_stops_the_job(ppm: str, word: str) -> None:
    """35 ppm stops work and 200 ppm empties the house (NIOSH), both with exit 3."""
    ran = faultodds("calc", "co", ppm)
    assert ran.code == 3
    assert word in ran.text


def test_below_the_limit_carries_on() -> None:
    """34 ppm is under the limit."""
    assert faultodds("calc", "co", "34", "--json").answer["action"] == "carry on"
