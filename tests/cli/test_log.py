"""`faultodds log` at the terminal: import, list, describe, export."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from run_cli import Ran, faultodds
from shop_logs import ROWS, ZINGY, log_text, small_log, write

ROOT = Path(__file__).parents[2]
DEMO = str(ROOT / "data_synthetic" / "demo" / "harbour_lane_jobs.csv")


@pytest.fixture(autouse=True)
def _own_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "data"))


def log(*argv: str) -> Ran:
    """Run `faultodds log argv...`."""
    return faultodds("log", *argv)


def test_the_first_import_shows_the_mapping_and_waits(tmp_path: Path) -> None:
    """With nobody to ask, columns are shown, the mapping is left as a file, nothing is imported (exit 2); --yes goes on."""
    path = str(small_log(tmp_path, *ZINGY))
    ran = log("import", path)
    assert ran.code == 2
    assert "jobs.csv: 8 rows, 7 columns" in ran.text
    assert "% hood_flap ok, strong, weak" in ran.text
    assert "cust 100 % customer, to find callbacks" in ran.text
    assert "Words not known yet: hood: 'zingy'" in ran.text
    mapping = tmp_path / "data" / "logs" / "jobs.mapping.toml"
    assert f"Nothing is imported yet. The mapping is in {mapping}" in ran.text
    assert log("list").text == "No logs yet. Import one with: faultodds log import jobs.csv"
    mapping.write_text(
        mapping.read_text(encoding="utf-8").replace('"zingy" = "?"', '"zingy" = "none"'), encoding="utf-8"
    )
    done = log("import", path, "--yes")
    assert done.code == 0
    assert "8 visits kept, 2022-01-03 to 2022-01-13." in done.text
    assert "not understood" not in done.text
    assert "faultodds log describe jobs" in done.text
    assert max(len(line) for line in done.out.splitlines() if str(tmp_path) not in line) <= 80


def test_the_next_log_with_these_headings_needs_no_answer(tmp_path: Path) -> None:
    """Once confirmed, the same headings are imported without a question."""
    log("import", str(small_log(tmp_path)), "--yes")
    later = write(tmp_path / "later.csv", log_text(*ROWS))
    assert log("import", str(later)).code == 0
    assert [entry["log"] for entry in log("list", "--json").answer["logs"]] == ["jobs", "later"]


def test_the_demo_log_imports_with_nothing_said(tmp_path: Path) -> None:
    """The shipped demo: 600 rows, no mapping written by hand, 99 in 100 cells understood."""
    answer = log("import", DEMO, "--yes", "--json").answer
    assert (answer["imported"], answer["rows"]) == (True, 600)
    assert answer["understood"] >= 0.99
    shown = log("describe", "harbour_lane_jobs")
    assert "harbour_lane_jobs: 591 visits, 2022-01 to 2022-11." in shown.text
    assert "clean_duct" in shown.out
    found = log("describe", "harbour_lane_jobs", "--json").answer
    assert found["visits"] == 591
    assert found["found"]["hood_flap"]["visits"] > 300
    table = log("list")
    assert "harbour_lane_jobs 591 2022-01-03 2022-11" in table.text


def test_a_file_that_is_not_imported_is_described_by_its_columns(tmp_path: Path) -> None:
    """`describe FILE` shows what the columns would be taken for, and keeps nothing."""
    path = str(small_log(tmp_path))
    ran = log("describe", path)
    assert ran.code == 0
    assert "t_fuse" in ran.out
    assert "fuse_continuity" in ran.out
    answer = log("describe", path, "--json").answer
    assert answer["columns"][3] == {"heading": "hood", "is": "finding", "of": ["hood_flap"], "sure": 1.0, "why": ""}
    assert not (tmp_path / "data").exists()


def test_a_log_goes_out_and_in_again(tmp_path: Path) -> None:
    """Export writes the visits; the file is taken back as a clean log, with no question."""
    log("import", str(small_log(tmp_path)), "--yes")
    target = tmp_path / "out.xlsx"
    assert log("export", "jobs", "--to", str(target)).text == f"Wrote {target} (3 visits)."
    again = log("export", "jobs", "--to", str(target))
    assert (again.code, "is there already. Add --force" in again.said) == (2, True)
    back = log("import", str(target), "--name", "back")
    assert back.code == 0
    assert "a clean log already" in back.text


def test_a_log_made_from_another_file_is_not_replaced_unasked(tmp_path: Path) -> None:
    """The same name from another file needs --force; from the same file it is the log brought up to date."""
    log("import", str(small_log(tmp_path)), "--yes")
    other = str(write(tmp_path / "other.csv", log_text(*ROWS[:2])))
    ran = log("import", other, "--name", "jobs", "--yes")
    assert ran.code == 2
    assert "there is a log called 'jobs' already, made from jobs.csv." in ran.said
    assert log("import", other, "--name", "jobs", "--yes", "--force").code == 0
    assert "2 visits kept" in log("import", other, "--name", "jobs").text


def test_the_programs_own_jobs_are_a_log_too(tmp_path: Path) -> None:
    """`--store` takes the jobs that were entered call by call."""
    for _ in range(2):
        number = str(faultodds("job", "new", "--found", "heat=none", "--json").answer["job"])
        faultodds("job", "fix", number, "igniter")
        faultodds("job", "verify", number, "dry_in_time")
        faultodds("job", "close", number, "gone")
    ran = log("import", "--store")
    assert ran.code == 0
    assert "Log 'jobs' from jobs.sqlite (this program's own jobs). 2 visits kept" in ran.text


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["import"], "give a file, or --store"),
        (["import", "x.csv", "--store"], "give a file, or --store"),
        (["import", "nowhere.csv"], "there is no file at nowhere.csv."),
        (["import", DEMO, "--name", "A B"], "'A B' cannot be a log's name: small letters, digits, - and _ only"),
        (["import", DEMO, "--encoding", "utf-99"], "there is no encoding called 'utf-99'."),
        (["import", DEMO, "--mapping", "none.toml"], "there is no mapping file at none.toml."),
        (["import", "--store"], "there is no job store at"),
        (["describe", "nothing"], "there is no job log called 'nothing'. Known: none. Import one first"),
        (["export", "nothing", "--to", "x.csv"], "there is no job log called 'nothing'."),
    ],
)
def test_what_cannot_be_done_is_said_in_words(argv: list[str], words: str) -> None:
    """Exit 2, a sentence with what to type, no traceback."""
    ran = log(*argv)
    assert ran.code == 2
    assert words in ran.said
    assert "Traceback" not in ran.err


def test_every_answer_is_one_json_object(tmp_path: Path) -> None:
    """With --json nothing else is printed, a refused mapping included."""
    path = str(small_log(tmp_path))
    waiting = log("import", path, "--json")
    assert (waiting.code, waiting.answer["imported"]) == (2, False)
    for argv in (
        ["import", path, "--yes"],
        ["list"],
        ["describe", "jobs"],
        ["export", "jobs", "--to", str(tmp_path / "o.csv")],
    ):
        assert isinstance(json.loads(log(*argv, "--json").out), dict)
