"""Whole calls, from complaint to closed job, on machines whose faults the program is not told.

The technician in these tests follows the program's own advice; the machine answers with raw readings.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from calls import SAFE, Machine, command, looked_at
from faultodds.advice.advisor import Advice
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.posterior import Belief
from faultodds.job.explain import reminders
from faultodds.job.open_job import OpenJob
from faultodds.job.store import Store

AIRFLOW = {
    "lint_screen_look",
    "hood_flap",
    "hood_air_speed",
    "transition_look",
    "duct_off_run",
    "static_pressure",
}
COILS = {"coil_ohms", "coil_ohms_hot", "burner_watch", "coil_set"}
IGNITER = {"igniter_ohms", "burner_watch", "igniter"}
CYCLING = {"cycling_continuity", "cycling_bench_heat", "cycling_thermostat"}
MOST_STEPS = 40


@dataclass(frozen=True)
class Scenario:
    """A call: what is told, what is wrong, and what the meters show while it is."""

    facts: dict[str, str]
    complaint: dict[str, str]
    faults: frozenset[str]
    readings: dict[str, str]


BLOCKED_DUCT_AND_FUSE = Scenario(
    facts={"control": "timer", "vent_material": "foil", "duct_cleaned": "over_36"},
    complaint={"dry_time": "over_twice", "heat": "none"},
    faults=frozenset({"duct.nearly_blocked", "thermal_fuse.open"}),
    readings={
        "hood_flap": "none",
        "hood_air_speed": "310 fpm",
        "duct_off_run": "much_better",
        "static_pressure": "1.4 in wc",
        "fuse_continuity": "OL",
        "high_limit_continuity": "0.4 ohm",
        "drum_warm": "cold",
        "glow_look": "no_call",
        "duct_look": "lint",
        "burner_watch": "no_call",
        "meter_clock": "dial does not move",
        "exhaust_cycling": "no heat",
        "burner_voltage": "0 V",
        "igniter_ohms": "120 ohm",
        "coil_ohms": "1.15k/1.35k/560",
        "verification_run": "no heat",
    },
)
COILS_HOT = Scenario(
    facts={"control": "timer", "age": "to_13"},
    complaint={"dry_time": "over_twice", "heat": "cools_off"},
    faults=frozenset({"coils.drop_out_hot"}),
    readings={
        "hood_flap": "strong",
        "hood_air_speed": "1350 fpm",
        "static_pressure": "0.35 in wc",
        "burner_watch": "lights_then_fails",
        "igniter_ohms": "140 ohm",
        "coil_ohms": "1150/1350/560",
        "coil_ohms_hot": "1180/OL/575",
        "flame_sensor_continuity": "beeps",
        "fuse_continuity": "0.4 ohm",
        "high_limit_continuity": "0.4 ohm",
        "meter_clock": "300 s per half foot",
        "exhaust_cycling": "cuts off at 120F",
        "verification_run": "55 min",
    },
)
DRIFTED_THERMISTOR = Scenario(
    facts={"control": "board", "auto_dry": "yes"},
    complaint={"dry_time": "longer", "clothes": "cool_damp"},
    faults=frozenset({"thermistor.drifted"}),
    readings={
        "hood_flap": "strong",
        "hood_air_speed": "1300 fpm",
        "static_pressure": "0.35 in wc",
        "burner_watch": "short_cycles",
        "igniter_ohms": "140 ohm",
        "coil_ohms": "1150/1350/560",
        "thermistor_ohms": "7.9k at 72F",
        "exhaust_cycling": "85-112F",
        "meter_clock": "84 s per half foot",
        "fuse_continuity": "0.4 ohm",
        "verification_run": "48 min",
    },
)


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty job store."""
    with Store.open(tmp_path) as opened:
        yield opened


def begin(store: Store, dryer: Appliance, scenario: Scenario) -> tuple[OpenJob, Machine]:
    """A call with its facts and complaint entered, and the machine it is about."""
    visit = OpenJob.start(store, dryer, "Harbour Lane, synthetic")
    for name, value in scenario.facts.items():
        visit.fact(name, value)
    for name, value in scenario.complaint.items():
        visit.find(name, value)
    return visit, Machine(dryer.knowledge, set(scenario.faults), scenario.readings)


def advised(visit: OpenJob) -> Advice:
    """What is advised when nobody can answer any question."""
    while visit.now.advice.kind == "ask":
        visit.skip(visit.now.advice.name)
    return visit.now.advice


def follow(visit: OpenJob, machine: Machine) -> None:
    """Do as advised until the advice is to close, and close."""
    for _ in range(MOST_STEPS):
        advice = advised(visit)
        if advice.kind == "check":
            visit.find(advice.name, machine.shows(advice.name))
        elif advice.kind == "repair":
            for name in (advice.name, *advice.together):
                visit.fix(name)
                if name in visit.job.awaited:
                    visit.fix(name)
                machine.mend(name)
        else:
            visit.close("gone" if advice.kind == "stop" else "referred")
            return
    pytest.fail(f"no end after {MOST_STEPS} steps: {machine.asked}")


