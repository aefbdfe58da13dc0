"""Danger in the words of a command line that cannot be obeyed."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.job.store import Store
from run_cli import faultodds

TOLD = [
    "gas smell",
    "i smell gas",
    "smoke from drum",
    "co alarm sounding",
    "thermal fuse bypassed",
    "got a shock off it",
]
LINES = [
    *(
        "job find 1 heat=none {}",
        "job find 1 heat none {}",
        "job close 1 gone {}",
        "job fix 1 igniter {}",
        "job show 1 {}",
    ),
    *("job verify 1 gone {}", "job undo 1 {}", "job fact 1 control=board {}", "bench 1 {}", "job find 1 --no-such {}"),
]


@pytest.mark.parametrize("line", LINES)
@pytest.mark.parametrize("told", TOLD)
def test_danger_among_surplus_words_stops_and_is_kept(tmp_path: Path, line: str, told: str) -> None:
    """Before the mistake in the line is told, and with the job whose number is in it."""
    data = ["--data", str(tmp_path)]
    assert faultodds("job", "new", "--found", "heat=none", *data).code == 0
    ran = faultodds(*line.format(told).split(), *data)
    assert ran.code == 3
    assert "STOP." in ran.out
    assert "Job 1 is kept" in ran.text
    with Store.open(tmp_path) as store:
        assert store.get("1").stopped is not None


@pytest.mark.parametrize("told", TOLD)
@pytest.mark.parametrize(
    "line", ["{}", "next --found heat=none {}", "job find 9 {}", "appliance list {}", "odds --tpo {}"]
)
def test_without_a_job_it_stops_all_the_same(tmp_path: Path, line: str, told: str) -> None:
    """Whatever the command."""
    ran = faultodds(*line.format(told).split(), "--data", str(tmp_path))
    assert ran.code == 3
    assert "STOP." in ran.out


@pytest.mark.parametrize(
    "line",
    [
        *(
            "job find 1 heat=none foo=bar no gas smell",
            "job find 1 gas_smell=no foo=bar",
            "log import fire.csv",
            "clac duct",
        ),
        *(
            "next --found burning_smell=yess",
            "job close 1 gone no smoke",
            "appliance show ./gas_leak.toml",
            "job fnd 1",
        ),
    ],
)
def test_an_ordinary_mistake_is_told_as_before(tmp_path: Path, line: str) -> None:
    """Names of the knowledge file, names of files and denials are no danger."""
    faultodds("job", "new", "--found", "heat=none", "--data", str(tmp_path))
    ran = faultodds(*line.split(), *(["--data", str(tmp_path)] if line.startswith("job") else []))
    assert ran.code == 2
    with Store.open(tmp_path) as store:
        assert store.get("1").stopped is None
