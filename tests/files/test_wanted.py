"""Files that somebody asks for are refused in words, before any work, where they cannot or must not be written."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from faultodds.errors import FaultoddsError
from faultodds.files import refuse_taken


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
