"""What may lie in the repository: the top-level names, and words that have no place in it."""

from __future__ import annotations

import re
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
# Joined with +, so that this file does not find itself.
UNWANTED = [
    r"\btran" + r"scripts?\b",
    r"\bseed[ _-]docu" + r"ments?\b",
    r"\bsub[ _-]?ag" + r"ents?\b",
    r"(?<![\w.])/wo" + r"rk(?=/)",
    r"(?<![\w.])/tmp/br" + r"ief\b",
]
MOST_BYTES = 5_000_000


def kept() -> list[Path]:
    """Files that are, or would be, committed: tracked ones and new ones that are not ignored."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    try:
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git working copy: an unpacked source archive has nothing to commit")
    return [ROOT / name for name in done.stdout.split("\0") if name and (ROOT / name).is_file()]


def unwanted_in(text: str) -> list[str]:
    """The unwanted words in a text, as written."""
    return [found[0] for pattern in UNWANTED for found in re.finditer(pattern, text, re.IGNORECASE)]


def test_the_top_level_holds_only_what_it_should() -> None:
    """No stray file beside the agreed ones; hidden files and folders are free."""
    tops = {path.relative_to(ROOT).parts[0] for path in kept()}
    assert {top for top in tops if not top.startswith(".")} == TOP


def test_no_file_holds_an_unwanted_word() -> None:
    """Neither names nor contents speak of how or where the files came about."""
    found = {}
    for path in kept():
        name = str(path.relative_to(ROOT))
        words = unwanted_in(name) + unwanted_in(path.read_bytes().decode("utf-8", "replace"))
        if words:
            found[name] = words
    assert found == {}


def test_no_commit_message_holds_an_unwanted_word() -> None:
    """The history reads the same way as the files."""
    kept()  # skips where there is no git
    log = subprocess.run(
        ["git", "log", "--format=%B"], cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
    )
    assert unwanted_in(log.stdout) == []


def test_no_file_is_large() -> None:
    """Nothing that a clone has to carry for ever: logs and archives are made, not kept."""
    assert [p.name for p in kept() if p.stat().st_size > MOST_BYTES] == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("the Tran" + "script of a call", ["Tran" + "script"]),
        ("see seed-docu" + "ment 3", ["seed-docu" + "ment"]),
        ("a sub" + "agent wrote this", ["sub" + "agent"]),
        ("open /wo" + "rk/main/README.md", ["/wo" + "rk"]),
        ("cat /tmp/br" + "ief/rules.md", ["/tmp/br" + "ief"]),
        ("manuscripts, seeds, reagents, fire/work, /worktop, ./work", []),
    ],
)
def test_the_search_finds_what_it_is_for_and_nothing_else(text: str, words: list[str]) -> None:
    """Each pattern finds its word, and ordinary English and paths go free."""
    assert unwanted_in(text) == words
