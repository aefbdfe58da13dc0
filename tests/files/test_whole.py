"""Files put in place whole, lines added whole, what killed programs leave, and a cache that only the user writes to."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from faultodds.errors import FaultoddsError
from faultodds.files import cache_entry, held_folder, line_added, opened_entry, written_whole

NO_SPACE = OSError(errno.ENOSPC, "No space left on device")
LONG_AGO = time.time() - 3600


@given(before=st.lists(st.text("ab{}", max_size=9), max_size=4), torn=st.booleans(), fits=st.integers(0, 40))
def test_a_line_is_added_whole_or_not_at_all(before: list[str], torn: bool, fits: int) -> None:
    """However much of it a full disk still takes, the file is as it was; once there is room again, the line is one of its own."""
    with pytest.MonkeyPatch.context() as patch, held_folder(Path(os.environ["FAULTODDS_CACHE"]), "lines") as folder:
        path = folder / "lines"
        text = "".join(line + "\n" for line in before) + ("half" if torn else "")
        path.write_text(text)
        real, room = os.write, [fits]

        def nearly_full(handle: int, data: bytes) -> int:
            if not room[0]:
                raise NO_SPACE
            taken = real(handle, data[: room[0]])
            room[0] -= taken
            return taken

        patch.setattr(os, "write", nearly_full)
        line = "x" * 30
        needs = len(line) + 1 + torn
        if fits < needs:
            with pytest.raises(OSError, match="No space left"):
                line_added(path, line)
            assert path.read_text() == text
            room[0] = needs
        line_added(path, line)
        assert path.read_text().splitlines()[-1] == line
        assert path.read_text().startswith(text)


def test_a_link_is_replaced_and_never_written_through(tmp_path: Path) -> None:
    """Where somebody has put a link to another file, that file stays as it is."""
    other, path = tmp_path / "other", tmp_path / "mine"
    other.write_text("theirs")
    path.symlink_to(other)
    with written_whole(path) as beside:
        beside.write_text("mine")
    assert (other.read_text(), path.read_text(), path.is_symlink()) == ("theirs", "mine", False)
    path.unlink()
    path.symlink_to(other)
    with pytest.raises(OSError, match="symbolic links"):
        opened_entry(path)


_KILLED = """
import sys, time
from pathlib import Path
from faultodds.files import held_folder, written_whole
with written_whole(Path(sys.argv[1]) / "log") as beside, held_folder(Path(sys.argv[1]), "log") as place:
    beside.write_text("half")
    (place / "more").write_text("half")
    print("half-way", flush=True)
    time.sleep(60)
"""


@pytest.mark.skipif(os.name != "posix", reason="locks of POSIX systems")
def test_what_a_killed_program_left_goes_and_what_is_being_written_stays(tmp_path: Path) -> None:
    """Files and folders of a killed program are removed by the next one; those of a program that still runs are not."""
    with subprocess.Popen([sys.executable, "-c", _KILLED, str(tmp_path)], stdout=subprocess.PIPE) as writer:
        assert writer.stdout is not None
        writer.stdout.readline()
        left = sorted(tmp_path.iterdir())
        assert len(left) == 2
        for place in left:
            os.utime(place, (LONG_AGO, LONG_AGO))
        with written_whole(tmp_path / "log") as beside:
            beside.write_text("whole")
        assert sorted(tmp_path.iterdir()) == sorted([*left, tmp_path / "log"])
        writer.kill()
        writer.wait()
    with written_whole(tmp_path / "log") as beside:
        beside.write_text("whole again")
    assert [p.name for p in tmp_path.iterdir()] == ["log"]


def test_names_beside_cannot_be_guessed_and_are_the_users_own(tmp_path: Path) -> None:
    """Two places for one file have different names, and nobody else may look in."""
    with written_whole(tmp_path / "log") as one, written_whole(tmp_path / "log") as two:
        assert one != two
        assert one.stat().st_mode & 0o077 == 0


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX systems")
@pytest.mark.parametrize("mode", [0o777, 0o770, 0o702, 0o720, 0o1777])
def test_a_cache_that_others_can_write_to_is_refused(tmp_path: Path, mode: int) -> None:
    """It is named, with the two ways out; one that the program makes itself is the user's alone."""
    folder = tmp_path / "cache"
    assert cache_entry("x", folder) == folder / "x"
    assert folder.stat().st_mode & 0o777 == 0o700
    folder.chmod(mode)
    with pytest.raises(FaultoddsError, match=f"chmod go-w '{folder}'. Or set FAULTODDS_CACHE to a folder"):
        cache_entry("x", folder)


@pytest.mark.skipif(os.name != "posix", reason="owners of POSIX systems")
def test_a_cache_of_somebody_else_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever owns a folder decides what is in it; so does whoever owns a link to one."""
    folder = tmp_path / "cache"
    folder.mkdir(mode=0o700)
    owner = folder.stat().st_uid
    monkeypatch.setattr(os, "getuid", lambda: owner + 1)
    if owner:
        with pytest.raises(FaultoddsError, match=f"belongs to user {owner}, .*set FAULTODDS_CACHE"):
            cache_entry("x", folder)
    else:
        assert cache_entry("x", folder) == folder / "x"  # the administrator could read everything anyway
        os.chown(folder, 4321, -1)
        with pytest.raises(FaultoddsError, match=r"belongs to user 4321, .*set FAULTODDS_CACHE"):
            cache_entry("x", folder)


def test_a_full_disk_is_noticed_when_the_file_is_synchronised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some disks say that they are full only then: the old file stays."""
    path = tmp_path / "log"
    path.write_text("old")

    def full(_handle: int) -> None:
        raise NO_SPACE

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"), written_whole(path) as beside:
        beside.write_text("new")
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("log", "old")]
    with pytest.raises(OSError, match="No space left"):
        line_added(path, "more")
    assert path.read_text() == "old"
