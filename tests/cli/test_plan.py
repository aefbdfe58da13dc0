"""`next --plan` and `next --what-if`: the whole plan, and what would change the advice, as text and as one object."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import pytest

from run_cli import faultodds, write_toy


@pytest.fixture(scope="module")
def toy_file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The toy appliance with a stop sign, as a file."""
    stop = {"smoke": {"title": "smoke or flames", "ask": "Any smoke?", "steps": ["Leave.", "Call from outside."]}}
    return str(write_toy(tmp_path_factory.mktemp("toy") / "toy.toml", stop=stop))


def steps(step: dict[str, Any]) -> list[dict[str, Any]]:
    """A step of the object and all below it."""
    return [step] + [s for b in step["branches"] if b["then"] for s in steps(b["then"])]


# ---- next --plan ----


def test_the_plan_is_a_tree_of_findings(toy_file: str) -> None:
    """The text leads from the first check through "if ..." to repairs and leaving, plain characters, 80 columns."""
    ran = faultodds("next", "--plan", "--appliance", toy_file, "--found", "slow=yes")
    assert ran.code == 0, ran.err
    lines = ran.out.splitlines()
    assert max(map(len, lines)) <= 80
    assert ran.out.isascii()
    tree = lines[lines.index(next(x for x in lines if "today" in x and "cost" in x)) + 1 :]
    assert tree[0].startswith("CHECK ")
    assert any(x.startswith("|- if ") and " %)" in x for x in tree)
    assert any(x.startswith("`- ") for x in tree)
    assert "then verify" in ran.text
    assert "DONE: leave" in ran.text
    assert "Finished today: the machine is right and has passed its run when you leave" in ran.text
    assert ": ask again then" in ran.text


def test_columns_hold_what_is_ahead_and_what_is_spent(toy_file: str) -> None:
    """The first line's columns are the object's figures, nothing spent yet."""
    argv = ["next", "--plan", "--appliance", toy_file, "--found", "slow=yes"]
    first = faultodds(*argv, "--json").answer["plan"]
    line = next(x for x in faultodds(*argv).out.splitlines() if x.startswith("CHECK "))
    cost, minutes, today, sign, spent_cost, spent = line.split()[-6:]
    assert cost == f"${first['expected_cost']:.0f}"
    assert minutes == f"{first['expected_minutes']:.0f}"
    assert (today, sign) == (f"{100 * first['finished_today']:.0f}", "%")
    assert (spent_cost, spent) == ("$0", "0")


def test_the_object_is_nested(toy_file: str) -> None:
    """`--json` gives one object; every step has its price, what lies ahead, and branches that hold the next step."""
    got = faultodds("next", "--plan", "--json", "--appliance", toy_file, "--found", "slow=yes").answer
    assert list(got) == [
        "at_once", "appliance", "revision", "evidence", "omitted_mass", "not_told", "shop", "currency", "depth", "decisions",
        "finished_today_means", "plan", "cautions",
    ]  # fmt: skip
    every = steps(got["plan"])
    assert {"check", "repair", "stop"} <= {s["kind"] for s in every}
    for step in every:
        chances = [b["chance"] for b in step["branches"]]
        assert not chances or abs(sum(chances) - 1) < 1e-4
    plain = faultodds("next", "--json", "--appliance", toy_file, "--found", "slow=yes").answer
    assert got["plan"]["name"] == plain["advice"]["name"]


@pytest.mark.parametrize(("option", "most"), [("--depth", 8), ("--nodes", 500)])
def test_every_size_too_large_names_the_same_range(toy_file: str, option: str, most: int) -> None:
    """One above what is worked out and far above it are refused in the same words, by both commands that plan."""
    base = ["--appliance", toy_file, "--found", "slow=yes", option]
    for command in (["next", "--plan"], ["chart", "plan", "--to", "plan.png"]):
        for value in (most + 1, 90_000):
            ran = faultodds(*command, *base, str(value))
            assert (ran.code, f"{option} {value}: give 1 to {most}." in ran.err) == (2, True), ran.err


