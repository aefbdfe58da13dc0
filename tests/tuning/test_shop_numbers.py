"""A shop's own numbers out of its log: what is planted comes out, and what the log cannot tell is not told."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from faultodds.belief import open_appliance
from faultodds.knowledge.loading import load
from faultodds.shop.shop_file import lines, parse
from faultodds.tuning.shop_numbers import shop_numbers, shop_text

DRYER = load("gas_dryer")
REPAIRS = ("igniter", "belt_idler", "clean_duct", "thermal_fuse")


def shop_log(
    rng: np.random.Generator, jobs: int, rate: float, pace: dict[str, float], parts: dict[str, float]
) -> pd.DataFrame:
    """Jobs of a shop with an hour's labour, paces and prices of its own; times and bills vary from job to job."""
    who, repair = rng.choice(list(pace), jobs), rng.choice(REPAIRS, jobs)
    usual = {name: 25.0 + 10.0 * at for at, name in enumerate(REPAIRS)}
    minutes = np.array([usual[r] * pace[w] for r, w in zip(repair, who, strict=True)]) * rng.lognormal(0, 0.2, jobs)
    bill = 60.0 + rate * minutes / 60.0 + np.array([parts.get(r, 0.0) for r in repair]) + rng.normal(0, 4.0, jobs)
    ended = np.where(rng.random(jobs) < 0.1, "came_back", "gone")
    found = {"technician": who, "repairs": repair, "minutes": minutes, "bill": bill, "ended": ended}
    return pd.DataFrame({"job": [str(n) for n in range(jobs)], **found})


@pytest.mark.parametrize("seed", range(10))
def test_what_is_planted_comes_out(seed: int) -> None:
    """Labour, part prices and who is how quick, from 400 jobs of a shop drawn by lot."""
    rng = np.random.default_rng(seed)
    rate, pace = rng.uniform(50, 150), {"A": 1.0, "B": rng.uniform(0.6, 0.85), "C": rng.uniform(1.2, 1.7)}
    parts = {"igniter": rng.uniform(40, 90), "belt_idler": rng.uniform(20, 60), "thermal_fuse": rng.uniform(15, 40)}
    frame = shop_log(rng, 400, rate, pace, parts)
    found = shop_numbers(frame, DRYER)
    assert found.labour_rate == pytest.approx(rate, rel=0.1)
    for name, price in parts.items():
        assert found.parts[name][0] == pytest.approx(price, abs=8.0)
    assert "clean_duct" not in found.parts
    told = {p.name: p for p in found.people}
    for name in ("B", "C"):
        assert told[name].pace / told["A"].pace == pytest.approx(pace[name], rel=0.1)  # type: ignore[operator]
    assert sum(p.record.back for p in found.people) == int((frame["ended"] == "came_back").sum())


@pytest.mark.parametrize("seed", range(10))
def test_flat_rates_give_no_labour(seed: int) -> None:
    """Where the bill does not follow the minutes no hour's labour is told; the parts still are."""
    found = shop_numbers(
        shop_log(np.random.default_rng(seed), 300, 0.0, {"A": 1.0, "B": 1.4}, {"igniter": 50.0}), DRYER
    )
    assert found.labour_rate is None
    assert found.parts["igniter"][0] == pytest.approx(50.0, abs=4.0)


def test_the_proposal_is_a_sound_shop_file(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """It is read and laid over as it stands, whatever the technicians are called; a log that says nothing gives one as well."""
    frame = shop_log(np.random.default_rng(3), 200, 80.0, {'T "1"': 1.0, "tech_2": 1.3}, {"igniter": 50.0})
    ready = open_appliance("gas_dryer", revision="file")
    for each in (frame, frame[["job", "repairs"]], frame[["job", "repairs"]].iloc[:0]):
        text = shop_text(shop_numbers(each, DRYER), DRYER, "a_log")
        shop = parse(text.encode())
        assert lines(ready, shop, tmp_path / "shop.toml")
    assert set(parse(shop_text(shop_numbers(frame, DRYER), DRYER, "a_log").encode()).technician) == {'T "1"', "tech_2"}


def test_a_log_without_any_of_its_columns_says_less_and_fails_nowhere() -> None:
    """Each column but the job's taken out, and all together: numbers of what is left."""
    frame = shop_log(np.random.default_rng(4), 60, 90.0, {"A": 1.0, "B": 0.8}, {})
    for column in [*frame.columns[1:]]:
        told = shop_numbers(frame.drop(columns=column), DRYER)
        assert not (column in ("repairs", "minutes") and told.minutes)
    assert not shop_numbers(frame[["job"]], DRYER).people
