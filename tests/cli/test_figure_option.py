"""`--figure`: drawn beside what is printed, refused before any work, written over only when asked."""

from __future__ import annotations

from pathlib import Path

import pytest

from run_cli import faultodds, write_toy


@pytest.fixture(scope="module")
def toy_file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The toy appliance as a file."""
    return str(write_toy(tmp_path_factory.mktemp("toy") / "toy.toml"))


COMMANDS = {"odds": ["odds"], "next": ["next"], "what if": ["next", "--what-if"]}


@pytest.mark.parametrize("argv", COMMANDS.values(), ids=COMMANDS)
def test_a_figure_is_written_beside_what_is_printed(toy_file: str, tmp_path: Path, argv: list[str]) -> None:
    """What is printed is the same with a figure as without; it is not written over; --force does."""
    call, to = [*argv, "--appliance", toy_file, "--found", "slow=yes"], tmp_path / "a.svg"
    plain, drawn = faultodds(*call), faultodds(*call, "--figure", str(to))
    assert (drawn.code, drawn.text) == (0, plain.text)
    assert to.read_bytes().startswith(b"<?xml")
    before = to.read_bytes()
    refused = faultodds(*call, "--figure", str(to))
    assert refused.code == 2 and "it is there already. Add --force" in refused.said
    assert faultodds(*call, "--figure", str(to), "--force").code == 0
    assert to.read_bytes() == before


def test_a_job_is_drawn_step_by_step(toy_file: str, tmp_path: Path) -> None:
    """The figure of a stored job is that of the same steps typed at once; a job with no step says what to enter."""
    job = ["--appliance", toy_file, "--data", str(tmp_path)]
    assert faultodds("job", "new", *job).code == 0
    empty = faultodds("job", "show", "1", *job, "--figure", str(tmp_path / "no.svg"))
    assert empty.code == 2 and "no step to draw yet" in empty.said
    assert faultodds("job", "find", "1", "slow=yes", *job).code == 0
    stored, typed = tmp_path / "job.svg", tmp_path / "odds.svg"
    assert faultodds("job", "show", "1", *job, "--figure", str(stored)).code == 0
    assert faultodds("odds", "--appliance", toy_file, "--found", "slow=yes", "--figure", str(typed)).code == 0
    assert stored.read_bytes() == typed.read_bytes()


def test_a_plan_is_sent_to_its_own_page(toy_file: str) -> None:
    """There is one way to draw a plan, and it is named with the file that was typed."""
    ran = faultodds("next", "--appliance", toy_file, "--found", "slow=yes", "--plan", "--figure", "p.pdf")
    assert ran.code == 2 and "Type: faultodds chart plan --to p.pdf" in ran.said


def test_what_if_says_what_the_job_costs_at_the_ends(toy_file: str) -> None:
    """The numbers drawn are in --json too."""
    got = faultodds("next", "--what-if", "--appliance", toy_file, "--found", "slow=yes", "--json").answer
    ends = [side for w in got["what_if"] for side in (w["below"], w["above"]) if side is not None]
    assert ends and all(side["job_cost_there"] > 0 for side in ends)
