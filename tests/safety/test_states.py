"""What may be told to be open: nothing on a machine that is neither unplugged nor shut off, whichever way it is told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench, command, looked_at

LIVE = "'front_open' cannot be open without 'unplugged'"
GAS_ON = "'front_open' cannot be open without 'gas_shut'"


def _next(data: Path, *items: str) -> str:
    return command("next", *(word for i in items for word in ("--open", i))).err


def _next_json(data: Path, *items: str) -> str:
    return command("next", "--json", *(word for i in items for word in ("--open", i))).err


def _job(data: Path, *items: str) -> str:
    command("job", "new", "--data", str(data))
    return command("job", "state", "1", *(w for i in items for w in ("--open", i)), "--data", str(data)).err


def _job_json(data: Path, *items: str) -> str:
    command("job", "new", "--data", str(data))
    opened = [word for i in items for word in ("--open", i)]
    return command("job", "state", "1", *opened, "--json", "--data", str(data)).err


SAID = {"unplugged": "unplugged", "gas_shut": "gas off"}


def _bench(data: Path, *items: str) -> str:
    command("job", "new", "--data", str(data))
    return bench(
        data, "no", "no", "no", "no", "done", "done", *(SAID.get(i, f"open {i}") for i in items), "leave", options=["1"]
    ).out


@pytest.mark.parametrize("tell", [_next, _next_json, _job, _job_json, _bench])
def test_no_path_takes_a_panel_off_a_live_machine(tmp_path: Path, tell: Callable[..., str]) -> None:
    """With the plug in, and with the gas on, every path refuses the panel in one sentence, the missing step in it."""
    said = " ".join(tell(tmp_path, "front_open").split())
    assert LIVE in said and "pull the plug" in said
    assert GAS_ON in " ".join(tell(tmp_path / "gas", "unplugged", "front_open").split())


def test_the_shut_off_cannot_be_taken_back_behind_an_open_panel(tmp_path: Path) -> None:
    """Plugging in is refused while the panel is off, and nothing is saved; the items may be given in any order at once."""
    shut_off = ["--open", "front_open", "--open", "gas_shut", "--open", "unplugged"]
    command("job", "new", "--data", str(tmp_path))
    assert command("job", "state", "1", *shut_off, "--data", str(tmp_path)).code == 0
    ended = command("job", "state", "1", "--shut", "unplugged", "--data", str(tmp_path))
    assert ended.code == 2 and LIVE in " ".join(ended.err.split())
    with looked_at(tmp_path) as visit:
        assert visit.state == {"front_open", "gas_shut", "unplugged"}
    both = ["--shut", "unplugged", "--shut", "front_open"]
    assert command("job", "state", "1", *both, "--data", str(tmp_path)).code == 0


UP = "closed up, ready to run"


def guessed(data: Path, *typed: str) -> tuple[str, frozenset[str]]:
    """A call on which these lines follow the start; what was said, and the machine's state then."""
    out = " ".join(bench(data, *STRAIGHT_ON, "heat=none", *typed).out.split())
    with looked_at(data) as visit:
        return out, visit.state


def test_a_state_that_only_follows_from_what_was_found_is_asked_about(tmp_path: Path) -> None:
    """Yes keeps it, no and yes take it back, another line is kept until there is an answer; danger in the answer stops."""
    shut_off = frozenset({"unplugged", "gas_shut", "front_open"})
    said, state = guessed(tmp_path / "yes", "igniter_ohms=open", "yes")
    assert "Is the machine like this now: unplugged, gas cock shut" in said and state == shut_off
    said, state = guessed(tmp_path / "no", "igniter_ohms=open", "no", "yes")
    assert "Then it is taken to be as before: closed up, ready to run" in said and state == frozenset()
    said, state = guessed(tmp_path / "how", "igniter_ohms=open", "front on")
    assert state == frozenset()
    _, state = guessed(tmp_path / "more", "igniter_ohms=open", "drum_still=no", "yes")
    with looked_at(tmp_path / "more") as visit:
        assert state == shut_off and "drum_still" in {p.finding.name for p in visit.job.findings}
    guessed(tmp_path / "danger", "igniter_ohms=open", "no, and i smell gas")
    with looked_at(tmp_path / "danger") as visit:
        assert visit.job.stopped is not None and "smell of gas" in visit.job.stopped.text


