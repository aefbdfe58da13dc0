"""The fixed sheet of what every fault shows on every check, and readings as they are typed."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from faultodds_sim.faults import MODES
from faultodds_sim.names import CHECKS
from faultodds_sim.sheet import NOT_FITTED, SEVERITIES, codes, figure, main, sheet
from faultodds_sim.typed_readings import ohms, text


@lru_cache(maxsize=1)
def _sheet() -> pd.DataFrame:
    return sheet()


def test_every_mode_by_every_check_at_three_severities() -> None:
    """One row a mode and severity, one column a check, each cell an outcome of its check."""
    table = _sheet()
    assert len(table) == 3 * len(MODES)
    assert set(CHECKS) <= set(table.columns)
    grid = codes(table)
    assert grid.shape == (3 * len(MODES), len(CHECKS))
    assert np.nanmax(grid) == 7
    pd.testing.assert_frame_equal(table, sheet())


def test_more_severity_shows_on_more_checks() -> None:
    """Over all modes, more checks are off at a higher severity; with nothing wrong none is."""
    table, grid = _sheet(), codes(_sheet())
    off = [np.nansum(grid[(table["severity"] == level).to_numpy()] > 0) for level in SEVERITIES]
    assert off[0] < off[1] < off[2]
    nothing = (table["mode"] == "nothing_wrong").to_numpy()
    assert np.nansum(grid[nothing] > 0) == 0


def test_timer_machines_have_no_thermistor_cell() -> None:
    """A check of a part that the machine lacks is shown as not fitted."""
    row = _sheet().set_index(["mode", "severity"]).loc[("igniter.open", 0.95)]
    assert row["thermistor_ohms"] == NOT_FITTED
    assert row["igniter_ohms"] == "open (OL)"


def test_command_writes_table_and_figure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes a CSV that reads back and a picture with a panel a severity."""
    table, picture = tmp_path / "sheet.csv", tmp_path / "sheet.png"
    assert main(["--out", str(table), "--figure", str(picture)]) == 0
    assert capsys.readouterr().out.split() == [str(table), str(picture)]
    assert len(pd.read_csv(table)) == len(_sheet())
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert len(figure(_sheet()).axes) == len(SEVERITIES)


@pytest.mark.parametrize(
    ("value", "typed"),
    [(np.inf, "OL"), (0.21, "0.2"), (148.3, "148"), (1153.0, "1.15k"), (10020.0, "10k"), (2.4e6, "2.4M")],
)
def test_ohms_as_typed(value: float, typed: str) -> None:
    """Resistances are written as they are read off a meter."""
    assert ohms(value) == typed


def test_readings_as_typed() -> None:
    """Other readings carry their unit; a look is its outcome in words."""
    assert text("exhaust_cycling", 142.2, "normal") == "142 F"
    assert text("static_pressure", 0.4213, "normal") == "0.42 in w.c."
    assert text("meter_clock", np.inf, "none") == "no movement"
    assert text("cycling_bench_heat", np.inf, "stays_closed") == "never"
    assert text("burner_watch", np.nan, "glow_no_flame") == "glow no flame"
