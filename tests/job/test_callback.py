"""A complaint that came back: what is asked, what it is evidence of, and how the job then stands."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from msgspec import structs

from calls import bench, command
from faultodds.advice.advisor import best_move
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, TimePassed
from faultodds.belief.posterior import infer, why_back
from faultodds.job.job import Job
from faultodds.job.standing import believe, stand, unverified
from faultodds.job.steps import Closed, Finding, Payload, RepairDone, Step
from faultodds.job.taking import evidence_of, situation_of
from job_states import random_job_states

OPENED = datetime(2025, 3, 1, 9, tzinfo=UTC)
FIRST: tuple[Payload, ...] = (
    Finding("heat", "cools_off"),
    Finding("burner_watch", "lights_then_fails"),
    RepairDone("coil_set"),
    Finding("verification_run", "dry_in_time"),
    Closed("gone"),
)


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    return open_appliance("gas_dryer")


def job_of(*payloads: Payload) -> Job:
    """A job with these steps, a minute apart."""
    job = Job("1", "gas_dryer", "", OPENED)
    for place, payload in enumerate(payloads, 1):
        job = job.plus(Step(place, OPENED + timedelta(minutes=place), payload))
    return job


def back_after(days: int, *then: Payload) -> Job:
    """The first visit, the complaint back after so many days, and what was entered then."""
    return job_of(*FIRST, Closed("came_back", OPENED.date() + timedelta(days=days)), *then)


def test_a_return_is_a_step_of_the_evidence(dryer: Appliance) -> None:
    """Days since the machine was left, by the file's rate; a customer calls by the file's habits; findings know their visit."""
    job = back_after(30, Finding("heat", "none"))
    (back,) = job.returns
    assert (back.on, back.days, back.stage, job.begun) == (date(2025, 3, 31), 30, 1, 1)
    evidence, log = evidence_of(dryer, job), dryer.knowledge.log
    new = 1 - np.exp(-dryer.knowledge.other_causes.new_a_year * 30 / 365.25)
    assert evidence.waits == (TimePassed(1, pytest.approx(new), log.back_if_wrong, log.back_if_right),)
    assert [(s.name, s.stage, s.visit) for s in evidence.seen] == [
        ("heat", 0, 0),
        ("burner_watch", 0, 0),
        ("verification_run", 1, 0),
        ("heat", 1, 1),
    ]


def test_days_count_from_when_the_machine_was_left_last() -> None:
    """A second return counts from the work of the second visit, or from the first return when nothing was done then."""
    first, later = Closed("came_back", date(2025, 3, 31)), Closed("came_back", date(2025, 4, 10))
    assert [b.days for b in job_of(*FIRST, first, later).returns] == [30, 10]
    assert [b.days for b in job_of(*FIRST, first, Closed("gone", date(2025, 4, 2)), later).returns] == [30, 8]


def test_the_same_day_it_is_the_same_machine(dryer: Appliance) -> None:
    """With no day between, only that somebody called again speaks; all else is as before."""
    belief, job = believe(dryer, back_after(0)), job_of(*FIRST[:-1])
    before, sound = believe(dryer, job).now, dryer.suspects.sound
    wanted = before * dryer.knowledge.log.back_if_wrong
    wanted[sound] = before[sound] * dryer.knowledge.log.back_if_right
    np.testing.assert_allclose(belief.now, wanted / wanted.sum(), atol=1e-12)


def test_new_faults_grow_with_the_days(dryer: Appliance) -> None:
    """The longer it was, the likelier a fault that has come since, and the less likely a repair that did not take."""
    why = [stand(dryer, back_after(days), Situation()).why_back for days in (0, 7, 60, 400)]
    assert all(w is not None and w.not_taken + w.missed + w.new + w.sound == pytest.approx(1.0) for w in why)
    new, not_taken = ([getattr(w, field) for w in why] for field in ("new", "not_taken"))
    assert new[0] == pytest.approx(0.0, abs=1e-12)
    assert new == sorted(new)
    assert not_taken == sorted(not_taken, reverse=True)
    assert stand(dryer, job_of(*FIRST), Situation()).why_back is None


def test_what_comes_back_is_looked_at_again(dryer: Appliance) -> None:
    """Checks of the first visit are offered again; its good run is no reason to leave; no repair waits for a run."""
    job = back_after(14, Finding("heat", "cools_off"))
    problem = Problem(dryer, believe(dryer, job), situation_of(dryer, job))
    assert {"burner_watch", "verification_run"} <= set(problem.checks)
    assert not problem.verified
    assert not problem.unverified
    assert not unverified(dryer.knowledge, job)
    assert Ranking(problem).stop_cost == float("inf")
    first = job_of(*FIRST[:-1])
    assert "verification_run" not in Problem(dryer, believe(dryer, first), situation_of(dryer, first)).checks


def test_time_does_not_take_back_what_stops_the_run(dryer: Appliance) -> None:
    """A burner that burned too much on the first visit is not run on the second before it is seen to burn right."""
    runs = {n for n, c in dryer.knowledge.check.items() if c.running}
    stopping = [(n, o) for n, c in dryer.knowledge.observables.items() for o in c.stops_run]
    assert stopping
    for name, outcome in stopping:
        job = job_of(Finding(name, outcome), Closed("gone"), Closed("came_back", date(2026, 3, 1)))
        problem = Problem(dryer, infer(dryer.suspects, evidence_of(dryer, job)), Situation())
        assert problem.run_stopped
        assert not runs & set(problem.checks)


def test_a_part_that_was_proved_may_fail_anew(dryer: Appliance) -> None:
    """An igniter fitted and seen to work can be open a year later; on the same day it would be a repair that did not take."""
    work = (Finding("heat", "none"), RepairDone("igniter"), Finding("verification_run", "dry_in_time"), Closed("gone"))
    after = [
        stand(
            dryer,
            job_of(*work, Closed("came_back", OPENED.date() + timedelta(days=d)), Finding("igniter_ohms", "open")),
            Situation(),
        )
        for d in (0, 700)
    ]
    igniter = dryer.suspects.mode_index["igniter.open"]
    odds = [float(a.belief.mode_odds[igniter]) for a in after]
    assert odds[1] > odds[0]
    assert odds[1] > 0.8
    assert [a.why_back is not None and a.why_back.new > 0.5 for a in after] == [False, True]


def test_prices_know_a_part_that_failed_anew_from_a_repair_that_did_not_take(dryer: Appliance) -> None:
    """Fitted again on a later visit, an igniter takes with a chance between that of a first time and of a failed one; the
    longer it was, the nearer the first. On the same visit it is at most that of a failed one."""
    fit, opened = dryer.knowledge.repair["igniter"], Finding("igniter_ohms", "open")
    work = (Finding("heat", "none"), RepairDone("igniter"), Finding("verification_run", "dry_in_time"), Closed("gone"))
    chances = []
    for days in (0, 10, 100, 1000):
        job = job_of(*work, Closed("came_back", OPENED.date() + timedelta(days=days)), opened)
        chances.append(Problem(dryer, believe(dryer, job), Situation()).takes("igniter"))
    assert chances == sorted(chances)
    assert chances[0] == pytest.approx(0.4)
    assert 0.9 < chances[-1] < fit.success
    again = job_of(*work, Closed("came_back", OPENED.date() + timedelta(days=1000)), opened, RepairDone("igniter"))
    assert 0.2 < Problem(dryer, believe(dryer, again), Situation()).takes("igniter") <= 0.4


def test_the_screens_ask_and_tell_why(tmp_path: Path) -> None:
    """The complaint is asked again, the machine is not; the screen says how likely each reason is, in the job's JSON too."""
    safe = ["no"] * 4
    bench(
        tmp_path,
        *safe,
        "done",
        "heat=none",
        "",
        "ig oh open",
        "yes",
        "repair igniter",
        "yes",
        "verify 26 min",
        "close gone",
    )
    closed = command("job", "close", "1", "came_back", "--on", date.today().isoformat(), "--data", str(tmp_path))
    assert "Ask what it does now" in " ".join(closed.out.split())
    again = bench(tmp_path, "no", "heat=none", "", "leave", options=["1"])
    said = " ".join(again.out.split())
    assert "What is wrong? Several on a line" in said
    assert "The machine: a number" not in said
    assert f"Came back on {date.today()}" in said
    assert "what was repaired is still there" in said  # on the day itself nothing new can have come
    answer = json.loads(command("job", "show", "1", "--json", "--data", str(tmp_path)).out)
    assert answer["came_back"][0]["on"] == date.today().isoformat()
    assert sum(answer["why_back"].values()) == pytest.approx(1.0)


