"""The shop file from the command line: made, checked, shown, and told by every answer that rests on it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from run_cli import faultodds

SHOP = """
[shop]
name = "Harbour Lane Appliance Service"
[costs]
labour_rate = 60
[minutes]
hood_flap = 6
[technician.T1]
pace = 1.5
qualified = false
"""


@pytest.fixture
def file(tmp_path: Path) -> str:
    """A small shop file."""
    path = tmp_path / "ours.toml"
    path.write_text(SHOP)
    return str(path)


@pytest.fixture(autouse=True)
def _own_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A data folder of this test alone: a shop.toml in it must not reach another."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "data"))


def test_advice_tells_whose_prices_it_rests_on(file: str) -> None:
    """`next` says shop and technician in a line, and its prices are theirs: 6 min at 60 an hour is 6."""
    ran = faultodds("next", "--found", "dry_time=longer", "--shop", file)
    assert "Prices and minutes: Harbour Lane Appliance Service" in ran.text
    answer = faultodds("next", "--found", "dry_time=longer", "--shop", file, "--technician", "t1", "--json").answer
    assert answer["shop"] == {
        "file": file,
        "name": "Harbour Lane Appliance Service",
        "technician": "T1",
        "qualified": False,
        "not_carried": [],
    }
    flap = next(c for c in answer["checks"] if c["check"] == "hood_flap")
    assert (flap["minutes"], flap["cost"]) == (9, 9)
    plain = faultodds("next", "--found", "dry_time=longer", "--json").answer
    assert plain["shop"] is None
    assert plain["faults"] == answer["faults"]


def test_who_is_not_qualified_is_offered_no_such_work(file: str) -> None:
    """A technician whom the file calls not qualified gets neither live checks nor gas-pressure work."""
    found = ("next", "--found", "heat=none", "--json", "--fact", "control=board", "--shop", file)
    live = {"burner_voltage", "relay_output", "manifold_pressure"}
    assert live & {c["check"] for c in faultodds(*found).answer["checks"]}
    assert not live & {c["check"] for c in faultodds(*found, "--technician", "T1").answer["checks"]}


def test_jobs_and_the_bench_use_the_shop_too(file: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the file and the technician in the environment, a stored job is advised at their prices."""
    data = str(tmp_path / "jobs")
    faultodds("job", "new", "--found", "dry_time=longer", "--data", data)
    monkeypatch.setenv("FAULTODDS_SHOP", file)
    monkeypatch.setenv("FAULTODDS_TECHNICIAN", "T1")
    for command in ("next", "show"):
        ran = faultodds("job", command, "1", "--data", data)
        assert "technician T1, no energised or gas-pressure work" in ran.text, command
    answer = faultodds("job", "next", "1", "--data", data, "--json").answer
    assert answer["shop"]["technician"] == "T1"
    assert not {"burner_voltage"} & {c["check"] for c in answer["checks"]}
    assert (
        faultodds("job", "next", "1", "--data", data, "--shop", "none", "--technician", "none").out.count("Prices") == 0
    )


