"""From a clean log to a proposed revision: provenance, intervals, drift, and nothing written when learning fails."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pandas as pd
import pytest

from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.errors import FaultoddsError
from faultodds.joblog.clean import write_clean
from faultodds.revisions import decisions as accepted
from faultodds.revisions.revision import Number, read
from faultodds.revisions.shelf import accept, propose, shelved
from faultodds.tuning.draw import draw_log
from faultodds.tuning.from_log import FEW_DRAWS, interval_notes, learn
from faultodds.tuning.settings import WORTH, Settings
from run_cli import write_toy
from toys import raw_toy, toy

DEAD = "component/pump/modes/dead/share"
QUICK = Settings(iterations=15)


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "data"))


@pytest.fixture
def ready(tmp_path: Path) -> Appliance:
    """The toy, opened from a file."""
    return open_appliance(str(write_toy(tmp_path / "toy.toml")), revision="file")


def shop(**shares: float) -> pd.DataFrame:
    """A log of a shop whose pumps die as often as asked, belts taking what is left."""
    dead = shares.get("dead", 30.0)
    parts = raw_toy()["component"]
    parts["pump"]["modes"]["dead"]["share"] = dead
    parts["belt"]["modes"]["broken"]["share"] = 50.0 - dead
    return draw_log(toy(component=parts), int(shares.get("jobs", 400)), seed=int(shares.get("seed", 3)), missing=0.3)


def saved(frame: pd.DataFrame, path: Path) -> Path:
    write_clean(frame, path)
    return path


def test_a_revision_says_where_its_numbers_come_from(ready: Appliance, tmp_path: Path) -> None:
    """The log's content, jobs, days, the file's fingerprint and the settings are in it, and it can be opened at once."""
    log = saved(shop(dead=45.0), tmp_path / "north.parquet")
    made = learn(ready, log, QUICK, sweeps=60)
    assert made.log.sha256 == hashlib.sha256(log.read_bytes()).hexdigest()
    assert (made.log.name, made.log.jobs) == ("north", 400)
    assert made.log.first_day < made.log.last_day
    assert made.fingerprint == ready.fingerprint
    assert made.settings["sweeps"] == 60
    assert "shares" in str(made.settings["file_worth_in_jobs"])
    assert read(accepted.revision_path("toy", made.id)) == made
    assert accepted.accepted("toy") == "file"


def test_what_moved_is_learned_with_an_interval_and_the_jobs_behind_it(ready: Appliance, tmp_path: Path) -> None:
    """A shop with half as many dead pumps again is seen when its log is believed in full: the file's share lies outside the
    interval, the true one inside."""
    full = QUICK.replace(strengths={**WORTH, "shares": 10.0})
    made = learn(ready, saved(shop(dead=45.0), tmp_path / "a.parquet"), full, sweeps=150)
    number = made.numbers[DEAD]
    assert number.file == 30.0
    assert number.low is not None and number.high is not None
    assert number.low < 45.0 < number.high
    assert number.low > 30.0
    assert number.jobs == pytest.approx(400 * 0.45, rel=0.2)
    assert number.draws is not None and number.draws > 10
    assert not any("differ from the file's" in note for note in made.notes)


def test_left_to_itself_it_follows_the_log_as_far_as_it_forecasts_and_says_so(ready: Appliance, tmp_path: Path) -> None:
    """Without a worth given, shares follow the log where its early jobs forecast its late ones; a note says by what factor."""
    made = learn(ready, saved(shop(dead=45.0), tmp_path / "a.parquet"), QUICK, sweeps=0)
    assert 37.0 < made.numbers[DEAD].learned < 50.0
    (note,) = [n for n in made.notes if "differ from the file's by a factor of" in n]
    assert 1.1 < float(re.findall(r"factor of ([\d.]+)", note)[0]) < 3.0
    assert "--worth" in note


def test_a_shop_that_is_as_the_file_says_stays_there(ready: Appliance, tmp_path: Path) -> None:
    """Where the log is drawn from the file's own numbers, shares stay within a point of them, and the note says so."""
    made = learn(ready, saved(shop(dead=30.0), tmp_path / "a.parquet"), QUICK, sweeps=0)
    assert made.numbers[DEAD].learned == pytest.approx(30.0, abs=1.5)
    assert [n for n in made.notes if "about as the file has them" in n or "factor of 1.1" in n]