def test_no_return_no_wait(dryer: Appliance) -> None:
    """A job that never came back is the evidence that it was."""
    assert evidence_of(dryer, job_of(*FIRST)).waits == ()
    assert isinstance(evidence_of(dryer, job_of(*FIRST)), Evidence)


def test_nobody_is_sent_away_on_a_callback_before_a_good_run(dryer: Appliance) -> None:
    """Random calls that come back after a while: belief is whole, the reasons add up, leaving waits for a run of this visit."""
    for state in random_job_states(dryer, 10, seed=11):
        wait = TimePassed(len(state.evidence.repairs), 0.05, 0.8, 0.03)
        belief = infer(dryer.suspects, structs.replace(state.evidence, waits=(wait,)))
        why = why_back(belief)
        assert belief.now.sum() == pytest.approx(1.0)
        assert belief.original.sum() == pytest.approx(1.0)
        assert why is not None and sum(structs.astuple(why)) == pytest.approx(1.0)
        assert why.sound == pytest.approx(belief.sound)
        assert best_move(dryer, belief, state.situation).kind != "stop"


OF_HEAT = {"drum_warm", "glow_look", "burner_watch", "gas_cock_look"}
NO_HEAT_BEFORE: dict[str, tuple[Payload, ...]] = {
    "coils": (Finding("heat", "cools_off"), Finding("burner_watch", "lights_then_fails"), RepairDone("coil_set")),
    "valve": (Finding("heat", "none"), Finding("glow_look", "glow_no_flame"), RepairDone("gas_valve")),
    "igniter": (Finding("heat", "none"), Finding("igniter_ohms", "open"), RepairDone("igniter")),
    "sensor": (Finding("heat", "none"), Finding("glow_look", "glow_stays"), RepairDone("flame_sensor")),
}


