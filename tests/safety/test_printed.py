"""The rules of safety on what is really printed: screens, objects, the plan and its page, read back from their texts alone."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calls import SAFE, bench, command, looked_at
from faultodds.advice.advisor import advise
from faultodds.advice.answers import next_answer
from faultodds.advice.doing import instructions
from faultodds.advice.machine import CLOSED_UP, MachineStates, State
from faultodds.advice.plan import Plan, PlanStep, make_plan, moves_words, plan_answer
from faultodds.advice.situation import may_be
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence
from faultodds.belief.posterior import infer
from faultodds.charts.plan_page import laid_out
from faultodds.job.job import Job
from faultodds.job.standing import Standing
from faultodds.job.steps import utc_now
from faultodds.knowledge.schema import Knowledge
from faultodds.safety.duties import Known, not_run_now
from faultodds.safety.rules import NOTHING_KNOWN, broken, exposed
from faultodds_cli.shared.show_advice import FOR_THE_QUALIFIED, advice_lines
from job_states import JobState, random_job_states
from read_back import printed_steps, read_back

SCREENS, PLANS = 120, 4


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer", revision="file")


@pytest.fixture(scope="module")
def states(dryer: Appliance) -> list[JobState]:
    """Random job states: facts, findings, repairs, panels left open, work skipped, somebody not qualified."""
    return list(random_job_states(dryer, SCREENS, 31))


def wrong(
    k: Knowledge, names: Iterable[str], state: State, texts: Iterable[str], known: Known = NOTHING_KNOWN
) -> list[str]:
    """What is wrong with some printed steps, read back."""
    return [f"{b.rule}: {b.why}" for b in broken(k, state, read_back(k, list(names), texts), known)]


def test_screens_and_objects(dryer: Appliance, states: list[JobState]) -> None:
    """The advice as `next`, `job next` and `bench` print it, and every check of the object that --json prints, keep every rule;
    the two say the same steps; what is not safe now or was skipped is not among them; qualified work is marked on the screen."""
    numbered, holding = 0, 0
    for each in states:
        machine = dryer.fitted(each.evidence.facts)
        k = machine.knowledge
        view = Standing(
            machine, Job("1", "gas_dryer", "file", utc_now()), each.situation, infer(dryer.suspects, each.evidence)
        )
        advice, state = view.advice, each.situation.state
        answer = next_answer(machine, view.belief, advice, state)
        known = may_be(k, each.evidence, view.belief)
        held = not_run_now(k, known)
        assert not {c["check"] for c in answer["checks"]} & (set(held) | each.situation.skipped)
        holding += bool(held)
        for check in answer["checks"]:
            assert not wrong(k, [check["check"]], state, check["steps"], known), check
        names = advice.work
        lines = advice_lines(view)
        printed = [text for steps in printed_steps(lines) for text in steps]
        assert not wrong(k, names, state, printed, known), lines
        if names:
            assert printed == answer["advice"]["steps"]
        numbered += len(printed)
        marked = FOR_THE_QUALIFIED[:22] in " ".join(" ".join(lines).split())
        assert marked == any((k.check.get(n) or k.repair[n]).qualified for n in names)
    assert numbered > SCREENS and holding >= 1


def planned(step: PlanStep, state: State) -> Iterator[tuple[PlanStep, State]]:
    """Every step of a plan with the machine state that it begins in."""
    yield step, state
    for branch in step.branches:
        if branch.then is not None:
            yield from planned(branch.then, step.after)


def in_json(step: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Every step of a plan's object, each before its branches."""
    yield step
    for branch in step["branches"]:
        if branch["then"] is not None:
            yield from in_json(branch["then"])


def test_plans_and_the_page(dryer: Appliance, states: list[JobState]) -> None:
    """A plan's steps keep the rules from the state that the step before leaves, never end live, and in short are the same on the
    page; live work says there when hands are out and leads on and off."""
    k, moved = dryer.knowledge, 0
    for each in states[:PLANS]:
        belief = infer(dryer.suspects, each.evidence)
        plan = make_plan(dryer, belief, each.situation, depth=3, nodes=12)
        objects = list(in_json(plan_answer(dryer, belief, plan)["plan"]))
        for (step, state), said in zip(planned(plan.first, each.situation.state), objects, strict=True):
            names = [n for n in (step.name, *step.together, k.costs.verify) if n]
            assert not wrong(k, names, state, said["steps"]), (step.name, said)
            assert not exposed(k, step.after)
            moved += len(step.moves)
        assert _moves_on_the_page(dryer, belief, plan)
    assert moved > PLANS


def test_live_work_in_a_plan_says_where_hands_are(dryer: Appliance) -> None:
    """In a plan's short words too: leads on and hands out before power and gas come on, off again before the leads come off."""
    k = dryer.knowledge
    belief = infer(dryer.suspects, Evidence())
    lines = instructions(k, MachineStates(k), ["burner_voltage"])[0].lines
    step = dataclasses.replace(make_plan(dryer, belief, depth=1, nodes=1).first, name="burner_voltage", lines=lines)
    assert moves_words(k, step) == (
        "Get: unplugged, gas cock shut, top and front panel open. Leads on. Hands out. "
        "Put back: gas cock open (soap-test), plugged in. Read, nobody touching it. Get: unplugged, gas cock shut. Leads off."
    )
    lines = instructions(k, MachineStates(k), ["duct_off_run"])[0].lines
    assert "Attended, CO meter on" in moves_words(k, dataclasses.replace(step, name="duct_off_run", lines=lines))


def _moves_on_the_page(dryer: Appliance, belief: Any, plan: Plan) -> bool:
    page = laid_out(dryer, belief, plan, "letter", date(2026, 1, 2))
    said = {" ".join(line.text for line in box.lines) for box in page.root.boxes()}
    first = moves_words(dryer.knowledge, plan.first)
    return any(first in text for text in said)


