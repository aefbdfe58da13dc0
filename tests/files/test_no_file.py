"""What stands where a file should and is none: a pipe that nobody writes to, a device that never ends."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from faultodds.files import DATA_VARIABLE
from faultodds.files.folders import bytes_of
from faultodds.revisions import propose
from faultodds.revisions.revision import LogSource, Number
from run_cli import faultodds, write_toy
from shop_logs import small_log

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")
TOY = ("--appliance", "toy")
ODDS = ("odds", *TOY, "--found", "slow=yes")
# What is kept, and commands that read it.
READ = {
    "revisions/toy/history.jsonl": [ODDS, ("revision", "list", *TOY), ("revision", "accept", "2026-11-25-a", *TOY)],
    "revisions/toy/remarks.jsonl": [("revision", "list", *TOY)],
    "revisions/toy/2026-11-25-a.toml": [ODDS, ("revision", "list", *TOY), ("revision", "show", "2026-11-25-a", *TOY)],
    "appliances/toy.toml": [ODDS, ("appliance", "list"), ("appliance", "check", "toy")],
    "shop.toml": [ODDS, ("shop", "check")],
    "logs/other.mapping.toml": [("log", "import", "jobs.csv", "--yes")],
    "logs/jobs.report.json": [("log", "list")],
    "drills/ann/0001_1-0.json": [("drill", "score", "ann"), ("drill", "class")],
    "jobs.sqlite": [("job", "list"), ("job", "new", *TOY), ("data", "where")],
}


@pytest.fixture
def at_most_a_minute() -> Iterator[None]:
    """Ends what waits for ever."""

    def too_long(*_: object) -> None:
        raise AssertionError("waits for what never comes")

    old = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(60)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, old)


@pytest.mark.parametrize("name", READ)
@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_nothing_is_waited_for_in_the_place_of_a_file(
    name: str, kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at_most_a_minute: None
) -> None:
    """The command goes on without it, or says in words what it is."""
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "appliances").mkdir()
    write_toy(tmp_path / "appliances" / "toy.toml")
    small_log(tmp_path)
    propose(
        "toy", "f", LogSource("log", "cd", 300), {"component/pump/modes/dead/share": Number(25.0, 30.0)},
        clock=lambda: datetime(2026, 11, 25, tzinfo=UTC),
    )  # fmt: skip
    place = tmp_path / name
    place.parent.mkdir(parents=True, exist_ok=True)
    place.unlink(missing_ok=True)
    os.mkfifo(place) if kind == "pipe" else place.symlink_to("/dev/zero")
    for argv in READ[name]:
        ran = faultodds(*argv)
        assert ran.code in (0, 2), ran.said
    with pytest.raises(OSError, match="a pipe or a device and no file"):
        bytes_of(place)
