"""Job logs: as untidy as a shop's, and the same bytes every time."""

from __future__ import annotations

import re
import subprocess
import sys
from functools import lru_cache
from pathlib import Path

import pandas as pd
import pytest

from faultodds_sim.demo import DEMO_JOBS, FOLDER, NAME, README, main, make_demo
from faultodds_sim.errors import SimError, UnknownNameError
from faultodds_sim.faults import MODES
from faultodds_sim.hazards import town_factors
from faultodds_sim.joblog import log_frames
from faultodds_sim.make_log import main as make_log_main, truth_path, write_log

TRUTH = NAME.replace(".csv", "_truth.csv")


@lru_cache(maxsize=1)
def _demo() -> tuple[pd.DataFrame, pd.DataFrame]:
    log, truth = (pd.read_csv(FOLDER / name, dtype=str, keep_default_na=False) for name in (NAME, TRUTH))
    return log, truth


def test_demo_is_remade_byte_for_byte(tmp_path: Path) -> None:
    """The documented command's function writes exactly the files that ship."""
    make_demo(tmp_path)
    for name in (NAME, TRUTH, "README.md"):
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes(), name


def test_the_demo_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command says what it wrote, and the README is labelled synthetic and names the command."""
    assert main([str(tmp_path)]) == 0
    assert capsys.readouterr().out.strip() == str(tmp_path / NAME)
    assert README.startswith("# SYNTHETIC")
    assert "python -m faultodds_sim.demo" in README


def test_hash_seed_does_not_matter(tmp_path: Path) -> None:
    """Another PYTHONHASHSEED gives the same log."""
    out = str(tmp_path / "a.csv")
    code = f"from pathlib import Path; import faultodds_sim.make_log as m; m.write_log(80, Path({out!r}), 3)"
    texts = []
    for seed in ("0", "77"):
        subprocess.run([sys.executable, "-c", code], check=True, env={"PYTHONHASHSEED": seed, "PATH": ""})
        texts.append((tmp_path / "a.csv").read_bytes())
    assert texts[0] == texts[1]


def test_shape_of_the_demo() -> None:
    """About 600 rows, one a job, 25 to 60 columns, and the truth row for row beside it."""
    log, truth = _demo()
    assert len(log) == len(truth) == DEMO_JOBS == 600
    assert 25 <= log.shape[1] <= 60
    assert log["ticket"].tolist() == truth["ticket"].tolist()
    modes = {mode for cell in truth["modes"] for mode in cell.split("|")}
    assert modes <= set(MODES)
    assert all(row.main_cause for row in truth.itertuples())
    assert not set(truth.columns[2:]) & set(log.columns)


def test_the_demo_is_untidy() -> None:
    """Mixed units and hands, blanks, abbreviations, duplicates, typos, callbacks, impossible readings."""
    log, truth = _demo()
    assert log["ticket"].duplicated().sum() >= 3
    assert (truth["first_ticket"] != truth["ticket"]).sum() >= 20
    assert log["thermistor"].str.contains("k", case=False).any()
    assert log["thermistor"].str.contains(r"^\d{4,6}$").any()
    assert log["static_wc"].str.contains("Pa").any()
    assert log["static_wc"].str.contains("wc").any()
    assert log["exh_temp"].str.contains(r"C$").any()
    assert log["exh_temp"].str.contains(r"F$").any()
    assert log["vent_len"].str.contains(" m$").any()
    assert {len(re.findall("[-/]", d)) for d in log["date"]} == {0, 2}
    blank = (log == "").mean()
    assert blank["t_fuse"] > 0.4
    assert blank["hood"] > 0.2
    numbers = log[["static_wc", "coil_ohm", "thermistor", "hood_fpm", "ign_ohm", "exh_temp", "spin_wt", "coil_hot"]]
    assert numbers.isin(["-3.5", "99999", "1550 F", "0.115", "12345", "-40", "999", "1.1M"]).to_numpy().sum() >= 1
    assert log["complaint"].nunique() > 300
    assert log["notes"].str.contains("cust").any()


def test_a_blank_means_two_things() -> None:
    """A blank fuse cell stands beside fuses never looked at, and beside fuses looked at and found whole."""
    log, truth = _demo()
    blown = truth["modes"].str.contains("thermal_fuse")
    assert ((log["t_fuse"] == "") & ~blown).sum() > 100
    assert ((log["t_fuse"] != "") & ~blown).sum() > 20


def test_rows_come_in_any_number_and_the_same(tmp_path: Path) -> None:
    """A log has exactly the rows asked for, by chunks that do not depend on how it is written."""
    frames = [len(log) for log, _ in log_frames(90, 2)]
    assert sum(frames) == 90
    seen: list[int] = []
    truth = write_log(90, tmp_path / "log.csv", 2, seen.append)
    assert truth == tmp_path / "log_truth.csv" == truth_path(tmp_path / "log.csv")
    assert seen[-1] == 90
    table = pd.read_csv(tmp_path / "log.csv", dtype=str, keep_default_na=False)
    write_log(90, tmp_path / "log.parquet", 2)
    again = pd.read_parquet(tmp_path / "log.parquet")
    assert table.to_numpy().tolist() == again.astype(str).to_numpy().tolist()
    write_log(90, tmp_path / "other.csv", 3)
    assert (tmp_path / "other.csv").read_bytes() != (tmp_path / "log.csv").read_bytes()


def test_the_command_and_its_refusals(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes both files; bad input is one line on stderr and exit 2, without a traceback."""
    out = tmp_path / "small.csv"
    assert make_log_main(["--jobs", "70", "--out", str(out), "--seed", "9"]) == 0
    assert capsys.readouterr().out.split() == [str(out), str(truth_path(out))]
    assert make_log_main(["--jobs", "5", "--out", str(out), "--town", "-2"]) == 2
    assert "there is no town -2; give a number of 0 or more" in capsys.readouterr().err
    assert make_log_main(["--jobs", "0", "--out", str(out)]) == 2
    assert "cannot write a log of 0 jobs; give a number of 1 or more" in capsys.readouterr().err
    assert make_log_main(["--jobs", "5", "--out", str(tmp_path / "log.xls")]) == 2
    assert "unknown file kind 'xls'" in capsys.readouterr().err
    with pytest.raises(UnknownNameError):
        write_log(5, tmp_path / "log.txt")
    with pytest.raises(SimError):
        next(log_frames(-4, 1))


def test_another_town_has_other_faults() -> None:
    """Town 0 is the usual one; another town's log has other main causes, the same ones every time."""
    assert (town_factors(0) == 1.0).all()
    here, there, again = (
        pd.concat([truth for _, truth in log_frames(120, 2, town=town)])["main_cause"].tolist() for town in (0, 3, 3)
    )
    assert there == again
    assert here != there