NOT_YES = (
    "",
    "not unplugged",
    "its still plugged in",
    "still plugged in",
    "gas on",
    "gas cock not shut",
    "only front off, gas left on",
    "yes but gas still on",
    "dunno",
    "odds",
    "maybe",
    "yes?",
    "not yet",
    "unplugged no",
    "leave",
)


@pytest.mark.parametrize("reply", NOT_YES)
def test_only_a_plain_yes_takes_a_guessed_state(tmp_path: Path, reply: str) -> None:
    """Any other answer leaves the machine as it was, and what was found is kept."""
    said, state = guessed(tmp_path, "igniter_ohms=open", reply)
    assert "Is the machine like this now" in said
    assert state == frozenset()
    with looked_at(tmp_path) as visit:
        assert len(visit.job.findings) == 2
    if reply in NOT_YES[1:6]:
        assert "!! Hands off it first. Switch the dryer off and pull the plug" in said


def test_a_panel_that_is_off_is_not_closed_by_a_run(tmp_path: Path) -> None:
    """The run is kept; the machine is not taken to be closed up."""
    opened = ("unplugged", "gas off", "front off")
    for n, reply in enumerate(("no, front is off still", "dunno")):
        _, state = guessed(tmp_path / str(n), *opened, "verify 25 min", "keep", reply)
        assert state == {"unplugged", "gas_shut", "front_open"}
    assert guessed(tmp_path / "yes", *opened, "verify 25 min", "keep", "yes")[1] == frozenset()


def test_undo_takes_back_what_was_said_to_be_so_with_the_finding(tmp_path: Path) -> None:
    """As one entry."""
    _, state = guessed(tmp_path, "igniter_ohms=open", "yes", "undo")
    with looked_at(tmp_path) as visit:
        assert state == frozenset() and [p.finding.name for p in visit.job.findings] == ["heat"]


def test_a_repair_that_was_not_on_the_screen_asks_whether_the_machine_is_closed_up(tmp_path: Path) -> None:
    """After the state itself was guessed as well: with a no the machine is as it was before, not taken to be ready to run."""
    said, state = guessed(tmp_path, "fuse_continuity=closed", "yes", "repair timer", "no")
    assert f"Is the machine like this now: {UP} (plugged in" in said and state == {
        "unplugged",
        "gas_shut",
        "front_open",
    }


def test_steps_that_were_on_the_screen_need_no_question(tmp_path: Path) -> None:
    """They lead to the state, so it is told."""
    said, _ = guessed(tmp_path, "how igniter_ohms", "igniter_ohms=open")
    assert "So the machine is taken to be: unplugged" in said and "Is the machine like this now" not in said


def test_a_look_that_leaves_the_machine_as_it_is_asks_nothing(tmp_path: Path) -> None:
    """One that leaves its cock shut, moved from the wall, asks: whoever lights it next has to know."""
    said, _ = guessed(tmp_path / "looks", "hood_flap=weak", "over_back_look=sound")
    assert "Is the machine like this now" not in said
    said, _ = guessed(tmp_path / "moved", "static_pressure=normal")
    assert "Is the machine like this now: plugged in, gas cock shut, pulled out" in said


def test_job_asks_as_well(tmp_path: Path) -> None:
    """Beside what it saved, with what to type when it is not so; not in JSON, nor for a state that was told."""
    data = ["--data", str(tmp_path)]
    command("job", "new", *data)
    said = " ".join(command("job", "find", "1", "igniter_ohms=open", *data).out.split())
    assert "Is the machine like this now: " in said
    assert f"faultodds job state 1 --data {tmp_path} --open ITEM or --shut ITEM" in said
    assert "Is the machine" not in command("job", "find", "1", "fuse_continuity=closed", *data).out
    assert "Is the machine" not in command("job", "state", "1", "--shut", "front_open", *data).out


