"""Everyday commands start fast: what they import is counted, and a run is timed against numpy alone."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from run_cli import faultodds

HEAVY = (
    "pydantic",
    "pgmpy",
    "pandas",
    "rich",
    "sqlalchemy",
    "pint",
    "scipy",
    "sklearn",
    "matplotlib",
    "networkx",
)


def imported_by(*argv: str) -> set[str]:
    """Top-level packages loaded by a cold `faultodds argv...`."""
    code = (
        "import sys; from faultodds_cli.main import run; code = run(sys.argv[1:]); "
        "print(code, *sorted({m.partition('.')[0] for m in sys.modules}), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code, *argv],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    code_text, *names = done.stderr.splitlines()[-1].split()
    assert code_text in ("0", "3"), done.stderr
    return set(names)


@pytest.mark.parametrize(
    "argv",
    [
        ["next", "--json", "--found", "dry_time=longer"],
        ["next", "--found", "dry_time=longer", "--reading", "igniter_ohms=140"],
        ["odds", "--found", "heat=none"],
        ["read", "igniter_ohms", "140 ohm"],
    ],
    ids=["next --json", "next", "odds", "read"],
)
def test_everyday_commands_load_nothing_heavy(argv: list[str]) -> None:
    """With a warm cache, `next`, `odds` and `read` need numpy, msgspec, typer and the standard library."""
    faultodds("next", "--json")  # warms the cache
    assert sorted(imported_by(*argv).intersection(HEAVY)) == []


@pytest.mark.parametrize("argv", [["--help"], ["--version"], ["next", "--help"], ["next", "--found", "gas_smell=yes"]])
def test_help_and_stop_signs_load_not_even_numpy(argv: list[str]) -> None:
    """Help and a stop sign are there at once."""
    assert sorted(imported_by(*argv).intersection({*HEAVY, "numpy"})) == []


def test_commands_are_imported_only_when_typed() -> None:
    """`--help` lists every command without importing one."""
    code = (
        "import sys; from faultodds_cli.main import COMMANDS, run; run(['--help']); "
        "print([m for m, _, _ in COMMANDS.values() if 'faultodds_cli.' + m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stderr.strip() == "[]"
    assert "  next " in done.stdout


def test_every_command_has_help() -> None:
    """Every command in the list exists and explains itself."""
    from faultodds_cli.main import COMMANDS

    for name in COMMANDS:
        ran = faultodds(name, "--help")
        assert ran.code == 0, (name, ran.err)
        assert f"Usage: faultodds {name}" in ran.out
        assert max(map(len, ran.out.splitlines())) <= 80


def cpu_seconds(argv: list[str]) -> float:
    """Processor seconds of one cold process, children's own clock."""
    before = os.times()
    subprocess.run(argv, stdout=subprocess.DEVNULL, check=True, timeout=60)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def test_next_starts_within_reach_of_numpy(capsys: pytest.CaptureFixture[str]) -> None:
    """A cold `next --json` with a warm cache stays under 5 times `import numpy` in processor time.

    The target of 2.5 is for tests/benchmarks to measure on a quiet machine; this only catches a slip.
    """
    if sys.dont_write_bytecode or os.environ.get("PYTHONDONTWRITEBYTECODE"):
        pytest.skip("without compiled bytecode every start compiles every module")
    command = [sys.executable, "-m", "faultodds_cli.main", "next", "--json", "--found", "dry_time=longer"]
    cpu_seconds(command)
    pairs = [(cpu_seconds(command), cpu_seconds([sys.executable, "-c", "import numpy"])) for _ in range(5)]
    ours, numpy = min(a for a, _ in pairs), min(b for _, b in pairs)
    with capsys.disabled():
        print(f"\nnext --json {ours:.3f} s, import numpy {numpy:.3f} s (processor): {ours / numpy:.2f} times")
    assert ours < 5 * numpy
