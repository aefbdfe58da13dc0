"""What stands when a call is to end: a debt that no skip pays, a run that settles nothing, CO above none, a fault seen and left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from pathlib import Path
from random import Random

import pytest

from calls import command
from faultodds.belief.evidence import WeighedFinding
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge
from faultodds.safety import owed
from faultodds.safety.owed import unmended


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return load("gas_dryer")


def job(data: Path, *line: str) -> tuple[int, str]:
    """A job command's exit code and all that it said."""
    ended = command("job", *line, "--data", str(data))
    return ended.code, " ".join((ended.out + ended.err).split())


def put_back(data: Path) -> None:
    """The machine is closed up, on and in its place."""
    for item in ("front_open", "rear_open", "unplugged", "gas_shut", "duct_off", "pulled_out"):
        job(data, "state", "1", "--shut", item)


def test_a_skip_pays_no_debt_and_a_run_lifts_no_bar(tmp_path: Path) -> None:
    """A new fuse, its cause left out for want of tools: the run is taken and settles nothing, the skip neither."""
    job(tmp_path, "new", "--found", "fuse_continuity=open")
    assert "AT ONCE: What brought it on" in job(tmp_path, "fix", "1", "thermal_fuse")[1]
    code, told = job(tmp_path, "verify", "1", "dry_in_time")
    assert code == 0 and "AT ONCE: What brought it on" in told and "does not settle it" in told
    for check in ("hood_air_speed", "static_pressure"):
        job(tmp_path, "skip", "1", check)
    for note in ((), ("--note", "no anemometer here")):
        code, told = job(tmp_path, "close", "1", "gone", *note)
        assert code == 2 and "close referred" in told and ": skip" not in told
    assert job(tmp_path, "close", "1", "referred")[0] == 0
    job(tmp_path, "undo", "1")
    assert "AT ONCE" not in job(tmp_path, "find", "1", "hood_air_speed=good")[1]
    put_back(tmp_path)
    assert job(tmp_path, "close", "1", "gone")[0] == 0


@pytest.mark.parametrize("repair", ["new_transition", "louvred_door"])
def test_co_above_none_is_measured_again(tmp_path: Path, repair: str) -> None:
    """What to do at once is said; no remark and no repair does instead of a new measurement."""
    told = job(tmp_path, "new", "--found", "transition_look=crushed", "--found", "co_room=some")[1]
    assert "AT ONCE: CO in the room. Stop the dryer, open windows" in told and "CO meter on" in told
    assert job(tmp_path, "close", "1", "gone", "--note", "co was from the car")[0] == 2
    assert job(tmp_path, "verify", "1", "dry_in_time")[0] == 2
    job(tmp_path, "fix", "1", "new_transition", *([repair] if repair != "new_transition" else []))
    if repair != "new_transition":  # called for with the rest, made later
        job(tmp_path, "fix", "1", repair)
    assert job(tmp_path, "verify", "1", "dry_in_time")[0] == 0
    code, told = job(tmp_path, "close", "1", "gone", "--note", "car")
    assert code == 2 and "Enter what co_room shows now" in told
    job(tmp_path, "find", "1", "co_room=12 ppm")
    assert job(tmp_path, "close", "1", "gone", "--note", "car")[0] == 2
    job(tmp_path, "find", "1", "co_room=0")
    code, told = job(tmp_path, "close", "1", "gone", "--note", "door shut, 0 ppm")
    assert code == 2 and "a good look by itself mends nothing" in told
    job(tmp_path, "fix", "1", "refit_transition")
    job(tmp_path, "verify", "1", "dry_in_time")
    job(tmp_path, "find", "1", "co_room=0")
    code, told = job(tmp_path, "close", "1", "gone", "--note", "door shut, 0 ppm")
    assert code == 0, told


