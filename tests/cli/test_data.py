"""`faultodds data`: where what is kept lies, and that wiping takes all of it and nothing else."""

from __future__ import annotations

from pathlib import Path

from run_cli import faultodds
from shop_logs import ROWS, log_text, write


def a_folder(tmp_path: Path) -> Path:
    """A data folder with a job, a log, and a file that is not this program's."""
    folder = tmp_path / "mine"
    raw = write(tmp_path / "raw.csv", log_text(*ROWS))
    assert faultodds("log", "import", str(raw), "--yes", "--data", str(folder)).code == 0
    assert faultodds("job", "new", "--title", "one", "--data", str(folder)).code == 0
    write(folder / "logs" / "letter.odt", "not ours")
    write(folder / "shop.toml", "[costs]\n")
    return folder


def test_where_says_what_there_is(tmp_path: Path) -> None:
    """The folder, and each kind of file; an empty folder says so."""
    folder = a_folder(tmp_path)
    ran = faultodds("data", "where", "--data", str(folder))
    assert ran.code == 0
    assert str(folder) in ran.out.replace("\n", "")
    assert "imported job logs: 1 file," in ran.text
    answer = faultodds("data", "where", "--json", "--data", str(folder)).answer
    assert str(folder / "logs" / "raw.parquet") in [path for each in answer["kept"] for path in each["files"]]
    assert "nothing is kept there" in faultodds("data", "where", "--data", str(tmp_path / "none")).text


def test_wipe_asks_and_takes_all_of_ours_and_nothing_else(tmp_path: Path) -> None:
    """With nobody to ask nothing is deleted; then all of it, and a stranger's file in the same folder stays."""
    folder = a_folder(tmp_path)
    before = sorted(folder.rglob("*"))
    refused = faultodds("data", "wipe", "--data", str(folder))
    assert refused.code == 2
    assert "To be deleted for good" in refused.text
    assert "Type: faultodds data wipe --yes" in refused.err
    assert sorted(folder.rglob("*")) == before
    done = faultodds("data", "wipe", "--yes", "--data", str(folder))
    assert done.code == 0
    assert [p.name for p in folder.rglob("*") if p.is_file()] == ["letter.odt"]
    assert (tmp_path / "raw.csv").is_file()
    assert "nothing is kept there" in faultodds("data", "wipe", "--data", str(folder)).text


def test_what_a_kill_leaves_beside_any_file_is_wiped_too(tmp_path: Path) -> None:
    """Whatever is kept, in whatever folder, a file that was being written beside it is kept and wiped as well."""
    folder = tmp_path / "mine"
    for name in ("shop.toml", "photos/job-1-2-1.jpg", "logs/a.parquet", "revisions/toy/a.toml", "appliances/a.toml"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("x")
        (folder / name).with_name(f".{Path(name).name}.x1.new").write_text("x")
    (folder / "drills" / "ann").mkdir(parents=True)
    (folder / "drills" / "ann" / ".0001_1-7.json.x1.new").write_text("x")
    assert faultodds("data", "wipe", "--yes", "--data", str(folder)).code == 0
    assert not folder.exists() or not list(folder.iterdir())