def chance(belief: Belief, mode: str) -> float:
    """The chance of one mode in the machine as it is now."""
    return float(belief.mode_odds[belief.suspects.mode_index[mode]])


def assert_closed_and_kept(store: Store, job_id: str, repairs: set[str]) -> None:
    """The store holds the job: these repairs, then a passed verification run, then closed as gone."""
    job = store.get(job_id)
    assert set(job.repairs) == repairs
    assert job.outcome == "gone"
    last = job.findings[-1]
    assert (last.finding.name, last.stage) == ("verification_run", len(repairs))
    assert last.finding.outcome == "dry_in_time"


def test_a_nearly_blocked_duct_that_has_blown_the_fuse(store: Store, dryer: Appliance) -> None:
    """Both the fuse and what blew it are found and mended before the run, and the fuse comes with "find
    it"."""
    visit, machine = begin(store, dryer, BLOCKED_DUCT_AND_FUSE)
    said: list[str] = []
    for _ in range(MOST_STEPS):
        if "fuse_continuity" in machine.asked:
            said += reminders(visit)
        advice = advised(visit)
        if advice.kind == "repair":
            break
        visit.find(advice.name, machine.shows(advice.name))
    assert any(text.startswith("A blown fuse has a cause: find it") for text in said)
    assert {advice.name, *advice.together} == {"clean_duct", "thermal_fuse"}
    follow(visit, machine)
    assert not machine.faults
    assert_closed_and_kept(store, visit.job.id, {"clean_duct", "thermal_fuse"})
    assert "OL" in [p.finding.raw for p in store.get(visit.job.id).findings]


def test_a_repaired_fuse_alone_is_followed_by_the_duct_not_by_a_run(store: Store, dryer: Appliance) -> None:
    """With a blocked duct as good as found, a new fuse is not tried on it: the duct comes before the run."""
    visit, _ = begin(store, dryer, BLOCKED_DUCT_AND_FUSE)
    for name in ("fuse_continuity", "duct_off_run", "static_pressure", "hood_air_speed", "transition_look"):
        visit.find(name, BLOCKED_DUCT_AND_FUSE.readings.get(name, "sound"))
    visit.fix("thermal_fuse")
    advice = visit.now.advice
    assert (advice.kind, advice.name) == ("repair", "clean_duct")
    assert any("find it" in text for text in reminders(visit))


def test_coils_that_drop_out_hot_with_good_cold_readings(store: Store, dryer: Appliance) -> None:
    """Good cold windings lower the fault only a little; hot ones prove it; the set is changed and
    verified."""
    visit, machine = begin(store, dryer, COILS_HOT)
    before = chance(visit.now.belief, "coils.drop_out_hot")
    cold = visit.find("coil_ohms", machine.shows("coil_ohms"))
    assert cold.judgement is not None
    assert cold.judgement.verdict == "good"
    after = chance(visit.now.belief, "coils.drop_out_hot")
    assert 0.9 * before < after <= before
    hot = visit.find("coil_ohms_hot", machine.shows("coil_ohms_hot"))
    assert hot.judgement is not None
    assert hot.judgement.verdict == "off"
    assert chance(visit.now.belief, "coils.drop_out_hot") > 0.9
    follow(visit, machine)
    assert_closed_and_kept(store, visit.job.id, {"coil_set"})


def test_coils_are_found_by_following_the_advice_alone(store: Store, dryer: Appliance) -> None:
    """Without being told what to look at, the program ends at the coil set."""
    visit, machine = begin(store, dryer, COILS_HOT)
    follow(visit, machine)
    assert_closed_and_kept(store, visit.job.id, {"coil_set"})


def test_a_drifted_thermistor_step_by_step_with_the_job_commands(tmp_path: Path, dryer: Appliance) -> None:
    """The `job` commands alone carry a call from complaint to a closed job, raw reading and all."""
    scenario, where = DRIFTED_THERMISTOR, ("--data", str(tmp_path))
    start = ["job", "new", *where]
    start += [f"--fact={n}={v}" for n, v in scenario.facts.items()]
    assert command(*start, *[f"--found={n}={v}" for n, v in scenario.complaint.items()]).code == 0
    machine = Machine(dryer.knowledge, set(scenario.faults), scenario.readings)
    for _ in range(MOST_STEPS):
        with looked_at(tmp_path) as visit:
            advice = visit.now.advice
        if advice.kind == "ask":
            step = ["skip", "1", advice.name]
        elif advice.kind == "check":
            step = ["find", "1", f"{advice.name}={machine.shows(advice.name)}"]
        elif advice.kind == "repair":
            step = ["fix", "1", advice.name, *advice.together]
            for name in (advice.name, *advice.together):
                machine.mend(name)
        else:
            break
        ended = command("job", *step, *where)
        assert ended.code == 0, ended.err
    assert advice.kind == "stop"
    assert "thermistor_ohms" in machine.asked
    assert command("job", "close", "1", "gone", *where).code == 0
    with Store.open(tmp_path) as store:
        assert_closed_and_kept(store, "1", {"thermistor"})
        raw = {p.finding.name: p.finding.raw for p in store.get("1").findings}
    assert raw["thermistor_ohms"] == "7.9k at 72F"