def test_depth_and_nodes_set_the_size(toy_file: str) -> None:
    """`--depth` is how many findings ahead, `--nodes` how many decisions are worked out."""
    argv = ["next", "--plan", "--json", "--appliance", toy_file, "--found", "slow=yes"]

    def depth(step: dict[str, Any]) -> int:
        return max((1 + (depth(b["then"]) if b["then"] else 0) for b in step["branches"]), default=0)

    assert depth(faultodds(*argv, "--depth", "1").answer["plan"]) == 1
    assert depth(faultodds(*argv, "--depth", "2").answer["plan"]) == 2
    assert faultodds(*argv, "--nodes", "3").answer["decisions"] <= 4


@pytest.mark.parametrize(
    ("argv", "said"),
    [(["--depth", "2"], "--depth 2 goes with --plan. Type for example --plan --depth 2."),
     (["--plan", "--depth", "0"], "--depth 0: give 1 to 8."),
     (["--plan", "--nodes", "9999"], "--nodes 9999: give 1 to 500."),
     (["--plan", "--depth", "two"], "Invalid value for '--depth'"),
     (["--plan", "--what-if"], "--plan and --what-if are two questions")],
)  # fmt: skip
def test_options_that_make_no_sense_are_refused(toy_file: str, argv: list[str], said: str) -> None:
    """Bad sizes and options that do not go together: exit 2, what is allowed, no traceback."""
    ran = faultodds("next", "--appliance", toy_file, *argv)
    assert ran.code == 2
    assert said in ran.said
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("argv", [["next", "--plan"], ["next", "--what-if"], ["chart", "plan", "--to", "x.pdf"]])
def test_a_stop_sign_stops_a_plan(argv: list[str], toy_file: str) -> None:
    """A stop sign comes before any plan."""
    ran = faultodds(*argv, "--appliance", toy_file, "--found", "smoke=yes")
    assert ran.code == 3
    assert ran.out.startswith("STOP. smoke or flames.")


def test_the_plan_comes_with_its_cautions() -> None:
    """Going behind a panel of the dryer shows the cautions for it, and who may do what."""
    ran = faultodds(
        "next", "--plan", "--depth", "1", "--found", "burner_watch=lights_then_fails", "--fact", "control=timer"
    )
    assert "CAUTIONS FOR THIS PLAN" in ran.out
    assert "unplug" in ran.text and "gas" in ran.text
    assert "Get: unplugged, gas cock shut" in ran.text


def test_plain_next_loads_no_plan(toy_file: str) -> None:
    """Neither the plan nor the what-ifs are loaded unless asked for."""
    code = "import sys; from faultodds_cli.main import run; run(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    argv = [sys.executable, "-c", code, "next", "--json", "--appliance", toy_file, "--found", "slow=yes"]
    done = subprocess.run(argv, capture_output=True, text=True, timeout=60, check=True)
    loaded = set(done.stderr.split())
    assert "faultodds.advice" in loaded
    assert not loaded & {f"faultodds.advice.{m}" for m in ("plan", "ahead", "inputs", "sensitivity", "plan_words")}
    assert not loaded & {"faultodds_cli.next.plan", "faultodds_cli.next.what_if", "faultodds.charts"}


# ---- next --what-if ----


def test_what_if_names_the_points_of_change(toy_file: str) -> None:
    """The text gives the next best move with its extra cost, then what would change the advice and to what."""
    argv = ["next", "--what-if", "--appliance", toy_file, "--found", "slow=yes"]
    ran, got = faultodds(*argv), faultodds(*argv, "--json").answer
    assert ran.code == 0, ran.err
    assert max(map(len, ran.out.splitlines())) <= 80
    assert f"[{got['next_best']['name']}]" in ran.text
    assert f"${got['next_best']['extra_cost']:.2f} more" in ran.text
    assert "WOULD CHANGE, ONE AT A TIME" in ran.out
    changes = [w for w in got["what_if"] if any(w[s] and w[s]["changes_at"] is not None for s in ("below", "above"))]
    assert changes
    for w in changes:
        side = w["below"] if w["below"] and w["below"]["changes_at"] is not None else w["above"]
        low, high = sorted((w["now"], side["looked_to"]))
        assert low <= side["changes_at"] <= high
        assert side["then"]["name"] != got["advice"]["name"] or side["then"]["together"] != got["advice"]["together"]
    assert all(w["below"] or w["above"] for w in got["what_if"])