def test_entering_things_needs_no_shop_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A shop file that is gone stops advice, with a way out, but never what a technician wants to write down."""
    data = str(tmp_path / "jobs")
    monkeypatch.setenv("FAULTODDS_SHOP", str(tmp_path / "gone.toml"))
    assert faultodds("job", "new", "--found", "dry_time=longer", "--data", data).code == 0
    assert faultodds("job", "find", "1", "hood_flap=weak", "--data", data).code == 0
    assert faultodds("odds", "--found", "heat=none").code == 0
    ran = faultodds("job", "next", "1", "--data", data)
    assert ran.code == 2
    assert "FAULTODDS_SHOP names it" in ran.said
    assert "--shop none" in ran.said


def test_a_new_file_is_used_from_then_on(tmp_path: Path) -> None:
    """`shop new` writes shop.toml in the data folder; what is put there counts at once, and it is never overwritten."""
    ran = faultodds("shop", "new")
    path = tmp_path / "data" / "shop.toml"
    assert ran.code == 0 and path.is_file()
    assert "# coil_set = 34" in path.read_text()
    assert "0 of 4 are yours" in faultodds("shop", "check").text
    path.write_text(path.read_text().replace("# labour_rate = 95 ", "labour_rate = 70 ", 1))
    assert "1 of 4 are yours" in faultodds("shop", "check").text
    assert faultodds("next", "--found", "dry_time=longer", "--json").answer["shop"]["file"] == str(path)
    again = faultodds("shop", "new")
    assert again.code == 2
    assert "is there already and was left as it is" in again.said


def test_show_marks_what_is_the_shops(file: str) -> None:
    """`shop show` gives every number in use beside the knowledge file's, the shop's marked."""
    ran = faultodds("shop", "show", file)
    assert any(
        line.startswith("  * labour_rate:") and line.split()[-2:] == ["60.00", "95.00"] for line in ran.out.splitlines()
    )
    assert any(line.startswith("    callback:") for line in ran.out.splitlines())
    assert max(map(len, ran.out.splitlines())) <= 80
    numbers = faultodds("shop", "show", file, "--technician", "T1", "--json").answer["numbers"]
    flap = next(n for n in numbers if n["name"] == "hood_flap")
    assert (flap["value"], flap["knowledge_file"], flap["own"]) == (9, 3, True)


def test_check_says_what_is_wrong_and_where(tmp_path: Path) -> None:
    """A mistake is one sentence with file and key, and exit code 2; no file at all is told with where it is looked for."""
    bad = tmp_path / "bad.toml"
    bad.write_text("[parts]\ncoil = 3\n")
    ran = faultodds("shop", "check", str(bad))
    assert ran.code == 2
    assert "bad.toml: parts: there is no repair called 'coil'. Did you mean 'coil_set'?" in ran.said
    none = faultodds("shop", "check")
    assert none.code == 2
    assert "Type 'faultodds shop new' to make one." in none.said


def test_everything_that_is_wrong_is_told_at_once_on_the_screen_and_as_data(tmp_path: Path) -> None:
    """Form, sense and the usual appliance: a line each; the same sentences with --json, still with exit code 2."""
    bad = tmp_path / "bad.toml"
    bad.write_text('[parts]\ncoil = 3\n[costs]\ntravel = "far"\n[technician.T1]\npace = 20\n')
    ran = faultodds("shop", "check", str(bad))
    assert ran.code == 2
    assert "bad.toml: 3 things to mend:" in ran.said
    ran = faultodds("shop", "check", str(bad), "--json")
    assert ran.code == 2
    assert (ran.answer["file"], ran.answer["sound"]) == (str(bad), False)
    assert [each.partition(":")[0] for each in ran.answer["problems"]] == [
        "costs.travel",
        "parts",
        "technician.T1.pace",
    ]
    bad.write_text("[shop]\nappliance = 3\nname = 4\n")
    problems = faultodds("shop", "check", str(bad), "--json").answer["problems"]
    assert [each.partition(":")[0] for each in problems] == ["shop.name", "shop.appliance"]


def test_a_shop_file_makes_no_start_slow(file: str) -> None:
    """With a shop file that has been read once, `next` still loads nothing heavy."""
    argv = ["next", "--json", "--found", "dry_time=longer", "--shop", file, "--technician", "T1"]
    faultodds(*argv)
    code = "import sys; from faultodds_cli.main import run; run(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code, *argv], capture_output=True, text=True, timeout=120, check=True)
    loaded = {name.partition(".")[0] for name in done.stderr.split()}
    assert {"numpy", "faultodds"} <= loaded
    assert sorted(loaded & {"pydantic", "pandas", "scipy", "sqlalchemy", "matplotlib", "rich"}) == []