def test_a_guided_call_and_its_commands(tmp_path: Path, dryer: Appliance) -> None:
    """A call played through `bench` and `job`: what `how` prints for every check and repair from the state the job
    is in keeps every rule, and after entering it the job takes the machine to be as printed."""
    k, rng = dryer.knowledge, np.random.default_rng(3)
    bench(tmp_path, *SAFE, "control=board", "auto_dry=yes", "done", "heat=none", "done", "leave")
    work = [n for n, w in {**k.check, **k.repair}.items() if w.needs.get("control", "board") == "board"]
    for name in rng.permutation(work)[:12].tolist():
        with looked_at(tmp_path) as visit:
            state, how = visit.state, visit.how(name)
        shown = bench(tmp_path, "no", f"how {name}", "leave", options=["1"]).out.partition(f"how {name}")[2]
        printed = printed_steps(shown.splitlines())[0] if how.steps else []
        assert printed == how.steps
        assert not wrong(k, [name], state, printed), name
        entered = (
            ["fix", "1", name] if name in k.repair else ["find", "1", f"{name}={next(iter(k.check[name].outcomes))}"]
        )
        assert command("job", *entered, "--data", str(tmp_path)).code in (0, 2)
        with looked_at(tmp_path) as visit:
            assert visit.state == how.after, name


@pytest.mark.parametrize("name", ["manifold_pressure", "igniter", "gas_valve", "coil_ohms_hot", "duct_off_run"])
def test_the_page_of_one_piece_of_work(dryer: Appliance, name: str) -> None:
    """`appliance show` tells the whole way there and back as well, never the bare steps of live work."""
    k = dryer.knowledge
    shown = command("appliance", "show", "gas_dryer", name).out.splitlines()
    (steps,) = printed_steps(shown)
    assert not wrong(k, [name], CLOSED_UP, steps)
    assert steps == [line.text for told in instructions(k, MachineStates(k), [name]) for line in told.lines]


def test_closing_a_job_prints_the_way_back(tmp_path: Path, dryer: Appliance) -> None:
    """`job close` with the machine open prints the steps that close it up, in their order."""
    command("job", "new", "--data", str(tmp_path))
    command("job", "find", "1", "thermistor_ohms=on_chart", "--data", str(tmp_path))
    with looked_at(tmp_path) as visit:
        state = visit.state
    ended = command("job", "close", "1", "referred", "--data", str(tmp_path))
    (steps,) = printed_steps(ended.out.splitlines())
    lines = read_back(dryer.knowledge, (), steps)
    assert not broken(dryer.knowledge, state, lines)
    assert state - {line.move.item for line in lines if line.move} == CLOSED_UP


def test_the_reader_sees_a_step_left_off_the_screen(dryer: Appliance, states: list[JobState]) -> None:
    """The test of the screens can fail: with the shutting off taken out of what is printed, it does."""
    k = dryer.knowledge
    for each in states:
        advice = advise(dryer, infer(dryer.suspects, each.evidence), each.situation)
        for check in next_answer(dryer, infer(dryer.suspects, each.evidence), advice, each.situation.state)["checks"]:
            bare = [text for text in check["steps"] if text != k.access["unplugged"].open_step]
            if bare != check["steps"]:
                assert wrong(k, [check["check"]], each.situation.state, bare)
                return
    raise AssertionError("no state has a check that shuts off")


def test_a_caution_that_stands_is_not_said_again(tmp_path: Path) -> None:
    """On a guided call a caution is said when it begins to apply, and not on the next screen while it still does; an odd job in
    between, a new sitting and a single command say it again."""
    k, seen = (
        ["heat=none", "glow_look=no_glow", "hood_flap=strong", "drum_warm=cold", "hand_turn=free"],
        "prove it dead",
    )
    call = bench(
        tmp_path, *SAFE, "control=timer lower_panel=no", "done", *k, "done", "fuse_continuity closed", "yes", "leave"
    ).out
    first, second = call.split("-" * 40)[-2:] if call.count("fuse_continuity") else ("", "")
    assert seen in " ".join(first.split()) and seen not in " ".join(second.split())
    assert "Machine now: unplugged" in second and "DO NEXT" in second
    assert seen in " ".join(bench(tmp_path, "no", "leave", options=["1"]).out.split())
    assert seen in " ".join(command("job", "next", "1", "--data", str(tmp_path)).out.split())


def test_a_repair_that_was_not_on_the_screen_says_what_closing_up_is(tmp_path: Path, dryer: Appliance) -> None:
    """The job takes the machine as closed up after a repair; where its steps were not told, those that close it up are, and they
    keep the rules. Where they were on the screen they are not said twice."""
    k = dryer.knowledge
    start = [*SAFE, "control=timer lower_panel=no", "done", "heat=none", "done"]
    shown = bench(tmp_path, *start, "coil_ohms good", "yes", "repair flame_sensor", "yes", "leave").out.partition(
        "Closing it up again is"
    )[2]
    (steps, *_) = printed_steps(shown.splitlines())
    assert steps[:3] == [k.access[i].close_step for i in ("front_open", "gas_shut", "unplugged")]
    assert steps[3:] == k.repair["flame_sensor"].prove
    assert not wrong(k, ("flame_sensor",), frozenset({"unplugged", "gas_shut", "front_open"}), steps)
    told = bench(
        tmp_path / "told", *start, "burner_watch no_glow", "igniter_ohms open", "yes", "repair igniter", "leave"
    ).out
    assert "REPAIR. New igniter" in told and "Closing it up again is" not in told
