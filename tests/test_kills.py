"""Every command that writes, killed at any moment: what it did is there as a whole, or not at all, and nothing else has changed.

More kills: FAULTODDS_KILLS=500 python -m pytest -n 0 -s tests/test_kills.py; others with FAULTODDS_SEED=N.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import time
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from every_command import LOOK, WRITE, every_command, files_it_writes
from faultodds.files import DATA_VARIABLE, kept_in
from faultodds.job import Store
from faultodds.joblog import read_clean
from faultodds.knowledge import load
from faultodds.revisions import history, propose, shelved
from faultodds.revisions.revision import LogSource, Number
from faultodds.shop import read as read_shop
from killed import Worker
from run_cli import write_toy
from shop_logs import ROWS, log_text, small_log

KILLS = int(os.environ.get("FAULTODDS_KILLS", "40"))
SEED = int(os.environ.get("FAULTODDS_SEED", "3"))
# These keep each line as it is typed: killed, they leave what was typed so far.
LINE_BY_LINE = ("bench", "drill")
# A proposal, what an audit said of it, a figure: each is whole.
SEVERAL_FILES = ("tune", "audit", "learn")


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


def _line(folder: Path, argv: list[str], typed: str = "", death: int = 0) -> str:
    return json.dumps([str(folder / "data"), str(folder), typed, argv, death])


@pytest.fixture
def terminal() -> Iterator[Worker]:
    """One that ends with the test."""
    started = Worker("command_worker.py")
    yield started
    started.close()


@pytest.fixture
def shop(tmp_path: Path, terminal: Worker, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with something of everything in it."""
    folder = tmp_path / "now"
    folder.mkdir()
    monkeypatch.setenv(DATA_VARIABLE, str(folder / "data"))
    small_log(folder)
    (folder / "more.csv").write_text(log_text(*(row.replace("J", "K").replace("2022", "2023") for row in ROWS)))
    work = [("open", "new_fuse"), ("closed", "new_pump"), ("open", "new_fuse")]
    days = [f"2022-{1 + n // 9:02}-{1 + n % 9 * 3:02}" for n in range(60)]
    rows = [f"J{n},C{n},{day},yes,{work[n % 3][0]},{work[n % 3][1]},done" for n, day in enumerate(days)]
    (folder / "toys.csv").write_text(log_text(*rows, headings="job,customer,date,slow,fuse_test,repairs,result"))
    Image.new("RGB", (60, 40), "gray").save(folder / "plate.png")
    toy = write_toy(folder / "toy.toml")
    (folder / "data" / "appliances").mkdir(parents=True)
    shutil.copy(toy, folder / "data" / "appliances" / "toy.toml")
    (folder / "data" / "drills" / "ann").mkdir(parents=True)
    for n in range(12):
        done = {
            "drill": f"1-{n}",
            "truth": "coils",
            "forecasts": [{"coils": 0.2, "duct": 0.7}],
            "cost": 200.0,
            "best": 150.0,
        }
        record = {"level": 1, "seed": n, "lines": ["duct 70 coils 20"], "done": done}
        (folder / "data" / "drills" / "ann" / f"{n + 1:04d}_1-{n}.json").write_text(json.dumps(record))
    for share in (20.0, 25.0):
        numbers = {"component/pump/modes/dead/share": Number(share, 30.0)}
        propose("toy", "f", LogSource("log", "cd", 300), numbers, clock=lambda: datetime(2026, 11, 25, tzinfo=UTC))
    for new in (["--title", "first", "--found", "heat=none"], ["--appliance", "toy", "--found", "slow=yes"]):
        assert terminal.whole(_line(folder, ["job", "new", *new])) == 0
    return folder


@pytest.fixture
def deaths() -> Iterator[Counter[str]]:
    """How the commands of a test ended: told at its end, and when it is broken off."""
    found: Counter[str] = Counter()
    yield found
    killed = found["by the clock"] + found["before an act"]
    print(f"{found['run']} commands run, {killed} killed:", dict(found))


def _jobs(folder: Path) -> list[tuple[Any, ...]]:
    with Store.open(folder) as store:
        assert not store.damaged
        return [(j.id, j.title, j.last_seq, [str(s.payload) for s in j.steps], len(j.undone)) for j in store.list()]


