"""The README says what the commands print, sets itself up in one line, and can be refreshed."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path

import pytest

import rewrite_readme
from rewrite_readme import BLOCK, README, Command, commands, output_of, rewritten, run_blocks, shop

TEXT = README.read_text(encoding="utf-8")
ROOT = README.parent


def test_every_console_block_prints_what_the_readme_says(tmp_path: Path) -> None:
    """Run in order on an empty store, each command prints exactly the lines under it."""
    with shop(tmp_path):
        for command in run_blocks(TEXT):
            printed = [line.rstrip() for line in output_of(command.line).splitlines()]
            assert printed == command.output.splitlines(), f"{command.line}: python tests/rewrite_readme.py"


def test_the_readme_shows_the_main_commands() -> None:
    """The worked look leaves out none of the commands that a technician starts with."""
    shown = {word for c in run_blocks(TEXT) for word in re.findall(r"faultodds (\w+)", c.line)}
    assert {"next", "odds", "read", "bench", "job", "appliance", "calc"} <= shown


def test_every_command_of_the_program_is_in_the_readme() -> None:
    """A command that the program has and the README does not name is one that nobody finds."""
    from faultodds_cli.main import COMMANDS

    named = set(re.findall(r"faultodds (\w+)", TEXT))
    assert set(COMMANDS) - named == set()


def test_few_blocks_are_left_out_and_each_says_why() -> None:
    """At most two console blocks are marked as not run, with a reason."""
    left_out = [block["mark"] for block in BLOCK.finditer(TEXT) if block["mark"]]
    assert len(left_out) <= 2
    assert all(len(mark) > len("<!-- not run:  -->\n") + 10 for mark in left_out)


def test_no_fenced_console_block_escapes_the_pattern() -> None:
    """Every ```console fence belongs to a block that is found: none is skipped by a slip in its writing."""
    assert len(list(BLOCK.finditer(TEXT))) == TEXT.count("```console")


def test_the_two_commands_set_everything_up_themselves() -> None:
    """Both start from a bare Python: environment, install, then the job or the tests, joined by &&."""
    blocks = re.findall(r"^```sh\n(.+)\n```$", TEXT, re.MULTILINE)
    steps = [[shlex.split(step) for step in block.split(" && ")] for block in blocks]
    assert [s[0] for s in steps] == [["python3", "-m", "venv", ".venv"]] * 2
    assert [s[1] for s in steps] == [
        [".venv/bin/pip", "install", "--quiet", "."],
        [".venv/bin/pip", "install", "--quiet", "-e", ".[test]"],
    ]
    assert [s[2] for s in steps] == [[".venv/bin/faultodds", "demo"], [".venv/bin/python", "-m", "pytest"]]


def test_ci_finds_the_test_command() -> None:
    """The marker that `.ci/run` looks for stands right above the fenced command, once."""
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    (line,) = [line for line in ci.splitlines() if "<!-- test command -->" in line]
    script = line.strip().removeprefix("command=$(").removesuffix(")")
    done = subprocess.run(["bash", "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=30, check=True)
    assert done.stdout.splitlines() == [
        "python3 -m venv .venv && .venv/bin/pip install --quiet -e '.[test]' && .venv/bin/python -m pytest"
    ]


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_files_that_the_documents_name_exist(document: str) -> None:
    """Every path in backticks or in a link that names a folder of the project leads somewhere."""
    text = (ROOT / document).read_text(encoding="utf-8")
    tops = ("model/", "cli/", "data_synthetic/", "notebooks/", "tests/", ".ci/")
    quoted = [word for span in re.findall(r"`([^`\n]+)`", text) for word in span.split()]
    linked = [target for target in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in target]
    paths = {word for word in quoted if word.startswith(tops)} | set(linked)
    assert paths
    assert [path for path in sorted(paths) if not list(ROOT.glob(path.rstrip("/")))] == []


def test_links_inside_the_readme_lead_to_a_heading() -> None:
    """A link to a section names a section that is there."""
    headings = {
        re.sub(r"[^\w -]", "", h).strip().lower().replace(" ", "-") for h in re.findall(r"^#+ (.+)$", TEXT, re.M)
    }
    assert set(re.findall(r"\]\(#([^)]+)\)", TEXT)) <= headings


def test_the_readme_stays_readable() -> None:
    """Short enough to be read in one go."""
    assert len(TEXT.splitlines()) <= 400


SMALL = "Before.\n\n```console\n$ faultodds calc duct 10ft | head -1\nstale\n```\n\nAfter.\n"


def test_rewriting_replaces_stale_output_and_nothing_else(tmp_path: Path) -> None:
    """The refreshed text has the new output; a second pass changes nothing."""
    fresh = rewritten(SMALL, tmp_path)
    assert "stale" not in fresh
    assert "Equivalent length 10" in fresh
    assert fresh.startswith("Before.\n\n```console\n$ faultodds calc duct 10ft | head -1\n")
    assert fresh.endswith("```\n\nAfter.\n")
    assert rewritten(fresh, tmp_path) == fresh


def test_a_block_marked_as_not_run_is_left_as_it_is(tmp_path: Path) -> None:
    """The mark and its reason protect a block from being run and rewritten."""
    marked = SMALL.replace("```console", "<!-- not run: an example of the mark -->\n```console", 1)
    assert rewritten(marked, tmp_path) == marked
    assert run_blocks(marked) == []


def test_what_is_typed_on_a_pipe_and_the_exit_code_are_shown(tmp_path: Path) -> None:
    """printf feeds standard input, tail cuts, and the exit code is the command's own."""
    with shop(tmp_path):
        bench = output_of("printf '%s\\n' no no no no leave | faultodds bench | tail -1")
        wrong = output_of('faultodds calc duct ten; echo "exit code $?"')
    assert bench == "Job 1 is saved. Go on with: faultodds bench 1\n"
    assert wrong.endswith("exit code 2\n")


@pytest.mark.parametrize("line", ["ls", "faultodds demo | sort", "cat x | faultodds bench", "faultodds demo > out"])
def test_a_line_that_cannot_be_run_here_is_refused(line: str, tmp_path: Path) -> None:
    """Nothing but faultodds is run, so a README block cannot quietly mean something else."""
    with shop(tmp_path), pytest.raises(ValueError, match="a README block cannot run"):
        output_of(line)


def test_a_block_without_a_command_is_refused() -> None:
    """Output with no command above it could never be checked."""
    with pytest.raises(ValueError, match="starts with"):
        commands("no command\n")
    assert commands("$ faultodds demo\nline\n") == [Command("faultodds demo", "line\n")]


def test_the_script_says_whether_the_readme_is_stale(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--check` exits with 1 and writes nothing when stale; without it the file is refreshed."""
    readme = tmp_path / "README.md"
    readme.write_text(SMALL, encoding="utf-8")
    monkeypatch.setattr(rewrite_readme, "README", readme)
    assert rewrite_readme.main(["--check"]) == 1
    assert readme.read_text(encoding="utf-8") == SMALL
    assert rewrite_readme.main([]) == 0
    assert "stale" not in readme.read_text(encoding="utf-8")
    assert rewrite_readme.main(["--check"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "README.md is stale: python tests/rewrite_readme.py",
        "README.md rewritten.",
        "README.md is as the commands print it.",
    ]
