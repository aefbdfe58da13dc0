"""How a call may end: with a reason that is one, nothing let out, and a machine of which somebody has said how it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench, command, looked_at
from faultodds.advice import advisor, situation
from faultodds.belief import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import infer
from faultodds.errors import BadReading
from faultodds.job import naming, sayings, take_finding


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer", revision="file")


def job(data: Path, *line: str) -> tuple[int, str]:
    """A job command's exit code and all that it said."""
    ended = command("job", *line, "--data", str(data))
    return ended.code, " ".join((ended.out + ended.err).split())


NO_REASON = (
    "no",
    "not run",
    "don't know",
    "still slow",
    "still no heat",
    "why not?",
    "will come back monday",
    "unsure",
    "nope",
)
REASONS = (
    "breaker was off, put it on",
    "screen was out, put back",
    "customer wants that left",
    "no run made: customer had to go",
)


@pytest.mark.parametrize("note", NO_REASON)
def test_words_that_deny_doubt_or_put_off_are_no_reason(tmp_path: Path, note: str) -> None:
    """Neither for a call on which nothing was done, nor after a repair that a run alone does not prove."""
    assert not naming.explains(note)
    job(tmp_path, "new", "--found", "heat=none")
    code, told = job(tmp_path, "close", "1", "gone", "--note", note)
    assert code == 2 and "is no reason why the complaint is gone" in told


@pytest.mark.parametrize("note", REASONS)
def test_a_reason_is_taken(tmp_path: Path, note: str) -> None:
    """In the technician's own words."""
    job(tmp_path, "new", "--found", "heat=none")
    assert job(tmp_path, "close", "1", "gone", "--note", note)[0] == 0


def test_what_a_run_does_not_prove_by_itself_is_said_to_have_been_done(tmp_path: Path) -> None:
    """The flame after work on the burner: any denial in the answer is none."""
    job(tmp_path, "new", "--found", "flame_colour=yellow")
    job(tmp_path, "fix", "1", "burner_clean")
    job(tmp_path, "verify", "1", "25 min")
    page = command("report", "1", "--data", str(tmp_path)).out.casefold()
    assert "not looked at since" in page and "do not use this machine" in page
    job(tmp_path, "find", "1", "flame_colour=blue")
    for note in ("no", "no, forgot to look at the flame", "ran without a load", "flame was yellow on the run"):
        assert job(tmp_path, "close", "1", "gone", "--note", note)[0] == 2, note
    assert job(tmp_path, "close", "1", "gone", "--note", "run made so, blue")[0] == 0


def test_what_may_let_exhaust_into_the_room_is_looked_at(tmp_path: Path, dryer: Appliance) -> None:
    """Though nobody saw it: a humid room and lint around are enough; the advice is to look, and closing asks for it."""
    job(tmp_path, "new", "--found", "room_humid=yes", "--found", "lint_around=yes")
    job(tmp_path, "fix", "1", "coil_set")
    told = job(tmp_path, "verify", "1", "25 min")[1]
    code, refused = job(tmp_path, "close", "1", "gone")
    assert code == 2 and "transition_look=off may be so" in refused
    assert "transition_look" in job(tmp_path, "next", "1")[1], told
    job(tmp_path, "find", "1", "transition_look=sound")
    job(tmp_path, "state", "1", "--shut", "pulled_out", "--shut", "unplugged", "--shut", "gas_shut")
    assert "may be so" not in job(tmp_path, "close", "1", "gone")[1]


def test_without_a_co_meter_a_repair_is_not_proved_but_handed_over(dryer: Appliance) -> None:
    """Nothing else is mended on the way, and it is said why."""
    without = situation.Situation(skipped=frozenset(dryer.knowledge.needing(["co_meter"])), asking=True)
    seen = (WeighedFinding("flame_colour", {"yellow": 1.0}), WeighedFinding("heat", {"cools_off": 1.0}))
    belief = infer(dryer.suspects, Evidence({}, seen, (repair_effect(dryer.knowledge, "burner_clean"),)))
    advice = advisor.advise(dryer, belief, without)
    assert advice.kind == "refer" and "co meter" in advice.why
    assert advisor.best_move(dryer, belief, situation.Situation(asking=True)).kind != "refer"