@pytest.mark.parametrize("days", [0, 1, 5])
@pytest.mark.parametrize("before", NO_HEAT_BEFORE)
def test_what_tells_of_no_heat_comes_first_when_no_heat_comes_back(dryer: Appliance, before: str, days: int) -> None:
    """Not how full the drum is, nor the air at the hood."""
    job = _no_heat_again(before, days)
    assert (
        best_move(dryer, believe(dryer, job), structs.replace(situation_of(dryer, job), asking=False)).name in OF_HEAT
    )
    assert stand(dryer, job, situation_of(dryer, job)).advice.checks[0].name in OF_HEAT


def test_a_complaint_that_is_not_looked_at_is_seen(dryer: Appliance, monkeypatch: pytest.MonkeyPatch) -> None:
    """Planted: on a return, nothing is behind what is complained of."""
    monkeypatch.setattr(Problem, "behind_return", frozenset())
    jobs = [_no_heat_again(before, days) for before in NO_HEAT_BEFORE for days in (0, 1, 5)]
    moves = [best_move(dryer, believe(dryer, j), structs.replace(situation_of(dryer, j), asking=False)) for j in jobs]
    assert {m.name for m in moves} - OF_HEAT


def _no_heat_again(before: str, days: int) -> Job:
    left = (Finding("verification_run", "dry_in_time"), Closed("gone"))
    back = (Closed("came_back", OPENED.date() + timedelta(days=days)), Finding("heat", "none"))
    return job_of(*NO_HEAT_BEFORE[before], *left, *back)


def test_a_slow_dryer_that_comes_back_may_be_asked_about_its_loads(dryer: Appliance) -> None:
    """There, how full it is tells of the complaint."""
    work = (Finding("dry_time", "longer"), RepairDone("clean_duct"), Finding("verification_run", "dry_in_time"))
    job = job_of(*work, Closed("gone"), Closed("came_back", OPENED.date()), Finding("dry_time", "longer"))
    problem = Problem(dryer, believe(dryer, job), situation_of(dryer, job))
    assert any(mode.startswith("use.") for mode in problem.behind_return)
    assert not Problem(dryer, believe(dryer, job_of(*work)), Situation()).behind_return
