"""The files of a log: all of an import or none, whenever it is broken off, and nothing of it left lying about."""

from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path

import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog.folder import LogFiles, all_or_nothing, files_of, names_in

LONG_AGO = time.time() - 3600


def put(files: LogFiles, text: str) -> None:
    """An import that writes this in each of its files."""
    with all_or_nothing(files) as beside:
        for path in (beside.clean, beside.report, beside.report_text, beside.aside, beside.mapping):
            path.write_text(text)


def told(files: LogFiles) -> set[str]:
    """What stands in the files of a log."""
    assert names_in(str(files.folder.parent)) == ["shop"]
    paths = (files.clean, files.report, files.report_text, files.aside, files.mapping)
    return {path.read_text() for path in paths}


@pytest.mark.parametrize("at", range(6))
@pytest.mark.parametrize("how", ["killed", "full"])
def test_an_import_that_is_broken_off_is_all_there_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int, how: str
) -> None:
    """At each renaming in turn: the log is the old one to the last file, or whoever looks next finds the new one whole."""
    files = files_of("shop", str(tmp_path))
    put(files, "old")
    real, count = os.replace, [0]

    def broken_off(source: object, target: object) -> None:
        count[0] += 1
        if count[0] > at:
            raise SystemExit if how == "killed" else OSError(28, "No space left on device")
        real(source, target)  # type: ignore[arg-type]

    with monkeypatch.context() as patch, contextlib.suppress(SystemExit, FaultoddsError):
        patch.setattr(os, "replace", broken_off)
        put(files, "new")
    assert told(files) == ({"old"} if at == 0 else {"new"})
    put(files, "newest")
    assert told(files) == {"newest"}
    assert not list(files.folder.glob(".*"))


def test_what_a_killed_import_left_goes_when_logs_are_looked_at(tmp_path: Path) -> None:
    """Whatever log it was of."""
    put(files_of("shop", str(tmp_path)), "old")
    folder = files_of("shop", str(tmp_path)).folder
    left = folder / ".other.abc123.new"
    left.mkdir()
    (left / "half.parquet").write_text("half")
    os.utime(left, (LONG_AGO, LONG_AGO))
    assert names_in(str(tmp_path)) == ["shop"]
    assert not left.exists()