def test_a_number_of_co_is_a_reading(tmp_path: Path) -> None:
    """With its unit or bare, none below 9, a stop from 35 at the worst place, over the meter's range as well; bands are shown."""
    for text, outcome in {
        "0": "none",
        "8.9 ppm": "none",
        "9": "some",
        "12ppm": "some",
        "34 ppm": "some",
        "0/12": "some",
    }.items():
        assert f"co_room = {outcome} (read" in job(tmp_path, "new", "--found", f"co_room={text}")[1], text
    for text in ("35", "70", "70 ppm", "10 to 40", "12/40", "OL", "35.0 ppm"):
        started = job(tmp_path, "new")[1].split()[1]
        code, told = job(tmp_path, "find", started, f"co_room={text}")
        assert code == 3 and "STOP. carbon monoxide" in told, text
    assert "some 9 to 35 ppm" in command("appliance", "show", "gas_dryer", "co_room").out
    assert job(tmp_path, "new", "--found", "co_room=-1")[0] == 2


def test_a_fault_seen_and_left_is_asked_about_or_refused(tmp_path: Path) -> None:
    """One that chokes the air needs its repair or a new look; another one a reason, which is kept."""
    job(
        tmp_path,
        "new",
        "--found",
        "transition_look=crushed",
        "--found",
        "door_seal_look=loose",
        "--found",
        "igniter_ohms=open",
    )
    job(tmp_path, "fix", "1", "igniter")
    job(tmp_path, "verify", "1", "dry_in_time")
    code, told = job(tmp_path, "close", "1", "gone", "--note", "all well")
    assert code == 2 and "transition_look=crushed was found" in told and "and not mended" in told
    job(tmp_path, "find", "1", "transition_look=sound")
    code, told = job(tmp_path, "close", "1", "gone")
    assert code == 2 and "door_seal_look=loose was found" in told and "Why is the complaint gone?" in told
    put_back(tmp_path)
    assert job(tmp_path, "close", "1", "gone", "--note", "customer wants the seal left")[0] == 0


def seen_faults(k: Knowledge) -> list[tuple[str, str, str]]:
    """Check, outcome and likeliest mode of every fault that a check shows directly."""
    shown = []
    for name, check in k.check.items():
        for outcome in list(check.outcomes)[1:]:
            for left in unmended(k, [], [WeighedFinding(name, {outcome: 1.0})]):
                shown.append((name, left.outcome, left.mode))
    return shown


SEVERAL = {"duct_look", "coil_ohms_hot", "cycling_bench_heat", "relay_output", "manifold_pressure"}


def breaks(k: Knowledge, shown: Sequence[tuple[str, str, str]], count: int) -> Iterator[str]:
    """Against the law, on random calls: a fault that one outcome stands for alone is left unless a repair of it, or a new look
    that is normal, came later."""
    rng, repairs = Random(4), [*k.repair]
    for _ in range(count):
        name, outcome, mode = rng.choice([each for each in shown if each[0] not in SEVERAL])
        done = rng.choices(repairs, k=rng.randint(0, 3))
        stage = rng.randint(0, len(done))
        after = []
        if rng.random() < 0.3:
            after = [WeighedFinding(name, {next(iter(k.check[name].outcomes)): 1.0}, rng.randint(stage, len(done)), 1)]
        left = {u.name for u in unmended(k, done, [WeighedFinding(name, {outcome: 1.0}, stage), *after])}
        its = any(mode in k.modes_under(t) for r in done[stage:] for t in k.repair[r].fixes)
        if (name in left) is bool(its or after):
            yield f"{name}={outcome} after {done[stage:]} {after}"


def test_the_law_of_faults_left_on_random_calls(dryer: Knowledge, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the transition shows bars, what a door seal shows does not; a mistake in the law is seen."""
    shown = seen_faults(dryer)
    assert len(shown) > 30 and {("transition_look", "crushed", "transition.crushed")} <= set(shown)
    bars = {
        name: unmended(dryer, [], [WeighedFinding(name, {outcome: 1.0})])[0].barring
        for name, outcome in product(
            ("transition_look", "door_seal_look", "lint_screen_look"), ("crushed", "loose", "coated")
        )
        if outcome in dryer.check[name].outcomes
    }
    assert bars == {"transition_look": True, "door_seal_look": False, "lint_screen_look": True}
    assert not list(breaks(dryer, shown, 2000))
    monkeypatch.setattr(owed, "_names", lambda k, check, outcome: {"rollers.dragging": 0.9})
    assert list(breaks(dryer, shown, 2000))