def test_all_that_a_line_says_of_the_machine_is_one_state(tmp_path: Path) -> None:
    """ "front is off, gas shut and unplugged" in whatever order."""
    for at, line in enumerate(("front is off, gas shut and unplugged", "unplugged, front off, gas off")):
        bench(tmp_path / str(at), *STRAIGHT_ON, "heat=none", line, "leave")
        with looked_at(tmp_path / str(at)) as visit:
            assert visit.state == {"front_open", "gas_shut", "unplugged"}


def test_a_machine_that_nobody_told_of_stays_a_warning(tmp_path: Path) -> None:
    """A call that is left because nobody said how the machine is says so on every screen until somebody does."""
    out = bench(tmp_path, *STRAIGHT_ON, "heat=none", "unplugged", "front open", "hm", "hm", "hm", "hm").out
    assert "GAS ON" in out.split("Left like this")[1]
    for told in (job(tmp_path, "next", "1")[1], bench(tmp_path, "no", "leave", options=["1"]).out):
        assert "How the machine is was not settled" in told
    assert "not settled" not in " ".join(
        bench(tmp_path, "no", "gas off", "leave", options=["1"]).out.split("Noted")[1:]
    )


def test_a_machine_that_stands_open_is_on_the_customers_page(tmp_path: Path) -> None:
    """Nobody starts it."""
    job(tmp_path, "new", "--found", "heat=none")
    job(tmp_path, "state", "1", "--open", "unplugged", "--open", "gas_shut", "--open", "front_open")
    assert "Do not start it" in " ".join(command("report", "1", "--data", str(tmp_path)).out.split())


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("flame yellow sometimes", "flame_colour"),
        ("flame was yellow before I cleaned it", "flame_colour"),
        ("flame was yellow before", "flame_colour"),
        ("the flame used to be yellow", "flame_colour"),
        ("she thinks the flame is yellow", "flame_colour"),
        ("duct was off before I put it back", "transition_look"),
    ],
)
def test_what_was_so_or_is_so_at_times_is_asked_about(tmp_path: Path, dryer: Appliance, line: str, name: str) -> None:
    """What would stop the machine is never only not understood."""
    assert sayings.doubted_stop(dryer.knowledge, line) == name
    bench(tmp_path, *STRAIGHT_ON, "heat=none", line, "1", "leave")
    with looked_at(tmp_path) as visit:
        assert name in {p.finding.name for p in visit.job.findings}


@pytest.mark.parametrize(
    ("name", "reading"),
    [("verification_run", "12 min"), ("static_pressure", "0.9 psi"), ("outlet_voltage", "230 V"), ("fuse_continuity", "1"),
     ("hood_air_speed", "1.150 fpm"), ("coil_ohms", "560 1350 1200")],
)  # fmt: skip
def test_a_reading_that_cannot_be_or_may_be_another_is_asked_about(dryer: Appliance, name: str, reading: str) -> None:
    """Beyond what the check can show; a meter's 1 for an open circuit; a point that parts thousands; windings in another order."""
    with pytest.raises(BadReading):
        take_finding(dryer.knowledge, name, reading, {"fuel": "natural", "coil_layout": "two_coils_two_three_terminal"})


@pytest.mark.parametrize(
    "again", [(False, True, False), (False, True, True, False), (True, False, False), (False, True, False, True)]
)
def test_what_was_entered_last_is_what_counts(tmp_path: Path, dryer: Appliance, again: tuple[bool, ...]) -> None:
    """After measuring again too: a plain entry takes the place of the last measurement, so that CO found then stops the run."""
    job(tmp_path, "new")
    for n, more in enumerate(again):
        last = n == len(again) - 1
        job(tmp_path, "find", "1", f"co_room={'some' if last else 'none'}", *(["--again"] if more else []))
    with looked_at(tmp_path) as visit:
        assert visit.out_of_service() == ["co_room=some"]
