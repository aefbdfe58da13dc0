"""COMMANDS.md says what the commands take, and is renewed by one command."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from run_cli import faultodds

SCRIPT = Path(__file__).parents[2] / "cli" / "commands_page.py"


@pytest.fixture
def script() -> ModuleType:
    """The script that writes the page, loaded anew."""
    spec = importlib.util.spec_from_file_location("commands_page", SCRIPT)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_what_the_commands_are(script: ModuleType) -> None:
    """A command or option that was changed without renewing the page fails here, with what to type."""
    assert script.page() == script.PAGE.read_text(encoding="utf-8"), f"cli/COMMANDS.md is stale, type: {script.RENEW}"


def test_the_page_is_the_same_on_any_terminal(script: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written twice, the second time for a narrow terminal, it has the same bytes; no line of it is longer than 120."""
    page = script.page()
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setenv("TERMINAL_WIDTH", "40")
    assert script.page() == page
    assert max(map(len, page.splitlines())) <= 120


@pytest.mark.parametrize("typed", ["next", "job find", "chart plan", "shop show", "appliance export", "revision diff"])
def test_the_page_has_every_option_that_help_has(script: ModuleType, typed: str) -> None:
    """What `--help` lists is under the command's heading."""
    (part,) = re.findall(rf"^#+ faultodds {typed}\n(.*?)(?:^#|\Z)", script.page(), re.MULTILINE | re.DOTALL)
    options = re.findall(r"^ +(?:-\w, )?(--[\w-]+)", faultodds(*typed.split(), "--help").out, re.MULTILINE)
    assert len(options) > 2
    assert [option for option in options if f"`{option}" not in part] == ["--help"]


def test_the_script_says_whether_the_page_is_stale(
    script: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--check` exits with 1 and writes nothing when stale; without it the page is renewed."""
    script.PAGE = tmp_path / "COMMANDS.md"
    assert script.main(["--check"]) == 1
    assert not script.PAGE.exists()
    assert script.main([]) == 0
    assert script.main(["--check"]) == 0
    assert script.PAGE.read_text(encoding="utf-8") == script.page()
    assert capsys.readouterr().out.splitlines() == [
        "COMMANDS.md is stale: python cli/commands_page.py.",
        "COMMANDS.md is written anew.",
        "COMMANDS.md is as the commands are.",
    ]
