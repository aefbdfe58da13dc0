"""What may lie in the repository: the agreed top-level names, and no large file."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TOP = {
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "cli",
    "data_synthetic",
    "model",
    "notebooks",
    "pyproject.toml",
    "tests",
}
MOST_BYTES = 5_000_000


def kept() -> list[Path]:
    """Files that are, or would be, committed: tracked ones and new ones that are not ignored."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    try:
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git working copy: an unpacked source archive has nothing to commit")
    return [ROOT / name for name in done.stdout.split("\0") if name and (ROOT / name).is_file()]


def test_the_top_level_holds_only_what_it_should() -> None:
    """No stray file beside the agreed ones; hidden files and folders are free."""
    tops = {path.relative_to(ROOT).parts[0] for path in kept()}
    assert {top for top in tops if not top.startswith(".")} == TOP


def test_no_file_is_large() -> None:
    """Nothing that a clone has to carry for ever: logs and archives are made, not kept."""
    assert [p.name for p in kept() if p.stat().st_size > MOST_BYTES] == []
