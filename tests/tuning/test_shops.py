"""Learning from logs of invented shops whose truth is known (`tests/shops`); `benchmarks/bench_shops.py` plays many more."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from faultodds.joblog import find_log, read_clean
from faultodds.knowledge import load
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.fitting import Learned, fit
from faultodds.tuning.structure import Structure, structure_of
from faultodds_cli.main import run
from shops.counting import divergence
from shops.kinds import Shop
from shops.world import kl
from shops.writing import log


@pytest.fixture(scope="module")
def dryer() -> Structure:
    return structure_of(load("gas_dryer"), 5e-3)


def _learned(folder: Path, name: str, jobs: int, monkeypatch: pytest.MonkeyPatch) -> tuple[Learned, dict, float]:
    """What is learned of a shop's log, its truth, and the divergence of a plain count."""
    monkeypatch.setenv("FAULTODDS_DATA", str(folder / "data"))
    paths = folder / f"{name}.csv", folder / f"{name}.json"
    log(Shop(name), jobs, 1, *paths)
    assert run(["log", "import", str(paths[0]), "--name", name, "--yes", "--json"]) == 0
    learned = fit(load("gas_dryer"), read_clean(find_log(name)))
    return learned, json.loads(paths[1].read_text()), divergence(*paths)[0]


def _divergence(dryer: Structure, learned: Learned, truth: dict) -> float:
    share = dryer.families.padded(learned.theta)[dryer.families.share]
    return kl([truth["shares"][m] for m in dryer.suspects.mains], share)


def test_a_shop_that_differs_is_followed_further_than_a_count_goes(
    dryer: Structure, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Long shared ducts, few coils, "no" written in 8 % of the answers, one repair in ten a wrong part: 500 jobs."""
    learned, truth, counted = _learned(tmp_path, "quay_row", 500, monkeypatch)
    assert _divergence(dryer, learned, truth) < counted < truth["kl_truth_file"]
    assert 0.04 < learned.theta[dryer.families.wrong[1]] < 0.16
    # What is learned of a check with nothing wrong is at most .05 further from its truth than the file is.
    sound = dryer.group_of[: dryer.checks, dryer.suspects.sound]
    alarm = 1.0 - arrays_of(dryer, learned.theta).outcome[sound, 0]
    true, file = np.array(
        [truth["summary [truth, file]"][n]["false_alarm"] for n in dryer.observables[: dryer.checks]]
    ).T
    assert (np.abs(alarm - true) < np.abs(file - true) + 0.05).all()


def test_a_shop_as_the_file_says_stays_there(dryer: Structure, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plain count wanders off; what is learned does not."""
    learned, truth, counted = _learned(tmp_path, "as_file", 300, monkeypatch)
    assert _divergence(dryer, learned, truth) < 0.005 < counted