def tells(folder: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """All that is kept, read as the program reads it, without times; fails where something cannot be read."""
    monkeypatch.setenv(DATA_VARIABLE, str(folder / "data"))
    jobs = _jobs(folder / "data")
    on_shelf = {each.id for each in shelved("toy") if each.revision}
    assert len(on_shelf) == len(shelved("toy"))
    decided = [(each.action, each.revision) for each in history("toy")]
    assert all(action != "damaged" for action, _ in decided)
    demo = _jobs(folder / "demo") if (folder / "demo").exists() else []
    files: dict[str, Any] = {"demo": demo} if demo else {}  # a store with no job in it is nothing yet
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = path.relative_to(folder).as_posix()
        if (
            path.name.startswith((".", "jobs.sqlite"))
            or "/." in name
            or (path.suffix == ".jsonl" and not path.stat().st_size)
        ):
            continue  # what was being written beside, the store, which was read above, and lists of nothing yet
        if name.startswith("data/revisions/toy/") and path.suffix == ".toml" and path.stem not in on_shelf:
            continue  # dropped, and not yet deleted
        if path.suffix == ".jpg" and path.name not in str(jobs):
            continue  # put there for an entry that was not made
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


def _whole(before: dict[str, Any], now: dict[str, Any], after: dict[str, Any], argv: list[str]) -> bool:
    """Whether what a killed command left is as before, or as after, or stands for part of what it does piece by piece."""
    if argv[:2] == ["data", "wipe"]:
        return now["files"].items() <= before["files"].items() and all(job in before["jobs"] for job in now["jobs"])
    if argv[0] in SEVERAL_FILES and now["jobs"] == before["jobs"] and now["decided"] == before["decided"]:
        each = {*before["files"], *now["files"], *after["files"]}
        was, left, done = ([files["files"].get(name) for name in sorted(each)] for files in (before, now, after))
        return all(one in two for one, two in zip(left, zip(was, done, strict=True), strict=True))
    return now in (before, after) or (argv[0] in LINE_BY_LINE and _on_the_way(before, now, after))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill -9")
def test_a_command_killed_at_any_moment_is_done_or_not_begun(
    shop: Path, terminal: Worker, deaths: Counter[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside it the same command runs to its end on a copy: what the killed one leaves is as before, or as that. One that ended
    before it was killed has done all of it. Killed by the clock, and before one of its acts on files, in turn."""
    chance, twin, first = random.Random(SEED), shop.with_name("two"), shop.with_name("ere")
    shutil.copytree(shop, first)
    now = begun = tells(shop, monkeypatch)
    for kill in range(3 * KILLS):
        if deaths["by the clock"] + deaths["before an act"] == KILLS:
            break
        at = kill % len(WRITE)
        if kill and not at:
            shutil.rmtree(shop)
            shutil.copytree(first, shop)
            now = begun
        (argv, typed), before = WRITE[at], now
        shutil.rmtree(twin, ignore_errors=True)
        shutil.copytree(shop, twin)
        started = time.monotonic()
        code = terminal.whole(_line(twin, argv, typed))
        moment = (time.monotonic() - started) * chance.uniform(0.2, 1.1)
        assert code in (0, 2, 3), (argv, code)
        after = tells(twin, monkeypatch)
        by_clock = (kill + kill // len(WRITE)) % 2 == 0
        if by_clock:
            ended = terminal.killed(_line(shop, argv, typed), lambda seconds=moment: time.sleep(seconds))
        else:
            ended = terminal.whole(_line(shop, argv, typed, chance.choice((1, 2, 3, 4, 6, 9, 14))))
        now = tells(shop, monkeypatch)
        assert now == after if ended == code else _whole(before, now, after, argv), (argv, ended)
        assert ended in (code, -signal.SIGKILL), argv
        deaths["run"] += 1
        if ended < 0:
            deaths["by the clock" if by_clock else "before an act"] += 1
            deaths["done" if now == after and before != after else "not begun" if now == before else "on the way"] += 1
    assert deaths["by the clock"] + deaths["before an act"] == KILLS
    print(f"{KILLS} commands killed, nothing lost")


def test_every_command_does_something_or_only_looks(
    shop: Path, terminal: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In turn, none refused: else the kills above would show nothing. What only looks leaves everything as it is."""
    idle = []
    for argv, typed in WRITE:
        if argv[0] == "data":
            ours = {path for each in kept_in(shop / "data") for path in each.paths}
            assert {path for path in (shop / "data").rglob("*") if path.is_file()} <= ours
            for look in LOOK:
                before = tells(shop, monkeypatch)
                code = terminal.whole(_line(shop, look))
                if code or tells(shop, monkeypatch) != before:
                    idle.append((look, code))
        before = tells(shop, monkeypatch)
        code = terminal.whole(_line(shop, argv, typed))
        if code != 3 * ("gas" in argv) or tells(shop, monkeypatch) == before:
            idle.append((argv, code))
    assert not idle


def test_no_command_is_missing_from_the_list() -> None:
    """Each one is there as writing or as looking; each that can write a file is written with it."""
    wrote = {name: argv for argv, _ in WRITE for name in (argv[0], " ".join(argv[:2]))}
    looked = {name for argv in LOOK for name in (argv[0], " ".join(argv[:2]))}
    commands = dict(every_command())
    assert set(commands) <= set(wrote) | looked
    assert not set(wrote) & looked & set(commands)
    for name, command in commands.items():
        for option in files_it_writes(command):
            typed = [argv for argv, _ in WRITE if name in (argv[0], " ".join(argv[:2]))]
            assert any(option in argv for argv in typed), (name, option)
