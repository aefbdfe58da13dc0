"""Knowledge files of a shop's own: kept, found, told apart, and a job stays on the one it was started on."""

from __future__ import annotations

import os
import re
import shlex
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from faultodds.belief import open_appliance
from faultodds.files import DATA_VARIABLE
from faultodds.job import Store
from faultodds.revisions.decisions import FILE
from faultodds.revisions.revision import LogSource, Number
from faultodds.revisions.shelf import drop, propose
from run_cli import faultodds, write_toy
from toys import raw_toy


@pytest.fixture(autouse=True)
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data folder of this test's own."""
    folder = tmp_path / "data"
    monkeypatch.setenv(DATA_VARIABLE, str(folder))
    monkeypatch.delenv("FAULTODDS_APPLIANCE", raising=False)
    return folder


def toy(path: Path, share: float = 30.0, name: str = "toy") -> Path:
    """The toy with a share and an id."""
    raw = raw_toy()
    raw["component"]["pump"]["modes"]["dead"]["share"] = share
    raw["appliance"]["id"] = name
    return write_toy(path, component=raw["component"], appliance=raw["appliance"])


def first_odds(*argv: str) -> dict[str, Any]:
    """Chance of each fault."""
    return {
        f"{each['component']}.{each['mode']}": each["probability"]
        for each in faultodds(*argv, "--json").answer["faults"]
    }


def test_a_job_goes_on_with_the_file_it_was_started_on(tmp_path: Path) -> None:
    """Even under the id of a shipped appliance; moved, it is asked for; changed, that is said on every command."""
    mine = toy(tmp_path / "mine.toml", name="gas_dryer")
    job = faultodds("job", "new", "--found", "slow=yes", "--appliance", str(mine), "--json").answer["job"]
    assert faultodds("job", "find", job, "fuse_test=closed").code == 0
    assert "pump" in faultodds("job", "next", job).text
    assert faultodds("job", "find", job, "heat=none").code == 2  # a symptom of the shipped one
    before = mine.read_bytes()
    toy(mine, share=60.0, name="gas_dryer")
    for argv in (["next", job], ["show", job], ["note", job, "x"]):
        assert "says something else" in faultodds("job", *argv).text
    mine.rename(tmp_path / "moved.toml")
    ran = faultodds("job", "next", job)
    assert ran.code == 2
    assert f"was started on the knowledge file {mine}" in ran.said or str(mine) in "".join(ran.said.split())
    assert faultodds("job", "next", job, "--appliance", str(tmp_path / "moved.toml")).code == 0
    (tmp_path / "old.toml").write_bytes(before)
    assert faultodds("appliance", "add", str(tmp_path / "old.toml")).code == 0
    ran = faultodds("job", "next", job)
    assert (ran.code, "says something else" in ran.text) == (0, False)


def test_files_of_ones_own_are_added_named_and_taken_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By name, by id where that is one file's, by FAULTODDS_APPLIANCE; a job on a copy goes on by itself."""
    assert faultodds("appliance", "add", str(toy(tmp_path / "a.toml"))).code == 0
    ran = faultodds("appliance", "add", str(toy(tmp_path / "b.toml", share=60.0)), "--json")
    assert ran.answer["same_id"] == ["a"]
    assert first_odds("odds", "--appliance", "b")["pump.dead"] > first_odds("odds", "--appliance", "a")["pump.dead"]
    ran = faultodds("odds", "--appliance", "toy")
    assert (ran.code, "'toy' is the id of 2 files of yours: a, b." in ran.said) == (2, True)
    assert faultodds("appliance", "remove", "b").code == 0
    assert faultodds("odds", "--appliance", "toy").code == 0
    listed = {each["name"]: each for each in faultodds("appliance", "list", "--json").answer["appliances"]}
    assert (listed["a"]["yours"], listed["a"]["id"], listed["gas_dryer"]["usual"]) == (True, "toy", True)
    monkeypatch.setenv("FAULTODDS_APPLIANCE", "a")
    assert first_odds("odds") == first_odds("odds", "--appliance", "a")
    job = faultodds("job", "new", "--found", "slow=yes", "--json").answer["job"]
    monkeypatch.delenv("FAULTODDS_APPLIANCE")
    assert "pump" in faultodds("job", "next", job).text
    monkeypatch.setenv("FAULTODDS_APPLIANCE", "nothing")
    ran = faultodds("odds")
    assert (ran.code, "(FAULTODDS_APPLIANCE names it)" in ran.said) == (2, True)


