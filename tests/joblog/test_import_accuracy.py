"""Import against the simulator's own codes, cell by cell, on a shop whose log nobody has looked at."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pandas as pd
import pytest

from faultodds.joblog import clean
from faultodds.joblog.cleaning_report import CleaningReport
from faultodds.joblog.drafts import draft
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.knowledge.schema import Knowledge
from faultodds.readings.judging import judge
from simulated_log import Behind, simulated

SEED = 20261
UNITS = {
    "igniter_ohms": " ohm",
    "hood_air_speed": " fpm",
    "static_pressure": " inwc",
    "exhaust_cycling": " F",
    "burner_voltage": " V",
    "spun_load_weight": " %",
}


@pytest.fixture(scope="module")
def behind() -> Behind:
    """A simulated log and what is behind it."""
    return simulated(320, SEED)


@pytest.fixture(scope="module")
def imported(
    behind: Behind, tmp_path_factory: pytest.TempPathFactory, dryer: Knowledge
) -> tuple[pd.DataFrame, CleaningReport]:
    """The log after `log import --yes`."""
    folder = tmp_path_factory.mktemp("shop")
    behind.log.to_csv(folder / "shop.csv", index=False)
    drafted = draft(folder / "shop.csv", dryer, data=str(folder))
    report = import_log(drafted, dryer, data=str(folder))
    frame = clean.read_clean(files_of("shop", str(folder)).clean)
    clean.validate(frame, dryer)
    return frame.set_index("job").astype(object), report


def test_every_row_is_used_or_set_aside(behind: Behind, imported: tuple[pd.DataFrame, CleaningReport]) -> None:
    """No row is lost: what is not in the clean log is counted, with a reason."""
    frame, report = imported
    assert report.rows == len(behind.log) == report.used + report.set_aside
    assert report.used == len(frame)
    doubled = len(behind.log) - behind.log["ticket"].nunique()
    assert dict(report.aside) == ({"entered twice": doubled} if doubled else {})


def test_words_are_read_as_they_were_meant(
    behind: Behind, imported: tuple[pd.DataFrame, CleaningReport], capsys: pytest.CaptureFixture[str]
) -> None:
    """At least 99 in 100 cells of words (and every column but for a few cells) say what the technician meant."""
    frame, _ = imported
    right: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    for column in [c for c in frame.columns if c.startswith((clean.FACT, clean.FOUND, clean.AFTER))]:
        for ticket, cell in frame[column].dropna().items():
            meant = behind.meant(str(ticket), column)
            if meant is not None:
                (right if meant in _likeliest(cell) else wrong)[column] += 1
    share = right.total() / (right.total() + wrong.total())
    with capsys.disabled():
        print(f"\ncells of words read as meant: {100 * share:.2f} % of {right.total() + wrong.total():,}")
    assert right.total() > 4_000
    assert share >= 0.99
    assert not [c for c in wrong if wrong[c] > 0.05 * (right[c] + wrong[c]) + 2]


def _likeliest(cell: str) -> set[str]:
    weights = clean.weights(cell)
    return {outcome for outcome, weight in weights.items() if weight >= max(weights.values()) - 1e-9}


def test_numbers_are_read_as_the_instrument_showed_them(
    behind: Behind, imported: tuple[pd.DataFrame, CleaningReport], dryer: Knowledge
) -> None:
    """A number in whatever hand and unit is judged as the exact value is, but for rounding: 98 in 100."""
    frame, _ = imported
    near, checked = 0, 0
    for check, unit in UNITS.items():
        outcomes = list(dryer.check[check].outcomes)
        for ticket, cell in frame.get(clean.FOUND + check, pd.Series(dtype=object)).dropna().items():
            value = behind.value(str(ticket), check)
            if not 0 < value < 1e6:
                continue
            exact = judge(dryer.reading[check], outcomes, f"{value:.5g}{unit}").outcomes
            found = clean.weights(cell)
            apart = sum(abs(exact[o] - found.get(o, 0.0) / sum(found.values())) for o in outcomes) / 2
            near, checked = near + (apart < 0.25), checked + 1
    assert checked > 150
    assert near >= 0.98 * checked


def test_repairs_are_those_that_were_done(behind: Behind, imported: tuple[pd.DataFrame, CleaningReport]) -> None:
    """No repair is read that was not done; a tired technician forgets some, so some are missing."""
    frame, _ = imported
    read = {str(t): set(cell.split(";")) for t, cell in frame[clean.REPAIRS].dropna().items()}
    wrong = [t for t, names in read.items() if not names <= behind.repairs(t)]
    assert len(wrong) <= 0.005 * len(read)
    done = sum(len(behind.repairs(t)) for t in read)
    assert sum(map(len, read.values())) >= 0.93 * done


def test_hardly_a_cell_that_says_something_is_not_understood(imported: tuple[pd.DataFrame, CleaningReport]) -> None:
    """With no mapping written by hand, under one cell in a hundred is left over."""
    _, report = imported
    assert report.understood >= 0.99
    assert report.total("unknown") <= 0.002 * report.filled


def test_the_demo_log_is_read_whole(dryer: Knowledge, tmp_path: Path) -> None:
    """The shipped demo log needs no question answered."""
    root = Path(__file__).parents[2]
    drafted = draft(root / "data_synthetic/demo/harbour_lane_jobs.csv", dryer, data=str(tmp_path))
    left_out = [c.heading for c in drafted.mapping.columns if c.kind in ("left_out", "personal")]
    assert left_out == []
    report = import_log(drafted, dryer, data=str(tmp_path))
    assert report.rows == 600
    assert report.understood >= 0.99
