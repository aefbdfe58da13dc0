"""Files that somebody asks for are refused in words, before any work, where they cannot or must not be written."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from every_command import every_command, files_it_writes
from faultodds.errors import FaultoddsError
from faultodds.files import refuse_taken
from run_cli import faultodds


def refusal(path: Path, **more: bool) -> str:
    """What is said to `--to PATH`."""
    with pytest.raises(FaultoddsError) as caught:
        refuse_taken(path, "--to", "plan.pdf", endings=(".pdf", ".png"), **more)
    return str(caught.value)


def test_whatever_is_in_the_way_is_named(tmp_path: Path) -> None:
    """Ending, folder, no folder, a file there, a link, a name that cannot be: each in its own words, and nothing is touched."""
    taken = tmp_path / "taken.pdf"
    taken.write_text("mine")
    link = tmp_path / "link.pdf"
    link.symlink_to(tmp_path / "nowhere")
    pipe = tmp_path / "pipe.pdf"
    os.mkfifo(pipe)
    (tmp_path / "folder.pdf").mkdir()
    assert "it ends in .pdf, .png. Type for example --to plan.pdf." in refusal(tmp_path / "plan.txt")
    assert "that is a folder. Name a file, for example" in refusal(tmp_path / "folder.pdf", force=True)
    assert f"there is no folder {tmp_path / 'no'}. Make it" in refusal(tmp_path / "no" / "plan.pdf")
    assert f"there is no folder {taken}. Make it" in refusal(taken / "plan.pdf")
    assert "it is there already. Add --force to write over it" in refusal(taken)
    assert "it is there already." in refusal(link)
    assert "what is there is no file, and is left as it is" in refusal(link, force=True)
    assert "what is there is no file, and is left as it is" in refusal(pipe, force=True)
    assert "no file can have that name" in refusal(tmp_path / f"{'x' * 300}.pdf")
    refuse_taken(taken, "--to", "plan.pdf", force=True)
    refuse_taken(tmp_path / "plan.PDF", "--to", "plan.pdf", endings=(".pdf",))
    assert taken.read_text() == "mine"


def test_every_option_that_writes_a_file_has_force_beside_it() -> None:
    """No command has a way of its own to write over somebody's file, or none at all."""
    found = {name: files_it_writes(command) for name, command in every_command()}
    found = {name: wrote for name, wrote in found.items() if wrote and wrote != ["--save"]}
    assert {"chart plan", "log export", "audit", "trial", "tune", "revision show", "appliance export"} <= set(found)
    forced = [name for name, command in every_command() if any(p.opts[0] == "--force" for p in command.params)]
    assert set(found) <= set(forced)
    print(f"{len(found)} commands write a file where they are told, each with --force beside it")


@pytest.mark.parametrize(
    "line",
    [
        "chart plan --found no=such --to",
        "audit no_such_log --figure",
        "tune no_such_log --figure",
        "revision show no_such --figure",
        "trial --jobs 1000000 --figure",
        "appliance export --out",
        "shop from-log no_such_log",
    ],
)
def test_a_file_that_is_there_is_refused_before_any_work(line: str, tmp_path: Path) -> None:
    """The file is spoken of first, though the rest of the line cannot be done, or would take hours; it stays as it is."""
    path = tmp_path / "mine.png"
    path.write_text("mine")
    ran = faultodds(*line.split(), str(path))
    assert (ran.code, "it is there already. Add --force to write over it" in ran.said) == (2, True)
    folder = tmp_path / "folder.png"
    folder.mkdir()
    assert "that is a folder. Name a file" in faultodds(*line.split(), str(folder), "--force").said
    assert (path.read_text(), list(folder.iterdir())) == ("mine", [])


def test_where_no_jobs_can_be_kept_is_told_before_the_story(tmp_path: Path) -> None:
    """`demo --save` with a file in the way: nothing of the story is told first, and the file stays."""
    path = tmp_path / "mine"
    path.write_text("mine")
    ran = faultodds("demo", "--save", str(path))
    assert (ran.code, ran.out, path.read_text()) == (2, "", "mine")
    assert "is not a job store" in ran.said
