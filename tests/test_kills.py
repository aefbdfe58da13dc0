"""Every command that writes, killed at any moment: what it did is there as a whole, or not at all, and nothing else has changed.

More kills: FAULTODDS_KILLS=500 python -m pytest -n 0 tests/test_kills.py
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from faultodds.files import DATA_VARIABLE
from faultodds.job import Store
from faultodds.joblog import read_clean
from faultodds.knowledge import load
from faultodds.revisions import history, propose, shelved
from faultodds.revisions.revision import LogSource, Number
from faultodds.shop import read as read_shop
from killed import Worker
from run_cli import write_toy
from shop_logs import small_log

KILLS = int(os.environ.get("FAULTODDS_KILLS", "40"))
TALK = "no\nno\nno\nno\ncontrol=board\ndone\nheat=none\ndone\nglow no_glow\nleave\n"
TOY = ("--appliance", "toy")
# Arguments, and what is typed. Each changes something, whichever of the others went before.
COMMANDS: list[tuple[list[str], str]] = [
    (["job", "new", "--title", "slow", "--found", "heat=none", "--fact", "control=board"], ""),
    (["job", "find", "1", "dry_time=longer", "hood_flap=weak", "lint_screen_look=clean", "--again"], ""),
    (["job", "undo", "1"], ""),
    (["job", "fact", "1", "control=timer", "fuel=natural"], ""),
    (["job", "note", "1", "told", "on", "the", "telephone"], ""),
    (["job", "fix", "1", "lint_screen_wash", "clear_hood"], ""),
    (["job", "keep", "1", "--part", "coils"], ""),
    (["job", "state", "1", "--open", "unplugged"], ""),
    (["job", "state", "1", "--shut", "unplugged"], ""),
    (["bench"], TALK),
    (["drill", "play", "--new", "--seed", "7"], "coils 60 igniter 20\nlint screen clean\nleave\n"),
    (["log", "import", "jobs.csv", "--yes", "--force"], ""),
    (["log", "export", "jobs", "--to", "out.csv", "--force"], ""),
    (["shop", "new", "my_shop.toml"], ""),
    (["appliance", "add", "toy.toml", "--name", "mine", "--force"], ""),
    (["appliance", "remove", "mine"], ""),
    (["report", "1", "--to", "page.html", "--force"], ""),
    (["appliance", "export", "toy.toml", "--out", "toy.bif", "--force"], ""),
    (["revision", "accept", "a", "--anyway", *TOY], ""),
    (["revision", "accept", "b", "--anyway", *TOY], ""),
    (["revision", "rollback", *TOY], ""),
]


# These keep each line as it is typed: killed, they leave what was typed so far.
LINE_BY_LINE = ("bench", "drill")


def _on_the_way(before: dict[str, Any], now: dict[str, Any], after: dict[str, Any]) -> bool:
    """Whether nothing but one job or drill differs, and that is the beginning of what it became."""
    drills = [
        {name: lines for name, lines in each["files"].items() if "drills/" in name} for each in (before, now, after)
    ]
    rest = [
        {name: lines for name, lines in each["files"].items() if "drills/" not in name} for each in (before, now, after)
    ]
    if now["jobs"] == before["jobs"]:
        return rest[1] == rest[0] and set(drills[0]) <= set(drills[1]) <= set(drills[2])
    (new, *older), (whole, *_) = now["jobs"], after["jobs"]
    return older == before["jobs"] and rest[1] == rest[0] and new[0] == whole[0] and new[3] == whole[3][: len(new[3])]


def _line(folder: Path, argv: list[str], typed: str) -> str:
    return json.dumps([str(folder / "data"), str(folder), typed, argv])


@pytest.fixture
def terminal() -> Iterator[Worker]:
    """One that ends with the test."""
    started = Worker("command_worker.py")
    yield started
    started.close()


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with something of everything in it."""
    folder = tmp_path / "now"
    folder.mkdir()
    monkeypatch.setenv(DATA_VARIABLE, str(folder / "data"))
    small_log(folder)
    toy = write_toy(folder / "toy.toml")
    (folder / "data" / "appliances").mkdir(parents=True)
    shutil.copy(toy, folder / "data" / "appliances" / "toy.toml")
    for share in (20.0, 25.0):
        numbers = {"component/pump/modes/dead/share": Number(share, 30.0)}
        propose("toy", "f", LogSource("log", "cd", 300), numbers)
    return folder


def tells(folder: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """All that is kept, read as the program reads it, without times; fails where something cannot be read."""
    monkeypatch.setenv(DATA_VARIABLE, str(folder / "data"))
    with Store.open() as store:
        jobs = [
            (job.id, job.title, job.last_seq, [str(s.payload) for s in job.steps], len(job.undone))
            for job in store.list()
        ]
        assert not store.damaged
    assert all(each.revision for each in shelved("toy"))
    decided = [(each.action, each.revision) for each in history("toy")]
    assert all(action != "damaged" for action, _ in decided)
    files = {}
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = path.relative_to(folder).as_posix()
        if path.name.startswith((".", "jobs.sqlite")) or "/." in name:
            continue  # what was being written beside, and the store, which was read above
        if path.suffix == ".parquet":
            files[name] = len(read_clean(path))
        elif path.suffix == ".toml" and "shop" in name:
            files[name] = len(read_shop(path).technician)
        elif path.parent.name == "appliances":
            files[name] = len(load(str(path)).check)
        else:
            files[name] = path.read_bytes().count(b"\n")
            assert not name.endswith(".html") or path.read_text().rstrip().endswith("</html>")
            assert not name.endswith(".json") or json.loads(path.read_text())
    return {"jobs": jobs, "decided": decided, "files": files}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill -9")
def test_a_command_killed_at_any_moment_is_done_or_not_begun(
    shop: Path, terminal: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside it the same command runs to its end on a copy: what the killed one leaves is as before, or as that. One that ended
    before it was killed has done all of it."""
    chance, twin = random.Random(3), shop.with_name("twin")
    assert terminal.whole(_line(shop, ["job", "new", "--title", "first"], "")) == 0
    half_way = 0
    for kill in range(KILLS):
        argv, typed = COMMANDS[kill % len(COMMANDS)]
        before = tells(shop, monkeypatch)
        shutil.rmtree(twin, ignore_errors=True)
        shutil.copytree(shop, twin)
        started = time.monotonic()
        code = terminal.whole(_line(twin, argv, typed))
        moment = (time.monotonic() - started) * chance.uniform(0.2, 1.1)
        assert code in (0, 2), (argv, code)
        after = tells(twin, monkeypatch)
        ended = terminal.killed(_line(shop, argv, typed), lambda seconds=moment: time.sleep(seconds))
        now = tells(shop, monkeypatch)
        whole = now in ((after,) if ended == code else (before, after))
        assert whole or (ended != code and argv[0] in LINE_BY_LINE and _on_the_way(before, now, after)), argv
        assert ended in (code, -signal.SIGKILL), argv
        half_way += ended < 0
    assert half_way > KILLS / 4


def test_every_command_of_the_list_does_something(
    shop: Path, terminal: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In turn, none refused: else the kills above would show nothing."""
    terminal.whole(_line(shop, ["job", "new", "--title", "first"], ""))
    idle = []
    for argv, typed in COMMANDS:
        before = tells(shop, monkeypatch)
        code = terminal.whole(_line(shop, argv, typed))
        if code or (tells(shop, monkeypatch) == before and "--force" not in argv):
            idle.append((argv, code))
    assert not idle