def test_what_an_open_job_stands_on_is_not_taken_away_unasked(tmp_path: Path) -> None:
    """Refused, naming the job, until it is closed, a file of the same content is there, or --force."""
    mine = toy(tmp_path / "a.toml")
    assert faultodds("appliance", "add", str(mine)).code == 0
    job = faultodds("job", "new", "--found", "slow=yes", "--appliance", "a", "--json").answer["job"]
    ran = faultodds("appliance", "remove", "a")
    assert (ran.code, f"open job {job} stands on 'a' and cannot go on without it" in ran.said) == (2, True)
    assert faultodds("job", "next", job).code == 0
    assert faultodds("appliance", "add", str(mine), "--name", "b").code == 0
    assert faultodds("appliance", "remove", "b").code == 0
    assert faultodds("appliance", "remove", "a", "--force").code == 0
    assert faultodds("appliance", "add", str(mine)).code == 0
    assert faultodds("job", "close", job, "referred").code == 0
    assert faultodds("appliance", "remove", "a").code == 0


def test_the_shop_file_says_which_is_meant_when_none_is_named(
    tmp_path: Path, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shop file in use: that of --shop, of FAULTODDS_SHOP, or the one in the data folder; by name or by id. What is typed and
    FAULTODDS_APPLIANCE come first; without the key, and in a comment, it is the dryer."""
    for name, share in (("mine", 30.0), ("other", 60.0)):
        assert faultodds("appliance", "add", str(toy(tmp_path / f"{name}.toml", share, f"id_of_{name}"))).code == 0
    mine, other = (first_odds("odds", "--appliance", name) for name in ("mine", "other"))
    dryer = first_odds("odds")
    assert len({mine["pump.dead"], other["pump.dead"], dryer.get("pump.dead")}) == 3
    for text, meant in (
        ('[shop]\nappliance = "mine"\n', mine),
        ('shop = {appliance = "id_of_mine"}\n', mine),
        ('[shop]\nname = "appliance"\n# appliance = "mine"\n', dryer),
        ("[costs]\ntravel = 9\n", dryer),
        ('[shop]\nname = "A [real] shop"\n"appliance" = "mine"\n', mine),
    ):
        (data / "shop.toml").write_text(text)
        assert first_odds("odds") == meant, text
        usual = [
            each["name"] for each in faultodds("appliance", "list", "--json").answer["appliances"] if each["usual"]
        ]
        assert usual == ["mine" if meant is mine else "gas_dryer"]
        assert "Used when none is named." in faultodds("appliance", "list").text
    assert "pump" in faultodds("next", "--found", "slow=yes").text
    assert "pump" in faultodds("next", "--found", "slow=yes", "--shop", "none").text
    job = faultodds("job", "new", "--found", "slow=yes", "--json").answer["job"]
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    one.write_text('[shop]\nappliance = "other"\n')
    two.write_text("[costs]\ntravel = 9\n")
    for path, meant in ((one, other), (two, dryer)):
        faults = first_odds("next", "--shop", str(path))
        assert faults.get("pump.dead") == pytest.approx(meant.get("pump.dead"))
        assert faultodds("shop", "check", str(path)).code == 0
    monkeypatch.setenv("FAULTODDS_SHOP", str(one))
    assert first_odds("odds") == other
    monkeypatch.setenv("FAULTODDS_APPLIANCE", "gas_dryer")
    assert first_odds("odds") == dryer
    assert "pump" in faultodds("job", "next", job).text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('appliance = "mime"', "Did you mean 'mine'?"),
        ("appliance = 5", "it is no text in quotes"),
        ('appliance = "mine', "cannot be read"),
        ("appliance = " + "[" * 5000, "cannot be read"),
    ],
)
def test_a_usual_one_that_is_not_there_is_refused_and_danger_is_heard_all_the_same(
    tmp_path: Path, data: Path, text: str, said: str
) -> None:
    """Named with its file; never the dryer in its place; what is named works, and the list says what is the matter."""
    assert faultodds("appliance", "add", str(toy(tmp_path / "mine.toml"))).code == 0
    (data / "shop.toml").write_text(f"[shop]\n{text}\n")
    for argv in (
        ["odds"],
        ["next"],
        ["job", "new"],
        ["read", "coil_ohms", "1.15k"],
        ["revision", "list"],
        ["shop", "check"],
    ):
        ran = faultodds(*argv)
        assert (ran.code, said in ran.said or argv[0] == "shop") == (2, True), ran.said
        assert "shop.toml" in "".join(ran.said.split())
    assert faultodds("odds", "--found", "slow=I smell gas").code == 3
    assert faultodds("odds", "--appliance", "mine").code == 0
    ran = faultodds("appliance", "list")
    assert (ran.code, "None is the usual one" in ran.text, said in ran.text) == (0, True, True)


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["add", "{a}", "--name", "gas_dryer"], "is the name of a shipped appliance. Give yours another with --name"),
        (["add", "{a}", "--name", "../x"], "'../x' is no name to type"),
        (["add", "{a}"], "there is one of yours called 'a' already"),
        (["add", "{bad}"], "2 things to mend"),
        (["add", "{none}"], "there is no knowledge file at"),
        (["remove", "gas_dryer"], "came with the program and stays"),
        (["remove", "aa"], "Did you mean 'a'?"),
    ],
)
def test_what_cannot_be_kept_or_taken_away_is_refused_in_words(tmp_path: Path, argv: list[str], said: str) -> None:
    """And nothing is changed."""
    raw = raw_toy()
    raw["costs"]["labour_rate"] = -1
    raw["costs"]["verify"] = "x"
    places = {"a": toy(tmp_path / "a.toml"), "bad": write_toy(tmp_path / "bad.toml", costs=raw["costs"])}
    faultodds("appliance", "add", str(places["a"]))
    before = faultodds("appliance", "list", "--json").out
    ran = faultodds("appliance", *(each.format(**places, none=tmp_path / "none.toml") for each in argv))
    assert (ran.code, said in ran.said) == (2, True), ran.said
    assert faultodds("appliance", "list", "--json").out == before


def test_all_problems_of_a_file_are_told_at_once_as_json_too(tmp_path: Path) -> None:
    """Exit code 2 either way."""
    raw = raw_toy()
    raw["costs"]["labour_rate"] = -1
    raw["costs"]["verify"] = "x"
    path = write_toy(tmp_path / "bad.toml", costs=raw["costs"])
    ran = faultodds("appliance", "check", str(path), "--json")
    assert (ran.code, ran.answer["sound"], len(ran.answer["problems"])) == (2, False, 2)
    assert all(each in faultodds("appliance", "check", str(path)).said for each in ran.answer["problems"])


def test_far_off_shares_get_a_note(tmp_path: Path) -> None:
    """One share raised is no matter; twice the sum is said, and used all the same."""
    assert "add up to" not in faultodds("appliance", "check", str(toy(tmp_path / "a.toml", 31.0))).text
    assert "they add up to 170, appliance.shares_per says 100" in faultodds(
        "appliance", "check", str(toy(tmp_path / "b.toml", 100.0))
    ).text  # fmt: skip


def test_what_is_printed_to_go_on_with_works_as_printed(tmp_path: Path) -> None:
    """With the jobs in another folder, and the file nowhere near."""
    mine, folder = toy(tmp_path / "mine.toml"), tmp_path / "other jobs"
    folder.mkdir()
    job = faultodds("job", "new", "--data", str(folder), "--appliance", str(mine), "--json").answer["job"]
    ran = faultodds("job", "fix", job, "new_pump", "--data", str(folder))
    told = re.search(r"faultodds (job verify .*) OUTCOME", ran.text)
    assert told is not None
    assert faultodds(*shlex.split(told[1]), "good").code == 0


@pytest.mark.skipif(os.name != "posix", reason="file modes of a kind of their own")
def test_a_store_is_the_users_alone(data: Path) -> None:
    """New, and one that was open to others before, with what lies beside it; another program's file is not touched."""
    with Store.open() as store:
        store.new_job("gas_dryer")
        for path in data.glob("jobs.sqlite*"):
            assert path.stat().st_mode & 0o777 == 0o600
            path.chmod(0o644)
        with Store.open() as again:
            again.list()
        assert {path.stat().st_mode & 0o777 for path in data.glob("jobs.sqlite*")} == {0o600}
    other = data / "list.txt"
    other.write_text("a shopping list" * 99)
    other.chmod(0o644)
    assert faultodds("job", "list", "--data", str(other)).code == 2
    assert other.stat().st_mode & 0o777 == 0o644


@pytest.mark.skipif(os.name != "posix", reason="file modes of a kind of their own")
def test_whatever_is_kept_is_the_users_alone(data: Path, tmp_path: Path) -> None:
    """Jobs, a shop file, a knowledge file, a revision and what was decided, in folders made for it; a file that somebody asked for
    elsewhere is as he has others."""
    before = os.umask(0o022)
    try:
        mine = toy(tmp_path / "mine.toml")
        for argv in (
            ("shop", "new"),
            ("shop", "new", str(tmp_path / "elsewhere.toml")),
            ("appliance", "add", str(mine)),
            ("job", "new"),
        ):
            assert faultodds(*argv).code == 0
        numbers = {"component/pump/modes/dead/share": Number(20.0, 30.0, 15.0, 26.0, 61.5)}
        log = LogSource("harbour_lane", "ab" * 32, 300, "2022-01-03", "2022-12-30")
        ready = open_appliance(str(mine), revision=FILE)
        gone, made = (
            propose("toy", ready.fingerprint, log, numbers, {"worth": "auto"}, (), lambda: datetime.now(UTC))
            for _ in "12"
        )
        drop("toy", gone.id)
    finally:
        os.umask(before)
    kept = {"shop.toml", "jobs.sqlite", "mine.toml", "history.jsonl", f"{made.id}.toml"}
    files = [path for path in data.rglob("*") if path.is_file()]
    assert kept <= {path.name for path in files}
    assert {path.name: path.stat().st_mode & 0o777 for path in files} == {path.name: 0o600 for path in files}
    folders = [data, *(path for path in data.rglob("*") if path.is_dir())]
    assert {path.name: path.stat().st_mode & 0o777 for path in folders} == {path.name: 0o700 for path in folders}
    assert (tmp_path / "elsewhere.toml").stat().st_mode & 0o777 == 0o644