def test_without_sampling_there_are_no_intervals(ready: Appliance, tmp_path: Path) -> None:
    """`sweeps` 0 leaves them out; the numbers are the same."""
    log = saved(shop(jobs=150), tmp_path / "a.parquet")
    bare, full = learn(ready, log, QUICK, sweeps=0), learn(ready, log, QUICK, sweeps=60)
    assert all(n.low is None and n.high is None and n.draws is None for n in bare.numbers.values())
    assert {p: n.learned for p, n in bare.numbers.items()} == {p: n.learned for p, n in full.numbers.items()}


def test_an_accepted_revision_is_never_learned_from_twice(ready: Appliance, tmp_path: Path) -> None:
    """Learning starts from the file: with the same log it gives the same numbers, accepted or not."""
    log = saved(shop(jobs=150), tmp_path / "a.parquet")
    first = learn(ready, log, QUICK, sweeps=0)
    accept("toy", first.id, ready.fingerprint)
    path = str(tmp_path / "toy.toml")
    again = learn(open_appliance(path, revision="file"), log, QUICK, sweeps=0)
    assert again.numbers == first.numbers
    with pytest.raises(FaultoddsError, match="learning starts from the knowledge file's own numbers"):
        learn(open_appliance(path), log, QUICK, sweeps=0)


def test_a_month_unlike_the_others_is_told(ready: Appliance, tmp_path: Path) -> None:
    """One month with three times the dead pumps gets a sentence with its name; a log without such a month gets none."""
    even = shop(dead=20.0, jobs=900, seed=2)  # one log in twenty has such a month by luck
    even["day"] = pd.Timestamp("2024-01-05") + pd.to_timedelta([30 * (i % 9) for i in range(900)], unit="D")
    odd = shop(dead=48.0, jobs=100, seed=5)
    odd["day"] = pd.Timestamp("2024-11-15")
    odd["job"] = [f"x{i}" for i in range(100)]
    steady = learn(ready, saved(even, tmp_path / "even.parquet"), QUICK, sweeps=0)
    assert not [note for note in steady.notes if "unlike the other months" in note]
    shifted = learn(ready, saved(pd.concat([even, odd]), tmp_path / "odd.parquet"), QUICK, sweeps=0)
    told = [note for note in shifted.notes if "unlike the other months" in note]
    assert told
    assert told[-1].startswith("November 2024 is unlike the other months: more calls for 'pump: dead' than usual")


def test_a_log_that_cannot_be_learned_from_leaves_nothing(ready: Appliance, tmp_path: Path) -> None:
    """Names of another appliance, and a log of no jobs, are refused before a revision is written."""
    strange = shop(jobs=20).rename(columns={"found:listen": "found:smell"})
    with pytest.raises(FaultoddsError, match="found:smell"):
        learn(ready, saved(strange, tmp_path / "a.parquet"), QUICK, sweeps=0)
    with pytest.raises(FaultoddsError, match="no jobs"):
        learn(ready, saved(shop(jobs=20).iloc[:0], tmp_path / "b.parquet"), QUICK, sweeps=0)
    assert shelved("toy") == []


def test_rough_and_torn_intervals_are_said() -> None:
    """Few effective draws, or a likeliest number outside its own interval, get a sentence; sound ones none."""
    sound = {DEAD: Number(30.0, 30.0, 25.0, 35.0, 90.0, 200.0)}
    assert interval_notes(toy(), sound) == []
    rough = interval_notes(toy(), {DEAD: Number(30.0, 30.0, 25.0, 35.0, 90.0, FEW_DRAWS - 20)})
    assert rough[0].startswith("The intervals of 1 of 1 main causes rest on fewer than 50 independent draws")
    assert "'pump: dead'" in rough[0]
    torn = interval_notes(toy(), {DEAD: Number(40.0, 30.0, 25.0, 35.0, 90.0, 200.0)})
    assert "lies outside its own interval for 'pump: dead'" in torn[0]


def test_proposing_again_never_overwrites(ready: Appliance) -> None:
    """The same numbers proposed twice are two revisions."""
    from faultodds.revisions.revision import LogSource

    log = LogSource("a", "b", 1)
    ids = {propose("toy", ready.fingerprint, log, {DEAD: Number(1.0)}).id for _ in range(2)}
    assert len(ids) == 2