class Session:
    """A guided call in another process, on pipes: type a line, read until it asks again."""

    def __init__(self, data: Path) -> None:
        environment = {**os.environ, "FAULTODDS_DATA": str(data)}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "faultodds_cli.main", "bench"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment,
        )
        self._prompt()

    def type(self, *lines: str) -> str:
        """Type lines, the last of which brings the next prompt of the call; what was printed meanwhile."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        seen = ""
        for line in lines:
            self.process.stdin.write(f"{line}\n".encode())
            self.process.stdin.flush()
            seen = self._prompt()
        return seen

    def _prompt(self) -> str:
        """What is printed up to the next prompt."""
        assert self.process.stdout is not None
        seen = b""
        while not seen.endswith(b"\n> "):
            byte = self.process.stdout.read(1)
            if not byte:
                break
            seen += byte
        return seen.decode()

    def end(self) -> int:
        """Close the pipes; the exit code."""
        self.process.communicate()
        return self.process.returncode


def test_the_blocked_duct_through_a_guided_call_on_a_pipe(tmp_path: Path, dryer: Appliance) -> None:
    """From the stop questions to a closed job; every line is in the store by the time the prompt is back."""
    scenario = BLOCKED_DUCT_AND_FUSE
    machine = Machine(dryer.knowledge, set(scenario.faults), scenario.readings)
    session = Session(tmp_path)
    facts = " ".join(f"{n}={v}" for n, v in scenario.facts.items())
    complaint = " ".join(f"{n}={v}" for n, v in scenario.complaint.items())
    screen = session.type(*SAFE, facts, "done", complaint, "done")
    for _ in range(MOST_STEPS):
        with looked_at(tmp_path) as visit:
            advice, steps = visit.now.advice, visit.job.last_seq
        work = {**dryer.knowledge.check, **dryer.knowledge.repair}
        expected = work[advice.work[0]].title if advice.work else "stop here" if advice.kind == "stop" else "ask."
        assert expected.casefold() in " ".join(screen.partition("DO NEXT")[2].split()).casefold()
        if advice.kind == "ask":
            screen = session.type("dunno")
        elif advice.kind == "check":
            screen = session.type(f"{advice.name} {machine.shows(advice.name)}")
        elif advice.kind == "repair":
            for name in (advice.name, *advice.together):
                screen = session.type(f"repair {name}")
                if (
                    "Is the machine like this now" in screen
                ):  # the second of two, whose steps are no longer on the screen
                    screen = session.type("yes")
                machine.mend(name)
        else:
            break
        with looked_at(tmp_path) as visit:
            assert visit.job.last_seq > steps
    assert "type: close gone" in screen
    assert "Job 1 is closed: fault gone." in session.type("close gone")
    assert session.end() == 0
    with Store.open(tmp_path) as store:
        assert_closed_and_kept(store, "1", {"clean_duct", "thermal_fuse"})


@pytest.mark.parametrize("facts", [{}, {"control": "timer"}, {"control": "board"}], ids=str)
def test_the_first_advice_on_a_long_dry_time_is_an_airflow_check(
    store: Store, dryer: Appliance, facts: dict[str, str]
) -> None:
    """Common practice, no source: a dryer that is merely slow is looked at for airflow first."""
    visit = OpenJob.start(store, dryer)
    for name, value in facts.items():
        visit.fact(name, value)
    visit.find("dry_time", "longer")
    assert advised(visit).kind == "check"
    assert advised(visit).name in AIRFLOW


@pytest.mark.parametrize(
    "complaint",
    [
        {"dry_time": "longer"},
        {"dry_time": "over_twice"},
        {"heat": "cools_off"},
        {"heat": "none"},
        {"dry_time": "longer", "clothes": "cool_damp"},
    ],
    ids=str,
)
def test_the_cycling_thermostat_comes_after_airflow_coils_and_igniter(
    store: Store, dryer: Appliance, complaint: dict[str, str]
) -> None:
    """Common practice, no source: whatever is found good, the thermostat's turn comes after the commoner
    ones."""
    visit = OpenJob.start(store, dryer)
    visit.fact("control", "timer")
    for name, value in complaint.items():
        visit.find(name, value)
    machine = Machine(dryer.knowledge, {"unlisted.present"}, {"verification_run": "slow"})
    order: list[str] = []
    for _ in range(MOST_STEPS):
        advice = advised(visit)
        order += [advice.name, *advice.together]
        if advice.kind == "check":
            visit.find(advice.name, machine.shows(advice.name))
        elif advice.kind == "repair":
            for name in (advice.name, *advice.together):
                visit.fix(name)
                if name in visit.job.awaited:
                    visit.fix(name)
        else:
            break
    first = next((i for i, name in enumerate(order) if name in CYCLING), len(order))
    assert AIRFLOW & set(order[:first])
    if first < len(order):
        assert COILS & set(order[:first])
        assert IGNITER & set(order[:first])
