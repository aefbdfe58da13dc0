"""Reading specs: what a shop manager may write, and what is said about a slip."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from typing import Any

import msgspec
import pytest
from pydantic import TypeAdapter, ValidationError

from faultodds.readings.problems import spec_problems
from faultodds.readings.specs import ReadingSpec, Winding
from readings.trade_specs import OUTCOMES, SPECS

BANDS: dict[str, Any] = {"normal": [[0, 600]], "open": [[600, "OL"]]}
GOOD = ReadingSpec(kind="resistance", unit="ohm", bands=BANDS)
OUT = ["normal", "open"]


@pytest.mark.parametrize("check", sorted(SPECS))
def test_trade_specs_are_sound(check: str) -> None:
    """Every spec of the trade has nothing wrong with it."""
    assert spec_problems(SPECS[check], OUTCOMES[check]) == []


@pytest.mark.parametrize("codec", [msgspec.json, msgspec.msgpack])
def test_specs_survive_storage(codec: Any) -> None:
    """Specs are stored and loaded without pydantic, and come back the same (an endless band too)."""
    again = codec.decode(codec.encode(SPECS), type=dict[str, ReadingSpec])
    for check, spec in again.items():
        assert spec_problems(spec, OUTCOMES[check]) == []
        assert spec.windings == SPECS[check].windings
        assert spec.chart == SPECS[check].chart


def test_unknown_keys_are_refused() -> None:
    """A misspelt key in a knowledge file is refused by name."""
    with pytest.raises(ValidationError, match="acuracy"):
        TypeAdapter(ReadingSpec).validate_python({"kind": "voltage", "unit": "V", "acuracy": 1})
    with pytest.raises(ValidationError, match="kind"):
        TypeAdapter(ReadingSpec).validate_python({"kind": "ohms"})


CASES: list[tuple[dict[str, Any], str]] = [
    ({"unit": "V"}, "unit is 'V': resistance is read in ohm."),
    ({"accuracy": -1.0}, "accuracy is -1: it must be 0 or more."),
    ({"edge_fraction": 5.0}, "edge_fraction is 5: it is a fraction under 0.5"),
    ({"counts": 3.0}, "counts is given without resolution"),
    ({"duct_inches": 0.0}, "duct_inches is 0: it must be above 0."),
    ({"heating_values": {"propane": 0.0}}, "heating_values.propane is 0: it must be above 0."),
    ({"plausible": [5.0, 1.0]}, "plausible must be [low, high] with low under high."),
    (
        {"bands": {"normal": [[0, 600]], "opne": [[600, "OL"]]}},
        "bands.opne names 'opne', which is no outcome",
    ),
    ({"bands": {"normal": [[0, 600]], "opne": [[600, "OL"]]}}, "Did you mean 'open'? Known: normal, open."),
    ({"otherwise": "shut"}, "otherwise names 'shut', which is no outcome of this check."),
    ({"words": {"opens": ["x"]}}, "words.opens names 'opens'"),
    ({"bands": {"normal": [[0, "OL"]]}}, "no band, word or otherwise leads to the outcome 'open'."),
    (
        {"bands": {"normal": [[0, 600]], "open": [[500, "OL"]]}},
        "normal and open overlap between 500 and 600.",
    ),
    ({"bands": {"normal": [[0, 600]], "open": [[700, "OL"]]}}, "nothing covers 600 to 700. Widen a band"),
    ({"bands": {"normal": [[10, 600]], "open": [[600, "OL"]]}}, "nothing covers values under 10."),
    ({"bands": {"normal": [[0, 600]], "open": [[600, 900]]}}, "nothing covers values over 900."),
    ({"bands": {"normal": [[600, 0]], "open": [[600, "OL"]]}}, "bands.normal runs from 600 to 0"),
    ({"bands": {"normal": [[0]], "open": [[600, "OL"]]}}, "each band is [low, high]"),
    ({"bands": {}, "otherwise": "open"}, "bands is empty"),
    ({"heating_values": {"propane": 2516.0}}, "has its own for 'propane' and no fact"),
    ({"fact": "fuel"}, "fact is 'fuel', and nothing is given for any value of it."),
    ({"windings_at": 70.0}, "windings_at is for windings"),
]


@pytest.mark.parametrize(("change", "said"), CASES)
def test_problems_are_named(change: dict[str, Any], said: str) -> None:
    """Each slip in a spec gets one sentence that names it."""
    problems = spec_problems(replace(GOOD, **change), OUT)
    assert any(said in problem for problem in problems), problems


def test_sound_spec_has_no_problems() -> None:
    """The spec that the slips above start from is sound."""
    assert spec_problems(GOOD, OUT) == []


def test_winding_and_chart_problems() -> None:
    """Windings need bands of their own and two outcomes; a chart must fall as it warms."""
    coil = SPECS["coil_ohms"]
    assert any("windings is empty" in p for p in spec_problems(replace(coil, windings=[]), ["good", "off"]))
    backwards = replace(coil, windings=[Winding("w", 5, 1), Winding("w", 1, 5)])
    assert any("needs 0 <= low < high" in p for p in spec_problems(backwards, ["good", "off"]))
    assert any("named twice" in p for p in spec_problems(backwards, ["good", "off"]))
    assert any("two outcomes" in p for p in spec_problems(coil, ["good", "off", "odd"]))
    rising = replace(SPECS["thermistor_ohms"], chart=[[60.0, 9000.0], [80.0, 11000.0]])
    assert any("chart must fall" in p for p in spec_problems(rising, OUTCOMES["thermistor_ohms"]))
    short = replace(SPECS["thermistor_ohms"], chart=[[60.0, 9000.0]])
    assert any("at least two rows" in p for p in spec_problems(short, OUTCOMES["thermistor_ohms"]))


def test_other_bands_for_a_fuel_are_checked_too() -> None:
    """A gap in the propane bands is named with its key."""
    gap = replace(SPECS["manifold_pressure"], bands_for={"propane": {"normal": [[9, "OL"]], "low": [[0, 8]]}})
    assert any("bands_for.propane: nothing covers 8 to 9" in p for p in spec_problems(gap, ["normal", "low"]))


def test_everyday_readings_load_nothing_heavy() -> None:
    """Judging a reading in the check's own unit loads neither pint nor pydantic nor numpy."""
    code = (
        "import sys\nfrom faultodds.readings.judging import judge\n"
        "from faultodds.readings.specs import ReadingSpec\n"
        "s = ReadingSpec(kind='resistance', unit='ohm', bands={'n': [[0, 600]], 'o': [[600, 'OL']]})\n"
        "judge(s, ['n', 'o'], '1.15k'); judge(s, ['n', 'o'], 'OL')\n"
        "print(sorted({'pint', 'pydantic', 'numpy', 'pandas'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