def test_whoever_opens_the_gas_again_is_told_to_soap_it(tmp_path: Path) -> None:
    """Not where it was never shut."""
    assert (
        "soap-test"
        in bench(tmp_path / "1", *STRAIGHT_ON, "heat=none", "gas off", "gas on", "leave").out.split("Noted: gas on.")[
            1
        ][:99]
    )
    assert "Noted: gas on.\n!!" not in bench(tmp_path / "2", *STRAIGHT_ON, "heat=none", "gas on", "leave").out


def test_what_this_machine_does_not_have_is_not_open(tmp_path: Path) -> None:
    """A lower panel, where the front is one piece."""
    where = ("--data", str(tmp_path))
    command("job", "new", "--found", "heat=none", "--fact", "lower_panel=no", *where)
    shut = ("--open", "unplugged", "--open", "gas_shut")
    refused = command("job", "state", "1", *shut, "--open", "lower_open", *where)
    assert refused.code == 2 and "not on this machine (lower_panel is no)" in refused.err
    assert command("job", "state", "1", *shut, "--open", "front_open", *where).code == 0


def test_a_repair_is_told_before_it_is_closed_up(tmp_path: Path) -> None:
    """And how it is closed up is told with it, soap test and all."""
    where = ("--data", str(tmp_path))
    command("job", "new", "--found", "heat=none", "--fact", "lower_panel=yes", *where)
    command("job", "state", "1", "--open", "unplugged", "--open", "gas_shut", "--open", "lower_open", *where)
    fixed = command("job", "fix", "1", "igniter", *where).out
    assert fixed.index("repair igniter") < fixed.index("plugged in, gas cock open") < fixed.index("soap-test")
    told = command("job", "show", "1", *where).out
    assert told.index("repair igniter") < told.index("plugged in, gas cock open")


def test_no_ending_is_kept_for_later(tmp_path: Path) -> None:
    """While it is asked how the machine is, close and verify are not put off but typed again."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", "repair coil_set", "close gone", "yes", "leave").out
    assert "Not while that is not plain" in out and "is closed" not in out


def test_a_call_left_unsettled_asks_again_on_going_on(tmp_path: Path) -> None:
    """How the machine is, before anything else."""
    bench(tmp_path, *STRAIGHT_ON, "heat=none", "repair coil_set", "hm", "hm", "hm", "hm")
    out = bench(tmp_path, "no", "front off, gas off, unplugged", "state", "leave", options=["1"]).out
    assert "Is the machine like this now" in out and "top and front panel open" in out.split("> state")[-1]


@pytest.mark.parametrize(
    "line", ["coils 1.15k 1.35k OL and its all still plugged in", "leads still on the coils, live, reading open line"]
)
def test_a_resistance_is_not_read_live(tmp_path: Path, line: str) -> None:
    """Whatever is made of the line."""
    assert "a resistance is read on a dead machine only" in " ".join(
        bench(tmp_path, *STRAIGHT_ON, "heat=none", line, "leave").out.split()
    )


def test_a_dead_resistance_and_a_live_voltage_are_no_slip(tmp_path: Path) -> None:
    """Coils are read hot, and a voltage live."""
    for n, line in enumerate(
        ("coils 1.15k when its hot", "not live, coils 1.15k", "leads on, live, 118 v at the burner")
    ):
        assert "dead machine only" not in bench(tmp_path / str(n), *STRAIGHT_ON, "heat=none", line, "leave").out


def test_a_panel_named_in_a_line_that_is_not_taken_is_not_lost(tmp_path: Path) -> None:
    """It is asked for by itself."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", "clean_lint_path done front is still off", "leave").out
    assert "Nothing was noted of how the machine is" in " ".join(out.split())
